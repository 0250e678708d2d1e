"""Finding vehicles and reading their cards."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import connection
from django.db.models import Prefetch, Q

from vehicles.models import Address, Tenure, Vehicle, VehicleChange
from vehicles.rules.names import folded_name
from vehicles.rules.vin import VIN_LENGTH, normalise_vin, without_import_mark


if TYPE_CHECKING:
    from dealership.models import StaffMember
    from vehicles.models.vehicle import VehicleQuerySet

TAIL_LENGTH = 8
"""Characters at the end of a VIN by which people and papers name a vehicle."""
_SHORTEST_TAIL = 4
_LAST_CHARACTER = chr(0x10FFFF)


def begins_with(field: str, text: str) -> Q:
    """Ask for texts that begin so, in a form that the index of the field serves."""
    if connection.vendor == "sqlite":
        return Q(**{f"{field}__gte": text, f"{field}__lt": text + _LAST_CHARACTER})
    return Q(**{f"{field}__startswith": text})


def with_owners(rows: VehicleQuerySet) -> VehicleQuerySet:
    """Read the people who have the vehicles now along, in one more query."""
    open_tenures = Tenure.objects.filter(until__isnull=True).select_related("party")
    return rows.select_related("store").prefetch_related(
        Prefetch("tenures", queryset=open_tenures, to_attr="open_tenures")
    )


def _named(text: str, *, inside: bool) -> Q:
    """Ask for vehicles whose owner's name begins so, or a later word of it."""
    name = folded_name(text)
    wanted = (
        Q(party__name_folded__contains=f" {name}")
        if inside
        else begins_with("party__name_folded", name)
    )
    open_tenures = Tenure.objects.filter(wanted, until__isnull=True)
    return Q(pk__in=open_tenures.values("vehicle_id"))


def matching(text: str) -> Q:
    """Ask for vehicles by VIN or a part of it, plate, or owner."""
    vin = normalise_vin(text)
    found = _named(text, inside=False) | _named(text, inside=True)
    found |= Q(plate__iexact=text.strip())
    if vin:
        found |= Q(plate__iexact=vin)
    if len(vin) == VIN_LENGTH:
        found |= Q(vin=vin)
    elif len(vin) >= _SHORTEST_TAIL:
        found |= Q(vin__contains=vin)
    return found


def search(text: str, staff: StaffMember, limit: int = 8) -> list[Vehicle]:
    """Give the vehicles that a text names, the surest first, with their owners.

    In this order: the whole VIN, its last eight, the plate, the beginning of the
    owner's name, the beginning of a later word of it. The first of these that finds
    something answers.
    Each vehicle has ``open_tenures``. Only vehicles of the person's stores.
    """
    vin = without_import_mark(normalise_vin(text))
    name = folded_name(text)
    if not vin and not name:
        return []
    plates = {text.strip().upper(), text.strip(), vin}
    ways: list[Q] = []
    if len(vin) == VIN_LENGTH:
        ways.append(Q(vin=vin))
    if len(vin) == TAIL_LENGTH:
        ways.append(Q(vin_tail=vin))
    ways.append(Q(plate__in=plates - {""}))
    if name:
        # A name is nearly always typed from its beginning, which an index finds; only
        # where that finds nothing are all names read.
        ways += [_named(text, inside=inside) for inside in (False, True)]
    rows = with_owners(Vehicle.objects.for_staff(staff))
    for way in ways:
        found = list(rows.filter(way)[:limit])
        if found:
            return found
    return []


def vehicles_of(staff: StaffMember) -> VehicleQuerySet:
    """Give the vehicles of a person's stores with the people who have them now."""
    return with_owners(Vehicle.objects.for_staff(staff))


def history_of(vehicle: Vehicle, limit: int = 100) -> list[VehicleChange]:
    """Give what was changed about a vehicle, the latest first."""
    rows = VehicleChange.objects.filter(vehicle=vehicle)
    return list(rows.select_related("by", "upload")[:limit])


def tenures_of(vehicle: Vehicle) -> list[Tenure]:
    """Give who has and had a vehicle, the latest first, with their addresses."""
    rows = Tenure.objects.filter(vehicle=vehicle).select_related("party")
    addresses = Prefetch("party__addresses", queryset=Address.objects.all())
    return list(rows.prefetch_related(addresses))
