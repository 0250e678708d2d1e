"""From the facts about one part at one store to what should be done, and why.

The same facts on the same day give the same proposal to the byte: figures are rounded
to fixed decimals before they are shown or kept.
"""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from dealership.rules.money import Cents, return_credit_cents
from inventory.forecasting import demand as wanted
from inventory.forecasting import reorder
from inventory.forecasting.demand import (
    CampaignDemand,
    CampaignUse,
    CertainUse,
    ScheduledUse,
)
from inventory.forecasting.distribution import Demand, credibility
from inventory.forecasting.promise import Receipt
from inventory.forecasting.reorder import Choice, Costs, Levels, Weighing


CURVE_POINTS = 24
"""Steps of the cost curve."""

SERVICE_HORIZON_DAYS = 364
"""How far ahead a recurring service item is looked at."""


class ProposalKind(StrEnum):
    """What to do."""

    ORDER = "order"
    RETURN = "return"
    NOTHING = "nothing"


class Because(StrEnum):
    """The main reason for a proposal."""

    SHORT = "short"
    TOO_MANY = "too_many"
    ENOUGH = "enough"
    ENOUGH_COMING = "enough_coming"
    NOTHING_WANTED = "nothing_wanted"
    NOT_WORTH_IT = "not_worth_it"
    LIMIT_REACHED = "limit_reached"
    NOT_WORTH_AN_ORDER = "not_worth_an_order"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReturnTerms:
    """Until when and at what charge pieces may go back.

    ``restocking`` is the share kept by the manufacturer, 0 to 1. ``most`` is how many
    pieces the terms cover; ``notice_days`` before the last day a return is proposed.
    """

    last_day: date
    restocking: Decimal = Decimal("0.15")
    freight_cents: Cents = 0
    most: int | None = None
    notice_days: int = 45


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPosition:
    """All that is known about one part at one store on one day; counts in pieces.

    ``free`` and ``held`` are on the shelf; held pieces belong to bookings, which stand
    in the campaigns' demand. ``waiting`` pieces are wanted by customers who asked and
    got none; these vehicles are in no cohort. ``lead_days`` run from order to
    delivery, ``review_days`` from one order to the next.
    """

    today: date
    free: int
    held: int
    waiting: int
    unit_cost_cents: Cents
    lead_days: int
    review_days: int = 7
    pack: int = 1
    minimum: int = 0
    order_limit: int | None = None
    receipts: tuple[Receipt, ...] = ()
    campaigns: tuple[CampaignUse, ...] = ()
    scheduled: tuple[ScheduledUse, ...] = ()
    certain: tuple[CertainUse, ...] = ()
    costs: Costs | None = None
    order_cost_cents: Cents = 0
    yearly_holding: Decimal = reorder.YEARLY_HOLDING
    returns: ReturnTerms | None = None
    service_limit: float = reorder.SERVICE_LIMIT

    @property
    def on_hand(self) -> int:
        """Give the pieces on the shelf that may be used."""
        return self.free + self.held

    @property
    def window_days(self) -> int:
        """Give the days until the delivery after next."""
        return self.lead_days + self.review_days

    @property
    def overdue(self) -> int:
        """Give the pieces whose day has passed; they are not counted."""
        return sum(one.pieces for one in self.receipts if one.day < self.today)

    def have(self, days: int | None = None) -> int:
        """Give on hand less waiting plus receipts due within the days, or all."""
        coming = sum(
            one.pieces
            for one in self.receipts
            if one.day >= self.today
            and (days is None or (one.day - self.today).days <= days)
        )
        return self.on_hand - self.waiting + coming

    def fingerprint(self) -> str:
        """Give 64 hexadecimal digits that change with any fact, the day included."""
        return hashlib.sha256(repr(self).encode()).hexdigest()


