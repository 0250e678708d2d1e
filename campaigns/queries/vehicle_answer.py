"""One vehicle and its open campaigns, in one statement, for those who ask by VIN.

The statement gives a row for each part of each variant of each campaign; the rules
choose among them. Written by hand because it is asked most often of all: through the
ORM the same answer takes several times as long (docs/benchmarks/counter.md).
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import connection

from campaigns.queries.remedies import full_months
from campaigns.rules.eligibility import Limits, judge_eligibility
from campaigns.rules.lifecycle import STILL_OPEN, CampaignClass, CampaignState
from campaigns.rules.remedy_choice import (
    VariantRule,
    VehicleFacts,
    choose_variant,
    read_conditions,
)
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from dealership.models import StaffMember

_OPEN = sorted(STILL_OPEN)
_STATEMENT = """
SELECT v.vin, s.code, v.model_year, v.line, v.engine, v.standing, v.odometer,
    v.odometer_on, v.build_date, v.first_use_date,
    c.code, cv.work_state, c.state, c.maker_number, c.regulator_number,
    c.campaign_class, c.title, c.stop_sale, c.letters_on, c.announced_on,
    c.eligible_until, c.odometer_limit, c.years_since_first_use,
    va.code, va.title, va.conditions,
    p.number, p.name, vp.quantity,
    CASE WHEN p.superseded_by_id IS NULL AND NOT EXISTS (
        SELECT 1 FROM inventory_part o WHERE o.superseded_by_id = p.id
    ) THEN (
        SELECT SUM(b.free) FROM inventory_balance b
        WHERE b.store_id = v.store_id AND b.part_id = p.id AND NOT p.recalled
        AND (b.earmark_id = c.earmark_id OR b.earmark_id IS NULL)
    ) ELSE (
        WITH RECURSIVE onward(id, newer) AS (
            SELECT p.id, p.superseded_by_id
            UNION SELECT n.id, n.superseded_by_id
            FROM inventory_part n JOIN onward ON n.id = onward.newer
        ), serving(id) AS (
            SELECT id FROM onward WHERE newer IS NULL
            UNION SELECT o.id
            FROM inventory_part o JOIN serving ON o.superseded_by_id = serving.id
            WHERE o.old_stock_serves
        )
        SELECT SUM(b.free) FROM inventory_balance b
        JOIN inventory_part q ON q.id = b.part_id
        WHERE b.store_id = v.store_id AND NOT q.recalled
        AND b.part_id IN (SELECT id FROM serving)
        AND (vp.old_numbers_serve OR b.part_id IN (SELECT id FROM onward))
        AND (b.earmark_id = c.earmark_id OR b.earmark_id IS NULL)
    ) END
FROM vehicles_vehicle v
JOIN dealership_store s ON s.id = v.store_id
LEFT JOIN campaigns_campaignvehicle cv
    ON cv.vehicle_id = v.id AND cv.work_state <> 'removed'
LEFT JOIN campaigns_campaign c ON c.id = cv.campaign_id
LEFT JOIN campaigns_remedy r
    ON r.campaign_id = c.id AND cv.work_state IN (%s, %s, %s)
LEFT JOIN campaigns_variant va ON va.remedy_id = r.id
LEFT JOIN campaigns_variantpart vp ON vp.variant_id = va.id
LEFT JOIN inventory_part p ON p.id = vp.part_id
WHERE v.vin = %s
"""
_ORDER = " ORDER BY c.announced_on, c.code, va.position, va.id, vp.id"


class _Row(NamedTuple):
    """One row of the statement, in its order."""

    vin: str
    store: str
    model_year: int | None
    line: str
    engine: str
    standing: str
    odometer: int | None
    odometer_on: dt.date | str | None
    build_date: dt.date | str | None
    first_use_date: dt.date | str | None
    campaign: str | None
    work_state: str
    campaign_state: str
    maker_number: str
    regulator_number: str
    campaign_class: str
    title: str
    stop_sale: bool
    letters_on: dt.date | str | None
    announced_on: dt.date | str
    eligible_until: dt.date | str | None
    odometer_limit: int | None
    years: int | None
    variant: str | None
    remedy: str
    conditions: str | list[Any]
    number: str | None
    name: str
    pieces: int
    free: int | None


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
    rows = _rows(vin, staff)
    if not rows:
        return None
    first = rows[0]
    facts = _facts_of(rows, today)
    return VehicleAnswer(
        vin=first.vin,
        store=first.store,
        model_year=first.model_year,
        line=first.line,
        engine=first.engine,
        standing=first.standing,
        odometer_miles=first.odometer,
        odometer_on=_day(first.odometer_on),
        open_campaigns=tuple(_open_campaigns(rows, facts, today)),
    )


def _rows(vin: str, staff: StaffMember) -> list[_Row]:
    """Ask once, and only for vehicles of the person's stores."""
    statement = _STATEMENT
    values: list[str | int] = [*_OPEN, vin]
    if not staff.in_all_stores:
        stores = staff.store_ids()
        if not stores:
            return []
        marks = ", ".join(["%s"] * len(stores))
        statement += f" AND v.store_id IN ({marks})"
        values += stores
    with connection.cursor() as cursor:
        cursor.execute(statement + _ORDER, values)
        return [_Row._make(row) for row in cursor.fetchall()]


