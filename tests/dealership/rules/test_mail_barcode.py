"""The Intelligent Mail barcode, by the vectors that the postal service published."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dealership.rules.mail_barcode import (
    BARS,
    BarcodeRefused,
    bar_spans,
    encode,
    routing_of,
    tracking_of,
)


# The postal service's encoder test cases (uspsIMbEncoderTestCases.csv) and figure 5 of
# USPS-B-3200 revision H (2015): 60 rows, each with its return code.
VECTORS = Path(__file__).parents[2] / "data" / "intelligent_mail_vectors.csv"


def rows():
    with VECTORS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_published_vectors(row):
    try:
        got = encode(row["tracking"], row["routing"]), "00"
    except BarcodeRefused as refused:
        got = "", refused.code
    assert got == (row["bars"], row["code"])


@given(st.from_regex(r"[0-9][0-4][0-9]{18}", fullmatch=True))
def test_digits_that_differ_give_bars_that_differ(digits):
    other = f"{digits[:-1]}{(int(digits[-1]) + 1) % 10}"
    assert encode(digits, "60000") != encode(other, "60000")
    assert encode(digits, "60000") != encode(digits, "600000000")


def test_serial_numbers_fill_fifteen_digits():
    """USPS-B-3200: a mailer id of 6 digits leaves 9, one of 9 leaves 6."""
    short = tracking_of(barcode_id="00", service="700", mailer="123456", serial=42)
    assert short == "00700123456000000042"
    long = tracking_of(barcode_id="00", service="700", mailer="912345678", serial=42)
    assert long == "00700912345678000042"
    with pytest.raises(BarcodeRefused):
        tracking_of(barcode_id="00", service="700", mailer="12345", serial=1)


def test_routing_digits_of_a_code():
    assert [routing_of(one) for one in ("60000", "60000-1234", "K1A 0B1", "")] == [
        "60000",
        "600001234",
        "",
        "",
    ]


def test_bars_stand_at_20_to_24_an_inch():
    """From memory, USPS-B-3200: 20 to 24 bars an inch, each 15 to 25 thousandths."""
    spans = list(bar_spans("FADT" * 16 + "F"))
    assert len(spans) == BARS
    assert 20 <= (BARS - 1) * 1000 / (spans[-1][0] - spans[0][0]) <= 24
    full, ascender, descender, tracker = spans[:4]
    assert 125 <= full[3] <= 165
    assert 39 <= tracker[3] <= 57
    assert ascender[1] == full[1] == 0
    assert descender[1] + descender[3] == full[3]
