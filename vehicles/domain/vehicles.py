"""Changing single vehicles: registered by hand, facts mended, a new owner."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record as write_audit
from dealership.rules.refusals import Refusal
from vehicles.domain.applying import announce
from vehicles.domain.merging import Merger, Terms
from vehicles.models import Vehicle, VehicleChange
from vehicles.rules.differences import told
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import AddressSource, TenureRole, VehicleKind
from vehicles.rules.vin import Grade, Market, VinVerdict, judge_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember, Store


class VinRefused(Refusal):
    """The VIN cannot be right."""

    def __init__(self, verdict: VinVerdict) -> None:
        super().__init__(" ".join(reason.sentence for reason in verdict.reasons))
        self.verdict = verdict


class YearOpen(Refusal):
    """The VIN allows two model years and none was chosen."""

    def __init__(self, years: tuple[int, ...]) -> None:
        super().__init__(
            _("The VIN allows model year %(years)s. Choose one.")
            % {"years": " or ".join(map(str, years))}
        )
        self.years = years


class VehicleKnown(Refusal):
    """The vehicle is in the file already."""

    def __init__(self, vehicle: Vehicle, store: Store) -> None:
        words = (
            _("This vehicle is in the file already. Open its card to change it.")
            if vehicle.store_id == store.pk
            else _(
                "This vehicle is looked after by another store of the group,"
                " %(store)s. It stays there until that store hands it over."
            )
            % {"store": vehicle.store.name}
        )
        super().__init__(words)
        self.vin = vehicle.vin


class OwnerStartsTooEarly(Refusal):
    """The new owner would have the vehicle before the present one got it."""

    def __init__(self, since: dt.date, known_since: dt.date) -> None:
        super().__init__(
            _(
                "The present owner has had the vehicle since %(known)s, so a new one"
                " cannot begin on %(since)s. Choose a later day."
            )
            % {"known": known_since, "since": since}
        )


def judge(vin: str, *, store: Store, kind: VehicleKind, year: int | None) -> VinVerdict:
    """Judge a typed VIN by the market of the store."""
    return judge_vin(
        vin,
        market=Market.US if store.market == "US" else Market.OTHER,
        kind=kind,
        stated_model_year=year,
    )


def register_vehicle(
    *,
    record: VehicleRecord,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
    today: dt.date,
) -> Vehicle:
    """Enter one vehicle by hand, with its owner if there is one.

    Raises VinRefused, YearOpen, and VehicleKnown where the VIN is in the file.
    """
    verdict = judge(record.vin, store=store, kind=record.kind, year=record.model_year)
    if verdict.grade is Grade.REJECT:
        raise VinRefused(verdict)
    if verdict.model_year is None and len(verdict.model_years) > 1:
        raise YearOpen(verdict.model_years)
    judged = {"vin": verdict.vin, "model_year": verdict.model_year or record.model_year}
    record = VehicleRecord.from_json(record.to_json() | judged)
    known = Vehicle.objects.select_related("store").filter(vin=record.vin).first()
    if known is not None:
        raise VehicleKnown(known, store)
    try:
        with transaction.atomic():
            merger = Merger.over([record], Terms(store_id=store.pk, day=today))
            merger.take(1, record)
            merger.batch.write(at=at, by_id=by.pk, store_id=store.pk, upload_id=None)
            vehicle = Vehicle.objects.get(vin=record.vin)
            write_audit(
                act="vehicle.registered", subject=vehicle, by=by, at=at, store=store
            )
            announce(store=store, by=by, at=at, vehicle_ids=[vehicle.pk])
    except IntegrityError:
        # Somebody else entered it in the same moment.
        known = Vehicle.objects.select_related("store").get(vin=record.vin)
        raise VehicleKnown(known, store) from None
    return vehicle


def change_facts(
    *, vehicle: Vehicle, facts: Mapping[str, Any], by: StaffMember, at: dt.datetime
) -> list[str]:
    """Change facts of a vehicle and keep what they were; gives which have changed."""
    with transaction.atomic():
        row = Vehicle.objects.select_for_update(of=("self",)).get(pk=vehicle.pk)
        changed = {n: v for n, v in facts.items() if getattr(row, n) != v}
        if not changed:
            return []
        VehicleChange.objects.bulk_create(
            VehicleChange(
                vehicle=row,
                field=name,
                before=told(getattr(row, name)),
                after=told(value),
                at=at,
                by=by,
            )
            for name, value in changed.items()
        )
        for name, value in changed.items():
            setattr(row, name, value)
        row.changed_at = at
        row.save(update_fields=[*changed, "changed_at"])
        names = sorted(changed)
        write_audit(
            act="vehicle.changed",
            subject=row,
            by=by,
            at=at,
            store=row.store,
            after={"facts": names},
        )
        announce(store=row.store, by=by, at=at, vehicle_ids=[row.pk])
    return names


def change_owner(
    *,
    vehicle: Vehicle,
    record: VehicleRecord,
    source: AddressSource,
    by: StaffMember,
    at: dt.datetime,
) -> bool:
    """Say who has a vehicle from a day on; the tenure before it ends the day before.

    The same name again only brings the address and the contact up to date. ``record``
    holds the owner's facts and ``tenure_from``. Tells whether anything has changed.
    Raises OwnerStartsTooEarly.
    """
    since = record.tenure_from
    assert since is not None
    with transaction.atomic():
        row = Vehicle.objects.select_for_update(of=("self",)).get(pk=vehicle.pk)
        record = VehicleRecord.from_json(record.to_json() | {"vin": row.vin})
        terms = Terms(store_id=row.store_id, day=since, source=source)
        merger = Merger.over([record], terms)
        role = (record.role or TenureRole.OWNER).value
        tenure = merger.known.tenures.get((row.pk, role))
        outcome = merger.take(1, record)
        if outcome.faults and tenure is not None:
            raise OwnerStartsTooEarly(since, tenure["since"])
        changed = outcome.state == "changed"
        if changed:
            merger.batch.write(
                at=at, by_id=by.pk, store_id=row.store_id, upload_id=None
            )
            write_audit(
                act="vehicle.owner_changed",
                subject=row,
                by=by,
                at=at,
                store=row.store,
                after={"role": role},
            )
            announce(store=row.store, by=by, at=at, vehicle_ids=[row.pk])
    return changed
