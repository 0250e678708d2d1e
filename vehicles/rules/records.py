"""What comes out of a list: a record per row, and the faults found on the way."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
    VehicleKind,
)


if TYPE_CHECKING:
    from collections.abc import Mapping

DATE_FIELDS = ("build_date", "first_use_date", "odometer_date", "tenure_from")
CLOSED_FIELDS: dict[str, type[StrEnum]] = {
    "kind": VehicleKind,
    "standing": Standing,
    "owner_kind": PartyKind,
    "role": TenureRole,
    "address_source": AddressSource,
}

_KNOWN_WORDS = {
    name: {member.value: member for member in sort}
    for name, sort in CLOSED_FIELDS.items()
}


class Severity(StrEnum):
    """What a fault means for its row."""

    WARN = "warn"
    ASK = "ask"
    REFUSE = "refuse"


_RANK = {Severity.WARN: 1, Severity.ASK: 2, Severity.REFUSE: 3}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in one cell: where, what, and what it means for the row.

    `row` is the row's number in the file, `column` the header. `field` is empty when
    the whole row is meant.
    """

    row: int
    column: str
    field: str
    value: str
    code: str
    sentence: str
    severity: Severity

    def to_json(self) -> dict[str, Any]:
        """Give what a JSON field can keep."""
        told = {name: getattr(self, name) for name in self.__slots__}
        return told | {"severity": self.severity.value}

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> Fault:
        """Read back what `to_json` gave."""
        return cls(**{**told, "severity": Severity(told["severity"])})


@dataclass(frozen=True, slots=True)
class VehicleRecord:
    """One row, cleaned. Texts may be empty; None is a fact that is not known.

    `odometer` is in whole miles. `model_years` holds what the VIN allows.
    """

    vin: str = ""
    kind: VehicleKind = VehicleKind.UNKNOWN
    model_year: int | None = None
    model_years: tuple[int, ...] = ()
    line: str = ""
    engine: str = ""
    plant: str = ""
    serial: str = ""
    build_date: dt.date | None = None
    first_use_date: dt.date | None = None
    odometer: int | None = None
    odometer_date: dt.date | None = None
    plate: str = ""
    standing: Standing | None = None
    owner_name: str = ""
    owner_kind: PartyKind | None = None
    role: TenureRole | None = None
    tenure_from: dt.date | None = None
    street: str = ""
    street2: str = ""
    city: str = ""
    region: str = ""
    postal_code: str = ""
    country: str = ""
    phone: str = ""
    email: str = ""
    language: str = ""
    address_source: AddressSource | None = None

    def to_json(self) -> dict[str, Any]:
        """Give what a JSON field can keep; what is not known is left out."""
        told: dict[str, Any] = {}
        for name in self.__slots__:
            value = getattr(self, name)
            if value or value == 0:
                told[name] = value.isoformat() if isinstance(value, dt.date) else value
        if self.model_years:
            told["model_years"] = list(self.model_years)
        return told

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> VehicleRecord:
        """Read back what `to_json` gave."""
        values = dict(told)
        for name in DATE_FIELDS:
            if name in values:
                values[name] = dt.date.fromisoformat(values[name])
        for name, known in _KNOWN_WORDS.items():
            if name in values:
                values[name] = known[values[name]]
        values["model_years"] = tuple(values.get("model_years", ()))
        return cls(**values)


@dataclass(frozen=True, slots=True)
class CleanRow:
    """A record and its faults."""

    row: int
    record: VehicleRecord
    faults: tuple[Fault, ...]

    @property
    def worst(self) -> Severity | None:
        """The gravest fault's severity, None when there is no fault."""
        if not self.faults:
            return None
        return max((f.severity for f in self.faults), key=_RANK.__getitem__)