class Fact(NamedTuple):
    """One figure that went into a proposal.

    ``code`` names it, ``value`` is written with fixed decimals, ``unit`` is pieces,
    vehicles, days, chance, times, requests, cents or day; ``label`` is the campaign
    or item that it belongs to, empty for the part as a whole.
    """

    code: str
    value: str
    unit: str
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What to do with one part, by when, and everything behind it.

    ``act_by`` is None when nothing is to be done. ``choices`` is the table of
    alternatives, the proposed quantity among them. ``curve`` has orders with their
    cost of missing, keeping and never using, in cents; empty without costs. ``tail``
    has P(D >= 1), P(D >= 2) ... for the window, four decimals, while above zero.
    """

    kind: ProposalKind
    quantity: int
    act_by: date | None
    because: Because
    facts: tuple[Fact, ...]
    choices: tuple[Choice, ...]
    fingerprint: str
    curve: tuple[tuple[int, int, int, int], ...] = ()
    tail: tuple[float, ...] = ()

    def value(self, code: str) -> str | None:
        """Give the value of a fact about the part as a whole, or None."""
        for fact in self.facts:
            if fact.code == code and not fact.label:
                return fact.value
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """The demands that a proposal weighs, in pieces, and the levels aimed at.

    ``lead`` runs until an order placed now arrives, ``window`` until the delivery
    after next, ``rest`` to the end of the campaigns.
    """

    campaigns: tuple[CampaignDemand, ...]
    lead: Demand
    window: Demand
    rest: Demand
    levels: Levels


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of days from today that a proposal looks at."""

    days: int
    rest: bool = False


def stretches_of(position: PartPosition) -> tuple[Stretch, Stretch, Stretch]:
    """Give the days until an order arrives, to the delivery after next, to the end."""
    return (
        Stretch(position.lead_days),
        Stretch(position.window_days),
        Stretch(_days_to_the_end(position), rest=True),
    )


def look_ahead(position: PartPosition) -> Outlook:
    """Forecast the demand that a proposal weighs."""
    return put_together(
        position,
        [
            one
            for stretch in stretches_of(position)
            for one in _campaigns(position, stretch.days, rest=stretch.rest)
        ],
    )


def put_together(position: PartPosition, found: Sequence[CampaignDemand]) -> Outlook:
    """Make an outlook of the campaigns' demands: of each stretch in turn."""
    each = len(position.campaigns)
    lead, window, rest = (
        _together(position, tuple(found[place * each : (place + 1) * each]), one.days)
        for place, one in enumerate(stretches_of(position))
    )
    returns = position.returns
    arrives_in_time = (
        returns is not None
        and (returns.last_day - position.today).days >= position.lead_days
    )
    return Outlook(
        campaigns=tuple(found[each : 2 * each]),
        lead=lead,
        window=window,
        rest=rest,
        levels=reorder.service_levels(
            position.costs, returnable=arrives_in_time, limit=position.service_limit
        ),
    )


def demand_within(position: PartPosition, days: int) -> Demand:
    """Forecast all that is wanted within so many days from today."""
    return _together(position, _campaigns(position, days), days)


def propose(position: PartPosition) -> Proposal:
    """Propose an order, a return or nothing for one part at one store.

    A return comes first, when its last day is near and more is there than is worth
    keeping. Else an order up to min(S_window, S_rest), in packs and within the limit:
    the window counts the receipts that arrive in it, the rest all that are on order.
    The formulas stand in ``inventory.forecasting.reorder``.
    """
    return conclude(position, look_ahead(position))


class Decision(NamedTuple):
    """What is to be done, without the figures behind it."""

    kind: ProposalKind
    quantity: int
    because: Because
    back: int


def decide(position: PartPosition, outlook: Outlook) -> Decision:
    """Choose between a return, an order and nothing; see ``propose``."""
    short = outlook.window.level(outlook.levels.window) - position.have(
        position.window_days
    )
    worth = outlook.rest.level(outlook.levels.rest) - position.have()
    order, because_not = _order(position, outlook, short=short, worth=worth)
    back = pieces_to_return(position, outlook)
    if back:
        return Decision(ProposalKind.RETURN, back, Because.TOO_MANY, back)
    if order:
        return Decision(ProposalKind.ORDER, order, Because.SHORT, back)
    why = because_not or _why_nothing(position, outlook, short=short, worth=worth)
    return Decision(ProposalKind.NOTHING, 0, why, back)


