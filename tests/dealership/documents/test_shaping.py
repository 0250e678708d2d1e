"""A line is set as the layout engine sets it, or refused."""

import io

import pikepdf
import pytest

from dealership.documents.frames import plain_operand, setters_of
from dealership.documents.pdf import lay_out
from dealership.documents.shaping import (
    FACES,
    UNITS,
    LineSetter,
    NotExact,
    face_of,
    is_plain,
)


NAMES = (
    "Łukasz Nuñez-Žižek",
    "Nguyễn Thị Ánh",
    "Œuvrard",
    "Þórbjörg Ðalsgård",
    "İzmirli Çağrı Şahingöz",  # noqa: RUF001 (a dotless i)
    "Ștefănescu Țurcanu",
    "AVA To WAVE Yo, LT. “Y’all” & Sons (Q)",  # noqa: RUF001 (as owners write)
    "Griffin fluffy office ffl",
    "1 Harrow Lane  60000-1234",
)


def engine_lines(names, style):
    """Give the operand of each line as the layout engine writes it, and the setters."""
    html = "".join(f'<p style="white-space: pre; {style}">{name}</p>' for name in names)
    with pikepdf.open(io.BytesIO(lay_out(html).pdf)) as paper:
        page = paper.pages[0]
        lines = page.Contents.read_bytes().split(b"\n")
        setters = setters_of(page)
    shown = [line[:-3] for line in lines if line.endswith(b" TJ")]
    return [plain_operand(one).decode() for one in shown], setters


@pytest.mark.parametrize("points", [8, 9.8, 10, 10.5, 11])
def test_lines_are_the_engines_own_operands(points):
    """The engine itself is the reference: it sets the same lines."""
    style = f"font: {points}pt 'DejaVu Sans'"
    lines, setters = engine_lines(NAMES, style)
    [font] = setters.fonts
    assert len(lines) == len(NAMES) + 1  # the last one is the number of the page
    units = int(points * 96 / 72 * UNITS)
    setter = LineSetter(face_of("DejaVu-Sans"), units, setters.widths(font), "en")
    assert [setter.line(name)[0] for name in NAMES] == lines[:-1]


def test_words_are_as_wide_together_as_the_whole_line():
    for name in FACES:
        assert face_of(name).words_stand_alone


@pytest.mark.parametrize(
    "name",
    [
        "山田太郎",
        "עברית",
        "سارة",
        "Иван",
        "Zoe\u0308",  # a combining mark that no composed letter holds would stand alone
        "q\u0323\u0302",
        "🚗 Motors",
        "A\u00a0B",
        "a\u200db",
    ],
)
def test_what_is_not_plain_is_refused(name):
    setter = LineSetter(face_of("DejaVu-Sans"), 14_000, {}, "en")
    with pytest.raises(NotExact):
        setter.line(name)


def test_a_glyph_that_the_font_of_the_page_lacks_is_refused():
    setter = LineSetter(face_of("DejaVu-Sans"), 14_000, {3: 318, 36: 684}, "en")
    assert setter.line("A")[0] == "[<0024>]"
    with pytest.raises(NotExact):
        setter.line("B")


def test_plain_characters():
    assert all(is_plain(one) for one in "AzŁñễ0-,.'& ")
    assert not any(is_plain(one) for one in "\u0301\u200d\u00a0אя山\n")


def test_an_unknown_face_is_refused():
    with pytest.raises(NotExact):
        face_of("Ostby Grotesk")
