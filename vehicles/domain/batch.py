"""What a chunk of rows changes, collected first and then written at one go."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeAlias

from vehicles.domain.sets import columns_of, insert_rows, take_ids, update_rows
from vehicles.models import Address, Party, Tenure, Vehicle, VehicleChange
from vehicles.rules.differences import FACTS


if TYPE_CHECKING:
    import datetime as dt
    import uuid

Facts: TypeAlias = dict[str, Any]

_VEHICLE = (
    "id", "vin", "store_id", *FACTS, "from_upload_id", "created_at", "changed_at",
)  # fmt: skip
_PARTY = (
    "id", "store_id", "kind", "name", "name_folded", "phone", "email", "language",
    "do_not_write", "deceased",
)  # fmt: skip
_CONTACT = ("kind", "phone", "email", "language")
_PLACE = ("street", "street2", "city", "region", "postal_code", "country")
_ADDRESS = (
    "id", "party_id", *_PLACE, "source", "only_for", "current", "since",
    "undeliverable_why",
)  # fmt: skip
_TENURE = ("id", "vehicle_id", "party_id", "role", "since", "until")
_CHANGE = ("vehicle_id", "field", "before", "after", "at", "by_id", "upload_id")


@dataclass(slots=True)
class Change:
    """One line of a vehicle's history; the ends may be rows not yet stored."""

    vehicle: Facts
    name: str
    before: str | Facts
    after: str | Facts


@dataclass(slots=True)
class Batch:
    """Rows to add and to change. Mappings refer to one another, not by id."""

    vehicles: list[Facts] = field(default_factory=list)
    parties: list[Facts] = field(default_factory=list)
    addresses: list[Facts] = field(default_factory=list)
    tenures: list[Facts] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    changed_vehicles: dict[int, Facts] = field(default_factory=dict)
    changed_parties: dict[int, Facts] = field(default_factory=dict)
    changed_tenures: dict[int, Facts] = field(default_factory=dict)
    closed_addresses: list[Facts] = field(default_factory=list)

    def write(
        self,
        *,
        at: dt.datetime,
        by_id: int | None,
        store_id: int,
        upload_id: uuid.UUID | None,
    ) -> None:
        """Write all of it, in the caller's transaction."""
        for model, rows in (
            (Vehicle, self.vehicles),
            (Party, self.parties),
            (Address, self.addresses),
            (Tenure, self.tenures),
        ):
            for row, key in zip(rows, take_ids(model, len(rows)), strict=True):
                row["id"] = key
        stamp = {"from_upload_id": upload_id, "created_at": at, "changed_at": at}
        insert_rows(
            Vehicle, _VEHICLE, columns_of((v | stamp for v in self.vehicles), _VEHICLE)
        )
        update_rows(
            Vehicle,
            [*FACTS, "changed_at"],
            columns_of(
                (v | stamp for v in self.changed_vehicles.values()),
                [*FACTS, "changed_at", "id"],
            ),
        )
        self._write_people(store_id)
        self._write_changes(at, by_id, upload_id)

    def _write_people(self, store_id: int) -> None:
        fresh = {"store_id": store_id, "do_not_write": False, "deceased": False}
        insert_rows(
            Party, _PARTY, columns_of((p | fresh for p in self.parties), _PARTY)
        )
        update_rows(
            Party,
            _CONTACT,
            columns_of(self.changed_parties.values(), [*_CONTACT, "id"]),
        )
        update_rows(
            Address, ["current"], [(False, a["id"]) for a in self.closed_addresses]
        )
        current = {"current": True, "undeliverable_why": ""}
        insert_rows(
            Address,
            _ADDRESS,
            columns_of(
                (a | current | {"party_id": a["party"]["id"]} for a in self.addresses),
                _ADDRESS,
            ),
        )
        update_rows(
            Tenure,
            ["party_id", "since", "until"],
            [
                (t["party"]["id"], t["since"], t.get("until"), t["id"])
                for t in self.changed_tenures.values()
            ],
        )
        insert_rows(
            Tenure,
            _TENURE,
            [
                (
                    t["id"],
                    t["vehicle"]["id"],
                    t["party"]["id"],
                    t["role"],
                    t["since"],
                    None,
                )
                for t in self.tenures
            ],
        )

    def _write_changes(
        self, at: dt.datetime, by_id: int | None, upload_id: uuid.UUID | None
    ) -> None:
        insert_rows(
            VehicleChange,
            _CHANGE,
            [
                (
                    change.vehicle["id"],
                    change.name,
                    _end(change.before),
                    _end(change.after),
                    at,
                    by_id,
                    upload_id,
                )
                for change in self.changes
            ],
        )


def _end(value: str | Facts) -> str:
    """Write a person by number only: the history holds no personal values."""
    return value if isinstance(value, str) else str(value["id"])