def conclude(
    position: PartPosition, outlook: Outlook, *, fingerprint: str = ""
) -> Proposal:
    """Propose from what is ahead; see ``propose``.

    ``fingerprint``: that of the position, where the caller has it already.
    """
    kind, quantity, because, back = decide(position, outlook)
    act_by: date | None = None
    if kind is ProposalKind.RETURN and position.returns is not None:
        act_by = position.returns.last_day
    elif kind is ProposalKind.ORDER:
        act_by = position.today
    return Proposal(
        kind=kind,
        quantity=quantity,
        act_by=act_by,
        because=because,
        facts=_facts(position, outlook, back=back),
        choices=_choices(position, outlook, kind=kind, quantity=quantity),
        fingerprint=fingerprint or position.fingerprint(),
        curve=_curve(position, outlook, kind=kind, quantity=quantity),
        tail=outlook.window.tail(),
    )


def explain(proposal: Proposal) -> tuple[Fact, ...]:
    """Give every figure behind a proposal: "how was this worked out"."""
    return proposal.facts


def pieces_to_return(position: PartPosition, outlook: Outlook) -> int:
    """Give how many free pieces to send back now, 0 outside the notice period.

    What would be ordered again is never sent back: at least the target of the two
    levels is kept, besides what customers wait for.
    """
    terms = position.returns
    if terms is None:
        return 0
    left = (terms.last_day - position.today).days
    if not 0 <= left <= terms.notice_days:
        return 0
    credit = return_credit_cents(1, position.unit_cost_cents, terms.restocking)
    kept = reorder.pieces_to_keep(
        outlook.window,
        outlook.rest,
        unit_cents=position.unit_cost_cents,
        return_cents=credit,
        short_cents=position.costs.short_cents if position.costs else 0,
    )
    after = reorder.service_levels(
        position.costs, returnable=False, limit=position.service_limit
    )
    target = reorder.two_level_target(outlook.window, outlook.rest, after)
    spare = position.have() - max(kept, target)
    most = position.free if terms.most is None else min(position.free, terms.most)
    back = max(0, min(spare, most))
    worth_it = back * credit > terms.freight_cents
    return back if worth_it else 0


def _campaigns(
    position: PartPosition, days: int, *, rest: bool = False
) -> tuple[CampaignDemand, ...]:
    """Forecast each campaign for so many days."""
    return tuple(
        wanted.campaign_demand(
            use,
            today=position.today,
            days=days,
            error=use.errors.rest if rest else None,
        )
        for use in position.campaigns
    )


def _together(
    position: PartPosition, campaigns: tuple[CampaignDemand, ...], days: int
) -> Demand:
    """Add campaigns, service items and certain work."""
    total = wanted.certain_demand(position.certain, today=position.today, days=days)
    for one in campaigns:
        total = total.plus(one.total)
    for item in position.scheduled:
        total = total.plus(wanted.scheduled_demand(item, days=days))
    return total


def _days_to_the_end(position: PartPosition) -> int:
    """Give the days until nobody more is expected, at least the window."""
    ends = [position.window_days]
    for use in position.campaigns:
        youngest = min((c.weeks_since_letter for c in use.cohorts), default=0.0)
        if use.reminder_in is not None:
            youngest = min(youngest, -use.reminder_in)
        ends.append(int((use.curve.last_week - youngest) * 7) + 1)
        ends.extend((day - position.today).days for day in use.booked)
    ends.extend((use.day - position.today).days for use in position.certain)
    if position.scheduled:
        ends.append(SERVICE_HORIZON_DAYS)
    return max(ends)


def _weighing(position: PartPosition, outlook: Outlook) -> Weighing | None:
    """Put demands, stock and costs together; None where the costs are not known."""
    if position.costs is None:
        return None
    return Weighing(
        window=outlook.window,
        rest=outlook.rest,
        have_window=position.have(position.window_days),
        have_rest=position.have(),
        costs=position.costs,
    )


def economic_lot(position: PartPosition) -> int:
    """Give the pieces that an order of a part for scheduled service should have.

    0 where campaigns want it too, where ordering costs nothing, or without costs.
    """
    if position.costs is None or position.campaigns or not position.scheduled:
        return 0
    yearly = sum(one.pieces_per_week for one in position.scheduled) * 365 / 7
    keeping = float(position.unit_cost_cents * position.yearly_holding)
    return round(reorder.economic_quantity(position.order_cost_cents, yearly, keeping))


