"""Letters filled in are the letters that the layout engine sets, to the pixel."""

import io
import json
import os
import random
import zlib
from dataclasses import replace

import pikepdf
import pypdfium2
import pytest
import zxingcpp

from campaigns.documents.letter_press import Press, make_press
from campaigns.documents.letters import Sender, Sheet, lay_out_letters
from campaigns.rules.letter_window import layout_for
from dealership.documents.likeness import differences
from dealership.documents.shaping import NotExact
from dealership.documents.sheaf import Sheaf
from dealership.rules.mail_barcode import tracking_of


ODD_NAMES = (
    "Łukasz Nuñez-Žižek",
    "Nguyễn Thị Ánh",
    "Œuvrard",
    "Þórbjörg Ðalsgård d'Æbelø",
    "İzmirli Çağrı Şahingöz",  # noqa: RUF001 (a dotless i)
    "AVA To WAVE Yo, LT. “Y’all” & Sons (Q)",  # noqa: RUF001 (as owners write)
    "Griffin Fluffy-Office III",
    "J. T.",
    "<b>Bold</b> {owner} \\(x\\) [y] % /Type",
    "O'Dowd AV/AW Ltd. #7 @ 100%",
)
FULL_WAY = ("山田太郎", "עברית", "Иван Петров", "Q\u0323\u0302uorra", "a \U0001f697")
TEXT = (
    "The bolts of the seat rail in your vehicle may loosen and the seat may move.",
    "Your dealer fits new bolts. The work takes about one hour and costs you nothing.",
    "If you have sold the vehicle, please tell us who has it now.",
)
DATE = "2026-03-09"
ODD_LETTERS = int(os.environ.get("MENDROLL_ODD_LETTERS", "40"))
"""500 take a minute; the bench compares that many at every run of full size."""


def sender(paper="letter", **facts):
    return Sender(
        name="Harrow Lane Motors",
        lines=("1 Harrow Lane", "Tannersby, IL 60000"),
        phone="+1 217 555 0100",
        email="service@harrow.example",
        signed_by="Mira Soldan",
        country="US",
        paper=paper,
        layout=layout_for(paper, **facts),
    )


def sheet(number, name, frm, **facts):
    facts = {
        "code": f"L00012{number:05}",
        "address": {
            "street": f"{number} Quarry Road",
            "street2": "",
            "city": "Tannersby",
            "region": "IL",
            "postal_code": "60000",
            "country": "US",
        }
        | facts.pop("address", {}),
        "home": "US",
        "vin": f"1U0KTRA40N1{number:06}",
        "vehicle": "2022 Corvane",
        "subject": "Safety recall: the repair is free",
        "paragraphs": TEXT,
        "layout": frm.layout,
        "numbers": (("Our campaign", "SR-26-01"),),
        **facts,
    }
    return Sheet(name=name, **facts)


def press_for(frm, sheets):
    characters = {one for each in sheets for one in "".join(each.lines) + each.name}
    return make_press(
        frm, sheets, characters=characters, date=DATE, campaign="SR-26-01"
    )


def bound(press, sheets):
    """Fill letters in and bind them; gives the PDF and the first page of each."""
    target, starts = io.BytesIO(), []
    sheaf = Sheaf(target, press.pdf)
    for one in sheets:
        starts.append(sheaf.count)
        for page in press.fill(one):
            sheaf.add(sheaf.pages[page.number], page.content)
    sheaf.close(title="Letters")
    return target.getvalue(), starts


def unlike(frm, sheets, dots_per_inch=72):
    """Set letters both ways and tell which pages differ."""
    pdf, starts = bound(press_for(frm, sheets), sheets)
    whole = lay_out_letters(frm, sheets, date=DATE, campaign="SR-26-01")
    assert [whole.starts[one.code] for one in sheets] == starts
    pages = [(page, page) for page in range(whole.pages)]
    return differences(whole.pdf, pdf, pages, dots_per_inch=dots_per_inch)


def odd_sheets(count, frm, seed=3):
    """Make letters with odd names, streets and vehicles, the same every time."""
    chance = random.Random(seed)
    letters = [name for name in "".join(ODD_NAMES) if name.isalpha()]
    made = []
    for number in range(count):
        name = (
            ODD_NAMES[number]
            if number < len(ODD_NAMES)
            else "".join(
                chance.choice([*letters, " ", "-", "'"]) for _n in range(12)
            ).strip(" -'")
            or "Ostby"
        )
        made.append(
            sheet(
                number,
                name,
                frm,
                address={
                    "street2": chance.choice(["", "", f"Unit {number}"]),
                    "street": f"{number} {chance.choice(ODD_NAMES[:5])}",
                    "postal_code": chance.choice(["60000", "60000-1234"]),
                },
                vehicle=chance.choice(["2022 Corvane", "2019 Tarn Cross"]),
                language=chance.choice(["en", "es"]),
                tracking=chance.choice(
                    [
                        "",
                        tracking_of(
                            barcode_id="00",
                            service="700",
                            mailer="912345678",
                            serial=number,
                        ),
                    ]
                ),
            )
        )
    return made


