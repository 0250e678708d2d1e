"""Changing what is known of a person: a new address, a wish, the end of a tenure."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from vehicles.models import Address, Party
from vehicles.rules.standing import AddressSource


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember
    from vehicles.models import Vehicle


class AddressIncomplete(Refusal):
    """A new address lacks what the post needs."""

    def __init__(self) -> None:
        super().__init__(
            _("Enter street, city and postal code of the new address; all are needed.")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where somebody gets post."""

    street: str
    city: str
    postal_code: str
    street2: str = ""
    region: str = ""
    country: str = "US"

    @property
    def is_complete(self) -> bool:
        """Tell whether a letter could be written to it."""
        return all(one.strip() for one in (self.street, self.city, self.postal_code))


def change_address(
    *,
    party: Party,
    place: Place,
    on: dt.date,
    by: StaffMember,
    at: dt.datetime,
    source: AddressSource = AddressSource.OWN_CUSTOMER,
) -> Address:
    """Give somebody a new address from a day on; the earlier ones stay, not current.

    The same place again stays the row that it is and may be written to again. Raises
    AddressIncomplete.
    """
    if not place.is_complete:
        raise AddressIncomplete
    facts = {name: value.strip() for name, value in asdict(place).items()}
    with transaction.atomic():
        kept = party.addresses.filter(current=True, source=source, **facts).first()
        others = party.addresses.filter(current=True)
        if kept:
            others = others.exclude(pk=kept.pk)
        others.update(current=False)
        if kept:
            kept.undeliverable_on, kept.undeliverable_why = None, ""
            kept.save(update_fields=["undeliverable_on", "undeliverable_why"])
            address = kept
        else:
            address = Address.objects.create(
                party=party, source=source, since=on, **facts
            )
        record(
            act="party.address_changed",
            subject=party,
            by=by,
            at=at,
            store=party.store,
            after={"address": address.pk, "since": on.isoformat()},
        )
    return address


def trust_address(*, address: Address, by: StaffMember, at: dt.datetime) -> Address:
    """Say that an address is right after all: letters may go there again."""
    with transaction.atomic():
        address.undeliverable_on, address.undeliverable_why = None, ""
        address.save(update_fields=["undeliverable_on", "undeliverable_why"])
        record(
            act="party.address_trusted",
            subject=address.party,
            by=by,
            at=at,
            store=address.party.store,
            after={"address": address.pk},
        )
    return address


def stop_letters(
    *, party: Party, deceased: bool, by: StaffMember, at: dt.datetime
) -> Party:
    """Note that somebody has died, or wants no letters."""
    with transaction.atomic():
        party.deceased = party.deceased or deceased
        party.do_not_write = party.do_not_write or not deceased
        party.save(update_fields=["deceased", "do_not_write"])
        record(
            act="party.letters_stopped",
            subject=party,
            by=by,
            at=at,
            store=party.store,
            after={"deceased": party.deceased, "do_not_write": party.do_not_write},
        )
    return party


def end_tenures(
    *,
    vehicle: Vehicle,
    party: Party,
    on: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> int:
    """End what somebody has of a vehicle on a day; gives how many tenures ended."""
    with transaction.atomic():
        running = vehicle.tenures.filter(party=party, until__isnull=True)
        ended = 0
        for tenure in running.select_for_update():
            tenure.until = max(on, tenure.since) if tenure.since else on
            tenure.save(update_fields=["until"])
            ended += 1
        if ended:
            record(
                act="vehicle.tenure_ended",
                subject=vehicle,
                by=by,
                at=at,
                store=vehicle.store,
                after={"on": on.isoformat(), "tenures": ended},
            )
    return ended
