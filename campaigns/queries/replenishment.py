"""Proposals as pages show them: what is open, what was decided, and every number."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.models import Campaign, Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from campaigns.rules.movers import Mover
from dealership.rules.money import plain_money
from dealership.rules.pictures import FlagKind, RunwayFlag
from inventory.forecasting.wording import FACT_WORDS
from inventory.queries.stock import draw_promise, stock_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Sequence

    from campaigns.models.outcome import ReplenishmentQuerySet
    from dealership.models import StaffMember, Store
    from dealership.rules.pictures import RunwayPicture
    from inventory.forecasting.proposal import Fact

HISTORY = 10
"""Earlier decisions on the same part that a proposal's page shows."""

DECIDED = (ProposalState.ACCEPTED, ProposalState.CHANGED, ProposalState.DECLINED)

MOVER_WORDS = {
    Mover.DAY: gettext_lazy("a day has passed"),
    Mover.REQUESTS: gettext_lazy("owners who asked"),
    Mover.BOOKING: gettext_lazy("bookings"),
    Mover.RECEIPT: gettext_lazy("deliveries and orders on their way"),
    Mover.STOCK: gettext_lazy("free pieces on the shelf"),
    Mover.POPULATION: gettext_lazy("vehicles that want the part"),
    Mover.LETTERS: gettext_lazy("owner letters"),
    Mover.LEARNED: gettext_lazy("what closed campaigns and visits taught"),
    Mover.COST: gettext_lazy("what ordering and running out cost"),
    Mover.PRICE: gettext_lazy("the price"),
    Mover.TERMS: gettext_lazy("terms of the supplier or of the campaign"),
    Mover.OTHER: gettext_lazy("finer figures behind the forecast"),
}
MONEY_FACTS = {"unit_cost", "cost_short", "cost_hold", "cost_loss", "order_cost"}
_UNIT_WORDS = {
    "pieces": gettext_lazy("pieces"),
    "vehicles": gettext_lazy("vehicles"),
    "requests": gettext_lazy("owners"),
    "days": gettext_lazy("days"),
    "weeks": gettext_lazy("weeks"),
    "times": gettext_lazy("times"),
    "campaigns": gettext_lazy("campaigns"),
    "chance": gettext_lazy("of 1"),
    "cents": "",
    "day": "",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One number behind a proposal: what it is, its value as written, its unit."""

    words: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """The numbers of one campaign or item; of the part as a whole without a name."""

    name: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One thing that has changed since the proposal before."""

    words: str
    before: str
    after: str


def proposals_of(staff: StaffMember, store: Store) -> ReplenishmentQuerySet:
    """Give the proposals of a store that this person may see."""
    rows = Replenishment.objects.for_staff(staff).in_store(store)
    return rows.select_related(
        "part", "earmark", "done_by", "order", "goods_return", "store"
    )


def to_decide(rows: ReplenishmentQuerySet) -> ReplenishmentQuerySet:
    """Keep the open orders and returns, the nearest last day first."""
    return (
        rows.filter(state=ProposalState.OPEN)
        .exclude(kind=ProposalKind.NOTHING)
        .order_by(F("act_by").asc(nulls_last=True), "part__number")
    )


def nothing_to_do(rows: ReplenishmentQuerySet) -> ReplenishmentQuerySet:
    """Keep the parts for which nothing is to be done today."""
    return rows.filter(state=ProposalState.OPEN, kind=ProposalKind.NOTHING).order_by(
        "part__number"
    )


def decided(rows: ReplenishmentQuerySet) -> ReplenishmentQuerySet:
    """Keep what somebody has decided, the latest first."""
    return rows.filter(state__in=DECIDED).order_by("-done_at", "-pk")


def earlier(
    proposal: Replenishment, rows: ReplenishmentQuerySet
) -> list[Replenishment]:
    """Give the latest decisions on the same part."""
    same = decided(rows).filter(part=proposal.part_id).exclude(pk=proposal.pk)
    return list(same[:HISTORY])


def newer(proposal: Replenishment, rows: ReplenishmentQuerySet) -> Replenishment | None:
    """Give the proposal that is open for the same part now, if it is another one."""
    return (
        rows.filter(part=proposal.part_id, state=ProposalState.OPEN)
        .exclude(pk=proposal.pk)
        .first()
    )


def said(proposal: Replenishment) -> tuple[str, str]:
    """Split the text of a proposal: what to do, and why."""
    act, dot, why = proposal.sentence.partition(". ")
    return (f"{act}.", why) if dot else (act, "")


def figures_of(proposal: Replenishment) -> list[Figures]:
    """Give every number of a proposal, the campaigns' first, each in words."""
    by_name: dict[str, list[Figure]] = {}
    for fact in proposal.told():
        by_name.setdefault(fact.label, []).append(_figure(fact))
    named = [name for name in by_name if name]
    return [
        Figures(name=name, figures=tuple(by_name[name]))
        for name in [*named, ""]
        if name in by_name
    ]


def _figure(fact: Fact) -> Figure:
    cents = fact.unit == "cents"
    return Figure(
        words=FACT_WORDS.get(fact.code, fact.code),
        value=plain_money(int(fact.value)) if cents else fact.value,
        unit=str(_UNIT_WORDS.get(fact.unit, fact.unit)),
    )


def moved(proposal: Replenishment) -> list[Moved]:
    """Say what has changed since the proposal before this one."""
    found = []
    for entry in proposal.moved_by:
        fact = entry["fact"]
        words = str(MOVER_WORDS[Mover(entry["mover"])])
        known = FACT_WORDS.get(fact)
        money = fact in MONEY_FACTS
        found.append(
            Moved(
                words=f"{words}: {known}" if known else words,
                before=_plain(entry["before"], money=money),
                after=_plain(entry["after"], money=money),
            )
        )
    return found


def _plain(text: str, *, money: bool) -> str:
    return plain_money(int(text)) if money and text else text


def runway_of(
    proposal: Replenishment,
    *,
    store: Store,
    today: dt.date,
    risk_from: dt.date | None = None,
) -> RunwayPicture:
    """Draw the coming days of the part, with the last days of its campaigns.

    ``risk_from`` is the day from which the forecast sees a risk; without it the first
    day on which promises exceed what is there.
    """
    stock = stock_of(store=store, part_ids=[proposal.part_id])
    campaigns = Campaign.objects.filter(code__in=proposal.facts.get("campaigns", []))
    picture = draw_promise(
        stock, part=proposal.part, earmark_ids=stock.earmark_ids(), today=today
    ).runway(flags=_flags(campaigns, today))
    firm = picture.risk_from
    days = [day for day in (firm, risk_from) if day is not None]
    return replace(picture, risk_from=min(days, default=None))


def _flags(campaigns: Iterable[Campaign], today: dt.date) -> Sequence[RunwayFlag]:
    found = []
    for one in campaigns:
        days: tuple[tuple[dt.date | None, FlagKind, str], ...] = (
            (one.returns_until, FlagKind.RETURN, _("%(code)s returns until")),
            (one.claims_until, FlagKind.CLAIM, _("%(code)s claims until")),
        )
        found += [
            RunwayFlag(day=day, kind=kind, words=words % {"code": one.code})
            for day, kind, words in days
            if day is not None and day >= today
        ]
    return sorted(found, key=lambda flag: (flag.day, flag.words))


def choices_of_sizes(proposal: Replenishment) -> list[dict[str, Any]]:
    """Give the table of choices, the proposed one marked."""
    return [
        {**row, "chosen": row["quantity"] == proposal.quantity}
        for row in proposal.choices
    ]