def _order(
    position: PartPosition, outlook: Outlook, *, short: int, worth: int
) -> tuple[int, Because | None]:
    """Give the pieces to order in packs, and why none although some are wanted.

    Without costs packs are rounded up. With them the cheaper number of packs is taken;
    where ordering itself costs something, an order must save more than that, and one
    of a part for scheduled service alone has the economic quantity, as far as so many
    are worth having.
    """
    weighing, terms = _weighing(position, outlook), position
    pack, least, most = terms.pack, terms.minimum, terms.order_limit
    pieces = min(short, worth)
    if weighing is None or pieces <= 0:
        return reorder.in_packs(pieces, pack=pack, minimum=least, limit=most), None
    pieces = max(pieces, min(economic_lot(position), worth))
    order = reorder.cheaper_packs(
        weighing, pieces, pack=pack, minimum=least, limit=most
    )
    if order and not reorder.pays_for_the_order(
        weighing, order, position.order_cost_cents
    ):
        return 0, Because.NOT_WORTH_AN_ORDER
    if not order and reorder.in_packs(pieces, pack=pack, minimum=least, limit=most):
        return 0, Because.NOT_WORTH_AN_ORDER
    return order, None


def _curve(
    position: PartPosition, outlook: Outlook, *, kind: ProposalKind, quantity: int
) -> tuple[tuple[int, int, int, int], ...]:
    """Give what orders around the proposed one would cost, in whole cents."""
    weighing = _weighing(position, outlook)
    if weighing is None or kind is not ProposalKind.ORDER:
        return ()
    top = max(2 * quantity, 2 * position.pack)
    step = max(1, math.ceil(top / position.pack / CURVE_POINTS)) * position.pack
    sizes = {quantity, *range(0, top + 1, step)}
    return tuple(
        (order, round(missing), round(keeping), round(never))
        for order, missing, keeping, never in weighing.curve(sizes)
    )


def _why_nothing(
    position: PartPosition, outlook: Outlook, *, short: int, worth: int
) -> Because:
    """Say why nothing is to be done."""
    if min(short, worth) > 0:
        return Because.LIMIT_REACHED
    if outlook.rest.largest == 0:
        return Because.NOTHING_WANTED
    if short > 0:
        return Because.NOT_WORTH_IT
    target = outlook.window.level(outlook.levels.window)
    alone = position.on_hand - position.waiting
    return Because.ENOUGH if alone >= target else Because.ENOUGH_COMING


