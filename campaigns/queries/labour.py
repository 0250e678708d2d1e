"""The labour of a visit: who pays which operation, read for pages and claims.

The jobs of a visit, and walk-ins on the same repair order, are one visit. A job that
is planned or under way counts as planned; one that ended counts with what was done.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch, Q

from campaigns.models import LabourDone, Repair, VariantLabour, VisitJob
from campaigns.models.words import PAYER_WORDS
from campaigns.queries.cover import SCHEDULED, repair_cover
from campaigns.queries.remedies import eligibility_of, line_payer
from campaigns.queries.wording import PAYER_REASON_WORDS, SHARE_WORDS
from campaigns.rules.labour_union import (
    LabourLine,
    LinePaid,
    OperationPaid,
    Union,
    union_of,
)
from campaigns.rules.lifecycle import Payer, RepairState
from campaigns.rules.payer_reasons import payer_reason


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from django.db.models import QuerySet
    from django.utils.functional import _StrPromise

    from campaigns.models import CampaignVehicle, ScheduledItem, Visit
    from campaigns.rules.eligibility import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class LabourNow:
    """One labour line of a visit: of which job, what is paid on it, by whom and why."""

    code: str
    operation: str
    title: str
    repair_id: int | None
    labour_id: int
    share: LinePaid
    payer_why: str | _StrPromise

    @property
    def payer(self) -> Payer:
        """Give who pays."""
        return self.share.line.payer

    @property
    def payer_words(self) -> str | _StrPromise:
        """Say who pays."""
        return PAYER_WORDS[self.payer]

    @property
    def published(self) -> int:
        """Give the published time, in hundredths of an hour."""
        return self.share.line.hundredths

    @property
    def paid(self) -> int:
        """Give the time that is paid, in hundredths of an hour."""
        return self.share.paid

    @property
    def share_words(self) -> str | _StrPromise:
        """Say why it is paid so."""
        return SHARE_WORDS[self.share.reason]


@dataclass(frozen=True, slots=True, kw_only=True)
class OperationRow:
    """One elementary operation of a visit, for the table."""

    paid: OperationPaid
    line: LabourNow
    also: tuple[LabourNow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLabour:
    """The labour of a visit, line by line and operation by operation."""

    union: Union
    lines: tuple[LabourNow, ...]

    @property
    def rows(self) -> list[OperationRow]:
        """Give the operations in the order in which they are paid."""
        return [
            OperationRow(
                paid=one,
                line=self.lines[one.key],
                also=tuple(self.lines[key] for key in one.also_in),
            )
            for one in self.union.operations
        ]

    def of_repair(self, repair: Repair) -> list[LabourNow]:
        """Give the lines of one repair."""
        return [one for one in self.lines if one.repair_id == repair.pk]

    @property
    def saved(self) -> int:
        """Give the time that nobody pays twice, in hundredths of an hour."""
        return self.union.published - self.union.hundredths

    def sums(self) -> list[tuple[str | _StrPromise, int]]:
        """Give what each payer pays, those who pay nothing left out."""
        paid = [(PAYER_WORDS[one], self.union.paid_by(one)) for one in Payer]
        return [(words, time) for words, time in paid if time]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """One job of a visit, planned, under way or done."""

    repair: Repair | None
    job: VisitJob | None
    code: str
    verdict: Verdict
    of_campaign: bool


def visit_labour(visit: Visit, *, today: dt.date) -> VisitLabour:
    """Work out the labour of a visit; the same few queries however many jobs."""
    jobs = VisitJob.objects.filter(visit=visit).filter(
        Q(live=True) | Q(repair__isnull=False)
    )
    return _put_together([_of_job(one, today) for one in _read_jobs(jobs)])


def repair_labour(repair: Repair, *, today: dt.date) -> VisitLabour:
    """Work out the labour of the visit that a repair belongs to."""
    walk_ins = _read_repairs(
        Repair.objects.filter(
            store=repair.store_id,
            vehicle=repair.vehicle_id,
            repair_order=repair.repair_order,
            visit_job=None,
        ).exclude(state=RepairState.ABANDONED)
    )
    tasks = [_of_repair(one) for one in walk_ins]
    if repair.visit_job is not None:
        jobs = VisitJob.objects.filter(visit=repair.visit_job.visit_id).filter(
            Q(live=True) | Q(repair__isnull=False)
        )
        tasks = [_of_job(one, today) for one in _read_jobs(jobs)] + tasks
    return _put_together(tasks)


def _done() -> QuerySet[LabourDone]:
    return LabourDone.objects.select_related("labour").order_by("pk")


def _read_repairs(rows: QuerySet[Repair]) -> QuerySet[Repair]:
    return (
        rows.select_related(
            "vehicle", "variant", "scheduled_item", "campaign_vehicle__campaign"
        )
        .prefetch_related(
            Prefetch("variant__labour", queryset=VariantLabour.objects.order_by("pk")),
            Prefetch("labour_done", queryset=_done()),
        )
        .order_by("pk")
    )


def _read_jobs(rows: QuerySet[VisitJob]) -> QuerySet[VisitJob]:
    return (
        rows.select_related(
            "variant",
            "scheduled_item",
            "campaign_vehicle__campaign",
            "campaign_vehicle__vehicle",
            "repair__vehicle",
            "repair__variant",
            "repair__campaign_vehicle__campaign",
        )
        .prefetch_related(
            Prefetch("variant__labour", queryset=VariantLabour.objects.order_by("pk")),
            Prefetch(
                "repair__variant__labour", queryset=VariantLabour.objects.order_by("pk")
            ),
            Prefetch("repair__labour_done", queryset=_done()),
        )
        .order_by("pk")
    )


def _of_job(job: VisitJob, today: dt.date) -> _Task:
    repair: Repair | None = getattr(job, "repair", None)
    row = job.campaign_vehicle
    if repair is not None:
        verdict = repair_cover(repair, odometer_miles=repair.odometer)
    else:
        verdict = SCHEDULED if row is None else eligibility_of(row, today)
    return _Task(
        repair=repair,
        job=job,
        code=_code(row, job.scheduled_item),
        verdict=verdict,
        of_campaign=row is not None,
    )


def _of_repair(repair: Repair) -> _Task:
    row = repair.campaign_vehicle
    return _Task(
        repair=repair,
        job=None,
        code=_code(row, repair.scheduled_item),
        verdict=repair_cover(repair, odometer_miles=repair.odometer),
        of_campaign=row is not None,
    )


def _code(row: CampaignVehicle | None, item: ScheduledItem | None) -> str:
    if row is not None:
        return row.campaign.code
    return item.code if item else ""


def _put_together(tasks: Sequence[_Task]) -> VisitLabour:
    """Share the operations: what ended first, then what is planned."""
    found = [one for task in sorted(tasks, key=_turn) for one in _lines_of(task)]
    lines = [
        LabourLine(
            key=key,
            name=f"{task.code} {row.operation}".strip(),
            payer=payer,
            hundredths=row.hundredths_of_hour,
            operations=tuple(row.includes),
            times=row.times,
            settled=isinstance(row, LabourDone),
        )
        for key, (task, row, payer) in enumerate(found)
    ]
    union = union_of(lines)
    return VisitLabour(
        union=union,
        lines=tuple(
            LabourNow(
                code=task.code,
                operation=row.operation,
                title=row.title,
                repair_id=task.repair.pk if task.repair else None,
                labour_id=row.labour_id if isinstance(row, LabourDone) else row.pk,
                share=share,
                payer_why=PAYER_REASON_WORDS[
                    payer_reason(
                        _stated(row), task.verdict, of_campaign=task.of_campaign
                    )
                ],
            )
            for (task, row, _payer), share in zip(found, union.lines, strict=True)
        ),
    )


def _turn(task: _Task) -> float:
    """Order jobs by their sign-off; those still to come keep their order behind."""
    done = task.repair.labour_done.all() if task.repair else ()
    return min((one.pk for one in done), default=math.inf)


def _lines_of(
    task: _Task,
) -> Iterator[tuple[_Task, VariantLabour | LabourDone, Payer]]:
    """Give the lines of one job: what was done, else what is planned."""
    repair = task.repair
    if repair is not None and repair.state == RepairState.COMPLETED:
        for done in repair.labour_done.all():
            yield task, done, Payer(done.payer)
        return
    of_what = repair or task.job
    assert of_what is not None, "a task is a repair or a job"
    for line in of_what.variant.labour.all():
        yield task, line, line_payer(Payer(line.payer), task.verdict.payer)


def _stated(row: VariantLabour | LabourDone) -> Payer:
    """Give who pays by the remedy as it is written down."""
    return Payer(row.payer if isinstance(row, VariantLabour) else row.labour.payer)
