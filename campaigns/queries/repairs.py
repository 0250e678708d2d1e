"""A repair as the workshop reads it: checks, parts, payers, amounts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Sum

from campaigns.models import CheckReading, Repair, VariantCheck
from campaigns.models.words import PAYER_WORDS, READING_WORDS
from campaigns.queries.cover import repair_cover
from campaigns.queries.extras import extra_lines, extras_of
from campaigns.queries.labour import repair_labour
from campaigns.queries.payers import profile_of
from campaigns.queries.remedies import ALL, earmarks_of, line_payer
from campaigns.queries.tools import tools_needed
from campaigns.queries.wording import PAYER_REASON_WORDS
from campaigns.rules.claim_amounts import (
    LineAsked,
    PricedLine,
    labour_line,
    part_line,
    price_claim,
    sublet_line,
)
from campaigns.rules.lifecycle import Outcome, Payer, ReadingResult
from campaigns.rules.payer_reasons import payer_reason
from dealership.rules.money import STANDARD_PROFILE, share_of_basis_points
from inventory.models import Balance, Part, Reservation
from inventory.queries.numbers import Needs, read_chains
from inventory.rules.accounts import ReservationState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

    from django.utils.functional import _StrPromise

    from campaigns.models import (
        Campaign,
        PartFitted,
        Remedy,
        RemedyPrice,
        RepairExtra,
        Variant,
        VariantLabour,
        VariantPart,
        VariantStep,
    )
    from campaigns.models.workshop import RepairQuerySet
    from campaigns.queries.extras import ExtraLine, ExtraNow
    from campaigns.queries.labour import LabourNow, VisitLabour
    from campaigns.queries.tools import ToolNow
    from campaigns.rules.eligibility import Verdict
    from dealership.models import Store
    from inventory.models import Earmark


CLAIM_DAYS = 30
"""From so many days ahead the last day for claims is called up: common practice, no
source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckNow:
    """One check and every attempt at it; closed once the last reading passed."""

    check: VariantCheck
    readings: tuple[CheckReading, ...]

    @property
    def result(self) -> ReadingResult | None:
        """Give what the last reading meant; None before the first."""
        return ReadingResult(self.readings[-1].result) if self.readings else None

    @property
    def closed(self) -> bool:
        """Tell whether the last reading is within the limits."""
        return self.result is ReadingResult.PASS

    @property
    def last_words(self) -> str | _StrPromise:
        """Say what the last reading meant; empty before the first."""
        return READING_WORDS[self.result] if self.result else ""

    @property
    def attempt(self) -> int:
        """Give the number of the next attempt, from 1."""
        return len(self.readings) + 1

    @property
    def demanded(self) -> int:
        """Give how many pieces of the check's part its readings asked for."""
        if self.check.replace_part_id is None:
            return 0
        return sum(one.result == ReadingResult.REPLACE for one in self.readings)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartNow:
    """A part of the job: what it takes, what the checks asked for, what is here.

    All in pieces. ``planned`` is what every vehicle of the variant needs; a part that
    only some need has ``planned`` zero and counts once a check asks for it.
    ``serves_for`` is set on a further number that serves for a part of the job: it
    asks for nothing itself, and ``suggested`` says how many of it are to be fitted.
    """

    part: Part
    payer: Payer
    payer_why: str | _StrPromise
    planned: int
    demanded: int
    some_need_it: bool
    held: int
    free: int
    suggested: int
    serves_for: Part | None = None

    @property
    def payer_words(self) -> str | _StrPromise:
        """Say who pays."""
        return PAYER_WORDS[self.payer]

    @property
    def asked(self) -> int:
        """Give how many pieces the job asks for so far, of whatever number."""
        return self.planned + self.demanded


