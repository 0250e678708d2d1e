"""Which variant of a remedy a vehicle gets, and what a measured value means.

Variants carry conditions as frozen records; for any vehicle exactly one fits, or the
refusal names what is missing or what overlaps. The manufacturer's instruction
prevails over everything here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, InvalidOperation
from enum import StrEnum

from campaigns.rules.lifecycle import ReadingResult
from dealership.rules.refusals import Refusal


class VehicleFact(StrEnum):
    """A fact that a condition may ask about."""

    MODEL_YEAR = "model_year"
    BUILD_DATE = "build_date"
    ODOMETER_MILES = "odometer_miles"
    AGE_MONTHS = "age_months"
    CAMPAIGN = "campaign"
    MEASURED = "measured"


_WORDS = {
    VehicleFact.MODEL_YEAR: "the model year",
    VehicleFact.BUILD_DATE: "the build date",
    VehicleFact.ODOMETER_MILES: "the odometer",
    VehicleFact.AGE_MONTHS: "the date of first use",
    VehicleFact.CAMPAIGN: "the campaigns it belongs to",
    VehicleFact.MEASURED: "a measured value",
}


class Unit(StrEnum):
    """A unit of length that readings come in; other units stand by themselves."""

    MILLIMETRE = "mm"
    INCH = "in"


MILLIMETRES_AN_INCH = Decimal("25.4")
"""Exact by definition (international yard and pound agreement, 1959)."""


class NoVariantFits(Refusal):
    """No variant of the remedy fits this vehicle."""

    def __init__(self, codes: tuple[str, ...]) -> None:
        self.codes = codes
        super().__init__(
            f"None of the variants {', '.join(codes) or '(there are none)'} fits this"
            " vehicle. Check its facts against the bulletin, or ask the manufacturer."
        )


class SeveralVariantsFit(Refusal):
    """More than one variant fits: their conditions overlap."""

    def __init__(self, codes: tuple[str, ...]) -> None:
        self.codes = codes
        super().__init__(
            f"The variants {' and '.join(codes)} all fit this vehicle. Correct their"
            " conditions in the campaign so that only one does."
        )


class FactMissing(Refusal):
    """A fact that decides between variants is not known."""

    def __init__(self, facts: tuple[str, ...], codes: tuple[str, ...]) -> None:
        self.facts = facts
        self.codes = codes
        super().__init__(
            f"To choose between {', '.join(codes)}, find out {' and '.join(facts)}"
            " of this vehicle and enter it."
        )


class BadCondition(Refusal):
    """A condition as stored cannot be read; ``condition`` is what stands there."""

    def __init__(self, condition: object) -> None:
        self.condition = condition
        super().__init__(
            f"The condition {condition!r} of a variant cannot be read. Enter it again."
        )


class UnitsDiffer(Refusal):
    """A reading in a unit that cannot be turned into the check's unit."""

    def __init__(self, given: str, wanted: str) -> None:
        self.given = given
        self.wanted = wanted
        super().__init__(
            f"The value is in {given}, but the check asks for {wanted}. Measure in"
            f" {wanted}."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One test of one fact; every filled field must hold, both ends count as inside.

    ``low`` and ``high`` bound a number or a date. ``one_of`` lists values (model
    years as text, campaign codes). ``none_of`` lists values that must not hold.
    ``name`` and ``unit`` say which measured value, in which unit.
    """

    fact: VehicleFact
    low: Decimal | date | None = None
    high: Decimal | date | None = None
    one_of: frozenset[str] = frozenset()
    none_of: frozenset[str] = frozenset()
    name: str = ""
    unit: str = ""

    @property
    def asks_for(self) -> str:
        """Give in words what must be known."""
        return f"“{self.name}”" if self.name else _WORDS[self.fact]


@dataclass(frozen=True, slots=True, kw_only=True)
class VariantRule:
    """A variant and its conditions: all must hold; none at all fits every vehicle."""

    code: str
    conditions: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A measured value with its unit."""

    value: Decimal
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleFacts:
    """What is known of one vehicle; None where nobody knows.

    ``campaigns`` are the codes of all campaigns it belongs to. ``measured`` has the
    values by the name of the check.
    """

    model_year: int | None = None
    build_date: date | None = None
    odometer_miles: int | None = None
    age_months: int | None = None
    campaigns: frozenset[str] | None = frozenset()
    measured: Mapping[str, Measured] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a check allows: at least ``low``, at most ``high``, both inside.

    ``outside`` is what to do beyond them; after ``attempts`` repeats: stop and ask.
    """

    unit: str
    low: Decimal | None = None
    high: Decimal | None = None
    outside: ReadingResult = ReadingResult.REPEAT
    attempts: int = 3


def choose_variant(rules: Sequence[VariantRule], facts: VehicleFacts) -> VariantRule:
    """Choose the one variant that fits.

    A fact that is missing matters only where it could still decide: a variant that
    another condition rules out needs no more facts. Raises FactMissing,
    NoVariantFits, SeveralVariantsFit or UnitsDiffer.
    """
    fits: list[VariantRule] = []
    unsure: list[tuple[VariantRule, list[str]]] = []
    for rule in rules:
        verdicts = [(one, condition_holds(one, facts)) for one in rule.conditions]
        if any(verdict is False for _, verdict in verdicts):
            continue
        missing = [one.asks_for for one, verdict in verdicts if verdict is None]
        if missing:
            unsure.append((rule, missing))
        else:
            fits.append(rule)
    if len(fits) > 1:
        raise SeveralVariantsFit(tuple(rule.code for rule in fits))
    if unsure:
        asked = tuple(dict.fromkeys(fact for _, missing in unsure for fact in missing))
        codes = (*(rule.code for rule in fits), *(rule.code for rule, _ in unsure))
        raise FactMissing(asked, codes)
    if not fits:
        raise NoVariantFits(tuple(rule.code for rule in rules))
    return fits[0]


def condition_holds(condition: Condition, facts: VehicleFacts) -> bool | None:
    """Tell whether a condition holds; None when the fact is not known.

    Raises UnitsDiffer for a measured value in a unit that cannot be converted.
    """
    if condition.fact is VehicleFact.CAMPAIGN:
        if facts.campaigns is None:
            return None
        wanted = not condition.one_of or bool(condition.one_of & facts.campaigns)
        return wanted and not condition.none_of & facts.campaigns
    value = _value_of(condition, facts)
    if value is None:
        return None
    if condition.one_of and str(value) not in condition.one_of:
        return False
    if str(value) in condition.none_of:
        return False
    return _within(value, condition.low, condition.high)


def judge_reading(
    limits: Limits, value: Decimal, *, unit: str, attempt: int
) -> ReadingResult:
    """Say what a measured value means: pass, repeat, replace, or stop and ask.

    ``attempt`` counts from 1. Any value outside the limits fails, by however little
    or much; the last attempt that asks for a repeat becomes stop. Millimetres and
    inches are turned into each other exactly. Raises UnitsDiffer.
    """
    found = convert(value, unit, limits.unit)
    if _within(found, limits.low, limits.high):
        return ReadingResult.PASS
    if limits.outside is ReadingResult.REPEAT and attempt >= limits.attempts:
        return ReadingResult.STOP
    if limits.outside is ReadingResult.PASS:
        return ReadingResult.STOP
    return limits.outside


def convert(value: Decimal, given: str, wanted: str) -> Decimal:
    """Turn a length into another unit: 1 in is 25.4 mm exactly. Raises UnitsDiffer."""
    if given == wanted:
        return value
    match given, wanted:
        case Unit.INCH, Unit.MILLIMETRE:
            return value * MILLIMETRES_AN_INCH
        case Unit.MILLIMETRE, Unit.INCH:
            return value / MILLIMETRES_AN_INCH
        case _:
            raise UnitsDiffer(given, wanted)


def read_conditions(stored: Sequence[Mapping[str, object]]) -> tuple[Condition, ...]:
    """Read conditions as they are stored: a list of plain mappings.

    Keys: ``fact``, and of ``low``, ``high`` (text: a number, or a date as
    2026-03-09), ``one_of``, ``none_of`` (lists), ``name``, ``unit`` those that are
    used. Raises BadCondition.
    """
    return tuple(_read_condition(one) for one in stored)


def write_conditions(conditions: Sequence[Condition]) -> list[dict[str, object]]:
    """Write conditions so that ``read_conditions`` gives them back."""
    written = []
    for one in conditions:
        entry: dict[str, object] = {"fact": one.fact.value}
        for key, value in (("low", one.low), ("high", one.high)):
            if value is not None:
                entry[key] = str(value)
        for key, values in (("one_of", one.one_of), ("none_of", one.none_of)):
            if values:
                entry[key] = sorted(values)
        words = {"name": one.name, "unit": one.unit}
        entry |= {key: text for key, text in words.items() if text}
        written.append(entry)
    return written


def _read_condition(stored: Mapping[str, object]) -> Condition:
    """Read one condition."""
    known = {"fact", "low", "high", "one_of", "none_of", "name", "unit"}
    try:
        fact = VehicleFact(str(stored["fact"]))
        if set(stored) - known:
            raise BadCondition(stored)
        condition = Condition(
            fact=fact,
            low=_read_bound(fact, stored.get("low")),
            high=_read_bound(fact, stored.get("high")),
            one_of=_read_values(stored.get("one_of")),
            none_of=_read_values(stored.get("none_of")),
            name=str(stored.get("name", "")),
            unit=str(stored.get("unit", "")),
        )
    except (KeyError, ValueError, TypeError, InvalidOperation) as fault:
        raise BadCondition(stored) from fault
    if fact is VehicleFact.MEASURED and not (condition.name and condition.unit):
        raise BadCondition(stored)
    return condition


def _read_bound(fact: VehicleFact, stored: object) -> Decimal | date | None:
    """Read one end of a range; a number must be finite."""
    if stored is None or stored == "":
        return None
    if fact is VehicleFact.BUILD_DATE:
        return date.fromisoformat(str(stored))
    number = Decimal(str(stored))
    if not number.is_finite():
        raise ValueError(stored)
    return number


def _read_values(stored: object) -> frozenset[str]:
    """Read a list of values; a text alone is no list."""
    if stored is None:
        return frozenset()
    if not isinstance(stored, list | tuple):
        raise TypeError(stored)
    return frozenset(str(value) for value in stored)


def _value_of(condition: Condition, facts: VehicleFacts) -> Decimal | date | None:
    """Give the fact that a condition asks about, in the condition's unit."""
    numbers: dict[VehicleFact, int | None] = {
        VehicleFact.MODEL_YEAR: facts.model_year,
        VehicleFact.ODOMETER_MILES: facts.odometer_miles,
        VehicleFact.AGE_MONTHS: facts.age_months,
    }
    if condition.fact is VehicleFact.BUILD_DATE:
        return facts.build_date
    if condition.fact is VehicleFact.MEASURED:
        measured = facts.measured.get(condition.name)
        if measured is None:
            return None
        return convert(measured.value, measured.unit, condition.unit)
    number = numbers[condition.fact]
    return None if number is None else Decimal(number)


def _within(
    value: Decimal | date, low: Decimal | date | None, high: Decimal | date | None
) -> bool:
    """Tell whether a value lies between two ends, both inside."""
    if isinstance(value, Decimal):
        return (not isinstance(low, Decimal) or value >= low) and (
            not isinstance(high, Decimal) or value <= high
        )
    return (not isinstance(low, date) or value >= low) and (
        not isinstance(high, date) or value <= high
    )
