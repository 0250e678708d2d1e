"""Calls, messages and answers of owners, and what follows from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from campaigns.domain.lifecycle import record_reach, refuse_days_ahead
from campaigns.domain.verifying import note_remedied_elsewhere
from campaigns.models import Contact
from campaigns.models.words import CHANNEL_WORDS
from campaigns.rules.lifecycle import ContactChannel, OwnerAnswer, Reach
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from vehicles.domain.people import (
    AddressIncomplete,
    Place,
    change_address,
    end_tenures,
    stop_letters,
)
from vehicles.domain.vehicles import change_owner
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import AddressSource, TenureRole


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import CampaignVehicle, Letter
    from dealership.models import StaffMember
    from vehicles.models import Party

_GONE = {
    OwnerAnswer.SCRAPPED: Reach.SCRAPPED,
    OwnerAnswer.EXPORTED: Reach.EXPORTED,
    OwnerAnswer.STOLEN: Reach.STOLEN,
}
_OF_A_PERSON = {OwnerAnswer.SOLD, OwnerAnswer.MOVED, OwnerAnswer.NO_LETTERS}


class NobodyKnown(Refusal):
    """The answer is about a person and nobody is known to have the vehicle."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Nobody is known to have this vehicle. Enter its owner on the"
                " vehicle's page first."
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What somebody said: how, what, when, and what else belongs to the answer.

    ``place`` is the new address of who moved, or of ``new_owner``.
    """

    channel: ContactChannel
    answer: OwnerAnswer
    on: dt.date
    note: str = ""
    place: Place | None = None
    new_owner: str = ""


def record_contact(
    *,
    key: str,
    campaign_vehicle: CampaignVehicle,
    party: Party | None,
    told: Told,
    by: StaffMember,
    at: dt.datetime,
    letter: Letter | None = None,
) -> Contact:
    """Keep what somebody said of a vehicle, and do what follows from it.

    Sold ends the tenure, and the new owner's begins where a name is given; scrapped,
    exported, stolen become the vehicle's reach; done elsewhere its work state; a new
    address and the wish for no letters go to the person. The same key gives the first
    contact. Raises DayAhead, NobodyKnown, AddressIncomplete, MoveNotAllowed,
    OwnerStartsTooEarly.
    """
    known = Contact.objects.filter(key=key).first()
    if known:
        return known
    refuse_days_ahead(told.on, at)
    if told.answer in _OF_A_PERSON and party is None:
        raise NobodyKnown
    try:
        with transaction.atomic():
            contact = Contact.objects.create(
                key=key,
                campaign_vehicle=campaign_vehicle,
                party=party,
                letter=letter,
                channel=told.channel,
                answer=told.answer,
                on=told.on,
                note=told.note.strip()[:200],
                by=by,
                at=at,
            )
            record(
                act="contact.recorded",
                subject=contact,
                by=by,
                at=at,
                store=campaign_vehicle.store,
                after={"answer": told.answer, "channel": told.channel},
            )
            _follow(campaign_vehicle, party, told, by, at)
    except IntegrityError:
        known = Contact.objects.filter(key=key).first()
        if known is None:
            raise
        return known
    return contact


def _follow(
    row: CampaignVehicle,
    party: Party | None,
    told: Told,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    """Do what an answer says about vehicle, owner or address."""
    source = _("the owner, %(how)s") % {"how": CHANNEL_WORDS[told.channel]}
    if told.answer in _GONE:
        record_reach(
            campaign_vehicle=row,
            reach=_GONE[told.answer],
            effective_on=told.on,
            source=source,
            by=by,
            at=at,
        )
    elif told.answer is OwnerAnswer.DONE_ELSEWHERE:
        note_remedied_elsewhere(row=row, done_on=told.on, source=source, by=by, at=at)
    elif party is not None and told.answer is OwnerAnswer.SOLD:
        _sold(row, party, told, by, at)
    elif party is not None and told.answer is OwnerAnswer.MOVED:
        if told.place is None:
            raise AddressIncomplete
        change_address(party=party, place=told.place, on=told.on, by=by, at=at)
    elif party is not None and told.answer is OwnerAnswer.NO_LETTERS:
        stop_letters(party=party, deceased=False, by=by, at=at)


def _sold(
    row: CampaignVehicle, party: Party, told: Told, by: StaffMember, at: dt.datetime
) -> None:
    """End the tenure; the new owner's begins where somebody is named."""
    if not told.new_owner.strip():
        end_tenures(vehicle=row.vehicle, party=party, on=told.on, by=by, at=at)
        return
    place = told.place or Place(street="", city="", postal_code="")
    change_owner(
        vehicle=row.vehicle,
        record=VehicleRecord(
            owner_name=told.new_owner.strip(),
            role=TenureRole.OWNER,
            tenure_from=told.on,
            street=place.street,
            street2=place.street2,
            city=place.city,
            region=place.region,
            postal_code=place.postal_code,
            country=place.country,
        ),
        source=AddressSource.OWN_CUSTOMER,
        by=by,
        at=at,
    )
    end_tenures(vehicle=row.vehicle, party=party, on=told.on, by=by, at=at)
