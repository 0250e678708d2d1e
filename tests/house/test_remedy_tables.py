"""The decision tables of docs/algorithms/remedy.md say what the code does."""

import itertools
import re
from decimal import Decimal
from pathlib import Path

import pytest

from campaigns.models.words import READING_WORDS
from campaigns.queries.cover import SCHEDULED
from campaigns.queries.remedies import line_payer
from campaigns.rules.eligibility import Cover, Verdict
from campaigns.rules.labour_union import LabourLine, union_of
from campaigns.rules.lifecycle import Payer, ReadingResult
from campaigns.rules.payer_reasons import payer_reason
from campaigns.rules.remedy_choice import (
    Condition,
    FactMissing,
    Limits,
    NoVariantFits,
    SeveralVariantsFit,
    VariantRule,
    VehicleFact,
    VehicleFacts,
    choose_variant,
    judge_reading,
)


PAGE = Path(__file__).resolve().parents[2] / "docs" / "algorithms" / "remedy.md"


def table(first_head):
    """Read the rows of the table whose first head is this."""
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    start = next(n for n, one in enumerate(lines) if one.startswith(f"| {first_head} "))
    rows = itertools.takewhile(lambda one: one.startswith("|"), lines[start + 2 :])
    return [[cell.strip() for cell in one.strip("|").split("|")] for one in rows]


COUNTS = {"none": [0], "one": [1], "some": [1, 2], "several": [2, 3]}
FITS = Condition(fact=VehicleFact.MODEL_YEAR, low=Decimal(2020))
UNSURE = Condition(fact=VehicleFact.ODOMETER_MILES, low=Decimal(1))
RULED_OUT = Condition(fact=VehicleFact.MODEL_YEAR, low=Decimal(2031))
FACTS = VehicleFacts(model_year=2024)
ANSWERS = {
    NoVariantFits: "no variant fits",
    FactMissing: "a fact is missing",
    SeveralVariantsFit: "several variants fit",
}


def answer(fits, unsure, out):
    made = [(FITS,)] * fits + [(UNSURE,)] * unsure
    # one that is ruled out asks for nothing, whatever else it does not know
    made += [(UNSURE, RULED_OUT)] * out
    rules = [VariantRule(code=f"V{n}", conditions=one) for n, one in enumerate(made)]
    try:
        chosen = choose_variant(rules, FACTS)
    except tuple(ANSWERS) as refusal:
        return ANSWERS[type(refusal)]
    assert chosen.conditions == (FITS,)
    return "that variant"


def test_the_table_of_variants_has_each_case_once():
    found = {
        (fits, unsure): said
        for many, few, said in table("variants that fit")
        for fits in COUNTS[many]
        for unsure in COUNTS[few]
    }
    assert set(found) == set(itertools.product(range(4), range(3)))
    for (fits, unsure), said in found.items():
        for out in range(3):
            assert answer(fits, unsure, out) == said, (fits, unsure, out)


def verdict_of(cover):
    payer = {
        Cover.COVERED: Payer.MANUFACTURER,
        Cover.PAST_LIMIT: Payer.CUSTOMER,
        Cover.FREE_NOT_REQUIRED: Payer.CUSTOMER,
        Cover.ASK: None,
    }[cover]
    return Verdict(cover=cover, reasons=(), payer=payer)


def payers_by_table():
    for job, states, cover, payer, reason in table("job"):
        stated = None if states == "nothing" else Payer(states)
        if job == "scheduled item":
            assert cover == "none"
            verdicts = [SCHEDULED]
        else:
            covers = list(Cover) if cover == "any" else [Cover(cover)]
            verdicts = [verdict_of(one) for one in covers]
        for verdict in verdicts:
            yield job, stated, verdict, payer, reason


def test_the_table_of_payers_has_each_case_once_and_one_payer():
    rows = list(payers_by_table())
    cases = {(job, stated, verdict) for job, stated, verdict, *_ in rows}
    assert len(cases) == len(rows)
    assert len(rows) == (len(Payer) + 1) * (len(Cover) + 1)
    for job, stated, verdict, payer, reason in rows:
        found = line_payer(stated, verdict.payer) if stated else Payer.STORE
        why = payer_reason(stated, verdict, of_campaign=job == "campaign")
        assert (found.value, why.value) == (payer, reason)


def test_the_worked_visit_is_paid_as_the_table_says():
    lines, paid = [], []
    for key, (name, payer, published, operations, hours) in enumerate(table("line")):
        read = [
            re.fullmatch(r"([a-z ]+?)(?: (\d\.\d\d))?", one)
            for one in operations.split(", ")
        ]
        lines.append(
            LabourLine(
                key=key,
                name=name,
                payer=Payer(payer),
                hundredths=int(Decimal(published) * 100),
                operations=tuple(one[1] for one in read),
                times={one[1]: int(Decimal(one[2]) * 100) for one in read if one[2]},
            )
        )
        paid.append(int(Decimal(hours) * 100))
    for order in itertools.permutations(lines):
        found = union_of(order)
        assert [found.paid_on(key).paid for key in range(len(lines))] == paid


@pytest.mark.parametrize("row", table("value"), ids=" ".join)
def test_the_table_of_checks(row):
    value, outside, attempt, meaning = row
    choices = list(ReadingResult) if outside == "any" else [ReadingResult(outside)]
    attempts = {"any": (1, 2, 3), "before the last": (1, 2), "the last": (3,)}[attempt]
    for result, number in itertools.product(choices, attempts):
        limits = Limits(unit="mm", low=Decimal(10), high=Decimal(20), outside=result)
        for found in {
            "inside": ("10", "15", "20"),
            "outside": ("9.999", "0", "20.001"),
        }[value]:
            judged = judge_reading(limits, Decimal(found), unit="mm", attempt=number)
            assert READING_WORDS[judged] == meaning
