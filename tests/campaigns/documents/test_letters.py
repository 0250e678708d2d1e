"""Hostile data in every field of a letter: it stays words, in its place, and fetches
nothing.

The names are those of the Open Web Application Security Project's injection cheat
sheets in kind: markup, addresses to be fetched, style, template and formula language,
control and bidirectional characters (Unicode Technical Report 36), and sheer length.
"""

import contextlib
import io
import socket
import threading
from dataclasses import replace

import pikepdf
import pypdfium2
import pytest

from campaigns.documents.letters import Sender, Sheet, lay_out_letters
from campaigns.rules.letter_text import FIELDS, fill, paragraphs
from campaigns.rules.letter_window import layout_for
from tests.campaigns.documents.test_letter_press import bound, press_for


POINTS = 72
DATE = "2026-03-09"
ROOM = 0.6
"""A point or so: the edge of a glyph's box may lie beyond the sum of the advances."""

HOSTILE = (
    '<img src="http://127.0.0.1:{port}/a.png">',
    '<a href="file:///etc/passwd">x</a><iframe src="http://127.0.0.1:{port}/b">',
    "</p></article><style>@import url(http://127.0.0.1:{port}/c.css); * {{ top: 0 }}",
    "\"><link rel='stylesheet' href='http://127.0.0.1:{port}/d.css'><i x=\"",
    "url(http://127.0.0.1:{port}/e) ; position: fixed; top: 0; font-size: 90pt }}",
    "<svg><image href='file:///etc/hostname'/></svg><script>x()</script>",
    ") Tj ET Q q 612 792 re f BT (x",
    "{{% load static %}} {{{{ settings.SECRET_KEY }}}} {{vin}} {{owner_name}}",
    "Ada\x00\x07\x1b[2J\u202eBirkett\u2066\u2028x\u200b\ufeff",
    "=HYPERLINK(http://127.0.0.1:{port}/f)",
    "W" * 36,
)


@contextlib.contextmanager
def listening():
    """Listen on a port of this machine; gives the port and who called."""
    callers = []
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.5)

        def listen():
            while not over.is_set():
                with contextlib.suppress(TimeoutError):
                    caller, _address = server.accept()
                    callers.append(caller.recv(60))
                    caller.close()

        ear = threading.Thread(target=listen)
        ear.start()
        try:
            yield server.getsockname()[1], callers
        finally:
            over.set()
            ear.join()


def hostile_sender(value, layout, paper):
    return Sender(
        name=value[:120],
        lines=(value[:120], value[:80]),
        phone=value[:40],
        email=value[:60],
        signed_by=value[:120],
        country="US",
        paper=paper,
        layout=layout,
    )


def hostile_sheet(number, value, layout):
    """Put one value into every field, as long as each may be, and a mark of its owner."""
    mark = f"Owner{number:03}"
    values = dict.fromkeys(FIELDS, value)
    body = "\n\n".join(f"{name}: {{{name}}}" for name in FIELDS)
    return Sheet(
        code=f"L00012{number:05}",
        name=f"{mark} {value}"[:160],
        address={
            "street": value[:40],
            "street2": "",
            "city": value[:40],
            "region": value[:8],
            "postal_code": value[:10],
            "country": "US",
        },
        home="US",
        vin=f"{number:03}{value}"[:17],
        vehicle=f"2022 {value}"[:65],
        subject=fill("{campaign_title}", {"campaign_title": value[:160]}),
        paragraphs=tuple(fill(one, values) for one in paragraphs(body)),
        numbers=(
            ("Our campaign", value[:20]),
            ("Manufacturer's number", value[:40]),
            ("Regulator's number", value[:40]),
        ),
        layout=layout,
    )


def glyphs(page):
    """Give each visible character of a page with its box, from the top left, in points."""
    text = page.get_textpage()
    height = page.get_height()
    for place in range(text.count_chars()):
        character = text.get_text_range(place, 1)
        if character.strip():
            left, bottom, right, top = text.get_charbox(place)
            yield character, left, height - top, right, height - bottom


