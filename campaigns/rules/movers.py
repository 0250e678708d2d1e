"""What has moved a proposal: the facts it was made from, and how two of them differ."""

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from typing import Any

from inventory.forecasting.proposal import PartPosition, Proposal


class Mover(StrEnum):
    """What kind of fact has changed."""

    DAY = "day"
    REQUESTS = "requests"
    BOOKING = "booking"
    RECEIPT = "receipt"
    STOCK = "stock"
    POPULATION = "population"
    LETTERS = "letters"
    LEARNED = "learned"
    COST = "cost"
    PRICE = "price"
    TERMS = "terms"
    OTHER = "other"


_MOVER_OF = {
    "asked": Mover.REQUESTS,
    "waiting": Mover.REQUESTS,
    "booked_vehicles": Mover.BOOKING,
    "held": Mover.BOOKING,
    "coming": Mover.RECEIPT,
    "receipts": Mover.RECEIPT,
    "free": Mover.STOCK,
    "open_vehicles": Mover.POPULATION,
    "planned_pieces": Mover.POPULATION,
    "service_pieces_a_week": Mover.POPULATION,
    "share_needing_it": Mover.POPULATION,
    "letters": Mover.LETTERS,
    "reminder": Mover.LETTERS,
    "learned_from": Mover.LEARNED,
    "cost_short": Mover.COST,
    "cost_hold": Mover.COST,
    "cost_loss": Mover.COST,
    "order_cost": Mover.COST,
    "service_limit": Mover.COST,
    "show_rate": Mover.LEARNED,
    "unbooked_ahead": Mover.LEARNED,
    "unit_cost": Mover.PRICE,
    "lead_days": Mover.TERMS,
    "review_days": Mover.TERMS,
    "pack": Mover.TERMS,
    "minimum": Mover.TERMS,
    "order_limit": Mover.TERMS,
    "return_by": Mover.TERMS,
    "restocking": Mover.TERMS,
}


def inputs_of(position: PartPosition) -> dict[str, str]:
    """Give the facts of a position under plain names, to be kept with its proposal.

    ``letters`` says from which day the weeks of each campaign count, on average.
    """
    today = position.today.toordinal()
    uses, costs = position.campaigns, position.costs
    found = {
        "asked": sum(use.asked for use in uses),
        "waiting": position.waiting,
        "booked_vehicles": sum(len(use.booked) for use in uses),
        "held": position.held,
        "coming": sum(one.pieces for one in position.receipts),
        "receipts": " ".join(
            f"{one.day.isoformat()}:{one.pieces}" for one in position.receipts
        ),
        "free": position.free,
        "open_vehicles": sum(use.open_vehicles for use in uses),
        "planned_pieces": sum(one.pieces for one in position.certain),
        "service_pieces_a_week": f"{sum(one.pieces_per_week for one in position.scheduled):.2f}",
        "share_needing_it": " ".join(f"{use.share.mean:.4f}" for use in uses),
        "letters": " ".join(
            str(
                max(
                    (
                        round(today - cohort.weeks_since_letter * 7)
                        for cohort in use.cohorts
                    ),
                    default=0,
                )
            )
            for use in uses
        ),
        "reminder": " ".join(
            ""
            if use.reminder_in is None
            else date.fromordinal(round(today + use.reminder_in * 7)).isoformat()
            for use in uses
        ).strip(),
        "learned_from": " ".join(str(use.learned_from) for use in uses),
        "cost_short": costs.short_cents if costs else "",
        "cost_hold": costs.hold_cents if costs else "",
        "cost_loss": costs.loss_cents if costs else "",
        "order_cost": position.order_cost_cents if costs else "",
        "service_limit": f"{position.service_limit:.4f}",
        "show_rate": " ".join(f"{use.show_rate:.4f}" for use in uses),
        "unbooked_ahead": " ".join(
            f"{use.unbooked_ahead[0]:.4f}" for use in uses if use.unbooked_ahead
        ),
        "unit_cost": position.unit_cost_cents,
        "lead_days": position.lead_days,
        "review_days": position.review_days,
        "pack": position.pack,
        "minimum": position.minimum,
        "order_limit": "" if position.order_limit is None else position.order_limit,
        "return_by": position.returns.last_day.isoformat() if position.returns else "",
        "restocking": str(position.returns.restocking) if position.returns else "",
    }
    return {name: str(value) for name, value in found.items()}


def window_of(position: PartPosition, found: Proposal) -> dict[str, Any]:
    """Give what a move between stores is judged by, to be kept with a proposal.

    What is there for the window, what can leave, the chance that each piece is wanted,
    and what a customer without a part and an order cost (0: not known).
    """
    costs = position.costs
    return {
        "have": position.have(position.window_days),
        "free": position.free,
        "tail": list(found.tail),
        "short_cents": costs.short_cents if costs else 0,
        "order_cents": position.order_cost_cents,
    }


def what_moved(
    old: Mapping[str, str], new: Mapping[str, str], *, before: date, after: date
) -> list[dict[str, str]]:
    """List what differs between the facts of two proposals, the day first.

    Each entry has ``mover``, ``fact``, ``before`` and ``after``. Where no kept fact
    differs, something finer did: that is said as "other".
    """
    moved = []
    if before != after:
        moved.append(
            {
                "mover": Mover.DAY.value,
                "fact": "day",
                "before": before.isoformat(),
                "after": after.isoformat(),
            }
        )
    moved += [
        {
            "mover": mover.value,
            "fact": name,
            "before": old.get(name, ""),
            "after": new.get(name, ""),
        }
        for name, mover in _MOVER_OF.items()
        if old.get(name, "") != new.get(name, "")
    ]
    if not moved:
        moved.append(
            {"mover": Mover.OTHER.value, "fact": "", "before": "", "after": ""}
        )
    return moved