@pytest.mark.parametrize(
    "frm",
    [
        sender(),
        sender(panel=4.1),
        sender("a4"),
        sender("a4", form="din_a"),
    ],
    ids=["no 10", "no 10 at 4.1", "form B", "form A"],
)
def test_odd_names_to_the_pixel(frm):
    count = ODD_LETTERS if frm.layout == layout_for("letter") else 8
    assert unlike(frm, odd_sheets(count, frm)) == []


def test_at_the_printers_own_resolution():
    frm = sender()
    assert unlike(frm, odd_sheets(4, frm, seed=9), dots_per_inch=300) == []


def test_close_calls_to_the_pixel():
    """Names whose line comes within pixels of the box, from both sides."""
    frm = sender()
    wide = [
        sheet(9 * n + k, "W" * n + "i" * k, frm)
        for n in range(19, 28)
        for k in range(3)
    ]
    sheets, refused = [], 0
    press = press_for(frm, wide)
    for one in wide:
        try:
            press.fill(one)
        except NotExact:
            refused += 1
        else:
            sheets.append(one)
    assert refused > 5
    assert len(sheets) > 5
    assert unlike(frm, sheets) == []


def test_a_letter_of_two_pages():
    frm = sender()
    long = [sheet(n, ODD_NAMES[n], frm, paragraphs=TEXT * 9) for n in range(3)]
    pdf, starts = bound(press_for(frm, long), long)
    assert starts == [0, 2, 4]
    assert unlike(frm, long) == []
    picture = pypdfium2.PdfDocument(pdf)[3].render(scale=3).to_pil()
    assert [one.text for one in zxingcpp.read_barcodes(picture)] == [long[1].code]


@pytest.mark.parametrize("name", FULL_WAY)
def test_what_cannot_be_filled_in_exactly_is_left_to_the_engine(name):
    frm = sender()
    press = press_for(frm, [sheet(1, "Ostby", frm), sheet(2, name, frm)])
    with pytest.raises(NotExact):
        press.fill(sheet(2, name, frm))


def test_other_words_than_a_samples_are_left_to_the_engine():
    frm = sender()
    press = press_for(frm, [sheet(1, "Ostby", frm)])
    for other in ({"vehicle": "2021 Helix"}, {"language": "es"}, {"code": "L" * 15}):
        with pytest.raises(NotExact):
            press.fill(replace(sheet(1, "Ostby", frm), **other))


def test_text_can_be_found_and_codes_read_back():
    """Codes are read from the rendered page, as a scanner would."""
    frm = sender(panel=4.1)
    sheets = odd_sheets(6, frm)
    pdf, _starts = bound(press_for(frm, sheets), sheets)
    paper = pypdfium2.PdfDocument(pdf)
    for page, one in zip(paper, sheets, strict=True):
        text = page.get_textpage()
        for words in (one.lines[0], one.dear, one.vin, one.quote):
            assert text.search(words).get_next(), words
        picture = page.render(scale=3).to_pil()
        assert [found.text for found in zxingcpp.read_barcodes(picture)] == [one.code]


def test_a_letter_weighs_less_than_two_kilobytes():
    frm = sender(panel=4.1)
    sheets = [
        replace(one, tracking="00700912345678000042") for one in odd_sheets(40, frm)
    ]
    press = press_for(frm, sheets)
    few, many = (len(bound(press, sheets[:n])[0]) for n in (10, 40))
    assert (many - few) / 30 < 2_000


def test_another_worker_goes_on_from_pdf_and_table():
    frm = sender()
    sheets = odd_sheets(5, frm)
    press = press_for(frm, sheets)
    table = press.table()
    json.loads(table)
    other = Press.from_table(press.pdf, table, frm.layout)
    assert [other.fill(one) for one in sheets] == [press.fill(one) for one in sheets]


def test_hostile_values_stay_text():
    """A name that looks like operators of a PDF is glyphs, and nothing else."""
    frm = sender()
    name = ") Tj ET Q q 9 w 0 0 612 792 re S BT (x"
    press = press_for(frm, [sheet(1, name, frm)])
    [page] = press.fill(sheet(1, name, frm))
    operators = zlib.decompress(page.content)
    assert b"792 re" not in operators
    assert operators.count(b"BT") == operators.count(b"ET") == 1
    pdf, _starts = bound(press, [sheet(1, name, frm)])
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        assert paper.check_pdf_syntax() == []
        assert "/Annots" not in paper.pages[0].obj
    found = pypdfium2.PdfDocument(pdf)[0].get_textpage().search(name)
    assert found.get_next()
