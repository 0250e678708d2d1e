"""The one category that each vehicle falls in, and the report's counts.

What was done comes first, then whether the vehicle can be reached, else it is open;
so the categories always add up to the population.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from campaigns.rules.lifecycle import Reach, WorkState


class Category(StrEnum):
    """Where one vehicle stands in a report."""

    REMEDIED = "remedied"
    INSPECTED_CLEAR = "inspected_clear"
    DISQUALIFIED = "disqualified"
    EXPORTED = "exported"
    STOLEN = "stolen"
    SCRAPPED = "scrapped"
    NOT_NOTIFIED = "not_notified"
    OTHER_REASON = "other_reason"
    OPEN = "open"
    TO_VERIFY = "to_verify"
    REMOVED = "removed"


UNREACHABLE = (
    Category.EXPORTED,
    Category.STOLEN,
    Category.SCRAPPED,
    Category.NOT_NOTIFIED,
    Category.OTHER_REASON,
)
"""49 CFR 573.7(b), from memory: export, theft, scrapping, failure to receive the
notification, other."""

_DONE = {
    WorkState.REMEDIED_HERE: Category.REMEDIED,
    WorkState.REMEDIED_ELSEWHERE: Category.REMEDIED,
    WorkState.INSPECTED_CLEAR: Category.INSPECTED_CLEAR,
    WorkState.DISQUALIFIED: Category.DISQUALIFIED,
    WorkState.REMOVED: Category.REMOVED,
}
_BY_REACH = {
    Reach.EXPORTED: Category.EXPORTED,
    Reach.STOLEN: Category.STOLEN,
    Reach.SCRAPPED: Category.SCRAPPED,
    Reach.NOT_NOTIFIED: Category.NOT_NOTIFIED,
    Reach.OTHER: Category.OTHER_REASON,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Vehicles that stand alike: what their category is computed from, and how many.

    ``on_list``: the vehicle is on the manufacturer's list.
    """

    work: WorkState
    reach: Reach
    on_list: bool = True
    vehicles: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Completion:
    """A report's counts, cumulative, in vehicles.

    ``by_category`` has every category; removed vehicles and those to be verified that
    are on no list are not involved and stand below the line.
    """

    by_category: dict[Category, int]
    involved: int
    to_verify_below_line: int
    removed: int
    needs_repair: int
    remedied_here: int
    remedied_elsewhere: int

    @property
    def remedied(self) -> int:
        """Give the vehicles inspected and repaired."""
        return self.by_category[Category.REMEDIED]

    @property
    def inspected_clear(self) -> int:
        """Give the vehicles inspected and found not to need repair."""
        return self.by_category[Category.INSPECTED_CLEAR]

    @property
    def disqualified(self) -> int:
        """Give the vehicles refused for poor maintenance or use (emissions)."""
        return self.by_category[Category.DISQUALIFIED]

    @property
    def unreachable(self) -> int:
        """Give the vehicles that cannot be reached, all reasons."""
        return sum(self.by_category[category] for category in UNREACHABLE)

    @property
    def inspected(self) -> int:
        """Give all that were inspected: repaired, clear, or still needing repair."""
        return self.remedied + self.inspected_clear + self.needs_repair

    @property
    def found_needing_repair(self) -> int:
        """Give those found to need repair, whether or not it is done by now."""
        return self.remedied + self.needs_repair

    @property
    def complete(self) -> int:
        """Give the vehicles on which the work is done: repaired or clear."""
        return self.remedied + self.inspected_clear

    @property
    def share_of_all(self) -> float | None:
        """Give complete / involved, 0 to 1; None without vehicles."""
        return self.complete / self.involved if self.involved else None

    @property
    def share_of_reachable(self) -> float | None:
        """Give complete / (involved - unreachable); None without vehicles."""
        reachable = self.involved - self.unreachable
        return self.complete / reachable if reachable else None