def in_their_boxes(paper, starts, sheets, layout):
    """See that nothing leaves the sheet, and that window and fold are kept."""
    for start, sheet in zip(starts, sheets, strict=True):
        page = paper[start]
        wide, high = page.get_size()
        address = layout.address
        fold = layout.folds[0] * POINTS
        seen = []
        for character, left, top, right, bottom in glyphs(page):
            assert -ROOM <= left <= right <= wide + ROOM, (sheet.name, character)
            assert -ROOM <= top <= bottom <= high + ROOM, (sheet.name, character)
            in_strip = layout.strip.top * POINTS < bottom and top < fold
            if not in_strip or left > layout.beside * POINTS - ROOM:
                continue
            if layout.sender and bottom <= layout.address.top * POINTS:
                continue  # the sender's line stands in the window, above the address
            seen.append(character)
            assert left >= address.left * POINTS - ROOM, (sheet.name, character)
            assert right <= address.right * POINTS + ROOM, (sheet.name, character)
        told = "".join("".join(sheet.lines).split())
        assert sorted(seen) == sorted(told), sheet.name
        beside = page.get_textpage().get_text_bounded(
            left=layout.beside * POINTS - 1,
            top=high,
            right=wide,
            bottom=high - fold,
        )
        assert sheet.vin[:3] in beside  # the last of its block, above the fold


def nobody_else_shows(paper, starts, sheets):
    """See that the pages of a letter name its own owner, and no other's."""
    ends = [*starts[1:], len(paper)]
    for start, end, sheet in zip(starts, ends, sheets, strict=True):
        text = " ".join(
            paper[page].get_textpage().get_text_range() for page in range(start, end)
        )
        assert sheet.name[:8] in text
        for other in sheets:
            if other is not sheet:
                assert other.name[:8] not in text
                assert other.code not in text


def nothing_acts(pdf):
    """See that a PDF has no link, action, script or file in it."""
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        assert paper.check_pdf_syntax() == []
        assert not {"/OpenAction", "/AA", "/AcroForm"} & paper.Root.keys()
        assert {*paper.Root.get("/Names", {})} <= {"/Dests"}  # places, no files
        for page in paper.pages:
            assert not {"/Annots", "/AA"} & page.obj.keys()


@pytest.mark.parametrize(
    ("paper", "form"), [("letter", ""), ("a4", "din_a")], ids=["no 10", "form A"]
)
def test_hostile_values_in_every_field(paper, form):
    layout = layout_for(paper, form)
    with listening() as (port, callers):
        values = [one.format(port=port) for one in HOSTILE]
        whole = []
        for number, value in enumerate(values):
            sender = hostile_sender(value, layout, paper)
            sheet = hostile_sheet(number, value, layout)
            assert not sheet.too_long
            whole.append((sender, sheet))
        # all letters of one sender together, so that one could break into another
        sender = whole[0][0]
        sheets = [replace(sheet) for _sender, sheet in whole]
        laid = lay_out_letters(sender, sheets, date=DATE, campaign=values[0])
        starts = [laid.starts[one.code] for one in sheets]
        nothing_acts(laid.pdf)
        with pypdfium2.PdfDocument(laid.pdf) as shown:
            in_their_boxes(shown, starts, sheets, layout)
            nobody_else_shows(shown, starts, sheets)
        for sender, sheet in whole[1:]:
            alone = lay_out_letters(sender, [sheet], date=DATE, campaign="x")
            nothing_acts(alone.pdf)
            with pypdfium2.PdfDocument(alone.pdf) as shown:
                in_their_boxes(shown, [0], [sheet], layout)
        assert callers == []
        # and the ear is not deaf
        with socket.create_connection(("127.0.0.1", port), timeout=5) as call:
            call.sendall(b"GET / HTTP/1.0\r\n\r\n")
            call.recv(1)
        assert len(callers) == 1


def test_hostile_names_filled_in_stay_in_their_boxes():
    """The quick way sets those that are plain in one face, and leaves the others."""
    layout = layout_for("letter")
    sender = hostile_sender("Harrow Lane Motors", layout, "letter")
    sheets = [
        replace(
            hostile_sheet(number, "Ostby", layout),
            name=f"Owner{number:03} {value}"[:26],
            vin=f"1U0KTRA40N1{number:06}",
            address={
                "street": value.format(port=1)[:24],
                "street2": "",
                "city": "Tannersby",
                "region": "IL",
                "postal_code": "60000",
                "country": "US",
            },
        )
        for number, value in enumerate(HOSTILE[:8])
    ]
    press = press_for(sender, sheets[:1] + sheets)
    set_here = [one for one in sheets if one.setting.fits]
    assert len(set_here) >= 5
    pdf, starts = bound(press, set_here)
    nothing_acts(pdf)
    with pypdfium2.PdfDocument(pdf) as shown:
        in_their_boxes(shown, starts, set_here, layout)
        nobody_else_shows(shown, starts, set_here)


def test_ten_thousand_characters_are_left_to_the_office():
    layout = layout_for("letter")
    sheet = replace(hostile_sheet(1, "Ostby", layout), name="A" * 10_000)
    assert sheet.too_long
    assert len(sheet.shown_name) == 2_000
