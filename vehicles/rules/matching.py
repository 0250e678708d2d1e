"""Which vehicles a campaign is about, and why: criteria, lists, verdicts.

Each test of a criterion answers yes, no, or "cannot say" when the fact it needs is
missing. Inside a criterion the tests are joined by "and": one no is a no whatever is
missing; else one "cannot say" leaves the criterion undecided; else it is met. Several
criteria of one sort are joined by "or": one yes is a yes; else one undecided leaves
all undecided; else no.

    include     exclude      the criteria say
    no          any          no
    yes         no           yes
    yes         undecided    undecided
    undecided   no           undecided
    undecided   undecided    undecided
    yes         yes          no
    undecided   yes          no

The manufacturer's list and the criteria together, first row that fits:

    VIN is on       criteria say    verdict           first reason
    exclusion list  any             not affected      on_exclusion_list
    list            any             affected          on_list (and criteria_disagree,
                                                      when the criteria say no)
    no list entry, but the campaign has a list:
                    yes             to be verified    criteria_met_not_on_list
                    undecided       to be verified    (the facts that are missing)
                    no              not affected      (the tests that said no)
                    there are none  not affected      not_on_list
    the campaign has no list:
                    yes             affected          (the tests that said yes)
                    undecided       to be verified    (the facts that are missing)
                    no              not affected      (the tests that said no)

So the list decides for the vehicles on it, because only the maker knows what was
built; and a vehicle that fits the criteria but is missing on the list is never
dropped in silence. A campaign that includes nothing cannot be matched and says so.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

from vehicles.rules.answers import Reason, Test, Truth, compiled


if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from vehicles.rules.criteria import CriteriaSet, VehicleFacts

MOST_REASONS = 6


class Outcome(StrEnum):
    """What a campaign says of a vehicle."""

    AFFECTED = "affected"
    NOT_AFFECTED = "not_affected"
    TO_BE_VERIFIED = "to_be_verified"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the campaign says of one vehicle, with its reasons."""

    outcome: Outcome
    reasons: tuple[Reason, ...] = field(default=())

    def to_json(self) -> dict[str, Any]:
        """Give what a JSON field can keep."""
        return {
            "outcome": self.outcome.value,
            "reasons": [reason.to_json() for reason in self.reasons],
        }

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> Verdict:
        """Read back what `to_json` gave."""
        return cls(
            Outcome(told["outcome"]), tuple(map(Reason.from_json, told["reasons"]))
        )


class _Weighed(NamedTuple):
    """What one or several criteria say, with the reasons that decided it."""

    truth: Truth
    reasons: tuple[Reason, ...]


def match(facts: VehicleFacts, criteria: CriteriaSet) -> Verdict:
    """Judge one vehicle. See the tables above."""
    return next(match_many((facts,), criteria))[1]


def match_many(
    vehicles: Iterable[VehicleFacts], criteria: CriteriaSet
) -> Iterator[tuple[VehicleFacts, Verdict]]:
    """Judge many vehicles, one after the other; nothing is kept between them.

    Vehicles share years, lines and build days, so each sentence is written once and
    then reused.
    """
    includes = [compiled(c) for c in criteria.criteria if c.include]
    excludes = [compiled(c) for c in criteria.criteria if not c.include]
    for facts in vehicles:
        yield facts, _verdict(facts, criteria, includes, excludes)


def _verdict(
    facts: VehicleFacts,
    criteria: CriteriaSet,
    includes: list[list[Test]],
    excludes: list[list[Test]],
) -> Verdict:
    barred = facts.on_exclusion_list
    if barred or (barred is None and facts.vin in criteria.excluded_vins):
        return _BARRED
    said = _weigh(facts, includes, excludes)
    listed = facts.on_list
    if listed is None and criteria.listed_vins is not None:
        listed = facts.vin in criteria.listed_vins
    if listed:
        return _on_list(said) if includes else _LISTED
    if criteria.listed_vins is None and listed is None:
        return Verdict(_OUTCOMES[said.truth], said.reasons)
    if not includes:
        return _UNLISTED
    if said.truth is Truth.YES:
        return Verdict(Outcome.TO_BE_VERIFIED, (_MET_UNLISTED, *said.reasons))
    return Verdict(_OUTCOMES[said.truth], said.reasons)