def _choices(
    position: PartPosition, outlook: Outlook, *, kind: ProposalKind, quantity: int
) -> tuple[Choice, ...]:
    """Give the table of alternatives, rounded so that it can be kept."""
    sending_back = kind is ProposalKind.RETURN
    if sending_back:
        step = max(1, quantity // 4)
        around = {0, max(0, quantity - step), quantity, quantity + step}
        quantities = tuple(size for size in around if size <= position.free)
    else:
        quantities = reorder.quantities_around(
            quantity,
            pack=position.pack,
            minimum=position.minimum,
            limit=position.order_limit,
        )
    rows = reorder.weigh(
        quantities,
        window=outlook.window,
        rest=outlook.rest,
        have_in_window=position.have(position.window_days),
        have_in_rest=position.have(),
        sending_back=sending_back,
    )
    return tuple(
        Choice(
            quantity=row.quantity,
            level=row.level,
            run_out=round(row.run_out, 3),
            left_over=round(row.left_over, 1),
            last_unused=round(row.last_unused, 3),
        )
        for row in rows
    )


def _facts(position: PartPosition, outlook: Outlook, *, back: int) -> tuple[Fact, ...]:
    """Give every figure, the campaigns' first, each under a code of its own."""
    window, rest, levels = outlook.window, outlook.rest, outlook.levels
    at_arrival = outlook.lead.at_most(position.have(position.lead_days))
    facts = [
        fact
        for use, one in zip(position.campaigns, outlook.campaigns, strict=True)
        for fact in _campaign_facts(use, one)
    ]
    facts += [
        _fact("service_pieces_a_week", item.pieces_per_week, "pieces", item.label, 2)
        for item in position.scheduled
    ]
    facts += [
        _fact("certain_pieces", item.pieces, "pieces", item.label)
        for item in position.certain
    ]
    facts += [
        _fact("free", position.free, "pieces"),
        _fact("held", position.held, "pieces"),
        _fact("waiting", position.waiting, "pieces"),
        _fact("overdue", position.overdue, "pieces"),
        _fact("have_in_window", position.have(position.window_days), "pieces"),
        _fact("have_in_all", position.have(), "pieces"),
        _fact("lead_days", position.lead_days, "days"),
        _fact("window_days", position.window_days, "days"),
        _fact("pack", position.pack, "pieces"),
        _fact("minimum", position.minimum, "pieces"),
        _fact("unit_cost", position.unit_cost_cents, "cents"),
        _fact("window_mean", window.mean, "pieces", places=2),
        _fact("window_spread", window.variance**0.5, "pieces", places=2),
        _fact("window_service", levels.window, "chance", places=3),
        _fact("window_level", window.level(levels.window), "pieces"),
        _fact("rest_mean", rest.mean, "pieces", places=2),
        _fact("rest_service", levels.rest, "chance", places=3),
        _fact("rest_level", rest.level(levels.rest), "pieces"),
        _fact("unavoidable_risk", 1 - at_arrival, "chance", places=3),
    ]
    if position.order_limit is not None:
        facts.append(_fact("order_limit", position.order_limit, "pieces"))
    if position.costs is not None:
        facts += [
            _fact("cost_short", position.costs.short_cents, "cents"),
            _fact("cost_hold", position.costs.hold_cents, "cents"),
            _fact("cost_loss", position.costs.loss_cents, "cents"),
            _fact("order_cost", position.order_cost_cents, "cents"),
            _fact("lot", economic_lot(position), "pieces"),
        ]
    if position.returns is not None:
        terms = position.returns
        credit = return_credit_cents(
            back,
            position.unit_cost_cents,
            terms.restocking,
            freight_cents=terms.freight_cents if back else 0,
        )
        facts += [
            Fact(code="return_by", value=terms.last_day.isoformat(), unit="day"),
            Fact(code="restocking", value=f"{terms.restocking:.4f}", unit="chance"),
            _fact("return_credit", credit, "cents"),
        ]
    return tuple(facts)


def _campaign_facts(use: CampaignUse, one: CampaignDemand) -> list[Fact]:
    """Give the figures of one campaign."""
    weight = credibility(use.expected, prior=use.prior)
    known = []
    if use.unbooked_ahead:
        share = use.unbooked_ahead[0]
        known.append(_fact("unbooked_ahead", share, "chance", use.label, 2))
    if use.reminder_in is not None:
        known.append(_fact("reminder_in", use.reminder_in, "weeks", use.label, 1))
    return [
        _fact("open_vehicles", use.open_vehicles, "vehicles", use.label),
        _fact("asked", use.asked, "requests", use.label),
        _fact("expected", use.expected, "requests", use.label, 1),
        _fact("pace", use.pace.mean, "times", use.label, 2),
        _fact("pace_weight", weight, "chance", use.label, 2),
        _fact("pace_prior", use.prior, "requests", use.label, 1),
        _fact("error", use.error, "chance", use.label, 2),
        _fact("learned_from", use.learned_from, "campaigns", use.label),
        _fact("weeks_since_letter", use.mean_age_weeks(), "weeks", use.label, 1),
        _fact("share_needing_it", use.share.mean, "chance", use.label, 3),
        _fact("pieces_a_vehicle", use.pieces_per_vehicle, "pieces", use.label),
        _fact("booked_vehicles", one.booked_vehicles, "vehicles", use.label),
        _fact("show_rate", use.show_rate, "chance", use.label, 2),
        _fact("booked_pieces", one.booked.mean, "pieces", use.label, 1),
        _fact("unbooked_pieces", one.unbooked.mean, "pieces", use.label, 1),
        *known,
    ]


_WITH_PLACES = ("%.0f", "%.1f", "%.2f", "%.3f")


def _fact(code: str, value: float, unit: str, label: str = "", places: int = 0) -> Fact:
    """Write a figure with fixed decimals; minus zero is zero."""
    if not places and value.__class__ is int:
        return Fact(code, str(value), unit, label)
    written = _WITH_PLACES[places] % value
    if written[0] == "-" and float(written) == 0:
        written = written[1:]
    return Fact(code, written, unit, label)
