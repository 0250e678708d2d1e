"""What waits for the service manager."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, F, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Claim,
    CriteriaVersion,
    Repair,
    Report,
    VisitJob,
)
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.rules.deadlines import ReportDue, ReportPeriod, next_report
from campaigns.rules.lifecycle import (
    CampaignClass,
    CampaignState,
    ClaimState,
    Reach,
    RepairState,
    ReportState,
    VersionState,
    WorkState,
)
from inventory.models import (
    Balance,
    Dispute,
    GoodsReturn,
    PurchaseOrder,
    Shipment,
)
from inventory.rules.accounts import ORDER_OVER, UNSETTLED, ReturnState
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from dealership.models import Store

REPORT_DAYS = 30
"""A report is called up so many days before it is due: common practice, no source."""

_ALL_CAMPAIGNS = Target(name="campaigns:campaigns")
_OWN = [kind.value for kind in Standing if kind is not Standing.CUSTOMER]


def _campaigns() -> str:
    return _("All campaigns")


def to_verify(*, store: Store, today: dt.date) -> Kind:
    """Give the campaigns with vehicles of which a fact is missing."""
    del today
    found: Any = (
        CampaignVehicle.objects.in_store(store)
        .filter(work_state=WorkState.TO_VERIFY, campaign__state=CampaignState.RUNNING)
        .order_by()
        .values("campaign__code", "campaign__title")
        .annotate(n=Count("pk"))
        .order_by("campaign__code")
    )

    def write(one: dict[str, Any]) -> Chore:
        return Chore(
            kind="to_verify",
            reason=ngettext(
                "%(n)d vehicle lacks a fact that decides whether it is affected",
                "%(n)d vehicles lack a fact that decides whether they are affected",
                one["n"],
            )
            % {"n": one["n"]},
            about=f"{one['campaign__code']} {one['campaign__title']}",
            act=_("Verify"),
            target=Target(
                name="campaigns:open_questions",
                args=(one["campaign__code"],),
            ),
            tone="open",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_CAMPAIGNS, full_words=_campaigns()
    )


def matched(*, store: Store, today: dt.date) -> Kind:
    """Give the amendments that are matched and wait to be applied."""
    del store, today
    found = (
        CriteriaVersion.objects.filter(state=VersionState.MATCHED)
        .exclude(campaign__state=CampaignState.CLOSED)
        .select_related("campaign")
        .order_by("campaign__code")
    )

    def write(one: CriteriaVersion) -> Chore:
        return Chore(
            kind="matched",
            reason=_("Matched, and not yet applied"),
            about=f"{one.campaign.code} {one.campaign.title}",
            detail=_("version %(number)d") % {"number": one.number},
            act=_("Review and apply"),
            target=Target(name="campaigns:match", args=(one.campaign.code,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_CAMPAIGNS, full_words=_campaigns()
    )


def stopped_stock(*, store: Store, today: dt.date) -> Kind:
    """Give the store's own vehicles under a stop-sale without a planned day."""
    del today
    found = (
        CampaignVehicle.objects.in_store(store)
        .still_open()
        .filter(
            campaign__state=CampaignState.RUNNING,
            campaign__stop_sale=True,
            vehicle__standing__in=_OWN,
            planned_on__isnull=True,
        )
        .select_related("campaign", "vehicle")
        .order_by("campaign__code", "vehicle__vin")
    )

    def write(one: CampaignVehicle) -> Chore:
        return Chore(
            kind="stopped_stock",
            reason=_("Own vehicle under a stop-sale, no day planned"),
            about=f"{one.vehicle.vin} {one.vehicle.line}",
            detail=f"{one.campaign.code} {one.campaign.title}",
            act=_("Plan a day"),
            target=Target(
                name="campaigns:population_vehicle", args=(one.campaign.code, one.pk)
            ),
            tone="bad",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_CAMPAIGNS, full_words=_campaigns()
    )


CLAIMS_END_DAYS = 30
"""So many days before the last day for claims open work is called up: common practice,
no source."""


