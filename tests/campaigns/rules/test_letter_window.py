"""The window arithmetic, against figures worked out by hand from the sizes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.letter_window import (
    MM,
    NO_10,
    US_PANELS,
    Box,
    Fold,
    din_form_a,
    din_form_b,
    layout_for,
    safe_box,
    set_address,
    shown_ever,
    us_letter,
)


@pytest.mark.parametrize(
    ("panel", "bottom"), [(3.667, 3.042), (3.750, 3.125), (4.000, 3.375)]
)
def test_no_10_safe_box(panel, bottom):
    """No. 10 with its common window; 1/8 inch clear (DMM, read at second hand)."""
    box = safe_box(Fold(sheet_width=8.5, panel=panel, envelope=NO_10))
    assert (box.left, box.top, box.right) == pytest.approx((1.0, 2.625, 4.25))
    assert box.bottom == pytest.approx(bottom)


def test_no_10_strip():
    """An even third: the window shows up to 5.375 in, from 2.042 in to the fold."""
    strip = shown_ever(Fold(sheet_width=8.5, panel=11 / 3, envelope=NO_10))
    assert strip.right == pytest.approx(5.375)
    assert strip.top == pytest.approx(2.042, abs=0.001)
    assert strip.bottom == pytest.approx(3.625)


def test_four_lines_of_11_points_fit_the_four_inch_panel():
    assert set_address(4, 20, us_letter().address).size == 11.0
    assert set_address(4, 20, us_letter().address).fits


def test_form_b_stands_in_the_field_of_din_5008():
    """DIN 5008 form B: address part from 62.7 to 90 mm, text 25 mm from the left."""
    box = din_form_b().address
    assert box.left == pytest.approx(25 * MM)
    assert box.top == pytest.approx(62.7 * MM)
    assert box.bottom <= 90 * MM
    assert din_form_b().folds == pytest.approx((105 * MM, 210 * MM))


def test_a_long_line_goes_down_to_ten_points_then_is_flagged():
    box = us_letter().address
    assert set_address(4, box.width * 72 / 10.2, box).size == 10.0
    tight = set_address(4, box.width * 72 / 9.9, box)
    assert (tight.size, tight.fits) == (10.0, False)


@given(panel=st.floats(3.5, 4.125), across=st.floats(0, 1), down=st.floats(0, 1))
def test_the_box_is_shown_at_every_position(panel, across, down):
    box = safe_box(Fold(sheet_width=8.5, panel=panel, envelope=NO_10))
    dx, dy = across * 1.0, down * (4.125 - panel)
    window = NO_10.window
    seen = Box(
        left=window.left - dx,
        right=window.right - dx,
        top=window.top - dy,
        bottom=window.bottom - dy,
    )
    if box.height:
        assert box.left >= seen.left + 0.125 - 1e-9
        assert box.right <= seen.right - 0.125 + 1e-9
        assert box.top >= seen.top + 0.125 - 1e-9
        assert box.bottom <= seen.bottom - 0.125 + 1e-9


def test_the_reference_block_is_out_of_the_windows_sight():
    for paper in ("letter", "a4"):
        layout = layout_for(paper)
        assert layout.beside > layout.strip.right


def test_a_sheet_that_does_not_go_in_is_refused():
    with pytest.raises(ValueError, match=r"4\.2"):
        safe_box(Fold(sheet_width=8.5, panel=4.2, envelope=NO_10))


def test_form_a_stands_in_the_field_of_din_5008():
    """DIN 5008 form A: dividing line at 44.7 mm, field to 72 mm, fold at 87 mm."""
    layout = din_form_a()
    assert layout.address.left == pytest.approx(25 * MM)
    assert layout.address.top == pytest.approx(44.7 * MM)
    assert layout.address.bottom <= 72 * MM
    assert layout.folds == pytest.approx((87 * MM, 192 * MM))


def test_both_forms_lie_alike_in_the_envelope():
    """Seen from the first fold the address of form A is where that of form B is."""
    a, b = din_form_a(), din_form_b()
    from_fold = [layout.folds[0] - layout.address.bottom for layout in (a, b)]
    assert from_fold[0] == pytest.approx(from_fold[1])
    assert a.address.height == pytest.approx(b.address.height)


def test_five_lines_of_an_address_fit_both_forms():
    for layout in (din_form_a(), din_form_b()):
        assert set_address(5, 15, layout.address).fits


@pytest.mark.parametrize(
    ("panel", "lines"), [(3.667, 2), (3.75, 3), (4.0, 4), (4.1, 5)]
)
def test_how_many_lines_each_fold_holds(panel, lines):
    """Worked out: 0.417, 0.500, 0.750 and 0.850 inches of lines 10 to 11 points high."""
    assert panel in US_PANELS
    box = us_letter(panel).address
    assert set_address(lines, 20, box).fits
    assert not set_address(lines + 1, 20, box).fits


def test_a_barcode_takes_room_and_gives_way_to_the_address():
    """Quick Service Guide 201a: .028 inch above and below the barcode."""
    box = us_letter().address
    three = set_address(3, 20, box, bars=True)
    assert (three.fits, three.bars) == (True, True)
    four = set_address(4, 20, box, bars=True)
    assert (four.fits, four.bars) == (True, False)
    assert set_address(4, 20, us_letter(4.1).address, bars=True).bars
