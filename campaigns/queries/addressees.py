"""Who is written to about each open vehicle of a campaign in a store, or why not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from campaigns.models import CampaignVehicle
from campaigns.queries.remedies import limits_of
from campaigns.rules.eligibility import judge_eligibility
from campaigns.rules.lifecycle import OmissionReason, Reach, WorkState
from vehicles.models import Address, Tenure
from vehicles.rules.standing import AddressSource, Standing, TenureRole


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator

    from django.db.models import QuerySet

    from campaigns.models import Campaign
    from campaigns.rules.eligibility import Limits
    from dealership.models import Store
    from vehicles.models import Party

_FIRST_ASKED = {TenureRole.LESSEE: 0, TenureRole.OWNER: 1, TenureRole.LESSOR: 2}
_AT_ONCE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Addressee:
    """Who gets the letter about one vehicle, and where."""

    row: CampaignVehicle
    party: Party
    address: Address


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """An open vehicle about which nobody is written to, and why."""

    row: CampaignVehicle
    reason: OmissionReason


def decide_addressees(
    *, campaign: Campaign, store: Store, on: dt.date
) -> Iterator[Addressee | LeftOut]:
    """Decide for every open vehicle once: an addressee on that day, or the reason.

    What comes out adds up to the open vehicles of the campaign in the store.
    """
    limits = limits_of(campaign)
    for row in _open_rows(campaign, store).iterator(chunk_size=_AT_ONCE):
        yield _decide(row, limits, campaign.earmark.code, on)


def _open_rows(campaign: Campaign, store: Store) -> QuerySet[CampaignVehicle]:
    """Give the open vehicles with their people and addresses."""
    tenures = Tenure.objects.select_related("party").prefetch_related(
        Prefetch("party__addresses", Address.objects.filter(current=True))
    )
    return (
        CampaignVehicle.objects.filter(campaign=campaign, store=store)
        .still_open()
        .select_related("vehicle")
        .prefetch_related(Prefetch("vehicle__tenures", tenures))
        .order_by("pk")
    )


def _decide(
    row: CampaignVehicle, limits: Limits, earmark: str, on: dt.date
) -> Addressee | LeftOut:
    """Decide for one vehicle."""
    reason = _not_about(row, limits, on)
    if reason:
        return LeftOut(row=row, reason=reason)
    party = party_on(row.vehicle.tenures.all(), on)
    if party is None:
        return LeftOut(row=row, reason=OmissionReason.NO_OWNER)
    if party.deceased:
        return LeftOut(row=row, reason=OmissionReason.DECEASED)
    if party.do_not_write:
        return LeftOut(row=row, reason=OmissionReason.DO_NOT_WRITE)
    found = choose_address(party.addresses.all(), earmark)
    if isinstance(found, OmissionReason):
        return LeftOut(row=row, reason=found)
    return Addressee(row=row, party=party, address=found)


def _not_about(
    row: CampaignVehicle, limits: Limits, on: dt.date
) -> OmissionReason | None:
    """Say why nobody is to be written to about this vehicle, whoever has it."""
    vehicle = row.vehicle
    if row.work_state == WorkState.TO_VERIFY:
        return OmissionReason.TO_VERIFY
    if row.reach != Reach.REACHABLE:
        return OmissionReason.OUT_OF_REACH
    if vehicle.standing != Standing.CUSTOMER:
        return OmissionReason.OWN_STOCK
    verdict = judge_eligibility(
        limits,
        on=on,
        odometer_miles=vehicle.odometer,
        first_used_on=vehicle.first_use_date,
    )
    return None if verdict.counts_as_expected else OmissionReason.PAST_LIMIT


def party_on(tenures: Iterable[Tenure], on: dt.date) -> Party | None:
    """Give who has the vehicle on a day: its lessee, else its owner, else its lessor.

    Of two of the same role the one who came last. Erased persons are nobody.
    """
    holding = [
        tenure
        for tenure in tenures
        if (tenure.since is None or tenure.since <= on)
        and (tenure.until is None or on <= tenure.until)
        and tenure.party.erased_at is None
    ]
    if not holding:
        return None
    best = min(
        holding,
        key=lambda one: (
            _FIRST_ASKED[TenureRole(one.role)],
            -(one.since.toordinal() if one.since else 0),
            -one.pk,
        ),
    )
    return best.party


def choose_address(
    addresses: Iterable[Address], earmark: str
) -> Address | OmissionReason:
    """Give the newest address that may be used for this campaign, or why none may.

    18 USC 2721(b)(2): an address from a State's motor-vehicle records is used only
    for the recall that it was given for. ``earmark`` is the campaign's earmark code.
    """
    complete = [one for one in addresses if one.street and one.city and one.postal_code]
    if not complete:
        return OmissionReason.NO_ADDRESS
    allowed = [one for one in complete if may_be_used(one, earmark)]
    if not allowed:
        return OmissionReason.ADDRESS_NOT_ALLOWED
    reached = [one for one in allowed if one.undeliverable_on is None]
    if not reached:
        return OmissionReason.UNDELIVERABLE
    return max(reached, key=lambda one: one.pk)


def may_be_used(address: Address, earmark: str) -> bool:
    """Tell whether an address may be used for the campaign of this earmark code."""
    if address.source == AddressSource.STATE_RECORDS:
        return address.only_for == earmark
    return address.only_for in {"", earmark}