@dataclass(frozen=True, slots=True, kw_only=True)
class PayerLine:
    """One line of a repair with its payer and its amount in cents."""

    payer: Payer
    priced: PricedLine
    why: str | _StrPromise = ""
    part_fitted: PartFitted | None = None
    extra: RepairExtra | None = None

    @property
    def payer_words(self) -> str | _StrPromise:
        """Say who pays."""
        return PAYER_WORDS[self.payer]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepNow:
    """One step of the work, and the checks that follow on it."""

    step: VariantStep
    number: int
    checks: tuple[CheckNow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCard:
    """All that the bay reads of one repair."""

    repair: Repair
    today: dt.date
    checks: tuple[CheckNow, ...]
    parts: tuple[PartNow, ...]
    operations: tuple[VariantLabour, ...]
    labour: VisitLabour
    remedy: Remedy
    cover: Verdict
    tools: tuple[ToolNow, ...]
    steps: tuple[StepNow, ...]
    extras: tuple[ExtraNow, ...]

    @property
    def campaign(self) -> Campaign | None:
        """Give the campaign of the work, none for a scheduled item."""
        row = self.repair.campaign_vehicle
        return row.campaign if row else None

    @property
    def lines(self) -> list[LabourNow]:
        """Give the labour lines of this job."""
        return self.labour.of_repair(self.repair)

    @property
    def first_open(self) -> CheckNow | None:
        """Give the check that comes next."""
        return next((one for one in self.checks if not one.closed), None)

    @property
    def checks_at_the_end(self) -> list[CheckNow]:
        """Give the checks that belong to no step of the work."""
        return [one for one in self.checks if one.check.after_step_id is None]

    @property
    def tools_missing(self) -> list[ToolNow]:
        """Give the special tools that this store does not have."""
        return [one for one in self.tools if one.place is None]

    @property
    def days_to_claim(self) -> int | None:
        """Give the days left until the campaign's last day for claims, once near."""
        until = self.campaign.claims_until if self.campaign else None
        left = None if until is None else (until - self.today).days
        return left if left is not None and 0 <= left <= CLAIM_DAYS else None

    @property
    def past_claim_date(self) -> bool:
        """Tell whether the campaign's last day for claims has passed."""
        until = self.campaign.claims_until if self.campaign else None
        return until is not None and until < self.today


def repairs_with_all() -> RepairQuerySet:
    """Read repairs with what their pages name."""
    return Repair.objects.select_related(
        "store",
        "vehicle",
        "variant__remedy",
        "technician",
        "scheduled_item",
        "visit_job__visit",
        "campaign_vehicle__campaign__earmark",
        "campaign_vehicle__vehicle",
    )


def job_card(repair: Repair, *, today: dt.date) -> JobCard:
    """Put a repair together for the bay; give it a row of ``repairs_with_all``."""
    checks = checks_now(repair)
    remedy = repair.variant.remedy
    return JobCard(
        repair=repair,
        today=today,
        checks=tuple(checks),
        parts=tuple(parts_now(repair, checks)),
        operations=tuple(repair.variant.labour.order_by("pk")),
        labour=repair_labour(repair, today=today),
        remedy=remedy,
        cover=repair_cover(repair),
        tools=tuple(tools_needed(remedy, store=repair.store, today=today)),
        steps=tuple(_steps(repair.variant, checks)),
        extras=tuple(extras_of(repair)),
    )


def lines_of(
    repair: Repair, *, checks: Sequence[CheckNow], labour: VisitLabour
) -> list[PayerLine]:
    """Price the lines of a repair that is signed off, whoever pays.

    What was claimed stands as it was claimed; other payers' lines are priced at the
    store's rates of now.
    """
    fitted = list(repair.parts.select_related("part").order_by("pk"))
    remedied = repair.outcome == Outcome.REMEDIED
    planned = part_lines(repair.variant) if fitted else []
    numbers = numbers_by_part(planned, checks) if fitted else {}
    return payer_lines(
        repair=repair,
        verdict=repair_cover(repair, odometer_miles=repair.odometer),
        fitted=fitted,
        labour=labour.of_repair(repair),
        allowances=list(repair.variant.allowances.all()) if remedied else [],
        stated=payers_by_number(planned, checks, numbers) if fitted else {},
    )


def _steps(variant: Variant, checks: Sequence[CheckNow]) -> list[StepNow]:
    """Give the steps of the work in order, each with the checks that follow on it."""
    return [
        StepNow(
            step=step,
            number=number,
            checks=tuple(one for one in checks if one.check.after_step_id == step.pk),
        )
        for number, step in enumerate(variant.steps.order_by("position", "pk"), start=1)
    ]


def checks_now(repair: Repair) -> list[CheckNow]:
    """Give the checks of a repair in their order, each with its attempts."""
    checks = repair.variant.checks.select_related("replace_part").order_by(
        "position", "pk"
    )
    attempts: dict[int, list[CheckReading]] = {}
    readings = CheckReading.objects.filter(repair=repair).select_related("by")
    for reading in readings.order_by("check_of", "attempt"):
        attempts.setdefault(reading.check_of_id, []).append(reading)
    return [
        CheckNow(check=check, readings=tuple(attempts.get(check.pk, ())))
        for check in checks
    ]


def pockets_of(repair: Repair) -> list[Earmark | None]:
    """Give the pockets that a repair draws on, in order."""
    row = repair.campaign_vehicle
    return earmarks_of(row.campaign) if row else [None]


def hold_subject(repair: Repair) -> str:
    """Name the hold of a repair's parts: its booking's, or its own for a walk-in."""
    job = repair.visit_job
    return job.subject if job else f"repair:{repair.pk}"


def payers_by_number(
    lines: Iterable[VariantPart],
    checks: Iterable[CheckNow],
    numbers: Mapping[int, Sequence[Part]],
) -> dict[int, Payer]:
    """Give who pays each number by the remedy, by its id, older numbers too.

    A part that a check asks for beside the plan is the manufacturer's; any other
    piece is the store's own. ``numbers`` as ``numbers_by_part`` gives them.
    """
    return {
        number.pk: payer
        for part_id, payer in _payers(lines, checks).items()
        for number in numbers[part_id]
    }


def _payers(
    lines: Iterable[VariantPart], checks: Iterable[CheckNow]
) -> dict[int, Payer]:
    asked = {
        check.check.replace_part_id: Payer.MANUFACTURER
        for check in checks
        if check.check.replace_part_id
    }
    return asked | {line.part_id: Payer(line.payer) for line in lines}


def numbers_by_part(
    lines: Iterable[VariantPart], checks: Iterable[CheckNow]
) -> dict[int, tuple[Part, ...]]:
    """Give the numbers that serve for each part of a job, by its id, oldest first."""
    wanted = {
        one.check.replace_part.pk: (one.check.replace_part, True)
        for one in checks
        if one.check.replace_part is not None
    }
    for line in lines:
        wanted[line.part_id] = line.part, line.old_numbers_serve
    chains = read_chains(wanted)
    return {
        pk: chains.serving(part, older=older) for pk, (part, older) in wanted.items()
    }


def part_lines(variant: Variant) -> list[VariantPart]:
    """Give the lines of a variant's parts."""
    return list(variant.parts.select_related("part").order_by("pk"))


def planned_needs(variant: Variant) -> Needs:
    """Give what a variant takes, conditional parts too, with the numbers that serve."""
    lines = part_lines(variant)
    return Needs(
        {line.part: line.quantity for line in lines}, numbers_by_part(lines, ())
    )


def parts_now(repair: Repair, checks: Sequence[CheckNow]) -> list[PartNow]:
    """Give the parts of an open repair, with what is held and free for it."""
    verdict = repair_cover(repair)
    demanded: dict[int, int] = {}
    parts: dict[int, Part] = {}
    planned: dict[int, int] = {}
    some: set[int] = set()
    lines = part_lines(repair.variant)
    for line in lines:
        parts[line.part_id] = line.part
        if line.share_basis_points == ALL:
            planned[line.part_id] = line.quantity
        else:
            some.add(line.part_id)
    for one in checks:
        part = one.check.replace_part
        if part is not None:
            if part.pk not in parts:
                some.add(part.pk)
            parts.setdefault(part.pk, part)
            demanded[part.pk] = demanded.get(part.pk, 0) + one.demanded
    payers = _payers(lines, checks)
    held = _held(repair)
    numbers = numbers_by_part(lines, checks)
    free = _free(repair, {one.pk for some_of in numbers.values() for one in some_of})
    of_campaign = repair.campaign_vehicle_id is not None
    found: list[PartNow] = []
    for pk, part in parts.items():
        asked = planned.get(pk, 0) + demanded.get(pk, 0)
        first = part if part in numbers[pk] else numbers[pk][-1]
        shown = [
            number
            for number in numbers[pk]
            if number == first
            or (number.pk not in parts and (held.get(number.pk) or free.get(number.pk)))
        ]
        fitted = _suggest(asked, shown, held, free, newest=numbers[pk][-1])
        for number in sorted(shown, key=lambda other: other != first):
            main = number == first
            found.append(
                PartNow(
                    part=number,
                    payer=line_payer(payers[pk], verdict.payer),
                    payer_why=PAYER_REASON_WORDS[
                        payer_reason(payers[pk], verdict, of_campaign=of_campaign)
                    ],
                    planned=planned.get(pk, 0) if main else 0,
                    demanded=demanded.get(pk, 0) if main else 0,
                    some_need_it=pk in some,
                    held=held.get(number.pk, 0),
                    free=free.get(number.pk, 0),
                    suggested=fitted[number.pk],
                    serves_for=None if main else first,
                )
            )
    return found


def _suggest(
    asked: int,
    numbers: Sequence[Part],
    held: Mapping[int, int],
    free: Mapping[int, int],
    *,
    newest: Part,
) -> dict[int, int]:
    """Share what is asked over the numbers: held pieces first, then free, old first."""
    fitted = dict.fromkeys((one.pk for one in numbers), 0)
    for there in (held, free):
        for one in numbers:
            pieces = min(asked, there.get(one.pk, 0))
            fitted[one.pk] += pieces
            asked -= pieces
    rest = newest.pk if newest.pk in fitted else numbers[-1].pk
    fitted[rest] += asked
    return fitted


def demanded_parts(
    variant: Variant, checks: Iterable[CheckNow]
) -> list[tuple[Part, int]]:
    """Give what plan and checks ask for, in pieces by part."""
    wanted: dict[int, int] = {}
    parts: dict[int, Part] = {}
    for line in variant.parts.select_related("part").order_by("pk"):
        if line.share_basis_points == ALL:
            parts[line.part_id] = line.part
            wanted[line.part_id] = line.quantity
    for one in checks:
        part = one.check.replace_part
        if part is not None and one.demanded:
            parts[part.pk] = part
            wanted[part.pk] = wanted.get(part.pk, 0) + one.demanded
    return [(parts[pk], pieces) for pk, pieces in wanted.items()]


def price_fitted(store: Store, fitted: PartFitted) -> LineAsked:
    """Ask for fitted pieces at cost plus the store's handling."""
    return part_line(
        f"{fitted.part.number} {fitted.part.name}"[:160],
        pieces=fitted.quantity,
        unit_cost_cents=fitted.unit_cost_cents,
        handling=share_of_basis_points(store.parts_handling_basis_points),
    )


def payer_lines(
    *,
    repair: Repair,
    verdict: Verdict,
    fitted: Sequence[PartFitted],
    labour: Sequence[LabourNow],
    allowances: Sequence[RemedyPrice],
    stated: Mapping[int, Payer],
) -> list[PayerLine]:
    """Price every line of a repair, each with its one payer.

    Labour counts with what the union of the visit's operations leaves to its line.
    ``stated`` is who pays each number by the remedy (``payers_by_number``).
    """
    store = repair.store
    of_campaign = repair.campaign_vehicle_id is not None

    def why(by_remedy: Payer | None) -> str | _StrPromise:
        return PAYER_REASON_WORDS[
            payer_reason(by_remedy, verdict, of_campaign=of_campaign)
        ]

    asked = [
        _Asked(
            payer=Payer(one.payer),
            line=price_fitted(store, one),
            why=why(stated.get(one.part_id)),
            part_fitted=one,
        )
        for one in fitted
    ]
    asked += [
        _Asked(
            payer=one.payer,
            line=labour_line(
                one.title, hundredths=one.paid, rate_cents=store.labour_rate_cents
            ),
            why=f"{one.payer_why}; {one.share_words}",
        )
        for one in labour
        if one.paid
    ]
    asked += [
        _Asked(
            payer=line_payer(Payer(one.payer), verdict.payer),
            line=sublet_line(one.title, bill_cents=one.cents),
            why=why(Payer(one.payer)),
        )
        for one in allowances
    ]
    return _priced(repair, [*asked, *_of_extras(extra_lines(repair, verdict))])


def price_extras(repair: Repair, extras: Sequence[ExtraLine]) -> list[PayerLine]:
    """Price lines of bills by themselves: those that come after the sign-off."""
    return _priced(repair, _of_extras(extras))


def _of_extras(extras: Iterable[ExtraLine]) -> list[_Asked]:
    return [
        _Asked(payer=one.payer, line=one.asked, why=one.why, extra=one.extra)
        for one in extras
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A line before it is priced."""

    payer: Payer
    line: LineAsked
    why: str | _StrPromise
    part_fitted: PartFitted | None = None
    extra: RepairExtra | None = None


def _priced(repair: Repair, asked: Sequence[_Asked]) -> list[PayerLine]:
    """Price the lines of each payer by themselves; the manufacturer rounds its way."""
    row = repair.campaign_vehicle
    found: dict[int, PayerLine] = {}
    for payer in Payer:
        mine = [(n, one) for n, one in enumerate(asked) if one.payer is payer]
        profile = STANDARD_PROFILE
        if row is not None and mine and payer is Payer.MANUFACTURER:
            profile = profile_of(row.campaign.supplier_id)
        priced = price_claim([one.line for _n, one in mine], profile)
        for (n, one), line in zip(mine, priced.lines, strict=True):
            found[n] = PayerLine(
                payer=payer,
                priced=line,
                why=one.why,
                part_fitted=one.part_fitted,
                extra=one.extra,
            )
    return [found[n] for n in sorted(found)]


def _held(repair: Repair) -> dict[int, int]:
    """Give the pieces held for a repair, by part."""
    return dict(
        Reservation.objects.filter(
            store_id=repair.store_id,
            subject=hold_subject(repair),
            state=ReservationState.HELD,
        )
        .order_by()
        .values_list("part_id")
        .annotate(Sum("quantity"))
    )


def _free(repair: Repair, part_ids: Iterable[int]) -> dict[int, int]:
    """Give the free pieces that a repair may draw on, by part."""
    ids = {one.pk if one else None for one in pockets_of(repair)}
    free: dict[int, int] = {}
    for part_id, earmark_id, pieces in Balance.objects.filter(
        store_id=repair.store_id, part_id__in=list(part_ids)
    ).values_list("part_id", "earmark_id", "free"):
        if earmark_id in ids:
            free[part_id] = free.get(part_id, 0) + pieces
    return free
