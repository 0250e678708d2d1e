"""This vehicle, now: what is open, what it needs, from when it can be promised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.models import (
    CampaignVehicle,
    PartRequest,
    Repair,
    StateChange,
    Visit,
    VisitJob,
)
from campaigns.queries.hold_list import (
    RENTED,
    hand_over_of,
    in_notice,
    rental_fleet,
)
from campaigns.queries.notices import notices_of
from campaigns.queries.remedies import (
    DueItem,
    Plan,
    campaign_class_of,
    due_items,
    eligibility_of,
    plan_key,
    plans_for,
)
from campaigns.queries.room import DayLoad, days_to_offer, loads
from campaigns.queries.waiting import (
    ON_THE_LIST,
    Asked,
    Availability,
    availability,
    before,
    kept_for,
    place_of,
    waiting_list,
)
from campaigns.queries.wording import (
    COVER_WORDS,
    HAND_OVER_WORDS,
    REASON_WORDS,
    URGENCY_WORDS,
)
from campaigns.rules.deadlines import (
    HandOver,
    HandOverVerdict,
    RemedyPeriod,
    remedy_period,
)
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    CampaignClass,
    CampaignState,
    RepairState,
    WorkState,
)
from dealership.rules.refusals import Refusal
from inventory.queries.numbers import part_ids_of
from inventory.queries.stock import StockOf, stock_of
from vehicles.models import Tenure, Vehicle


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.models import Campaign, NoticeGiven
    from campaigns.rules.eligibility import Verdict
    from dealership.models import StaffMember
    from vehicles.models import Party

DAYS_SEEN = 150
"""Days whose hours are looked at: the promise line's 120 and a month of room."""

_CLASS_ORDER = list(CampaignClass)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenCampaign:
    """One campaign that wants work on this vehicle, with all that is said about it.

    ``plan`` is None where it cannot be made; ``why_no_plan`` says what is missing.
    ``there`` is None without a plan. ``days`` are those to offer, empty when the parts
    can be promised for none.
    """

    row: CampaignVehicle
    verdict: Verdict
    hand_over: HandOverVerdict
    plan: Plan | None
    why_no_plan: str
    there: Availability | None
    days: tuple[DayLoad, ...]
    request: PartRequest | None
    place: int | None
    list_length: int
    booked: Visit | None
    repair: Repair | None
    period: RemedyPeriod | None

    @property
    def campaign(self) -> Campaign:
        """Give the campaign."""
        return self.row.campaign

    @property
    def campaign_class(self) -> CampaignClass:
        """Give its class."""
        return campaign_class_of(self.row.campaign)

    @property
    def urgency_words(self) -> str:
        """Say how urgent it is."""
        return str(URGENCY_WORDS[self.campaign_class])

    @property
    def cover_words(self) -> str:
        """Say who pays and why."""
        reasons = ", ".join(str(REASON_WORDS[one]) for one in self.verdict.reasons)
        return f"{COVER_WORDS[self.verdict.cover]} ({reasons})"

    @property
    def hand_over_words(self) -> str:
        """Say whether the vehicle may be handed over."""
        return str(HAND_OVER_WORDS[self.hand_over.reason])

    @property
    def must_not_be_handed_over(self) -> bool:
        """Tell whether it has to stay."""
        return self.hand_over.verdict is HandOver.MUST_NOT

    @property
    def to_verify(self) -> bool:
        """Tell whether it is not known that the campaign concerns the vehicle."""
        return self.row.work_state == WorkState.TO_VERIFY

    @property
    def can_be_booked(self) -> bool:
        """Tell whether a visit could be booked now."""
        taken = self.booked or self.repair or self.to_verify
        return not taken and self.there is not None and self.there.earliest is not None

    @property
    def can_be_asked(self) -> bool:
        """Tell whether the request belongs on the waiting list."""
        taken = self.booked or self.repair or self.request or self.to_verify
        return not taken and not self.can_be_booked

    @property
    def earliest(self) -> dt.date | None:
        """Give the first day with parts and room in the workshop."""
        return self.days[0].day if self.days else None