def _on_list(said: _Weighed) -> Verdict:
    if said.truth is Truth.NO:
        return Verdict(Outcome.AFFECTED, (_ON_LIST, _DISAGREE, *said.reasons))
    return _LISTED


def _weigh(
    facts: VehicleFacts, includes: list[list[Test]], excludes: list[list[Test]]
) -> _Weighed:
    wanted = _any_of(facts, includes)
    if wanted.truth is Truth.NO or not excludes:
        return wanted
    barred = _any_of(facts, excludes)
    if barred.truth is Truth.YES:
        return _Weighed(Truth.NO, (_EXCLUDED, *barred.reasons))
    if barred.truth is Truth.NO:
        return wanted
    missing = barred.reasons
    if wanted.truth is Truth.UNKNOWN:
        missing = _shortened((*wanted.reasons, *missing))
    return _Weighed(Truth.UNKNOWN, (_EXCLUSION_OPEN, *missing))


def _any_of(facts: VehicleFacts, criteria: list[list[Test]]) -> _Weighed:
    """Join criteria by "or": the first that is met decides."""
    refusals: list[Reason] = []
    missing: list[Reason] = []
    for tests in criteria:
        said = _all_of(facts, tests)
        if said.truth is Truth.YES:
            return said
        (refusals if said.truth is Truth.NO else missing).extend(said.reasons)
    if missing:
        return _Weighed(Truth.UNKNOWN, _shortened(tuple(missing)))
    return _Weighed(Truth.NO, _shortened(tuple(refusals)))


def _all_of(facts: VehicleFacts, tests: list[Test]) -> _Weighed:
    """Join tests by "and": a no decides whatever is missing."""
    answers = []
    for test in tests:
        answer = test(facts)
        if answer.truth is Truth.NO:
            return _Weighed(Truth.NO, (answer.reason,))
        answers.append(answer)
    missing = tuple(a.reason for a in answers if a.truth is Truth.UNKNOWN)
    if missing:
        return _Weighed(Truth.UNKNOWN, missing)
    return _Weighed(Truth.YES, tuple(a.reason for a in answers))


def _shortened(reasons: tuple[Reason, ...]) -> tuple[Reason, ...]:
    """Keep a verdict small: a campaign may have a hundred criteria."""
    if len(reasons) <= MOST_REASONS:
        return reasons
    left_out = len(reasons) - MOST_REASONS
    return (
        *reasons[:MOST_REASONS],
        Reason("more_reasons", f"{left_out} further tests say the same."),
    )


_OUTCOMES = {
    Truth.YES: Outcome.AFFECTED,
    Truth.NO: Outcome.NOT_AFFECTED,
    Truth.UNKNOWN: Outcome.TO_BE_VERIFIED,
}
_ON_LIST = Reason("on_list", "The VIN is on the manufacturer's list.")
_DISAGREE = Reason(
    "criteria_disagree",
    "The campaign's criteria would leave the vehicle out; the list decides.",
)
_MET_UNLISTED = Reason(
    "criteria_met_not_on_list",
    "The vehicle fits the criteria but is not on the manufacturer's list.",
)
_EXCLUDED = Reason("excluded", "A criterion that leaves vehicles out is met.")
_EXCLUSION_OPEN = Reason(
    "exclusion_open",
    "Whether a criterion leaves the vehicle out cannot be said.",
)
_LISTED = Verdict(Outcome.AFFECTED, (_ON_LIST,))
_UNLISTED = Verdict(
    Outcome.NOT_AFFECTED,
    (Reason("not_on_list", "The VIN is not on the manufacturer's list."),),
)
_BARRED = Verdict(
    Outcome.NOT_AFFECTED,
    (Reason("on_exclusion_list", "The VIN is on the list of vehicles left out."),),
)
