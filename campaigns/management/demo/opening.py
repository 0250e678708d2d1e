"""Campaigns as they are entered: facts, remedy, criteria, match, first batch."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils import timezone

from campaigns.domain.amending import save_criterion
from campaigns.domain.announcing import CampaignFacts, enter_campaign
from campaigns.domain.applying import ask_apply
from campaigns.domain.first_batch import BillPaper, SlipPaper, announce
from campaigns.domain.matching import ask_match
from campaigns.domain.remedies_entry import (
    describe_remedy,
    remedy_of,
    save_line,
    save_variant,
)
from campaigns.domain.repair_extras import set_limit
from campaigns.domain.tools import keep_tool
from campaigns.management.demo.scenario import MAKER, SERVICE, Form, Plot, Rule
from campaigns.models import (
    Allocation,
    Campaign,
    CampaignVehicle,
    Criterion,
    Remedy,
    ScheduledItem,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
)
from campaigns.rules.claim_gaps import ExtraLimits
from campaigns.rules.lifecycle import ClaimLineKind, Payer, ToolStanding
from campaigns.rules.remedy_choice import read_conditions
from dealership.domain.jobs import run_waiting


if TYPE_CHECKING:
    from campaigns.management.demo.fleet import Cast
    from dealership.models import StaffMember, Store

WORKING_HOUR = 10


def moment(day: dt.date, hour: int = WORKING_HOUR) -> dt.datetime:
    """Give an hour of a day in the house's time."""
    return dt.datetime.combine(
        day, dt.time(hour), tzinfo=timezone.get_current_timezone()
    )


def open_campaign(*, plot: Plot, cast: Cast, today: dt.date) -> Campaign:
    """Enter a campaign as of the day on which it was announced, and match it."""
    by, day = cast.staff["service"], today - dt.timedelta(days=plot.announced)
    at = moment(day)
    campaign = enter_campaign(
        code=plot.code,
        facts=_facts(plot, today),
        supplier=cast.supplier,
        by=by,
        at=at,
    )
    describe_remedy(
        campaign=campaign,
        tools=plot.tools,
        cautions=plot.cautions,
        special_tools=plot.special_tools,
        by=by,
        at=at,
    )
    _keep_tools(campaign, cast, day=day, today=today)
    if plot.loan_car_cents_a_day is not None:
        set_limit(
            campaign=campaign,
            kind=ClaimLineKind.LOAN_CAR,
            limits=ExtraLimits(day_cents=plot.loan_car_cents_a_day, most_days=3),
            by=by,
            at=at,
        )
    for position, form in enumerate(plot.forms, start=1):
        _write_form(campaign, form, position=position, cast=cast, at=at)
    for rule in plot.rules:
        criterion = _criterion(rule, today)
        save_criterion(campaign=campaign, criterion=criterion, by=by, at=at)
    _match(campaign, next(iter(cast.stores.values())), by, at)
    campaign.refresh_from_db()
    return campaign


def _keep_tools(
    campaign: Campaign, cast: Cast, *, day: dt.date, today: dt.date
) -> None:
    """Give the first store each tool, lend the second one, leave the third without."""
    owner, borrower, *_others = cast.stores.values()
    by = cast.staff["technician"]
    for tool in remedy_of(campaign).special_tools.order_by("number"):
        keep_tool(
            store=owner,
            tool=tool,
            standing=ToolStanding.OWNED,
            place="Tool cage, shelf 2",
            by=by,
            at=moment(day),
        )
        keep_tool(
            store=borrower,
            tool=tool,
            standing=ToolStanding.BORROWED,
            place="Tool cage",
            lender=owner.name,
            back_by=today + dt.timedelta(days=6),
            by=by,
            at=moment(day),
        )


def _match(campaign: Campaign, store: Store, by: StaffMember, at: dt.datetime) -> None:
    """Match and apply as of then, through the jobs that a worker would run."""
    version = ask_match(campaign=campaign, store=store, by=by, at=at)
    run_waiting(clock=lambda: at)
    version.refresh_from_db()
    ask_apply(version=version, why="First match", store=store, by=by, at=at)
    run_waiting(clock=lambda: at)


def _facts(plot: Plot, today: dt.date) -> CampaignFacts:
    def ago(days: int | None) -> dt.date | None:
        return None if days is None else today - dt.timedelta(days=days)

    def ahead(days: int | None) -> dt.date | None:
        return None if days is None else today + dt.timedelta(days=days)

    announced = today - dt.timedelta(days=plot.announced)
    return CampaignFacts(
        maker=MAKER,
        maker_number=plot.maker_number,
        regulator_number=plot.regulator_number,
        title=plot.title,
        campaign_class=plot.campaign_class,
        bulletin=plot.bulletin,
        risk=plot.risk,
        announced_on=announced,
        parts_available_on=announced + dt.timedelta(days=8),
        letters_on=ago(plot.letters) or announced + dt.timedelta(days=14),
        claims_until=ahead(plot.claims_in),
        returns_until=ahead(plot.returns_in),
        restocking_basis_points=1_500,
        stop_sale=plot.stop_sale,
        eligible_until=ahead(plot.eligible_in),
        odometer_limit=plot.odometer_limit,
    )


