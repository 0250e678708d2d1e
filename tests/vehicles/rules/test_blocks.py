"""Many rows at once say what each row says by itself."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.factories.vehicles import invented_vin, vin_with_check_digit
from vehicles.rules.blocks import BlockCleaner, record_of
from vehicles.rules.dates import DateOrder
from vehicles.rules.records import Severity
from vehicles.rules.rows import RowCleaner, RowRules
from vehicles.rules.standing import VehicleKind
from vehicles.rules.vin import Market


TODAY = dt.date(2026, 11, 25)
# 49 CFR 565.15(d), table VII: position 7 a digit and the kind not known leave two years
OLD = vin_with_check_digit("1U0KTR14", "N1000007")
CELLS = {
    "vin": ["", invented_vin(7).lower(), f"*{invented_vin(8)}*", OLD, "1E123456789012345", "short", invented_vin(9)[:-1] + "X"],
    "model_year": ["", "2022", "22", "1992", "2022.0", "1066", "soon"],
    "line": ["", "Corvane", " Tarn  Cross", "=1+1", "n/a", "x" * 61, "Élan", "unknown", "tab\there"],
    "plate": ["", "KLR 1234", "1E5", "123.0", "12.5", "-", "a|b", "'x"],
    "build_date": ["", "2021-09-14", "03/09/2021", "44453", "2031-01-01", "31/31/2021"],
    "first_use_date": ["", "2022-01-20", "2020-01-01", "00/00/0000"],
    "odometer": ["", "12,345", "12345", "1,23", "-5", "9" * 30, "40 km", "123456 mi"],
    "kind": ["", "car", "trailer", "spaceship"],
    "role": ["", "owner", "lessee"],
    "owner_given_name": ["", "Ada", "Núria", "x" * 150],
    "owner_name": ["", "Corrin", "Fernhill Leasing LLC", "-", "Ash\u200bdown", "y" * 160],
    "owner_kind": ["", "firm", "who"],
    "street": ["", "1 Quarry Road", "#4 Elm Row", "1  Elm Row", "+1 Way"],
    "postal_code": ["", "60000", "2108", "600001234", "ABC", "60000-1"],
    "country": ["", "US", "Germany", "Atlantis"],
    "phone": ["", "(217) 555-0101", "12", "+1 217 555 0101"],
    "email": ["", "a@b.example", "nobody"],
    "language": ["", "es", "Klingon language"],
}  # fmt: skip
FIELDS = list(CELLS)
ROW = st.tuples(
    st.sampled_from([*CELLS["vin"], *map(invented_vin, range(20, 40))]),
    *(
        st.one_of(st.sampled_from(CELLS[name]), st.text(max_size=12))
        for name in FIELDS[1:]
    ),
)


def rules(fields=FIELDS, kind=VehicleKind.LIGHT, **other):
    return RowRules(
        headers=[name.upper() for name in fields],
        mapping={name: place for place, name in enumerate(fields)},
        today=TODAY,
        kind=kind,
        market=Market.US,
        date_orders={"build_date": DateOrder.DAY_FIRST},
        **other,
    )


def compare(rows, told):
    """Set each row of a block against the same row cleaned by itself."""
    cleaner, one = BlockCleaner(told), RowCleaner(told)
    for _again in range(2):  # the second time from what was kept
        block = cleaner.clean(range(2, len(rows) + 2), rows)
        for place, row in enumerate(rows):
            alone = one.clean(place + 2, row)
            if place in block.odd:
                continue
            assert block.record(place) == alone.record
            assert block.mark_of(alone.record) == block.marks()[place]
            codes = [fault.code for fault in alone.faults]
            assert codes == (["zeros_restored"] if place in block.told else [])
    return block


@given(st.lists(ROW, min_size=1, max_size=12), st.sampled_from(VehicleKind))
def test_a_block_says_what_its_rows_say(rows, kind):
    compare(rows, rules(kind=kind))


@pytest.mark.parametrize("name", FIELDS[1:])
def test_a_column_of_one_sort_says_what_its_rows_say(name):
    fields = ["vin", name]
    for text in CELLS[name]:
        rows = [(invented_vin(n), text) for n in range(3)]
        compare(rows, rules(fields))


def test_rows_with_nothing_wrong_are_not_odd():
    rows = [
        (invented_vin(n), "Corvane", f"KLR {n}", f"{n},345", "Ada Ashdown", "60000")
        for n in range(1, 50)
    ]
    fields = ["vin", "line", "plate", "odometer", "owner_name", "postal_code"]
    block = compare(rows, rules(fields))
    assert (block.odd, block.told) == (set(), set())
    assert record_of(block.columns, 4).odometer == 5345


def test_lost_zeros_are_told_and_mended():
    block = compare([(invented_vin(1), "2108")], rules(["vin", "postal_code"]))
    assert (block.odd, block.told) == (set(), {0})
    assert block.columns["postal_code"] == ["02108"]


def test_a_row_that_is_too_wide_is_odd():
    rows = [(invented_vin(1), "Corvane"), (invented_vin(2), "Helix", "more")]
    assert BlockCleaner(rules(["vin", "line"])).clean([2, 3], rows).odd == {1}


def test_kilometres_are_read_by_the_rule():
    # International Yard and Pound Agreement, 1959: 1,609.344 m
    told = rules(["vin", "odometer"], odometer_in_kilometres=True)
    assert compare([(invented_vin(1), "1,000")], told).columns["odometer"] == [621]


def test_what_a_row_alone_refuses_is_odd():
    told = rules()
    cleaner, one = BlockCleaner(told), RowCleaner(told)
    row = (invented_vin(1), "1066", *[""] * (len(FIELDS) - 2))
    assert one.clean(2, row).worst is Severity.REFUSE
    assert cleaner.clean([2], [row]).odd == {0}
