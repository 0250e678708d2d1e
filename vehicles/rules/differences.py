"""What a row of a list says that the file of vehicles does not say yet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vehicles.rules.standing import VehicleKind


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from vehicles.rules.records import VehicleRecord

_TEXTS = ("line", "engine", "plant", "serial", "plate")
_VALUES = ("model_year", "build_date", "first_use_date", "standing")
FACTS = (*_TEXTS, *_VALUES, "kind", "odometer", "odometer_on")


def changed_facts(
    record: VehicleRecord, known: Mapping[str, Any], *, kind_stated: bool
) -> dict[str, Any]:
    """Give the facts that are to take another value.

    What the row does not state changes nothing. A kind that is only the list's
    general one fills a gap and never overrides. An odometer reading counts when it is
    later than the known one, or, without a day, when it is higher.
    """
    changed: dict[str, Any] = {}
    for name in _TEXTS:
        value = getattr(record, name)
        if value and value != known[name]:
            changed[name] = value
    for name in _VALUES:
        value = getattr(record, name)
        if value is not None and value != known[name]:
            changed[name] = value
    kind = record.kind.value
    gap = known["kind"] == VehicleKind.UNKNOWN
    if kind not in {VehicleKind.UNKNOWN, known["kind"]} and (kind_stated or gap):
        changed["kind"] = kind
    return changed | _changed_reading(record, known)


def _changed_reading(record: VehicleRecord, known: Mapping[str, Any]) -> dict[str, Any]:
    """Give the odometer and its day as far as they are news."""
    miles, day = record.odometer, record.odometer_date
    if miles is None or not _counts(miles, day, known):
        return {}
    reading = {"odometer": miles, "odometer_on": day}
    return {name: value for name, value in reading.items() if value != known[name]}


def _counts(miles: int, day: dt.date | None, known: Mapping[str, Any]) -> bool:
    known_miles, known_day = known["odometer"], known["odometer_on"]
    if known_miles is None:
        return True
    if day is None:
        return miles > int(known_miles)
    return known_day is None or day > known_day


def told(value: object) -> str:
    """Write a fact as the history of a vehicle keeps it."""
    return "" if value is None else str(value)[:120]
