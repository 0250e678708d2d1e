"""What is known of the vehicles, people and addresses that a chunk of rows names."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import chain
from typing import TYPE_CHECKING, Any, TypeAlias

from django.db.models.functions import Lower

from vehicles.models import Address, Tenure, Vehicle


if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

Facts: TypeAlias = dict[str, Any]
"""One row as a mapping; a row that is not stored yet has no id."""

VEHICLE_FIELDS = (
    "id", "vin", "store_id", "kind", "model_year", "line", "engine", "plant", "serial",
    "build_date", "first_use_date", "odometer", "odometer_on", "plate", "standing",
)  # fmt: skip
PARTY_FIELDS = ("id", "kind", "name", "name_folded", "phone", "email", "language")
ADDRESS_FIELDS = (
    "id", "party_id", "street", "street2", "city", "region", "postal_code", "country",
    "source", "only_for",
)  # fmt: skip
_PLACE = ("street", "street2", "city", "region", "postal_code", "country")


@dataclass(slots=True)
class Known:
    """Vehicles by VIN, open tenures by vehicle and role, parties with addresses.

    An address is keyed by its party, source and the campaign it is limited to; a
    party also by all that a list says of a person.
    """

    vehicles: dict[str, Facts] = field(default_factory=dict)
    store_names: dict[int, str] = field(default_factory=dict)
    tenures: dict[tuple[int, str], Facts] = field(default_factory=dict)
    addresses: dict[tuple[int, str, str], Facts] = field(default_factory=dict)
    identities: dict[tuple[str, ...], Facts] = field(default_factory=dict)
    holdings: Counter[int] = field(default_factory=Counter)


def place_of(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """Give an address as it is compared."""
    return tuple(str(facts[name]).casefold() for name in _PLACE)


def identity_of(
    party: Mapping[str, Any], place: tuple[str, ...], source: str, only_for: str
) -> tuple[str, ...]:
    """Give all by which a list tells one person from another."""
    return (
        party["name_folded"],
        str(party["phone"]),
        str(party["email"]).casefold(),
        source,
        only_for,
        *place,
    )


def known_of(
    *,
    vins: Collection[str],
    names: Collection[str],
    store_id: int,
    owners: Mapping[str, Collection[str]] | None = None,
) -> Known:
    """Read what is known, in a number of queries that does not depend on the rows.

    People are looked for by their folded ``names``, and by those that ``owners`` gives
    for the VIN of a known vehicle.
    """
    known = Known()
    rows = Vehicle.objects.filter(vin__in=vins)
    for vehicle in rows.values(*VEHICLE_FIELDS, "store__name"):
        known.store_names[vehicle["store_id"]] = vehicle.pop("store__name")
        known.vehicles[vehicle["vin"]] = vehicle
    if owners is not None:
        named = chain.from_iterable(owners[vin] for vin in known.vehicles)
        names = {*names, *named} - {""}
    ids = [v["id"] for v in known.vehicles.values() if v["store_id"] == store_id]
    parties = _tenures(known, ids) if ids else {}
    if names:
        _addresses(known, parties, list(names), store_id)
    if parties:
        held = Tenure.objects.filter(party_id__in=list(parties), until__isnull=True)
        known.holdings.update(held.order_by().values_list("party_id", flat=True))
    return known


def _tenures(known: Known, vehicle_ids: list[int]) -> dict[int, Facts]:
    by_id = {vehicle["id"]: vehicle for vehicle in known.vehicles.values()}
    parties: dict[int, Facts] = {}
    rows = Tenure.objects.filter(vehicle_id__in=vehicle_ids, until__isnull=True)
    fields = [f"party__{name}" for name in PARTY_FIELDS]
    for row in rows.order_by().values("id", "vehicle_id", "role", "since", *fields):
        party_id = row["party__id"]
        party = parties.setdefault(
            party_id, {name: row[f"party__{name}"] for name in PARTY_FIELDS}
        )
        known.tenures[row["vehicle_id"], row["role"]] = {
            "id": row["id"],
            "vehicle": by_id[row["vehicle_id"]],
            "party": party,
            "role": row["role"],
            "since": row["since"],
        }
    return parties


def _addresses(
    known: Known,
    parties: dict[int, Facts],
    names: Collection[str],
    store_id: int,
) -> None:
    rows = Address.objects.filter(
        party__store_id=store_id, party__name_folded__in=names, current=True
    )
    fields = [f"party__{name}" for name in PARTY_FIELDS]
    for row in rows.order_by("id").values(*ADDRESS_FIELDS, *fields):
        party = parties.setdefault(
            row["party_id"], {name: row[f"party__{name}"] for name in PARTY_FIELDS}
        )
        address = {name: row[name] for name in ADDRESS_FIELDS} | {"party": party}
        source, only_for = row["source"], row["only_for"]
        known.addresses[party["id"], source, only_for] = address
        key = identity_of(party, place_of(address), source, only_for)
        known.identities.setdefault(key, party)


def known_people(
    *, streets: Collection[str], names: Collection[str], store_id: int
) -> dict[tuple[str, ...], int]:
    """Give the stored people of these names and streets, by all that tells them apart.

    Streets are looked up without regard to the case of their letters.
    """
    lower = {street.lower() for street in streets}
    lower |= {street.translate(_ASCII_LOWER) for street in streets}
    known: dict[tuple[str, ...], int] = {}
    if not lower:
        return known
    rows = (
        Address.objects.alias(low=Lower("street"))
        .filter(low__in=lower, party__store_id=store_id, current=True)
        .filter(party__name_folded__in=names)
        .order_by("id")
        .values(*_PLACE, "source", "only_for", "party_id", *_WHO)
    )
    for row in rows:
        who = {
            name: row[f"party__{name}"] for name in ("name_folded", "phone", "email")
        }
        key = identity_of(who, place_of(row), row["source"], row["only_for"])
        known.setdefault(key, row["party_id"])
    return known


# SQLite's lower() knows the letters of ASCII only ("Built-In Scalar SQL Functions").
_ASCII_LOWER = {ord(c): c.lower() for c in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"}
_WHO = ("party__name_folded", "party__phone", "party__email")