def _criterion(rule: Rule, today: dt.date) -> Criterion:
    window = rule.built_days_ago
    return Criterion(
        include=rule.include,
        lines=list(rule.lines),
        engines=list(rule.engines),
        plants=list(rule.plants),
        model_years=list(rule.model_years),
        build_from=today - dt.timedelta(days=window[0]) if window else None,
        build_to=today - dt.timedelta(days=window[1]) if window else None,
    )


def _write_form(
    campaign: Campaign, form: Form, *, position: int, cast: Cast, at: dt.datetime
) -> None:
    by = cast.staff["service"]
    variant = save_variant(
        campaign=campaign,
        variant=Variant(code=form.code, title=form.title, position=position),
        conditions=read_conditions(list(form.conditions)),
        by=by,
        at=at,
    )
    steps = [
        save_line(
            variant=variant,
            line=VariantStep(position=number, text=text, caution=caution),
            by=by,
            at=at,
        )
        for number, (text, caution) in enumerate(form.steps, start=1)
    ]
    for line in _lines(form, cast, steps):
        save_line(variant=variant, line=line, by=by, at=at)


def _lines(
    form: Form, cast: Cast, steps: list[VariantStep]
) -> list[VariantPart | VariantLabour | VariantCheck]:
    lines: list[VariantPart | VariantLabour | VariantCheck] = [
        VariantPart(
            part=cast.parts[number],
            quantity=pieces,
            share_basis_points=share,
            payer=payer,
        )
        for number, pieces, share, payer in form.parts
    ]
    lines.append(
        VariantLabour(
            operation=f"{form.code}-01",
            title=form.title,
            hundredths_of_hour=form.hours,
            includes=list(form.operations),
            times=dict(form.times),
            skill=form.skill,
        )
    )
    lines += [
        VariantCheck(
            position=number,
            after_step=steps[one.after - 1] if one.after else None,
            title=one.title,
            instruction=one.how,
            unit=one.unit,
            low=None if one.low is None else Decimal(one.low),
            high=None if one.high is None else Decimal(one.high),
            outside=one.outside,
            replace_part=cast.parts[one.replace] if one.replace else None,
        )
        for number, one in enumerate(form.checks, start=1)
    ]
    return lines


def send_first_batch(
    *, plot: Plot, campaign: Campaign, cast: Cast, today: dt.date
) -> list[Allocation]:
    """Announce, bill and send the first batch: a share of each store's population."""
    by = cast.staff["parts"]
    day = today - dt.timedelta(days=plot.announced)
    batches = []
    for store in cast.stores.values():
        covered = CampaignVehicle.objects.filter(
            campaign=campaign, store=store, work_state="open"
        ).count()
        for turn, (number, share) in enumerate(plot.first_batch.items(), start=1):
            part = cast.parts[number]
            per_vehicle = _pieces_a_vehicle(plot, number)
            pieces = _packs(covered * per_vehicle * share, part.pack)
            if pieces == 0:
                continue
            batches.append(
                announce(
                    campaign=campaign,
                    store=store,
                    part=part,
                    quantity=pieces,
                    unit_cost_cents=part.unit_cost_cents,
                    announced_on=day,
                    bill=BillPaper(
                        number=f"B{plot.maker_number[-3:]}-{store.code}-{turn}",
                        dated=day,
                        quantity=pieces,
                        unit_cost_cents=part.unit_cost_cents,
                    ),
                    slip=SlipPaper(
                        number=f"P{plot.maker_number[-3:]}-{store.code}-{turn}",
                        quantity=pieces,
                        expected_on=day + dt.timedelta(days=8),
                    ),
                    by=by,
                    at=moment(day),
                )
            )
    return batches


def _pieces_a_vehicle(plot: Plot, number: str) -> int:
    return max(
        pieces
        for form in plot.forms
        for part, pieces, *_ in form.parts
        if part == number
    )


def _packs(pieces: float, pack: int) -> int:
    return int(pieces / pack + 0.5) * pack


def write_scheduled_item(*, cast: Cast) -> ScheduledItem:
    """Write the service item that draws on the same seal; the customer pays."""
    item = ScheduledItem.objects.create(
        code=SERVICE.code,
        title=SERVICE.title,
        lines=list(SERVICE.lines),
        engines=list(SERVICE.engines),
        due_after_miles=SERVICE.miles,
        due_after_months=SERVICE.months,
        share_done_here_basis_points=1_500,
    )
    remedy = Remedy.objects.create(
        scheduled_item=item,
        cautions="Hot coolant scalds. Let the engine cool before you open the system.",
    )
    variant = Variant.objects.create(
        remedy=remedy, code="S", title="Replace seal and hose clamps"
    )
    for number, pieces in ((SERVICE.part, 1), (SERVICE.also, 2)):
        VariantPart.objects.create(
            variant=variant,
            part=cast.parts[number],
            quantity=pieces,
            payer=Payer.CUSTOMER,
        )
    VariantLabour.objects.create(
        variant=variant,
        operation="S-01",
        title="Replace seal and hose clamps",
        hundredths_of_hour=190,
        includes=["coolant-drain", "pump-out", "pump-in", "coolant-fill", "clamps"],
        times={"coolant-drain": 30, "coolant-fill": 40},
        payer=Payer.CUSTOMER,
    )
    return item