def category_of(work: WorkState, reach: Reach) -> Category:
    """Give the category of one vehicle: work done, then reach, else open.

    One that is open because facts are still to be verified is shown apart.
    """
    if work in _DONE:
        return _DONE[work]
    if reach in _BY_REACH:
        return _BY_REACH[reach]
    return Category.TO_VERIFY if work is WorkState.TO_VERIFY else Category.OPEN


def is_involved(work: WorkState, *, on_list: bool) -> bool:
    """Tell whether a vehicle counts in the number involved.

    Removed ones never do; one to be verified does only when it is on the
    manufacturer's list.
    """
    if work is WorkState.REMOVED:
        return False
    return on_list or work is not WorkState.TO_VERIFY


def count_vehicles(groups: Iterable[Alike]) -> Completion:
    """Count vehicles into categories; the involved ones add up to ``involved``."""
    found: Counter[Category] = Counter()
    by_work: Counter[WorkState] = Counter()
    below = involved = 0
    for one in groups:
        if is_involved(one.work, on_list=one.on_list):
            found[category_of(one.work, one.reach)] += one.vehicles
            by_work[one.work] += one.vehicles
            involved += one.vehicles
        elif one.work is WorkState.REMOVED:
            found[Category.REMOVED] += one.vehicles
        else:
            below += one.vehicles
    return Completion(
        by_category={category: found[category] for category in Category},
        involved=involved,
        to_verify_below_line=below,
        removed=found[Category.REMOVED],
        needs_repair=by_work[WorkState.NEEDS_REPAIR],
        remedied_here=by_work[WorkState.REMEDIED_HERE],
        remedied_elsewhere=by_work[WorkState.REMEDIED_ELSEWHERE],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportLine:
    """One line of a report: its code, its count, and whether it is part of another."""

    code: str
    vehicles: int
    part_of: str = ""


def safety_lines(done: Completion) -> tuple[ReportLine, ...]:
    """Group the counts as 49 CFR 573.7(b) and (c) ask, from memory.

    Number involved; inspected and repaired; inspected and found not to need repair;
    unreachable, split by reason. What is left is open.
    """
    lines = [
        ReportLine(code="involved", vehicles=done.involved),
        ReportLine(code="inspected_repaired", vehicles=done.remedied),
        ReportLine(code="inspected_no_repair", vehicles=done.inspected_clear),
        ReportLine(code="unreachable", vehicles=done.unreachable),
        *_unreachable_lines(done, "unreachable"),
    ]
    if done.disqualified:
        lines.append(ReportLine(code="disqualified", vehicles=done.disqualified))
    return (*lines, *_open_lines(done))


def emissions_lines(done: Completion) -> tuple[ReportLine, ...]:
    """Group the counts as 40 CFR 1068.525(b) asks.

    Population; cumulative inspected; found needing repair; repaired; unavailable
    (export, theft, retirement, other); disqualified for poor maintenance or use.
    """
    return (
        ReportLine(code="population", vehicles=done.involved),
        ReportLine(code="inspected", vehicles=done.inspected),
        ReportLine(
            code="needing_repair",
            vehicles=done.found_needing_repair,
            part_of="inspected",
        ),
        ReportLine(code="repaired", vehicles=done.remedied, part_of="needing_repair"),
        ReportLine(code="unavailable", vehicles=done.unreachable),
        *_unreachable_lines(done, "unavailable"),
        ReportLine(code="disqualified", vehicles=done.disqualified),
        *_open_lines(done),
    )


def _unreachable_lines(done: Completion, whole: str) -> list[ReportLine]:
    """Split those who cannot be reached by reason."""
    return [
        ReportLine(code=category, vehicles=done.by_category[category], part_of=whole)
        for category in UNREACHABLE
    ]


def _open_lines(done: Completion) -> list[ReportLine]:
    """Give what is still open, those to be verified apart."""
    to_verify = done.by_category[Category.TO_VERIFY]
    return [
        ReportLine(
            code="still_open", vehicles=done.by_category[Category.OPEN] + to_verify
        ),
        ReportLine(code="to_verify", vehicles=to_verify, part_of="still_open"),
    ]
