"""Labour of several jobs in one visit: each operation paid once, by one line."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from campaigns.rules import labour_union
from campaigns.rules.labour_union import LabourLine, ShareReason, split_time, union_of
from campaigns.rules.lifecycle import Payer


CAMPAIGN = LabourLine(
    key=1,
    name="A-01",
    payer=Payer.MANUFACTURER,
    hundredths=180,
    operations=("cover off", "fluid out", "seal", "fluid in", "cover on"),
    times={"cover off": 20, "fluid out": 30, "seal": 80, "fluid in": 30},
)
SERVICE = LabourLine(
    key=2,
    name="S-01",
    payer=Payer.CUSTOMER,
    hundredths=150,
    operations=("cover off", "fluid out", "clamps", "fluid in", "cover on"),
    times={"cover off": 20, "fluid out": 30, "fluid in": 30, "cover on": 20},
)


def test_the_campaign_in_full_and_the_customer_only_what_is_added():
    """By hand: 1.80 h in full; of 1.50 h the 1.00 h that is shared is left out."""
    both = union_of([SERVICE, CAMPAIGN])

    assert both.paid_by(Payer.MANUFACTURER) == 180
    assert both.paid_by(Payer.CUSTOMER) == 50
    assert both.hundredths == 230
    assert both.published == 330
    assert both.is_shared
    assert both.paid_on(1).reason is ShareReason.IN_FULL
    service = both.paid_on(2)
    assert service.reason is ShareReason.ONLY_ADDED
    assert service.shared == ("cover off", "fluid out", "fluid in", "cover on")
    assert [
        (one.operation, one.payer.value, one.hundredths, one.also_in)
        for one in both.operations
    ] == [
        ("cover off", "manufacturer", 20, (2,)),
        ("fluid out", "manufacturer", 30, (2,)),
        ("seal", "manufacturer", 80, ()),
        ("fluid in", "manufacturer", 30, (2,)),
        ("cover on", "manufacturer", 20, (2,)),
        ("clamps", "customer", 50, ()),
    ]


def test_an_operation_is_paid_in_the_time_of_the_line_that_pays_it():
    quick = replace(SERVICE, times={**SERVICE.times, "fluid out": 5})
    assert union_of([CAMPAIGN, quick]).paid_by(Payer.MANUFACTURER) == 180
    alone = union_of([quick])
    assert alone.paid_by(Payer.CUSTOMER) == 150
    assert alone.paid_on(2).reason is ShareReason.IN_FULL


def test_nothing_added_is_nothing_paid():
    inner = LabourLine(
        key=3,
        name="S-02",
        payer=Payer.STORE,
        hundredths=40,
        operations=("Cover Off ", "cover on"),
    )
    found = union_of([CAMPAIGN, inner])
    assert found.paid_on(3).paid == 0
    assert found.paid_on(3).reason is ShareReason.ALL_SHARED


def test_what_is_claimed_already_comes_first_among_campaigns():
    second = replace(CAMPAIGN, key=5, settled=True)
    found = union_of([CAMPAIGN, second])
    assert found.paid_on(5).paid == 180
    assert found.paid_on(1).paid == 0


def test_a_line_without_operations_shares_nothing():
    plain = LabourLine(key=8, name="X", payer=Payer.CUSTOMER, hundredths=70)
    also = replace(plain, key=9)
    found = union_of([plain, also])
    assert found.hundredths == 140
    assert not found.is_shared


@pytest.mark.parametrize(
    ("hundredths", "operations", "times", "parts"),
    [
        (100, ("a", "b", "c"), {}, {"a": 34, "b": 33, "c": 33}),
        (100, ("a", "b", "c"), {"b": 60}, {"a": 20, "b": 60, "c": 20}),
        (100, ("a", "b"), {"a": 30, "b": 50}, {"a": 30, "b": 50, "": 20}),
        (100, ("a", "b"), {"A": 30, "b": 70}, {"a": 30, "b": 70}),
        (100, ("a", "a "), {"z": 90}, {"a": 100}),
        (100, (), {}, {"": 100}),
        (0, ("a",), {}, {"a": 0}),
    ],
)
def test_a_time_is_split_and_adds_up(hundredths, operations, times, parts):
    line = LabourLine(
        key=1,
        name="L",
        payer=Payer.STORE,
        hundredths=hundredths,
        operations=operations,
        times=times,
    )
    assert split_time(line) == parts


def test_operations_longer_than_their_line_are_refused():
    line = replace(CAMPAIGN, hundredths=100)
    with pytest.raises(labour_union.TimesExceedLine) as caught:
        union_of([line])
    assert (caught.value.line, caught.value.stated) == ("A-01", 160)
    assert "1.60 h" in caught.value.sentence


OPERATIONS = st.lists(st.sampled_from("abcdefg"), max_size=5, unique=True)


@st.composite
def some_lines(draw):
    lines = []
    for key in range(draw(st.integers(1, 5))):
        operations = tuple(draw(OPERATIONS))
        times = {
            one: draw(st.integers(0, 60)) for one in operations if draw(st.booleans())
        }
        rest = draw(st.integers(0, 120))
        lines.append(
            LabourLine(
                key=key,
                name=f"L{key}",
                payer=draw(st.sampled_from(list(Payer))),
                hundredths=sum(times.values()) + rest,
                operations=operations,
                times=times,
                settled=draw(st.booleans()),
            )
        )
    return lines


@settings(deadline=None)
@given(some_lines())
def test_labour_is_never_counted_twice(lines):
    """Against a plain reading: walk the lines in turn and cross off what was done."""
    found = union_of(lines)

    # each operation by exactly one line, each hundredth by exactly one payer
    named = [one.operation for one in found.operations if one.operation]
    assert len(named) == len(set(named))
    assert set(named) == {one for line in lines for one in line.operations}
    assert sum(found.paid_by(payer) for payer in Payer) == found.hundredths
    assert sum(one.paid for one in found.lines) == found.hundredths
    assert found.hundredths <= found.published

    crossed_off, paid = set(), {}
    order = sorted(
        lines,
        key=lambda one: (
            ["manufacturer", "customer", "store"].index(one.payer.value),
            not one.settled,
            one.key,
        ),
    )
    for line in order:
        parts = split_time(line)
        paid[line.key] = sum(
            time for one, time in parts.items() if one not in crossed_off
        )
        crossed_off |= set(line.operations)
    assert {one.line.key: one.paid for one in found.lines} == paid


@settings(deadline=None)
@given(some_lines())
def test_one_campaign_is_paid_in_full_whoever_else_works(lines):
    others = [
        replace(line, payer=Payer.CUSTOMER)
        if line.payer is Payer.MANUFACTURER
        else line
        for line in lines
    ]
    campaign = replace(CAMPAIGN, key=99, operations=("a", "b", "c"), times={"a": 10})
    found = union_of([*others, campaign])
    assert found.paid_on(99).paid == campaign.hundredths
    assert found.paid_by(Payer.MANUFACTURER) == campaign.hundredths


@settings(deadline=None)
@given(some_lines())
def test_a_line_is_never_paid_more_than_its_published_time(lines):
    for one in union_of(lines).lines:
        assert 0 <= one.paid <= one.line.hundredths
        assert sum(split_time(one.line).values()) == one.line.hundredths
