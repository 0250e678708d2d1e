"""Marks are found exactly where they stand, taken out, or the frame is refused."""

import io

import pikepdf
import pytest

from dealership.documents.barcodes import data_matrix, data_matrix_drawing
from dealership.documents.frames import (
    FrameRefused,
    Wanted,
    make_frame,
    plain_operand,
)
from dealership.documents.pdf import lay_out


TEXT = (
    "<div style='font: 12pt \"DejaVu Sans\"'><p>Above</p><p>Quorra Vexlind</p>"
    "<p>Below, in the type of the line before</p></div>"
)


def frame(html, lines, drawings=None, pages=(0,), drop=()):
    wanted = Wanted(pages=pages, lines=lines, drawings=drawings or {})
    return make_frame(lay_out(html).pdf, [wanted], drop=drop)


def operators(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        return paper.pages[0].Contents.read_bytes().split(b"\n")


def test_the_mark_goes_and_all_else_stays():
    pdf, [[page]] = frame(TEXT, {"name": "Quorra Vexlind"})
    before = operators(lay_out(TEXT).pdf)
    after = operators(pdf)
    gone = [line for line in before if line.endswith(b" TJ")][1]
    assert after == [line for line in before if line != gone]
    assert list(page.slots) == ["name"]
    slot = page.slots["name"]
    assert slot.place.startswith("1 0 0 -1 ")
    assert slot.size == 16 * 1024


def test_a_drawing_is_found_by_its_outlines():
    html = TEXT + data_matrix("L0000100002", side="13mm")
    drawing = data_matrix_drawing("L0000100002").outlines()
    pdf, [[page]] = frame(html, {}, {"code": drawing})
    assert page.slots["code"].chain.count(" cm") >= 3
    assert drawing.encode() not in b"\n".join(operators(pdf))


@pytest.mark.parametrize(
    "html",
    [
        TEXT.replace("Quorra", "Quorro"),  # not there
        TEXT + TEXT,  # there twice
        TEXT.replace("<p>Quorra", "<p style='letter-spacing: 1px'>Quorra"),
        TEXT.replace("<p>Quorra", "<p style='font-family: monospace'>Quorra"),
        TEXT.replace("Quorra", "Quor<b>ra</b>"),
    ],
    ids=["missing", "twice", "spaced", "other face", "two faces"],
)
def test_a_mark_that_is_not_exactly_there_once_refuses_the_frame(html):
    with pytest.raises(FrameRefused):
        frame(html, {"name": "Quorra Vexlind"})


def test_pages_that_only_lend_their_fonts_are_dropped():
    html = TEXT + "<p style='break-before: page'>Specimen</p>"
    pdf, [[page]] = frame(html, {"name": "Quorra Vexlind"}, drop=(1,))
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        assert len(paper.pages) == 1
        assert page.number == 0
        assert "/Outlines" not in paper.Root


def test_corrections_of_nothing_are_left_out():
    assert plain_operand(b"[<0027>0<0044>-3<0048>0]") == b"[<00270044>-3<0048>]"
    assert plain_operand(b"[<0023004b>12<0044>]") == b"[<0023004b>12<0044>]"
