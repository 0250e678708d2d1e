"""A slot filled with its own mark gives the page that the engine set."""

import io
import zlib

import pikepdf
import pytest

from dealership.documents.frames import (
    FramePage,
    FrameRefused,
    Slot,
    Wanted,
    make_frame,
    setters_of,
)
from dealership.documents.likeness import differences
from dealership.documents.pdf import lay_out
from dealership.documents.shaping import NotExact
from dealership.documents.sheaf import Sheaf
from dealership.documents.stamping import PageStamp


TEXT = (
    "<div style='font-family: \"DejaVu Sans\"'><h1>Above</h1>"
    "<p style='color: #444'>{}</p><p>Below QVXYZW,</p></div>"
)


def stamped(mark, text, limit=1000.0):
    """Set a text in the place of a mark; gives the whole PDF."""
    wanted = Wanted(pages=(0,), lines={"name": mark}, drawings={})
    pdf, [[page]] = make_frame(lay_out(TEXT.format(mark)).pdf, [wanted], drop=())
    with pikepdf.open(io.BytesIO(pdf)) as paper:
        setters = setters_of(paper.pages[0])
    stamp = PageStamp(page, setters, {"name": limit}, language="en")
    target = io.BytesIO()
    sheaf = Sheaf(target, pdf)
    sheaf.add(sheaf.pages[0], zlib.compress(stamp.fill([("name", text)], [])))
    sheaf.close(title="")
    return target.getvalue()


@pytest.mark.parametrize("text", ["Quorra Vexlind", "Below Quorra, Vex"])
def test_the_page_is_the_engines_own(text):
    whole = lay_out(TEXT.format(text)).pdf
    assert differences(whole, stamped("Quorra Vexlind", text), [(0, 0)]) == []


def test_a_line_that_comes_near_its_limit_is_the_engines():
    with pytest.raises(NotExact):
        stamped("Quorra Vexlind", "Quorra Vexlind", limit=60)


def test_text_in_two_frames_of_reference_is_refused():
    slots = {
        "a": Slot("1 0 0 1 0 0 cm", "", "1 0 0 -1 0 0", "/A 12"),
        "b": Slot("2 0 0 2 0 0 cm", "", "1 0 0 -1 0 0", "/A 12"),
    }
    with pytest.raises(FrameRefused):
        PageStamp(FramePage(0, slots), None, {"a": 1, "b": 1}, language="en")
