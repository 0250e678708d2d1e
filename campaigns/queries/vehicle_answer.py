"""One vehicle and its open campaigns, in three queries, for those who ask by VIN."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from campaigns.models import CampaignVehicle, Variant
from campaigns.queries.remedies import eligibility_of, full_months
from campaigns.rules.lifecycle import STILL_OPEN, WorkState
from campaigns.rules.remedy_choice import (
    VariantRule,
    VehicleFacts,
    choose_variant,
    read_conditions,
)
from dealership.rules.refusals import Refusal
from inventory.models import Balance
from vehicles.models import Vehicle


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from dealership.models import StaffMember


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFree:
    """A part that the remedy takes: pieces a vehicle, and pieces free on the shelf."""

    number: str
    name: str
    pieces: int
    free_now: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenCampaign:
    """A campaign that still wants work on this vehicle.

    ``remedy`` and ``parts`` are None where the variant cannot be told from the facts
    on file. ``parts_free_now`` tells whether every part stands free on the shelf of
    the vehicle's store; who waits for them or was promised them is not taken off, so
    nothing is promised by it: a visit is booked at the counter.
    """

    code: str
    maker_number: str
    regulator_number: str
    campaign_class: str
    title: str
    state: str
    stop_sale: bool
    cover: str
    payer: str | None
    remedy: str | None
    parts: tuple[PartFree, ...] | None
    parts_free_now: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleAnswer:
    """What is known of a vehicle, and what is open on it."""

    vin: str
    store: str
    model_year: int | None
    line: str
    engine: str
    standing: str
    odometer_miles: int | None
    odometer_on: dt.date | None
    open_campaigns: tuple[OpenCampaign, ...]


def vehicle_answer(
    *, vin: str, staff: StaffMember, today: dt.date
) -> VehicleAnswer | None:
    """Answer for one VIN, as far as this person may see it; None where not at all.

    ``vin`` as `vehicles.rules.vin.normalise_vin` writes it.
    """
    vehicle = (
        Vehicle.objects.for_staff(staff).select_related("store").filter(vin=vin).first()
    )
    if vehicle is None:
        return None
    rows = list(
        CampaignVehicle.objects.filter(vehicle=vehicle)
        .exclude(work_state=WorkState.REMOVED)
        .select_related("campaign")
        .order_by("campaign__announced_on", "campaign__code")
    )
    for row in rows:
        row.vehicle = vehicle
    wanted = [row for row in rows if row.work_state in STILL_OPEN]
    variants = _variants_of(wanted, vehicle) if wanted else {}
    facts = _facts_of(vehicle, rows, today)
    return VehicleAnswer(
        vin=vehicle.vin,
        store=vehicle.store.code,
        model_year=vehicle.model_year,
        line=vehicle.line,
        engine=vehicle.engine,
        standing=vehicle.standing,
        odometer_miles=vehicle.odometer,
        odometer_on=vehicle.odometer_on,
        open_campaigns=tuple(
            _open_campaign(row, variants.get(row.campaign_id, []), facts, today)
            for row in wanted
        ),
    )


def _facts_of(
    vehicle: Vehicle, rows: Iterable[CampaignVehicle], today: dt.date
) -> VehicleFacts:
    used = vehicle.first_use_date
    return VehicleFacts(
        model_year=vehicle.model_year,
        build_date=vehicle.build_date,
        odometer_miles=vehicle.odometer,
        age_months=None if used is None else full_months(used, today),
        campaigns=frozenset(row.campaign.code for row in rows),
        measured={},
    )


def _variants_of(
    rows: Iterable[CampaignVehicle], vehicle: Vehicle
) -> Mapping[int, list[dict[str, Any]]]:
    """Read variants with parts and free pieces, by campaign: one line a part."""
    free = (
        Balance.objects.filter(
            Q(earmark=OuterRef("remedy__campaign__earmark")) | Q(earmark=None),
            store=vehicle.store_id,
            part=OuterRef("parts__part"),
        )
        .order_by()
        .values("part")
        .annotate(pieces=Sum("free"))
        .values("pieces")
    )
    lines = (
        Variant.objects.filter(remedy__campaign__in=[row.campaign_id for row in rows])
        .order_by("position", "id", "parts__id")
        .values(
            "code",
            "title",
            "conditions",
            campaign=F("remedy__campaign"),
            number=F("parts__part__number"),
            name=F("parts__part__name"),
            recalled=F("parts__part__recalled"),
            pieces=F("parts__quantity"),
            free=Coalesce(Subquery(free), 0),
        )
    )
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for line in lines:
        found[line["campaign"]].append(dict(line))
    return found


def _open_campaign(
    row: CampaignVehicle,
    lines: Sequence[dict[str, Any]],
    facts: VehicleFacts,
    today: dt.date,
) -> OpenCampaign:
    campaign = row.campaign
    verdict = eligibility_of(row, today)
    chosen = _chosen_lines(lines, facts)
    parts = None if chosen is None else tuple(_parts(chosen))
    return OpenCampaign(
        code=campaign.code,
        maker_number=campaign.maker_number,
        regulator_number=campaign.regulator_number,
        campaign_class=campaign.campaign_class,
        title=campaign.title,
        state=row.work_state,
        stop_sale=campaign.stop_sale,
        cover=verdict.cover.value,
        payer=verdict.payer.value if verdict.payer else None,
        remedy=chosen[0]["title"] if chosen else None,
        parts=parts,
        parts_free_now=None
        if parts is None
        else all(part.free_now >= part.pieces for part in parts),
    )


def _chosen_lines(
    lines: Sequence[dict[str, Any]], facts: VehicleFacts
) -> list[dict[str, Any]] | None:
    """Keep the lines of the one variant that fits; None where that cannot be told."""
    conditions = {line["code"]: line["conditions"] for line in lines}
    try:
        rules = [
            VariantRule(code=code, conditions=read_conditions(asked))
            for code, asked in conditions.items()
        ]
        chosen = choose_variant(rules, facts)
    except Refusal:
        return None
    return [line for line in lines if line["code"] == chosen.code]


def _parts(lines: Iterable[dict[str, Any]]) -> Iterable[PartFree]:
    """Give the parts of one variant; a part under a recall itself is never free."""
    for line in lines:
        if line["number"] is not None:
            yield PartFree(
                number=line["number"],
                name=line["name"],
                pieces=line["pieces"],
                free_now=0 if line["recalled"] else line["free"],
            )