def _day(value: dt.date | str | None) -> dt.date | None:
    """Read a day: SQLite gives it as text."""
    return dt.date.fromisoformat(value) if isinstance(value, str) else value


def _facts_of(rows: Sequence[_Row], today: dt.date) -> VehicleFacts:
    """Gather what the choice of a variant may ask about."""
    first = rows[0]
    used = _day(first.first_use_date)
    return VehicleFacts(
        model_year=first.model_year,
        build_date=_day(first.build_date),
        odometer_miles=first.odometer,
        age_months=None if used is None else full_months(used, today),
        campaigns=frozenset(row.campaign for row in rows if row.campaign),
        measured={},
    )


def _open_campaigns(
    rows: Sequence[_Row], facts: VehicleFacts, today: dt.date
) -> Iterator[OpenCampaign]:
    """Give the campaigns that want work; a draft is nobody's news."""
    for code, group in groupby(rows, key=lambda row: row.campaign):
        lines = list(group)
        row = lines[0]
        announced = row.campaign_state != CampaignState.DRAFT
        if code is not None and announced and row.work_state in STILL_OPEN:
            yield _open_campaign(code, lines, facts, today)


def _open_campaign(
    code: str, lines: Sequence[_Row], facts: VehicleFacts, today: dt.date
) -> OpenCampaign:
    """Put one campaign together: who pays, what is done, which parts are free."""
    row = lines[0]
    verdict = judge_eligibility(
        Limits(
            campaign_class=CampaignClass(row.campaign_class),
            notice_on=_day(row.letters_on) or _day(row.announced_on) or today,
            last_day=_day(row.eligible_until),
            odometer_miles=row.odometer_limit,
            years=row.years,
        ),
        on=today,
        odometer_miles=row.odometer,
        first_used_on=_day(row.first_use_date),
    )
    chosen = _chosen_lines(lines, facts)
    parts = None if chosen is None else tuple(_parts(chosen))
    return OpenCampaign(
        code=code,
        maker_number=row.maker_number,
        regulator_number=row.regulator_number,
        campaign_class=row.campaign_class,
        title=row.title,
        state=row.work_state,
        stop_sale=bool(row.stop_sale),
        cover=verdict.cover.value,
        payer=verdict.payer.value if verdict.payer else None,
        remedy=chosen[0].remedy if chosen else None,
        parts=parts,
        parts_free_now=None
        if parts is None
        else all(part.free_now >= part.pieces for part in parts),
    )


def _chosen_lines(lines: Sequence[_Row], facts: VehicleFacts) -> list[_Row] | None:
    """Keep the lines of the one variant that fits; None where that cannot be told."""
    conditions = {line.variant: line.conditions for line in lines if line.variant}
    try:
        rules = [
            VariantRule(code=code, conditions=read_conditions(_stored(asked)))
            for code, asked in conditions.items()
        ]
        chosen = choose_variant(rules, facts)
    except Refusal:
        return None
    return [line for line in lines if line.variant == chosen.code]


def _stored(conditions: str | list[Any]) -> list[Any]:
    """Read conditions as the databases give them: as text."""
    if isinstance(conditions, str):
        read: list[Any] = json.loads(conditions)
        return read
    return conditions


def _parts(lines: Iterable[_Row]) -> Iterator[PartFree]:
    """Give the parts of one variant; old numbers that serve are in what is free."""
    for line in lines:
        if line.number is not None:
            yield PartFree(
                number=line.number,
                name=line.name,
                pieces=line.pieces,
                free_now=line.free or 0,
            )