@dataclass(frozen=True, slots=True, kw_only=True)
class DueWork:
    """A scheduled item that the vehicle is due for; the customer pays."""

    due: DueItem
    plan: Plan | None
    why_no_plan: str
    there: Availability | None
    days: tuple[DayLoad, ...]
    booked: Visit | None

    @property
    def can_be_booked(self) -> bool:
        """Tell whether it could be booked now."""
        return (
            self.booked is None
            and self.there is not None
            and self.there.earliest is not None
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AtCounter:
    """All that the counter shows of one vehicle."""

    vehicle: Vehicle
    owner: Party | None
    campaigns: tuple[OpenCampaign, ...]
    due: tuple[DueWork, ...]
    closed: tuple[CampaignVehicle, ...]
    visits: tuple[Visit, ...]
    history: tuple[StateChange, ...]
    told: tuple[NoticeGiven, ...]

    @property
    def must_not_be_handed_over(self) -> bool:
        """Tell whether any campaign holds the vehicle back."""
        return any(one.must_not_be_handed_over for one in self.campaigns)

    @property
    def bookable(self) -> list[OpenCampaign]:
        """Give the campaigns that could be booked now."""
        return [one for one in self.campaigns if one.can_be_booked]


def vehicle_at_counter(
    *, staff: StaffMember, vehicle: Vehicle, today: dt.date
) -> AtCounter:
    """Gather what the counter shows of a vehicle, in a fixed number of queries."""
    rows = _rows(staff, vehicle)
    open_rows = [row for row in rows if WorkState(row.work_state) in STILL_OPEN]
    due = due_items(vehicle, today=today)
    items = [(one.item, vehicle) for one in due]
    plans = plans_for(open_rows, items, today=today)
    desk = _desk(vehicle, open_rows, plans.values(), today)
    booked = _booked(vehicle)
    campaigns = [_open_campaign(row, plans, desk, booked) for row in open_rows]
    return AtCounter(
        vehicle=vehicle,
        owner=_owner(vehicle),
        campaigns=tuple(sorted(campaigns, key=_urgency)),
        due=tuple(_due_work(one, vehicle, plans, desk, booked) for one in due),
        closed=tuple(row for row in rows if row not in open_rows),
        visits=tuple(
            Visit.objects.for_staff(staff).filter(vehicle=vehicle).order_by("-on")[:20]
        ),
        history=tuple(
            StateChange.objects.filter(campaign_vehicle__in=rows)
            .select_related("campaign_vehicle__campaign", "by")
            .order_by("-recorded_at", "-pk")[:20]
        ),
        told=tuple(notices_of(vehicle, staff=staff)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Desk:
    """What is read once for all jobs of a vehicle."""

    vehicle: Vehicle
    today: dt.date
    stock: StockOf
    asked: Sequence[Asked]
    requests: dict[int, PartRequest]
    repairs: dict[int, Repair]
    loads: Sequence[DayLoad]
    rental_fleet: int
    in_notice: dict[int, int]


def _rows(staff: StaffMember, vehicle: Vehicle) -> list[CampaignVehicle]:
    """Read the campaigns of a vehicle that are announced; drafts are nobody's news."""
    return list(
        CampaignVehicle.objects.for_staff(staff)
        .filter(vehicle=vehicle)
        .exclude(campaign__state=CampaignState.DRAFT)
        .select_related("campaign__earmark", "vehicle__store", "store")
    )


def _desk(
    vehicle: Vehicle,
    rows: Sequence[CampaignVehicle],
    plans: object,
    today: dt.date,
) -> _Desk:
    """Read stock, waiting list, requests and repairs once."""
    made = [one for one in plans if isinstance(one, Plan)]  # type: ignore[attr-defined]
    parts = {pk for plan in made for pk in part_ids_of(plan.needs())}
    requests = PartRequest.objects.filter(
        campaign_vehicle__in=rows, state__in=ON_THE_LIST
    )
    repairs = Repair.objects.filter(campaign_vehicle__in=rows, state=RepairState.OPEN)
    rented = vehicle.standing in RENTED
    return _Desk(
        vehicle=vehicle,
        today=today,
        stock=stock_of(store=vehicle.store, part_ids=parts),
        asked=waiting_list(store=vehicle.store, today=today),
        requests={one.campaign_vehicle_id: one for one in requests},
        repairs={one.campaign_vehicle_id or 0: one for one in repairs},
        loads=loads(store=vehicle.store, first=today, days=DAYS_SEEN, today=today),
        rental_fleet=rental_fleet(vehicle.store) if rented else 0,
        in_notice=in_notice(vehicle.store, {row.campaign_id for row in rows})
        if rented
        else {},
    )


def _booked(vehicle: Vehicle) -> list[VisitJob]:
    """Read the jobs of a vehicle that are booked or arrived."""
    return list(
        VisitJob.objects.filter(visit__vehicle=vehicle, live=True).select_related(
            "visit"
        )
    )


def _owner(vehicle: Vehicle) -> Party | None:
    """Give who has the vehicle now; own stock has nobody."""
    tenure = (
        Tenure.objects.filter(vehicle=vehicle, until__isnull=True)
        .select_related("party")
        .first()
    )
    return tenure.party if tenure else None


def _open_campaign(
    row: CampaignVehicle,
    plans: dict[tuple[str, int, int], Plan | Refusal],
    desk: _Desk,
    booked: Sequence[VisitJob],
) -> OpenCampaign:
    """Put together what is said about one campaign."""
    found = plans[plan_key(row)]
    plan = found if isinstance(found, Plan) else None
    there, days = _there(plan, row, desk)
    campaign_class = campaign_class_of(row.campaign)
    safety = campaign_class is CampaignClass.SAFETY
    same = [one for one in desk.asked if one.campaign.pk == row.campaign_id]
    return OpenCampaign(
        row=row,
        verdict=eligibility_of(row, desk.today),
        hand_over=hand_over_of(row, fleet=desk.rental_fleet, covered=desk.in_notice),
        plan=plan,
        why_no_plan=found.sentence if isinstance(found, Refusal) else "",
        there=there,
        days=days,
        request=desk.requests.get(row.pk),
        place=place_of(desk.asked, row),
        list_length=len(same),
        booked=next(
            (one.visit for one in booked if one.campaign_vehicle_id == row.pk), None
        ),
        repair=desk.repairs.get(row.pk),
        period=remedy_period(row.first_asked_on, row.campaign.parts_available_on)
        if safety and row.first_asked_on
        else None,
    )


def _there(
    plan: Plan | None, row: CampaignVehicle | None, desk: _Desk
) -> tuple[Availability | None, tuple[DayLoad, ...]]:
    """Tell from when the parts can be promised, and the days to offer."""
    if plan is None:
        return None, ()
    campaign = row.campaign if row else None
    kept = kept_for(before(desk.asked, row), campaign=campaign, stock=desk.stock)
    there = availability(
        plan.needs(), campaign=campaign, stock=desk.stock, kept=kept, today=desk.today
    )
    if there.earliest is None:
        return there, ()
    return there, tuple(
        days_to_offer(desk.loads, first=there.earliest, wanted=plan.hundredths_by_skill)
    )


def _due_work(
    due: DueItem,
    vehicle: Vehicle,
    plans: dict[tuple[str, int, int], Plan | Refusal],
    desk: _Desk,
    booked: Sequence[VisitJob],
) -> DueWork:
    """Put together what is said about one scheduled item."""
    found = plans[plan_key(due.item, vehicle)]
    plan = found if isinstance(found, Plan) else None
    there, days = _there(plan, None, desk)
    return DueWork(
        due=due,
        plan=plan,
        why_no_plan=found.sentence if isinstance(found, Refusal) else "",
        there=there,
        days=days,
        booked=next(
            (one.visit for one in booked if one.scheduled_item_id == due.item.pk), None
        ),
    )


def _urgency(one: OpenCampaign) -> tuple[bool, bool, int, dt.date]:
    """Order: what must not leave, what is certain, the class, the oldest."""
    return (
        not one.must_not_be_handed_over,
        one.to_verify,
        _CLASS_ORDER.index(one.campaign_class),
        one.campaign.announced_on,
    )
