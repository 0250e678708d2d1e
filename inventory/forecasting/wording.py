"""A proposal in plain English, for the page and for the file.

Only words and figures of the proposal; the same proposal gives the same text.
"""

from decimal import ROUND_HALF_UP, Decimal

from dealership.rules.money import plain_money
from inventory.forecasting.proposal import (
    Because,
    Proposal,
    ProposalKind,
)
from inventory.forecasting.reorder import Choice


FACT_WORDS = {
    "open_vehicles": "vehicles still open",
    "asked": "owners who asked so far",
    "expected": "owners expected by now",
    "pace": "pace against the usual",
    "pace_weight": "weight of this campaign's own count",
    "pace_prior": "weight of the usual pace",
    "error": "error of such forecasts beyond chance, as a share",
    "learned_from": "closed campaigns that the curve was learned from",
    "weeks_since_letter": "weeks since the letter, on average",
    "share_needing_it": "share of vehicles that need the part",
    "pieces_a_vehicle": "pieces a vehicle",
    "booked_vehicles": "vehicles booked before the delivery after next",
    "show_rate": "share of booked visits that happen",
    "booked_pieces": "pieces for booked vehicles",
    "unbooked_pieces": "pieces for vehicles not booked yet",
    "unbooked_ahead": "share of next week's visits that is not booked yet",
    "reminder_in": "weeks until the reminder that is planned",
    "service_pieces_a_week": "pieces a week for scheduled service",
    "certain_pieces": "pieces for planned work",
    "free": "free on the shelf",
    "held": "held for bookings",
    "waiting": "wanted by customers who wait",
    "overdue": "overdue, not counted until there is a new date",
    "have_in_window": "there before the delivery after next, waiting taken off",
    "have_in_all": "there and on order, waiting taken off",
    "lead_days": "days from order to delivery",
    "window_days": "days to the delivery after next",
    "pack": "pieces in a pack",
    "minimum": "least that can be ordered",
    "order_limit": "most that may be ordered",
    "unit_cost": "cost of a piece",
    "window_mean": "wanted before the delivery after next, on average",
    "window_spread": "give or take",
    "window_service": "share of outcomes to be covered",
    "window_level": "pieces that cover them",
    "rest_mean": "wanted until the end, on average",
    "rest_service": "share of outcomes for the rest of the campaign",
    "rest_level": "pieces worth having until the end",
    "unavoidable_risk": "chance to run out before any order can arrive",
    "cost_short": "cost of a customer without a part",
    "cost_hold": "cost of keeping a piece to the next order",
    "cost_loss": "cost of a piece never used",
    "order_cost": "cost of placing an order",
    "lot": "pieces that an order of steady demand should have",
    "return_by": "last day for returns",
    "restocking": "share the manufacturer keeps",
    "return_credit": "credit for what goes back",
}
"""What each fact's code means, in words."""

_BECAUSE = {
    Because.ENOUGH: "What is on the shelf is enough.",
    Because.ENOUGH_COMING: "With what is on order there is enough.",
    Because.NOTHING_WANTED: "Nobody is expected to want this part any more.",
    Because.NOT_WORTH_IT: (
        "More would help now, but is not likely to be used before the end."
    ),
    Because.NOT_WORTH_AN_ORDER: (
        "An order now would save less than it costs; the next review looks again."
    ),
    Because.LIMIT_REACHED: "More is wanted, but the order limit leaves no room.",
}

_SURELY, _HARDLY, _OFTEN = Decimal("0.95"), Decimal("0.005"), Decimal("0.35")


def sentence(proposal: Proposal) -> str:
    """Say what to do and why, the act first."""
    parts = [_act(proposal), _why(proposal), _population(proposal), _stock(proposal)]
    return " ".join(part for part in parts if part)


def chance_words(chance: float) -> str:
    """Say a chance, 0 to 1, as people do: "about 1 time in 5"."""
    share = Decimal(str(chance))
    if share >= _SURELY:
        return "almost surely"
    if share < _HARDLY:
        return "hardly ever"
    if share >= _OFTEN:
        return f"about {_whole(share * 10)} times in 10"
    return f"about 1 time in {_whole(1 / share)}"


def _act(proposal: Proposal) -> str:
    """Give the act."""
    match proposal.kind:
        case ProposalKind.ORDER:
            return f"Order {proposal.quantity} today."
        case ProposalKind.RETURN:
            credit = plain_money(int(proposal.value("return_credit") or 0))
            kept = int(proposal.value("have_in_all") or 0) - proposal.quantity
            return (
                f"Return {proposal.quantity} by {proposal.act_by}: they bring {credit}."
                f" The {kept} that stay are all that is likely ever to be needed."
            )
        case ProposalKind.NOTHING:
            return f"Nothing to order. {_BECAUSE[proposal.because]}"


def _why(proposal: Proposal) -> str:
    """Say what the order does, and what a smaller one would do."""
    if proposal.kind is not ProposalKind.ORDER:
        return ""
    rows = {row.quantity: row for row in proposal.choices}
    chosen = rows[proposal.quantity]
    covered = _whole((1 - Decimal(str(chosen.run_out))) * 100)
    left = _whole(Decimal(str(chosen.left_over)))
    said = (
        f"That covers {min(covered, 99)} of 100 outcomes until the delivery after"
        f" next ({proposal.value('window_days')} days); about {left} will be left"
        " then, for the next customers."
    )
    if int(proposal.value("lot") or 0) > 0:
        cost = plain_money(int(proposal.value("order_cost") or 0))
        said += f" Each order costs {cost}, so several weeks' pieces come at once."
    smaller = [row for row in proposal.choices if row.quantity < proposal.quantity]
    if smaller:
        runs_out = "; ".join(_runs_out(row) for row in reversed(smaller))
        said += f" {runs_out[0].upper()}{runs_out[1:]}."
    return said


def _runs_out(row: Choice) -> str:
    """Say how often a smaller order runs out."""
    words = chance_words(row.run_out)
    if row.quantity:
        return f"ordering {row.quantity} would run out {words}"
    return f"ordering nothing would run out {words}"


def _population(proposal: Proposal) -> str:
    """Say how each campaign runs."""
    by_label: dict[str, dict[str, str]] = {}
    for fact in proposal.facts:
        if fact.label:
            by_label.setdefault(fact.label, {})[fact.code] = fact.value
    return " ".join(
        f"{label}: {facts['open_vehicles']} vehicles open, {facts['pace']} times the"
        f" usual pace ({facts['asked']} asked, {_whole(Decimal(facts['expected']))}"
        f" expected); {facts['booked_vehicles']} booked, about"
        f" {_whole(Decimal(facts['unbooked_pieces']))} more pieces likely."
        for label, facts in by_label.items()
        if "pace" in facts
    )


def _stock(proposal: Proposal) -> str:
    """Say what is there."""
    there = int(proposal.value("free") or 0) + int(proposal.value("held") or 0)
    said = f"On the shelf: {there}"
    for code, words in (("waiting", "wanted by people who wait"), ("overdue", "late")):
        pieces = proposal.value(code)
        if pieces not in {None, "0"}:
            said += f"; {pieces} {words}"
    return f"{said}."


def _whole(figure: Decimal) -> int:
    """Round to a whole number, half up."""
    return int(figure.quantize(Decimal(1), rounding=ROUND_HALF_UP))
