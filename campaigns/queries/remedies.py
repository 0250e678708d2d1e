"""What is to be done on a vehicle: the variant, its parts and hours, and who pays."""

from __future__ import annotations

from calendar import monthrange
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Max, Prefetch, Q
from django.utils.translation import gettext as _

from campaigns.models import (
    CampaignVehicle,
    Remedy,
    Repair,
    ScheduledItem,
    VariantPart,
)
from campaigns.rules.eligibility import Limits, Verdict, judge_eligibility
from campaigns.rules.lifecycle import (
    CampaignClass,
    Outcome,
    Payer,
    RepairState,
    WorkState,
)
from campaigns.rules.remedy_choice import (
    Measured,
    VariantRule,
    VehicleFacts,
    choose_variant,
    read_conditions,
)
from campaigns.rules.room import Skill
from dealership.rules.refusals import Refusal
from inventory.queries.numbers import Needs, read_chains


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from campaigns.models import (
        Campaign,
        RemedyPrice,
        Variant,
        VariantCheck,
        VariantLabour,
    )
    from inventory.models import Earmark, Part
    from vehicles.models import Vehicle

ALL = 10_000
"""A share of all vehicles, in hundredths of a per cent."""

MONTHS_A_YEAR = 12


class NoRemedy(Refusal):
    """Nobody has entered what is to be done."""

    def __init__(self, code: str) -> None:
        super().__init__(
            _(
                "The remedy of %(code)s is not entered yet. Enter it on the page of the"
                " campaign, then come back."
            )
            % {"code": code}
        )
        self.code = code


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPart:
    """Pieces that one vehicle takes of one part.

    ``share_basis_points``: of how many vehicles, in hundredths of a per cent; below
    10,000 the part is conditional. ``numbers`` serve for it, the oldest first; the
    last one is ordered.
    """

    part: Part
    quantity: int
    payer: Payer
    share_basis_points: int
    numbers: tuple[Part, ...] = ()

    @property
    def is_conditional(self) -> bool:
        """Tell whether only some vehicles need it."""
        return self.share_basis_points < ALL

    @property
    def other_numbers(self) -> tuple[Part, ...]:
        """Give the numbers that serve beside the one that the remedy names."""
        return tuple(one for one in self.numbers if one != self.part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be done on one vehicle.

    ``eligibility`` is None for a scheduled item: the customer pays for it. ``payer``
    is None while a fact that decides it is missing.
    """

    remedy: Remedy
    variant: Variant
    parts: tuple[PlanPart, ...]
    labour: tuple[VariantLabour, ...]
    checks: tuple[VariantCheck, ...]
    allowances: tuple[RemedyPrice, ...]
    earmarks: tuple[Earmark | None, ...]
    payer: Payer | None
    eligibility: Verdict | None

    @property
    def hundredths_of_hour(self) -> int:
        """Give the published time of all labour, in hundredths of an hour."""
        return sum(line.hundredths_of_hour for line in self.labour)

    @property
    def hundredths_by_skill(self) -> dict[Skill, int]:
        """Give the published time by the skill that it asks for."""
        found: dict[Skill, int] = defaultdict(int)
        for line in self.labour:
            found[Skill(line.skill)] += line.hundredths_of_hour
        return dict(found)

    def needs(self) -> Needs:
        """Give the pieces to hold, conditional ones too, by part."""
        return Needs(
            {line.part: line.quantity for line in self.parts},
            {line.part.pk: line.numbers for line in self.parts if line.numbers},
        )

    def payer_of(self, line: VariantLabour | RemedyPrice) -> Payer:
        """Give who pays a line of labour or an allowance."""
        return line_payer(Payer(line.payer), self.payer)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueItem:
    """A scheduled item that a vehicle is due for, and by which fact.

    ``due_on`` and ``due_at_miles`` are None where the item or the vehicle says nothing.
    """

    item: ScheduledItem
    due_on: dt.date | None
    due_at_miles: int | None
    last_done_on: dt.date | None


def earmarks_of(campaign: Campaign) -> list[Earmark | None]:
    """Give the pockets a campaign draws on: its own first, then the common stock."""
    return [campaign.earmark, None]


def limits_of(campaign: Campaign) -> Limits:
    """Give the eligibility limits of a campaign.

    The notice is the day of the owner letters, or the announcement while none is set.
    """
    return Limits(
        campaign_class=campaign_class_of(campaign),
        notice_on=campaign.letters_on or campaign.announced_on,
        last_day=campaign.eligible_until,
        odometer_miles=campaign.odometer_limit,
        years=campaign.years_since_first_use,
    )


def campaign_class_of(campaign: Campaign) -> CampaignClass:
    """Give the class as the rules know it."""
    return CampaignClass(campaign.campaign_class)


def eligibility_of(row: CampaignVehicle, today: dt.date) -> Verdict:
    """Judge whether the campaign covers the vehicle on a day, and who pays."""
    return judge_eligibility(
        limits_of(row.campaign),
        on=today,
        odometer_miles=row.vehicle.odometer,
        first_used_on=row.vehicle.first_use_date,
    )


def plan_for(
    wanted: CampaignVehicle | ScheduledItem,
    *,
    today: dt.date,
    vehicle: Vehicle | None = None,
    measured: Mapping[str, Measured] | None = None,
) -> Plan:
    """Work out what is to be done on one vehicle, as of a day.

    ``vehicle`` goes with a scheduled item. ``measured`` has values by the name of the
    check where a variant depends on one. Raises NoRemedy, FactMissing, NoVariantFits,
    SeveralVariantsFit, UnitsDiffer or BadCondition.
    """
    found = _plan_one(wanted, today=today, vehicle=vehicle, measured=measured or {})
    if isinstance(found, Refusal):
        raise found
    return found


def _plan_one(
    wanted: CampaignVehicle | ScheduledItem,
    *,
    today: dt.date,
    vehicle: Vehicle | None,
    measured: Mapping[str, Measured],
) -> Plan | Refusal:
    if isinstance(wanted, CampaignVehicle):
        plans = plans_for([wanted], today=today, measured=measured)
    else:
        assert vehicle is not None, "a scheduled item is planned for a vehicle"
        plans = plans_for([], [(wanted, vehicle)], today=today, measured=measured)
    return next(iter(plans.values()))


def plans_for(
    rows: Sequence[CampaignVehicle],
    items: Sequence[tuple[ScheduledItem, Vehicle]] = (),
    *,
    today: dt.date,
    measured: Mapping[str, Measured] | None = None,
) -> dict[tuple[str, int, int], Plan | Refusal]:
    """Plan many vehicles with the same few queries.

    Keys are those of ``plan_key``. Where no plan can be made its refusal stands.
    """
    remedies = load_remedies(
        campaign_ids={row.campaign_id for row in rows},
        item_ids={item.pk for item, _vehicle in items},
    )
    vehicles = [row.vehicle for row in rows] + [vehicle for _item, vehicle in items]
    codes = campaigns_of({vehicle.pk for vehicle in vehicles})
    plans: dict[tuple[str, int, int], Plan | Refusal] = {}
    for row in rows:
        facts = _facts(row.vehicle, codes, today, measured or {})
        verdict = eligibility_of(row, today)
        remedy = remedies.get(("campaign", row.campaign_id))
        plans[plan_key(row)] = _plan(
            remedy, facts, row.campaign.code, tuple(earmarks_of(row.campaign)), verdict
        )
    for item, vehicle in items:
        facts = _facts(vehicle, codes, today, measured or {})
        remedy = remedies.get(("item", item.pk))
        plans[plan_key(item, vehicle)] = _plan(remedy, facts, item.code, (None,), None)
    return plans


def plan_key(
    wanted: CampaignVehicle | ScheduledItem, vehicle: Vehicle | None = None
) -> tuple[str, int, int]:
    """Give the key of one plan among many."""
    if isinstance(wanted, CampaignVehicle):
        return ("campaign", wanted.pk, wanted.vehicle_id)
    assert vehicle is not None, "a scheduled item is planned for a vehicle"
    return ("item", wanted.pk, vehicle.pk)


def load_remedies(
    *, campaign_ids: Collection[int] = (), item_ids: Collection[int] = ()
) -> dict[tuple[str, int], Remedy]:
    """Read remedies with all their lines, by ("campaign" or "item", id)."""
    found = list(
        Remedy.objects.filter(
            Q(campaign__in=campaign_ids) | Q(scheduled_item__in=item_ids)
        ).prefetch_related(
            Prefetch(
                "variants__parts", queryset=VariantPart.objects.select_related("part")
            ),
            "variants__labour",
            "variants__checks__replace_part",
            "variants__allowances",
        )
    )
    note_numbers(
        line
        for remedy in found
        for variant in remedy.variants.all()
        for line in variant.parts.all()
    )
    return {
        ("campaign", one.campaign_id)
        if one.campaign_id is not None
        else ("item", one.scheduled_item_id or 0): one
        for one in found
    }


def note_numbers(lines: Iterable[VariantPart]) -> None:
    """Note on each line which numbers serve for its part, in one query for all."""
    listed = list(lines)
    chains = read_chains({line.part_id for line in listed})
    for line in listed:
        line.numbers = chains.serving(line.part, older=line.old_numbers_serve)


def campaigns_of(vehicle_ids: Collection[int]) -> dict[int, frozenset[str]]:
    """Give the codes of the campaigns that each vehicle belongs to."""
    codes: dict[int, set[str]] = defaultdict(set)
    rows = CampaignVehicle.objects.filter(vehicle__in=vehicle_ids).exclude(
        work_state=WorkState.REMOVED
    )
    for vehicle_id, code in rows.values_list("vehicle_id", "campaign__code"):
        codes[vehicle_id].add(code)
    return {vehicle_id: frozenset(found) for vehicle_id, found in codes.items()}


def _facts(
    vehicle: Vehicle,
    codes: Mapping[int, frozenset[str]],
    today: dt.date,
    measured: Mapping[str, Measured],
) -> VehicleFacts:
    """Gather what is known of a vehicle for the choice of a variant."""
    used = vehicle.first_use_date
    return VehicleFacts(
        model_year=vehicle.model_year,
        build_date=vehicle.build_date,
        odometer_miles=vehicle.odometer,
        age_months=None if used is None else full_months(used, today),
        campaigns=codes.get(vehicle.pk, frozenset()),
        measured=measured,
    )


def full_months(since: dt.date, until: dt.date) -> int:
    """Count the full months between two days, zero or more."""
    months = (until.year - since.year) * MONTHS_A_YEAR + until.month - since.month
    return max(0, months - (until.day < since.day))


def _plan(
    remedy: Remedy | None,
    facts: VehicleFacts,
    code: str,
    earmarks: tuple[Earmark | None, ...],
    verdict: Verdict | None,
) -> Plan | Refusal:
    """Choose the variant and put its lines together, or say why not."""
    if remedy is None:
        return NoRemedy(code)
    variants = list(remedy.variants.all())
    try:
        rules = [
            VariantRule(code=one.code, conditions=read_conditions(one.conditions))
            for one in variants
        ]
        chosen = choose_variant(rules, facts)
    except Refusal as refusal:
        return refusal
    variant = next(one for one in variants if one.code == chosen.code)
    payer = Payer.CUSTOMER if verdict is None else verdict.payer
    return Plan(
        remedy=remedy,
        variant=variant,
        parts=tuple(_plan_part(line, payer) for line in variant.parts.all()),
        labour=tuple(variant.labour.all()),
        checks=tuple(variant.checks.all()),
        allowances=tuple(variant.allowances.all()),
        earmarks=earmarks,
        payer=payer,
        eligibility=verdict,
    )


def line_payer(stated: Payer, payer: Payer | None) -> Payer:
    """Give who pays a line: the maker's lines follow the eligibility once known."""
    return payer if payer and stated is Payer.MANUFACTURER else stated


def _plan_part(line: VariantPart, payer: Payer | None) -> PlanPart:
    """Plan one part, with who pays it."""
    return PlanPart(
        part=line.part,
        quantity=line.quantity,
        payer=line_payer(Payer(line.payer), payer),
        share_basis_points=line.share_basis_points,
        numbers=line.numbers,
    )


def most_needed(remedy: Remedy) -> Needs:
    """Give the most pieces of each part that any variant takes.

    For a vehicle whose variant cannot be told yet: rather too many than a promise
    that cannot be kept, and only numbers that serve in each variant.
    """
    most = Needs()
    for variant in remedy.variants.all():
        for line in variant.parts.all():
            most[line.part] = max(line.quantity, most.get(line.part, 0))
            told = most.numbers.get(line.part_id, line.numbers)
            in_both = tuple(one for one in told if one in line.numbers)
            most.numbers[line.part_id] = in_both or line.numbers[-1:]
    return most


def due_items(vehicle: Vehicle, *, today: dt.date) -> list[DueItem]:
    """Give the scheduled items that a vehicle is due for by age or odometer.

    Due is reached by either. An item recurs: it counts from when it was last done
    here, else from first use. A vehicle of unknown age and odometer is not due.
    """
    return due_items_of([vehicle], today=today)[vehicle.pk]


def due_items_of(
    vehicles: Sequence[Vehicle], *, today: dt.date
) -> dict[int, list[DueItem]]:
    """Give what many vehicles are due for, by their ids, in two queries."""
    items = list(ScheduledItem.objects.filter(active=True))
    last = {
        (row["vehicle"], row["scheduled_item"]): (row["done_on"], row["odometer"])
        for row in Repair.objects.filter(
            vehicle__in=vehicles,
            scheduled_item__isnull=False,
            state=RepairState.COMPLETED,
            outcome=Outcome.REMEDIED,
        )
        .order_by()
        .values("vehicle", "scheduled_item")
        .annotate(done_on=Max("done_on"), odometer=Max("odometer"))
    }
    found: dict[int, list[DueItem]] = {vehicle.pk: [] for vehicle in vehicles}
    for vehicle in vehicles:
        for item in items:
            done_on, done_at = last.get((vehicle.pk, item.pk), (None, None))
            due = _due_item(item, vehicle, done_on, done_at)
            if _fits(item, vehicle) and _is_due(due, vehicle, today):
                found[vehicle.pk].append(due)
    return found


def _fits(item: ScheduledItem, vehicle: Vehicle) -> bool:
    """Tell whether an item is meant for this kind of vehicle."""
    lines = not item.lines or vehicle.line in item.lines
    return lines and (not item.engines or vehicle.engine in item.engines)


def _due_item(
    item: ScheduledItem, vehicle: Vehicle, done_on: dt.date | None, done_at: int | None
) -> DueItem:
    """Work out when an item is due next."""
    since = done_on or vehicle.first_use_date
    months, miles = item.due_after_months, item.due_after_miles
    return DueItem(
        item=item,
        due_on=months_later(since, months) if since and months else None,
        due_at_miles=(done_at or 0) + miles if miles else None,
        last_done_on=done_on,
    )


def _is_due(due: DueItem, vehicle: Vehicle, today: dt.date) -> bool:
    """Tell whether either limit is reached."""
    by_age = due.due_on is not None and due.due_on <= today
    odometer = vehicle.odometer
    by_miles = (
        due.due_at_miles is not None
        and odometer is not None
        and odometer >= due.due_at_miles
    )
    return by_age or by_miles


def months_later(day: dt.date, months: int) -> dt.date:
    """Give the same day so many months on, or the last day of that month."""
    place = day.year * MONTHS_A_YEAR + day.month - 1 + months
    year, month = divmod(place, MONTHS_A_YEAR)
    last = monthrange(year, month + 1)[1]
    return day.replace(year=year, month=month + 1, day=min(day.day, last))


def needs_of(rows: Iterable[CampaignVehicle], *, today: dt.date) -> dict[int, Needs]:
    """Give the pieces that each vehicle of the population needs, by its row's id.

    Where the variant cannot be told the most of any variant counts; without a remedy
    nothing is needed.
    """
    listed = list(rows)
    plans = plans_for(listed, today=today)
    unsure = {
        row.campaign_id for row in listed if isinstance(plans[plan_key(row)], Refusal)
    }
    remedies = load_remedies(campaign_ids=unsure) if unsure else {}
    needs: dict[int, Needs] = {}
    for row in listed:
        plan = plans[plan_key(row)]
        if isinstance(plan, Plan):
            needs[row.pk] = plan.needs()
        else:
            remedy = remedies.get(("campaign", row.campaign_id))
            needs[row.pk] = most_needed(remedy) if remedy else Needs()
    return needs
