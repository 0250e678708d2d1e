import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicles.rules.dates import (
    DateOrder,
    OrderState,
    Witness,
    read_date,
    settle_order,
)


MARCH_9 = dt.date(2026, 3, 9)
DAY, MONTH = DateOrder


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-09", "2026/3/9", "2026.03.09", "20260309", "2026-03-09T00:00:00",
        "2026-03-09 14:05", "2026-03-09T14:05:06.123Z", "2026-03-09 14:05:06+01:00",
        "9 Mar 2026", "09-Mar-2026", "9-MAR-26", "9th March 2026", "Mar 9, 2026",
        "March 9th, 2026", "Mon, 9 Mar 2026", "Monday 9 March 2026", "9. März 2026",
        "9.Mrz.2026", "Montag, 9. März 2026", "9 de marzo de 2026", "9 mars 2026",
        "Mar 9 2026 2:05 PM", "2026 Mar 9", " 9  Mar\u00a02026 ", "46090", "46090.0",
        "46090.58",
    ],
)  # fmt: skip
def test_certain_forms_need_no_order(text):
    # 46090: ECMA-376 part 1, 18.17.4.1, days from 1899-12-30.
    assert read_date(text).value == MARCH_9
    assert read_date(text).code == ""


def test_spreadsheet_days_agree_with_the_standard():
    # ECMA-376 part 1, 18.17.4.1 gives 1900-01-01 as day 1; with the leap day that
    # never was, 2000-01-01 is day 36526 (from memory; widely published).
    assert read_date("36526").value == dt.date(2000, 1, 1)


@pytest.mark.parametrize(
    "text", ["03/09/2026", "3-9-2026", "3.9.26", "03/09/2026 8:00"]
)
def test_both_readings_are_given_and_none_is_taken(text):
    reading = read_date(text)
    assert (reading.value, reading.code) == (None, "date_order_open")
    assert (reading.day_first, reading.month_first) == (dt.date(2026, 9, 3), MARCH_9)


def test_a_settled_order_decides():
    assert read_date("03/09/2026", order=MONTH).value == MARCH_9
    assert read_date("9.3.2026", order=DAY).value == MARCH_9
    assert read_date("5/5/2026").value == dt.date(2026, 5, 5)


@pytest.mark.parametrize(
    ("text", "order", "code"),
    [
        ("13/02/2026", MONTH, "date_against_order"),
        ("02/13/2026", DAY, "date_against_order"),
        ("31/02/2026", None, "date_impossible"),
        ("2026-02-30", None, "date_impossible"),
        ("32 Jan 2026", None, "date_impossible"),
        ("2026", None, "date_only_year"),
        ("2026.0", None, "date_only_year"),
        ("soon", None, "date_unreadable"),
        ("9 Foo 2026", None, "date_unreadable"),
        ("", None, "date_unreadable"),
        ("12345678901234", None, "date_unreadable"),
    ],
)
def test_what_cannot_be_read_says_why(text, order, code):
    reading = read_date(text, order=order)
    assert (reading.value, reading.code) == (None, code)


@pytest.mark.parametrize(
    ("text", "pivot", "year"),
    [
        # POSIX strptime, %y: 69 to 99 in the 1900s, 00 to 68 in the 2000s.
        ("31/12/68", 68, 2068),
        ("31/12/69", 68, 1969),
        ("31/12/27", 27, 2027),
        ("31-Dec-28", 27, 1928),
    ],
)
def test_two_digit_years_turn_at_the_pivot(text, pivot, year):
    assert read_date(text, pivot=pivot).value == dt.date(year, 12, 31)


def column(*texts):
    return settle_order(enumerate(texts, start=2))


def test_one_cell_over_12_settles_a_column():
    verdict = column("03/09/2026", "", "2026-01-02", "21/09/2026")
    assert (verdict.state, verdict.order) == (OrderState.SETTLED, DAY)
    assert verdict.day_witness == Witness(5, "21/09/2026")
    assert column("3/9/26", "9/21/26").order is MONTH


def test_no_evidence_must_be_asked():
    verdict = column("03/09/2026", "5/5/2026", "01/02/2026")
    assert (verdict.state, verdict.order) == (OrderState.AMBIGUOUS, None)
    assert verdict.open_witness == Witness(2, "03/09/2026")
    assert verdict.open_cells == 2


def test_a_contradiction_names_both_cells():
    verdict = column("13/02/2026", "02/13/2026", "01/02/2026")
    assert (verdict.state, verdict.order) == (OrderState.CONTRADICTION, None)
    assert verdict.day_witness == Witness(2, "13/02/2026")
    assert verdict.month_witness == Witness(3, "02/13/2026")


def test_certain_dates_need_no_order():
    assert column("2026-03-09", "9 Mar 2026", "x", "").state is OrderState.NOT_NEEDED


days = st.dates(dt.date(1927, 6, 1), dt.date(2199, 12, 31))


@given(days)
def test_every_day_comes_back_from_every_form(day):
    forms = {
        day.isoformat(): None,
        day.strftime("%Y%m%d"): None,
        day.strftime("%d %b %Y"): None,
        day.strftime("%B %d, %Y"): None,
        str(day.toordinal() - dt.date(1899, 12, 30).toordinal()): None,
        f"{day.day}.{day.month}.{day.year}": DAY,
        day.strftime("%m/%d/%Y"): MONTH,
    }
    for text, order in forms.items():
        assert read_date(text, order=order).value == day, text


@given(st.lists(days, max_size=8))
def test_a_column_written_in_one_order_never_contradicts_itself(written):
    verdict = column(*(day.strftime("%d/%m/%Y") for day in written))
    shows = any(day.day > 12 for day in written)
    assert verdict.order is (DAY if shows else None)
    assert verdict.state is not OrderState.CONTRADICTION


@given(st.text(max_size=30))
def test_no_text_breaks_it(text):
    reading = read_date(text)
    assert (reading.value is None) == bool(reading.code)
