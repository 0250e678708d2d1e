"""Who is written to about each open vehicle of a campaign in a store, or why not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Prefetch

from campaigns.models import CampaignVehicle, Letter, VisitJob
from campaigns.queries.remedies import limits_of
from campaigns.rules.eligibility import judge_eligibility
from campaigns.rules.lifecycle import (
    CampaignClass,
    OmissionReason,
    PostedBy,
    Reach,
    RoundKind,
    RoundScope,
    WorkState,
)
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

_AT_ONCE = 500
_HOLDERS = {
    PostedBy.STORE: (TenureRole.LESSEE, TenureRole.OWNER, TenureRole.LESSOR),
    PostedBy.MANUFACTURER: (TenureRole.LESSOR, TenureRole.OWNER, TenureRole.LESSEE),
}
"""Who is asked first. A store writes to who has the vehicle. The manufacturer's notice
goes to the registered owner, 49 USC 30119(d); a lessor passes it on, 30119(f)."""

_SAY_PARTS = frozenset({RoundKind.FIRST, RoundKind.SECOND, RoundKind.REMINDER})
"""Letters that ask the owner to come; the interim letter only asks for patience."""


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
    *,
    campaign: Campaign,
    store: Store,
    on: dt.date,
    kind: RoundKind = RoundKind.FIRST,
    posted_by: PostedBy = PostedBy.STORE,
    scope: RoundScope = RoundScope.ALL,
) -> Iterator[Addressee | LeftOut]:
    """Decide for every vehicle that wants work once: an addressee, or the reason.

    What comes out adds up to the vehicles of the campaign in the store that still want
    work; with ``scope`` returned, to those of them whose last letter came back.
    """
    terms = _Terms(
        limits=limits_of(campaign),
        earmark=campaign.earmark.code,
        on=on,
        kind=kind,
        posted_by=posted_by,
        must_be_told=posted_by is PostedBy.MANUFACTURER
        and campaign.campaign_class == CampaignClass.SAFETY,
    )
    for row in _open_rows(campaign, store).iterator(chunk_size=_AT_ONCE):
        if scope is RoundScope.ALL or _came_back(row):
            yield _decide(row, terms)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Terms:
    """What a round asks of each vehicle.

    ``must_be_told``: the law wants a notice whatever somebody prefers, 49 USC 30119(d).
    """

    limits: Limits
    earmark: str
    on: dt.date
    kind: RoundKind
    posted_by: PostedBy
    must_be_told: bool


def _open_rows(campaign: Campaign, store: Store) -> QuerySet[CampaignVehicle]:
    """Give the open vehicles with their people, addresses and posted letters."""
    tenures = Tenure.objects.select_related("party").prefetch_related(
        Prefetch("party__addresses", Address.objects.filter(current=True))
    )
    posted = (
        Letter.objects.filter(posted_on__isnull=False)
        .select_related("letter_round")
        .order_by("posted_on", "pk")
    )
    return (
        CampaignVehicle.objects.filter(campaign=campaign, store=store)
        .still_open()
        .select_related("vehicle")
        .annotate(
            is_booked=Exists(
                VisitJob.objects.filter(campaign_vehicle=OuterRef("pk"), live=True)
            )
        )
        .prefetch_related(Prefetch("vehicle__tenures", tenures))
        .prefetch_related(Prefetch("letters", posted))
        .order_by("pk")
    )


def _decide(row: CampaignVehicle, terms: _Terms) -> Addressee | LeftOut:
    """Decide for one vehicle."""
    reason = _not_about(row, terms) or _not_this_letter(row, terms)
    if reason:
        return LeftOut(row=row, reason=reason)
    found = [
        (party, _where(party, terms))
        for party in holders_on(row.vehicle.tenures.all(), terms.on, terms.posted_by)
    ]
    for party, place in found:
        if isinstance(place, Address):
            return Addressee(row=row, party=party, address=place)
    first = found[0][1] if found else OmissionReason.NO_OWNER
    assert isinstance(first, OmissionReason)
    return LeftOut(row=row, reason=first)


def _not_about(row: CampaignVehicle, terms: _Terms) -> OmissionReason | None:
    """Say why nobody is to be written to about this vehicle, whoever has it."""
    vehicle = row.vehicle
    if row.work_state == WorkState.TO_VERIFY:
        return OmissionReason.TO_VERIFY
    if row.reach != Reach.REACHABLE:
        return OmissionReason.OUT_OF_REACH
    if vehicle.standing != Standing.CUSTOMER:
        return OmissionReason.OWN_STOCK
    verdict = judge_eligibility(
        terms.limits,
        on=terms.on,
        odometer_miles=vehicle.odometer,
        first_used_on=vehicle.first_use_date,
    )
    return None if verdict.counts_as_expected else OmissionReason.PAST_LIMIT


def _not_this_letter(row: CampaignVehicle, terms: _Terms) -> OmissionReason | None:
    """Say why this letter does not follow on those that the vehicle has had.

    A letter that came back was not had. A reminder follows a letter of either sender;
    other letters follow those of their own sender.
    """
    had = {
        RoundKind(letter.letter_round.kind)
        for letter in row.letters.all()
        if letter.returned_on is None
        and (
            terms.kind is RoundKind.REMINDER
            or letter.letter_round.posted_by == terms.posted_by
        )
    }
    match terms.kind:
        case RoundKind.REMINDER:
            if not had & _SAY_PARTS:
                return OmissionReason.NOT_WRITTEN_YET
            booked = getattr(row, "is_booked", False)
            return OmissionReason.BOOKED if booked else None
        case RoundKind.INTERIM if had:
            return OmissionReason.WRITTEN_ALREADY
        case RoundKind.FIRST | RoundKind.SECOND if had & _SAY_PARTS:
            return OmissionReason.WRITTEN_ALREADY
        case RoundKind.SECOND if RoundKind.INTERIM not in had:
            return OmissionReason.NOT_WRITTEN_YET
    return None


def _came_back(row: CampaignVehicle) -> bool:
    """Tell whether the last posted letter about a vehicle came back."""
    posted = list(row.letters.all())
    return bool(posted) and posted[-1].returned_on is not None


def holders_on(
    tenures: Iterable[Tenure], on: dt.date, posted_by: PostedBy
) -> list[Party]:
    """Give who has the vehicle on a day, whom to write to first in front.

    Of two of the same role the one who came last. Erased persons are nobody.
    """
    order = _HOLDERS[posted_by]
    holding = [
        tenure
        for tenure in tenures
        if (tenure.since is None or tenure.since <= on)
        and (tenure.until is None or on <= tenure.until)
        and tenure.party.erased_at is None
    ]
    holding.sort(
        key=lambda one: (
            order.index(TenureRole(one.role)),
            -(one.since.toordinal() if one.since else 0),
            -one.pk,
        ),
    )
    return list(dict.fromkeys(one.party for one in holding))


def party_on(tenures: Iterable[Tenure], on: dt.date) -> Party | None:
    """Give who has the vehicle on a day: its lessee, else its owner, else its lessor."""
    return next(iter(holders_on(tenures, on, PostedBy.STORE)), None)


def _where(party: Party, terms: _Terms) -> Address | OmissionReason:
    """Give where somebody is written to, or why not."""
    if party.deceased:
        return OmissionReason.DECEASED
    if party.do_not_write and not terms.must_be_told:
        return OmissionReason.DO_NOT_WRITE
    return choose_address(party.addresses.all(), terms.earmark)


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
