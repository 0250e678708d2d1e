"""What a campaign asks of a vehicle: criteria, windows, lists of VINs."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

_TRAILING_DIGITS = re.compile(r"^(.*?)(\d+)$")


class CriterionAsksNothing(Refusal):
    """A criterion without a single test would take in every vehicle."""

    def __init__(self, criterion_id: int) -> None:
        super().__init__(
            f"Criterion {criterion_id} asks nothing and would take in every vehicle."
            " Give it a model year, a line, a build date or another test."
        )
        self.criterion_id = criterion_id


class WindowBackToFront(Refusal):
    """The first value of a range lies after the last one."""

    def __init__(self, criterion_id: int, first: object, last: object) -> None:
        super().__init__(
            f"Criterion {criterion_id}: {first} lies after {last}. Exchange the two."
        )
        self.criterion_id = criterion_id
        self.first = first
        self.last = last


class NothingToMatchBy(Refusal):
    """There is neither a list nor a criterion that includes anything."""

    def __init__(self) -> None:
        super().__init__(
            "The campaign includes nothing yet. Enter a criterion that includes"
            " vehicles, or upload the manufacturer's list."
        )


@dataclass(frozen=True, slots=True)
class VehicleFacts:
    """What is known of a vehicle. None or an empty text is a missing fact.

    `on_list` and `on_exclusion_list` may be left None: then the sets of the
    CriteriaSet are asked.
    """

    vin: str
    model_year: int | None = None
    line: str = ""
    engine: str = ""
    plant: str = ""
    serial: str = ""
    build_date: dt.date | None = None
    on_list: bool | None = None
    on_exclusion_list: bool | None = None


@dataclass(frozen=True, slots=True)
class SerialRange:
    """Serial numbers from first to last, both inside; at one plant or at any.

    An empty end is open.
    """

    first: str = ""
    last: str = ""
    plant: str = ""


@dataclass(frozen=True, slots=True)
class Criterion:
    """Tests joined by "and". What is left empty is not tested.

    Texts are compared without case and outer spaces. All windows include both ends;
    an empty end is open. Raises CriterionAsksNothing, WindowBackToFront.
    """

    id: int
    include: bool = True
    model_year_from: int | None = None
    model_year_to: int | None = None
    model_years: frozenset[int] = frozenset()
    lines: frozenset[str] = frozenset()
    engines: frozenset[str] = frozenset()
    plants: frozenset[str] = frozenset()
    build_from: dt.date | None = None
    build_to: dt.date | None = None
    serials: tuple[SerialRange, ...] = ()

    def __post_init__(self) -> None:
        tests = (
            self.model_year_from, self.model_year_to, self.build_from, self.build_to,
        )  # fmt: skip
        sets = (self.model_years, self.lines, self.engines, self.plants, self.serials)
        if all(test is None for test in tests) and not any(sets):
            raise CriterionAsksNothing(self.id)
        if self.model_year_from is not None and self.model_year_to is not None:
            self._in_order(self.model_year_from, self.model_year_to)
        if self.build_from is not None and self.build_to is not None:
            self._in_order(self.build_from, self.build_to)
        for reach in self.serials:
            if reach.first and reach.last and compare(reach.first, reach.last) == 1:
                raise WindowBackToFront(self.id, reach.first, reach.last)

    def _in_order(self, first: Any, last: Any) -> None:  # noqa: ANN401 - years or dates
        if first > last:
            raise WindowBackToFront(self.id, first, last)


@dataclass(frozen=True, slots=True)
class CriteriaSet:
    """All that a campaign says about whom it is about.

    `listed_vins` is None when the manufacturer sent no list. A caller that passes
    `on_list` with the facts gives an empty set to say that there is a list.
    Raises NothingToMatchBy.
    """

    criteria: tuple[Criterion, ...] = ()
    listed_vins: frozenset[str] | None = None
    excluded_vins: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if self.listed_vins is None and not any(c.include for c in self.criteria):
            raise NothingToMatchBy


def compare(one: str, other: str) -> int | None:
    """Compare two serial numbers: -1, 0, 1, or None when they cannot be compared.

    A serial is an unchanging beginning and a number: A00120 lies after A99 because
    120 is more than 99. Different beginnings have no order.
    """
    parts, others = _serial_parts(one), _serial_parts(other)
    if parts is None or others is None or parts[0] != others[0]:
        return None
    return (parts[1] > others[1]) - (parts[1] < others[1])


def folded(text: str) -> str:
    """Give a text as it is compared: no case, single spaces."""
    return " ".join(text.split()).casefold()


def _serial_parts(text: str) -> tuple[str, int] | None:
    found = _TRAILING_DIGITS.match("".join(text.split()).casefold())
    return (found[1], int(found[2])) if found else None