def claims_end_soon(*, store: Store, today: dt.date) -> Kind:
    """Give the campaigns whose last day for claims is near while work is open here."""
    last = today + timedelta(days=CLAIMS_END_DAYS)
    mine = CampaignVehicle.objects.in_store(store).still_open()
    found = (
        Campaign.objects.filter(
            Exists(mine.filter(campaign=OuterRef("pk"))),
            state=CampaignState.RUNNING,
            claims_until__range=(today, last),
        )
        .annotate(
            left=Count(
                "vehicles",
                filter=Q(vehicles__pk__in=mine.values("pk")),
            )
        )
        .order_by("claims_until", "code")
    )

    def write(one: Any) -> Chore:  # noqa: ANN401 (annotated)
        words = ngettext(
            "%(n)d vehicle still open", "%(n)d vehicles still open", one.left
        )
        return Chore(
            kind="claims_end_soon",
            reason=_("Claims end soon, and work is open"),
            about=f"{one.code} {one.title}",
            detail=words % {"n": one.left},
            deadline=one.claims_until,
            act=_("See who is booked"),
            target=Target(name="campaigns:campaign_visits", args=(one.code,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_CAMPAIGNS, full_words=_campaigns()
    )


def ready_to_close(*, store: Store, today: dt.date) -> Kind:
    """Give the running campaigns in which nothing is left in any store.

    The same tests as campaigns.queries.leftovers, for all campaigns in one query.
    """
    del store, today
    found = (
        Campaign.objects.filter(
            Exists(CampaignVehicle.objects.filter(campaign=OuterRef("pk"))),
            state=CampaignState.RUNNING,
        )
        .exclude(_something_left())
        .order_by("code")
    )

    def write(one: Campaign) -> Chore:
        return Chore(
            kind="ready_to_close",
            reason=_("Nothing is left to do"),
            about=f"{one.code} {one.title}",
            act=_("Close it"),
            target=Target(name="campaigns:close_campaign", args=(one.code,)),
            tone="done",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_CAMPAIGNS, full_words=_campaigns()
    )


def _something_left() -> Q:
    mine = OuterRef("pk")
    pocket = OuterRef("earmark")
    rows: tuple[QuerySet[Any], ...] = (
        CampaignVehicle.objects.filter(
            campaign=mine, reach=Reach.REACHABLE
        ).still_open(),
        VisitJob.objects.filter(campaign_vehicle__campaign=mine, live=True),
        Repair.objects.filter(campaign_vehicle__campaign=mine, state=RepairState.OPEN),
        Balance.objects.filter(Q(on_hand__gt=0) | Q(transit__gt=0), earmark=pocket),
        PurchaseOrder.objects.filter(earmark=pocket).exclude(state__in=ORDER_OVER),
        Shipment.objects.filter(earmark=pocket, received_at__isnull=True),
        Dispute.objects.filter(
            shipment_line__shipment__earmark=pocket, state__in=UNSETTLED
        ),
        GoodsReturn.objects.filter(
            earmark=pocket, state__in=[ReturnState.PREPARED, ReturnState.SHIPPED]
        ),
        Claim.objects.filter(campaign=mine).exclude(
            state__in=[ClaimState.PAID, ClaimState.WRITTEN_OFF]
        ),
    )
    left = Q()
    for one in rows:
        left |= Q(Exists(one))
    return left


def reports(*, store: Store, today: dt.date) -> Kind:
    """Give the regulator's reports that are due soon and not made for this store."""
    campaigns = Campaign.objects.filter(
        Exists(CampaignVehicle.objects.in_store(store).filter(campaign=OuterRef("pk"))),
        state=CampaignState.RUNNING,
        letters_on__isnull=False,
        letters_on__lte=today,
    ).order_by("code")
    made: dict[int, list[dt.date]] = {}
    for campaign_id, as_of in (
        Report.objects.in_store(store)
        .filter(campaign__in=campaigns.values("pk"))
        .exclude(state=ReportState.FAILED)
        .values_list("campaign_id", "as_of")
    ):
        made.setdefault(campaign_id, []).append(as_of)
    found = []
    for one in campaigns:
        assert one.letters_on is not None  # asked for above
        due = next_report(CampaignClass(one.campaign_class), one.letters_on, today)
        if due is None or due.due > today + timedelta(days=REPORT_DAYS):
            continue
        if due.last_day >= today:
            continue
        if not any(as_of >= due.last_day for as_of in made.get(one.pk, [])):
            found.append((one, due))
    found.sort(key=lambda pair: (pair[1].due, pair[0].code))

    def write(pair: tuple[Campaign, ReportDue]) -> Chore:
        campaign, due = pair
        words = (
            _("Quarterly report %(number)d")
            if due.period is ReportPeriod.QUARTER
            else _("Yearly report %(number)d")
        )
        return Chore(
            kind="report",
            reason=words % {"number": due.number},
            about=f"{campaign.code} {campaign.title}",
            detail=_("counts as of %(day)s") % {"day": due.last_day.isoformat()},
            deadline=due.due,
            act=_("Make the report"),
            target=Target(
                name="campaigns:campaign_report",
                args=(campaign.code,),
                query=f"as_of={due.last_day.isoformat()}",
            ),
            tone="act",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="campaigns:reports"),
        full_words=_("All reports"),
    )


def unsent_claims(*, store: Store, today: dt.date) -> Kind:
    """Give the claims that are ready and not sent."""
    del today
    found = (
        Claim.objects.in_store(store)
        .filter(state=ClaimState.READY)
        .select_related("campaign", "repair__vehicle")
        .order_by(F("campaign__claims_until").asc(nulls_last=True), "pk")
    )

    def write(one: Claim) -> Chore:
        return Chore(
            kind="unsent_claim",
            reason=_("Claim ready to send"),
            about=_("claim %(number)d, %(code)s")
            % {"number": one.number, "code": one.campaign.code},
            detail=one.repair.vehicle.vin,
            deadline=one.campaign.claims_until,
            act=_("Send it"),
            target=Target(name="campaigns:claim", args=(one.pk,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="campaigns:claims"),
        full_words=_("All claims"),
    )
