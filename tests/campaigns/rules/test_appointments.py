import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from campaigns.rules.appointments import (
    LONGEST_LIST,
    NoAppointments,
    TooManyAppointments,
    hour_in,
    read_lines,
    read_rows,
)


VIN = "1M8GDM9AXKP042788"  # the check-digit sample of the VIN outline, public


@pytest.mark.parametrize(
    ("line", "codes", "hour"),
    [
        (VIN, (VIN,), None),
        (f"*{VIN.lower()}*", (VIN,), None),
        ("1M8GDM9AX KP042788", (VIN,), None),
        (f"8:30\t{VIN}\tAshdown", (VIN, "ASHDOWN"), dt.time(8, 30)),
        (f"{VIN}; 2:15 pm; oil", (VIN, "OIL"), dt.time(14, 15)),
        ("KP042788, 10.00", ("KP042788",), dt.time(10)),
        ("12:05 am | XTR 481", ("XTR481", "481", "XTR 481", "XTR"), dt.time(0, 5)),
    ],
)
def test_a_line_names_a_vehicle_and_perhaps_an_hour(line, codes, hour):
    (found,) = read_lines(line)

    assert (found.number, found.hour) == (1, hour)
    assert found.codes[: len(codes)] == codes


@pytest.mark.parametrize("text", ["25:10", "8:75", "1234", "13:00 pm", "", "8.5"])
def test_what_is_no_hour_is_not_taken_for_one(text):
    assert hour_in(text) is None


def test_a_vehicle_named_twice_counts_once_and_keeps_its_first_line():
    found = read_lines(f"\n{VIN}\n\n{VIN.lower()}\nKP042788")

    assert [(one.number, one.codes[0]) for one in found] == [(2, VIN), (5, "KP042788")]


def test_an_empty_list_is_refused():
    with pytest.raises(NoAppointments, match="No line of the list names a vehicle"):
        read_lines(" \n\t\n")


def test_a_list_of_far_too_many_is_refused_with_its_length():
    many = "\n".join(f"VEHICLE{number}" for number in range(LONGEST_LIST + 1))

    with pytest.raises(TooManyAppointments, match=f"has {LONGEST_LIST + 1} vehicles"):
        read_lines(many)


def test_rows_of_a_file_keep_their_numbers():
    found = read_rows([(4, VIN, "09:45:00"), (5, "", "10:00"), (6, "KP042788", "")])

    assert [(one.number, one.codes, one.hour) for one in found] == [
        (4, (VIN,), dt.time(9, 45)),
        (6, ("KP042788",), None),
    ]


@given(st.text(max_size=400))
def test_any_text_is_read_or_refused_by_name(text):
    try:
        found = read_lines(text)
    except NoAppointments:
        return

    assert all(one.codes and all(one.codes) for one in found)
    assert len({one.codes[0] for one in found}) == len(found)
