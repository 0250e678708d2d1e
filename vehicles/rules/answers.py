"""The tests of a criterion, and what each answers about a vehicle.

An answer is yes, no, or "cannot say" when the fact it needs is missing or cannot be
compared. Each carries the reason in words. Vehicles share years, lines and build
days, so a test writes each sentence once and then reuses it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

from vehicles.rules.criteria import (
    Criterion,
    SerialRange,
    VehicleFacts,
    compare,
    folded,
)


if TYPE_CHECKING:
    import datetime as dt


class Truth(StrEnum):
    """Yes, no, or a fact is missing."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why: a code for programs, a sentence for people, the criterion if it is one."""

    code: str
    sentence: str
    criterion_id: int | None = None

    def to_json(self) -> dict[str, Any]:
        """Give what a JSON field can keep."""
        told: dict[str, Any] = {"code": self.code, "sentence": self.sentence}
        return told | (
            {} if self.criterion_id is None else {"criterion": self.criterion_id}
        )

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> Reason:
        """Read back what `to_json` gave."""
        return cls(told["code"], told["sentence"], told.get("criterion"))


class Answer(NamedTuple):
    """What one test says of one vehicle."""

    truth: Truth
    reason: Reason


Test: TypeAlias = Callable[[VehicleFacts], Answer]


class _Question(NamedTuple):
    """What is asked of one fact."""

    criterion_id: int
    name: str
    words: str
    wanted: str

    def answer(self, value: object, found: bool | None) -> Answer:  # noqa: FBT001 - three-valued
        """Write down what was found about a value; None is "cannot say"."""
        if found is None:
            code = "not_comparable"
            sentence = (
                f"The {self.words} {value} cannot be compared with {self.wanted}."
            )
            if value is None or not str(value).strip():
                code = "missing"
                sentence = f"The {self.words} is not known; asked for is {self.wanted}."
            return Answer(Truth.UNKNOWN, self._reason(code, sentence))
        if found:
            sentence = f"The {self.words} {value} is asked for ({self.wanted})."
            return Answer(Truth.YES, self._reason("inside", sentence))
        sentence = f"The {self.words} {value} is not asked for ({self.wanted})."
        return Answer(Truth.NO, self._reason("outside", sentence))

    def _reason(self, code: str, sentence: str) -> Reason:
        return Reason(f"{self.name}_{code}", sentence, self.criterion_id)


def compiled(criterion: Criterion) -> list[Test]:
    """Give the tests of a criterion, cheap ones first."""
    tests: list[Test] = []
    if (
        criterion.model_years
        or criterion.model_year_from is not None
        or criterion.model_year_to is not None
    ):
        tests.append(_year_test(criterion))
    named = (
        ("line", "model line", criterion.lines),
        ("engine", "engine", criterion.engines),
        ("plant", "plant", criterion.plants),
    )
    tests += [
        _text_test(criterion.id, name, words, wanted)
        for name, words, wanted in named
        if wanted
    ]
    if criterion.build_from is not None or criterion.build_to is not None:
        tests.append(_build_test(criterion))
    if criterion.serials:
        tests.append(_serial_test(criterion))
    return tests


def _year_test(criterion: Criterion) -> Test:
    first, last = criterion.model_year_from, criterion.model_year_to
    wanted = ", ".join(map(str, sorted(criterion.model_years)))
    if first is not None or last is not None:
        wanted = " or ".join(filter(None, (wanted, _window(first, last))))
    question = _Question(criterion.id, "model_year", "model year", wanted)
    known: dict[int | None, Answer] = {}

    def inside(year: int) -> bool:
        if year in criterion.model_years:
            return True
        if first is None and last is None:
            return False
        return (first is None or year >= first) and (last is None or year <= last)

    def test(facts: VehicleFacts) -> Answer:
        year = facts.model_year
        answer = known.get(year)
        if answer is None:
            found = None if year is None else inside(year)
            answer = known[year] = question.answer(year, found)
        return answer

    return test


def _text_test(
    criterion_id: int, name: str, words: str, wanted: frozenset[str]
) -> Test:
    told = ", ".join(sorted(wanted))
    keys = {folded(text) for text in wanted}
    question = _Question(criterion_id, name, words, told)
    known: dict[str, Answer] = {}

    def test(facts: VehicleFacts) -> Answer:
        text: str = getattr(facts, name)
        answer = known.get(text)
        if answer is None:
            key = folded(text)
            found = key in keys if key else None
            answer = known[text] = question.answer(text, found)
        return answer

    return test


def _build_test(criterion: Criterion) -> Test:
    first, last = criterion.build_from, criterion.build_to
    wanted = f"{_window(first, last)}, both days inside"
    question = _Question(criterion.id, "build_date", "build date", wanted)
    known: dict[dt.date | None, Answer] = {}

    def test(facts: VehicleFacts) -> Answer:
        day = facts.build_date
        answer = known.get(day)
        if answer is None:
            found = None
            if day is not None:
                found = (first is None or day >= first) and (
                    last is None or day <= last
                )
            answer = known[day] = question.answer(day, found)
        return answer

    return test


def _serial_test(criterion: Criterion) -> Test:
    wanted = "; ".join(map(_told_range, criterion.serials))
    question = _Question(criterion.id, "serial", "serial number", wanted)
    ranges = [(folded(r.plant), r) for r in criterion.serials]

    def test(facts: VehicleFacts) -> Answer:
        plant = folded(facts.plant)
        answers = [_in_range(plant, facts.serial, key, r) for key, r in ranges]
        found: bool | None = None
        if Truth.YES in answers:
            found = True
        elif Truth.UNKNOWN not in answers:
            found = False
        told = facts.serial
        if told and found is None and not plant:
            return Answer(
                Truth.UNKNOWN,
                Reason(
                    "plant_missing",
                    f"The plant is not known, so serial number {told} cannot be"
                    f" placed; asked for is {wanted}.",
                    criterion.id,
                ),
            )
        return question.answer(told, found)

    return test


def _in_range(plant: str, serial: str, wanted_plant: str, reach: SerialRange) -> Truth:
    if wanted_plant and plant and plant != wanted_plant:
        return Truth.NO
    if not serial.strip():
        return Truth.UNKNOWN
    low = compare(serial, reach.first) if reach.first else 1
    high = compare(serial, reach.last) if reach.last else -1
    if low == -1 or high == 1:
        return Truth.NO
    if low is None or high is None or (wanted_plant and not plant):
        return Truth.UNKNOWN
    return Truth.YES


def _window(first: object | None, last: object | None) -> str:
    if first is None:
        return f"up to {last}"
    if last is None:
        return f"from {first}"
    return f"{first} to {last}"


def _told_range(reach: SerialRange) -> str:
    told = _window(reach.first or None, reach.last or None)
    if not reach.first and not reach.last:
        told = "any serial number"
    return f"{told} at {reach.plant}" if reach.plant else told
