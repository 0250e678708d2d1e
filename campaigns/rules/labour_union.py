"""Who pays which labour when several jobs are done in one visit.

Each labour line has a published time and lists the elementary operations that it
includes. What two lines share is done once, so it is paid once: a visit pays the union
of the operations. The campaign's time comes first and in full; everybody else pays
only what their own line adds. The manufacturer's published times and its rules for
combined work prevail over everything here.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from campaigns.rules.lifecycle import Payer
from dealership.rules.refusals import Refusal


PAYS_IN_TURN = (Payer.MANUFACTURER, Payer.CUSTOMER, Payer.STORE)
"""Who is asked first for an operation that lines share; common practice, no source."""

REST = ""
"""Stands for the time of a line that belongs to none of its operations."""


class TimesExceedLine(Refusal):
    """The elementary operations take longer than the line that includes them."""

    def __init__(self, line: str, stated: int, published: int) -> None:
        self.line = line
        self.stated = stated
        self.published = published
        super().__init__(
            f"The elementary operations of {line} add up to {stated / 100:.2f} h, but"
            f" its published time is {published / 100:.2f} h. Correct one of them."
        )


class ShareReason(StrEnum):
    """Why a line is paid as it is."""

    IN_FULL = "in_full"
    ONLY_ADDED = "only_added"
    ALL_SHARED = "all_shared"


@dataclass(frozen=True, slots=True, kw_only=True)
class LabourLine:
    """One labour line of a visit before it is shared.

    ``key`` tells it from the other lines. ``hundredths`` is the published time in
    hundredths of an hour; ``times`` what the bulletin says of single ``operations``.
    ``settled``: the work is done and claimed already, so it comes before lines of the
    same payer that are only planned.
    """

    key: int
    name: str
    payer: Payer
    hundredths: int
    operations: tuple[str, ...] = ()
    times: Mapping[str, int] = field(default_factory=dict)
    settled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationPaid:
    """One elementary operation of a visit: who pays it, by which line, for how long.

    ``also_in`` are the keys of the lines that include it too and do not pay it.
    """

    operation: str
    key: int
    payer: Payer
    hundredths: int
    also_in: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePaid:
    """What is paid on one line, in hundredths of an hour, and why."""

    line: LabourLine
    paid: int
    shared: tuple[str, ...]

    @property
    def reason(self) -> ShareReason:
        """Say why it is paid so."""
        if not self.shared:
            return ShareReason.IN_FULL
        return ShareReason.ONLY_ADDED if self.paid else ShareReason.ALL_SHARED


@dataclass(frozen=True, slots=True, kw_only=True)
class Union:
    """The labour of a visit: each operation once, each line with what is paid on it."""

    operations: tuple[OperationPaid, ...]
    lines: tuple[LinePaid, ...]

    @property
    def hundredths(self) -> int:
        """Give the time that is paid in all."""
        return sum(one.hundredths for one in self.operations)

    @property
    def published(self) -> int:
        """Give the published times added up, as if nothing were shared."""
        return sum(one.line.hundredths for one in self.lines)

    @property
    def is_shared(self) -> bool:
        """Tell whether any two lines have an operation in common."""
        return any(one.also_in for one in self.operations)

    def paid_by(self, payer: Payer) -> int:
        """Give the time that one payer pays."""
        return sum(one.hundredths for one in self.operations if one.payer is payer)

    def paid_on(self, key: int) -> LinePaid:
        """Give one line by its key."""
        return next(one for one in self.lines if one.line.key == key)


def split_time(line: LabourLine) -> dict[str, int]:
    """Split a line's published time over its operations; the parts add up to it.

    An operation with a time of its own takes that. What is left is shared evenly over
    those without one, the first ones taking what does not divide (common practice, no
    source); where all have one it is the line's own rest. Raises TimesExceedLine.
    """
    named = _names(line.operations)
    known = {_name(one): time for one, time in line.times.items()}
    stated = {one: known[one] for one in named if one in known}
    left = line.hundredths - sum(stated.values())
    if left < 0:
        raise TimesExceedLine(line.name, sum(stated.values()), line.hundredths)
    open_ones = [one for one in named if one not in stated]
    if not open_ones:
        return {**stated, REST: left} if left or not stated else stated
    each, over = divmod(left, len(open_ones))
    shares = {one: each + (n < over) for n, one in enumerate(open_ones)}
    return {one: stated.get(one, shares.get(one, 0)) for one in named}


def union_of(lines: Sequence[LabourLine]) -> Union:
    """Say for each operation of a visit who pays it, and for each line how much.

    Lines are taken in turn: the manufacturer's, then the customer's, then the store's;
    within a payer what is settled, then in the order given. An operation is paid by
    the first line that includes it, in that line's own time; the others leave it out.
    """
    turn = sorted(
        enumerate(lines),
        key=lambda one: (
            PAYS_IN_TURN.index(one[1].payer),
            not one[1].settled,
            one[0],
        ),
    )
    payer_of: dict[str, LabourLine] = {}
    parts = {line.key: split_time(line) for line in lines}
    for _place, line in turn:
        for operation in parts[line.key]:
            if operation != REST:
                payer_of.setdefault(operation, line)
    found = [
        OperationPaid(
            operation=operation,
            key=line.key,
            payer=line.payer,
            hundredths=hundredths,
            also_in=tuple(
                other.key
                for other in lines
                if other.key != line.key
                and operation != REST
                and operation in parts[other.key]
            ),
        )
        for _place, line in turn
        for operation, hundredths in parts[line.key].items()
        if operation == REST or payer_of[operation].key == line.key
    ]
    return Union(
        operations=tuple(found),
        lines=tuple(_line_paid(line, parts[line.key], payer_of) for line in lines),
    )


def _line_paid(
    line: LabourLine, parts: Mapping[str, int], payer_of: Mapping[str, LabourLine]
) -> LinePaid:
    """Add up what one line pays; what others pay is shared."""
    shared = tuple(
        one for one in parts if one != REST and payer_of[one].key != line.key
    )
    paid = sum(time for one, time in parts.items() if one not in shared)
    return LinePaid(line=line, paid=paid, shared=shared)


def _name(operation: str) -> str:
    """Read an operation's name: case and outer blanks do not tell two apart."""
    return operation.strip().casefold()


def _names(operations: Iterable[str]) -> list[str]:
    """Give each operation once, in order."""
    return list(dict.fromkeys(name for one in operations if (name := _name(one))))
