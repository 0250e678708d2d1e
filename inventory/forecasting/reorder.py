"""How many pieces to have, to order and to send back.

A piece left at the end of a window is not wasted: the next customer uses it. So two
questions are asked of the last piece: is it needed before the delivery after next,
and is it worth having at all?
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from dealership.rules.money import Cents
from inventory.forecasting.distribution import Demand


SERVICE_LIMIT = 0.98
"""Highest level ordered to, whatever the costs: no store's history can prove a
higher one. A judgement from simulation, no published source; the store may raise it."""

USUAL_SERVICE = 0.95
"""Level without costs."""

REST_RETURNABLE, REST_FINAL = 0.85, 0.50
"""Level for the rest of the campaign without costs: before the return deadline (15
per cent restocking) and after it."""

YEARLY_HOLDING = Decimal("0.24")
"""Cost of holding stock for a year, as a share of its value: common practice, no
source."""

LOST_SHARE = Decimal("0.25")
"""Share of customers without a part who go elsewhere: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What a piece too few and a piece too many cost, in cents.

    ``short_cents``: a customer who finds no part. ``hold_cents``: a piece kept from
    one order to the next. ``loss_cents``: a piece that is never used.
    """

    short_cents: Cents
    hold_cents: Cents
    loss_cents: Cents


@dataclass(frozen=True, slots=True, kw_only=True)
class CostTerms:
    """What a store says of its costs, for any part.

    ``labour_margin_cents`` and ``second_visit_cents`` are of one repair; the shares
    lie in 0 to 1: customers without a part who go elsewhere, handling on a part's
    cost.
    """

    labour_margin_cents: Cents
    second_visit_cents: Cents
    lost_share: Decimal = LOST_SHARE
    handling: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Shares of outcomes to be covered, 0 to 1: over the window, over the rest."""

    window: float
    rest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One row of the table: what so many pieces would do.

    ``quantity`` is ordered (or, in a return, sent back); ``level`` is what that gives
    for the window. ``run_out`` and ``last_unused`` are chances, ``left_over`` is in
    pieces at the end of the window.
    """

    quantity: int
    level: int
    run_out: float
    left_over: float
    last_unused: float


def short_cents(
    *,
    labour_margin_cents: Cents,
    handling_margin_cents: Cents,
    second_visit_cents: Cents,
    lost_share: Decimal = LOST_SHARE,
) -> Cents:
    """Give the cost of a customer who finds no part, in cents.

    lost x (labour margin + handling on the part) + (1 - lost) x (second visit, loan
    car, booking again).
    """
    lost = lost_share * (labour_margin_cents + handling_margin_cents)
    return round(lost + (1 - lost_share) * second_visit_cents)


def hold_cents(
    unit_cents: Cents, review_days: int, yearly: Decimal = YEARLY_HOLDING
) -> Cents:
    """Give the cost of holding a piece from one order to the next: c x rate x R/365."""
    return round(unit_cents * yearly * review_days / 365)


def costs_of(
    terms: CostTerms,
    *,
    unit_cents: Cents,
    review_days: int,
    brings_cents: Cents = 0,
    yearly: Decimal = YEARLY_HOLDING,
) -> Costs:
    """Give what a piece of this part costs when it is missing, kept, or never used.

    ``brings_cents`` is what an unused piece brings: its credit while it can go back,
    nothing later.
    """
    return Costs(
        short_cents=short_cents(
            labour_margin_cents=terms.labour_margin_cents,
            handling_margin_cents=round(unit_cents * terms.handling),
            second_visit_cents=terms.second_visit_cents,
            lost_share=terms.lost_share,
        ),
        hold_cents=hold_cents(unit_cents, review_days, yearly),
        loss_cents=max(0, unit_cents - brings_cents),
    )


def critical_ratio(under: float, over: float) -> float:
    """Give cu / (cu + co), the level that costs least (newsvendor).

    Raises ValueError unless ``under`` is above zero and ``over`` at least zero.
    """
    if under <= 0 or over < 0:
        raise ValueError("a piece too few must cost something")
    return under / (under + over)


def cheapest_level(demand: Demand, *, under: float, over: float) -> int:
    """Give the smallest y with F(y) >= cu / (cu + co).

    Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., 4.3.
    """
    return demand.level(critical_ratio(under, over))


def expected_cost(demand: Demand, level: int, *, under: float, over: float) -> float:
    """Give G(y) = cu E(D - y)+ + co E(y - D)+, in the unit of the costs."""
    return under * demand.short(level) + over * demand.left(level)


def service_levels(
    costs: Costs | None, *, returnable: bool, limit: float = SERVICE_LIMIT
) -> Levels:
    """Give both levels, from costs or, without them, the usual ones.

    ``returnable``: a piece ordered now arrives before the last day for returns.
    """
    if costs is None:
        rest = REST_RETURNABLE if returnable else REST_FINAL
        return Levels(window=min(USUAL_SERVICE, limit), rest=rest)
    return Levels(
        window=min(critical_ratio(costs.short_cents, costs.hold_cents), limit),
        rest=critical_ratio(costs.short_cents, costs.loss_cents),
    )


def two_level_target(window: Demand, rest: Demand, levels: Levels) -> int:
    """Give S = min(S_window, S_rest), in pieces.

    The y-th piece serves the y-th next customer, so its cost can be weighed alone
    (Muharremoglu and Tsitsiklis, 2008; base stock: Snyder and Shen 4.3.4, both from
    memory).
    """
    return min(window.level(levels.window), rest.level(levels.rest))


def in_packs(
    pieces: int, *, pack: int = 1, minimum: int = 0, limit: int | None = None
) -> int:
    """Round an order up to whole packs and the minimum; 0 stays 0.

    ``limit`` is the most that may be ordered: above it the order is cut to whole
    packs, and to 0 where not even the minimum fits. Raises ValueError for a pack
    below 1.
    """
    if pack < 1:
        raise ValueError("a pack has at least one piece")
    if pieces <= 0:
        return 0
    wanted = math.ceil(max(pieces, minimum) / pack) * pack
    if limit is None or wanted <= limit:
        return wanted
    cut = limit // pack * pack
    return cut if cut >= max(minimum, 1) else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """What is wanted, what is there for it, and what mistakes cost.

    ``have_window`` counts what arrives within the window, ``have_rest`` all that is on
    order; both may be below zero when customers wait.
    """

    window: Demand
    rest: Demand
    have_window: int
    have_rest: int
    costs: Costs

    def cost(self, order: int) -> float:
        """Give the expected cost of an order in cents, without the cost of ordering.

        cu E(D_P - y)+ + h E(y - D_P)+ over the window, and the loss of pieces left at
        the end, E(y - D_T)+: the two newsvendors of the two-level rule in one sum.
        """
        y, ever, costs = self.have_window + order, self.have_rest + order, self.costs
        return (
            costs.short_cents * self.window.short(y)
            + costs.hold_cents * self.window.left(y)
            + costs.loss_cents * self.rest.left(ever)
        )

    def curve(self, orders: Iterable[int]) -> list[tuple[int, float, float, float]]:
        """Give order, cost of missing, of keeping and of never using, in cents."""
        sizes = sorted(orders)
        shorts = self.window.shortages(max(0, self.have_window + max(sizes, default=0)))
        found = []
        for order in sizes:
            y, ever = self.have_window + order, self.have_rest + order
            missing = float(shorts[y]) if y >= 0 else self.window.mean - y
            found.append(
                (
                    order,
                    self.costs.short_cents * missing,
                    self.costs.hold_cents * max(0.0, y - self.window.mean + missing),
                    self.costs.loss_cents * self.rest.left(ever),
                )
            )
        return found


def cheaper_packs(
    weighing: Weighing, pieces: int, *, pack: int, minimum: int, limit: int | None
) -> int:
    """Give the order in whole packs with the smaller expected cost.

    The cost is convex, so the best multiple is next to ``pieces``: the one below it or
    the one above, each within minimum and limit.
    """
    fewer = max(0, pieces) // pack * pack
    if fewer < minimum or (limit is not None and fewer > limit):
        fewer = 0
    more = in_packs(pieces, pack=pack, minimum=minimum, limit=limit)
    return min((fewer, more), key=lambda order: (weighing.cost(order), order))


def pays_for_the_order(weighing: Weighing, order: int, order_cents: Cents) -> bool:
    """Tell whether an order saves more than placing it costs: G(y0) - G(y0 + Q) > K.

    The (s, S) test (Scarf, 1960, from memory).
    """
    return weighing.cost(0) - weighing.cost(order) > order_cents


def economic_quantity(
    order_cents: float, yearly: float, hold_cents: float, *, short_cents: float = 0.0
) -> float:
    """Give the pieces an order of steady demand should have: sqrt(2 K D / h).

    ``hold_cents`` keeps a piece for a year. With ``short_cents`` a year customers may
    wait: the quantity is sqrt((h + p) / p) times as large (Snyder and Shen, 2nd ed.,
    3.2 and 3.5). 0 where nothing is wanted or ordering costs nothing.
    """
    if order_cents <= 0 or yearly <= 0 or hold_cents <= 0:
        return 0.0
    plain = math.sqrt(2 * order_cents * yearly / hold_cents)
    if not short_cents:
        return plain
    return plain * math.sqrt((hold_cents + short_cents) / short_cents)


def weigh(
    quantities: Iterable[int],
    *,
    window: Demand,
    rest: Demand,
    have_in_window: int,
    have_in_rest: int,
    sending_back: bool = False,
) -> tuple[Choice, ...]:
    """Give the table of choices for these quantities, smallest first."""
    sign = -1 if sending_back else 1
    return tuple(
        Choice(
            quantity=quantity,
            level=have_in_window + sign * quantity,
            run_out=1.0 - window.at_most(have_in_window + sign * quantity),
            left_over=window.left(have_in_window + sign * quantity),
            last_unused=rest.at_most(have_in_rest + sign * quantity - 1),
        )
        for quantity in sorted(set(quantities))
    )


def quantities_around(
    quantity: int, *, pack: int, minimum: int, limit: int | None
) -> tuple[int, ...]:
    """Give the orders worth comparing: none, and a pack fewer, as many, a pack more."""
    around = {0}
    for pieces in (quantity - pack, quantity, quantity + pack):
        if pieces > 0:
            around.add(in_packs(pieces, pack=pack, minimum=minimum, limit=limit))
    return tuple(sorted(around))


def pieces_to_keep(
    window: Demand,
    rest: Demand,
    *,
    unit_cents: Cents,
    return_cents: Cents,
    short_cents: Cents = 0,
    end_cents: Cents = 0,
) -> int:
    """Give how many pieces to keep at the last review before the return deadline.

    The y-th piece is kept while P(D_T >= y) c + cu P(D_P >= y) + P(D_T < y) v_end >=
    v_return: what it saves as a purchase and as a customer served, and what it brings
    in the end, against its credit now. ``window`` is D_P, ``rest`` is D_T; all money
    in cents a piece. With no ``short_cents``, no ``end_cents`` and 15 per cent
    restocking: while the chance of ever being used is 85 per cent.
    """
    kept = 0
    while kept < rest.largest:
        piece = kept + 1
        used = rest.at_least(piece)
        worth = (
            used * unit_cents
            + short_cents * window.at_least(piece)
            + (1 - used) * end_cents
        )
        if worth < return_cents - 1e-9:
            break
        kept = piece
    return kept
