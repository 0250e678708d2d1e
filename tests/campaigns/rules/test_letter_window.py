"""The window arithmetic, against figures worked out by hand from the sizes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.letter_window import (
    MM,
    NO_10,
    Box,
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
    box = safe_box(sheet_width=8.5, panel=panel, envelope=NO_10)
    assert (box.left, box.top, box.right) == pytest.approx((1.0, 2.625, 4.25))
    assert box.bottom == pytest.approx(bottom)


def test_no_10_strip():
    """An even third: the window shows up to 5.375 in, from 2.042 in to the fold."""
    strip = shown_ever(sheet_width=8.5, panel=11 / 3, envelope=NO_10)
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
    box = safe_box(sheet_width=8.5, panel=panel, envelope=NO_10)
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
        safe_box(sheet_width=8.5, panel=4.2, envelope=NO_10)
