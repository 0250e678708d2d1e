"""Proving the books: every figure again, from the entries alone."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, F, Q, Sum

from inventory.models import Balance, CostLayer, Entry, Movement, Reservation
from inventory.rules.accounts import INSIDE, ON_HAND, Account, ReservationState


if TYPE_CHECKING:
    from collections.abc import Iterator


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that does not balance: which rule, which row, and both figures."""

    rule: str
    row: str
    stands: int
    should_be: int

    def __str__(self) -> str:
        return f"{self.rule}: {self.row} is {self.stands}, should be {self.should_be}"


def faults_of_the_books() -> list[Fault]:
    """Work out every balance anew and give what differs; an empty list is proof.

    Balance = sum of its entries; each movement and all books together sum to zero;
    nothing inside the store is below zero; held pieces = live holds; what is left of
    the layers = their entries = the pieces on hand.
    """
    return [
        *_balances(),
        *_movements(),
        *_below_zero(),
        *_holds(),
        *_layers(),
        *_layers_of_parts(),
    ]


def _balances() -> Iterator[Fault]:
    sums: dict[tuple[int, int, int | None], dict[str, int]] = defaultdict(dict)
    entries = Entry.objects.order_by().values_list(
        "store_id", "part_id", "earmark_id", "account"
    )
    for store, part, earmark, account, total in entries.annotate(Sum("quantity")):
        sums[store, part, earmark][account] = total
    for balance in Balance.objects.order_by("pk").iterator():
        pocket = balance.store_id, balance.part_id, balance.earmark_id
        found = sums.pop(pocket, {})
        for account in Account:
            stands, should = getattr(balance, account), found.get(account, 0)
            if stands != should:
                row = f"balance {balance.pk} {account}"
                yield Fault(
                    rule="balance is the sum of its entries",
                    row=row,
                    stands=stands,
                    should_be=should,
                )
    for pocket, found in sums.items():
        for account, total in found.items():
            if total:
                row = "store {} part {} earmark {}".format(*pocket) + f" {account}"
                yield Fault(
                    rule="entries have a balance", row=row, stands=0, should_be=total
                )


def _movements() -> Iterator[Fault]:
    totals = Movement.objects.order_by("pk").annotate(
        total=Sum("entries__quantity"), lines=Count("entries")
    )
    crooked = totals.filter(~Q(total=0) | Q(lines=0)).values_list("pk", "total")
    for pk, total in crooked:
        yield Fault(
            rule="a movement has lines that sum to zero",
            row=f"movement {pk}",
            stands=total or 0,
            should_be=0,
        )
    whole = sum(
        sum(getattr(balance, account) for account in Account)
        for balance in Balance.objects.iterator()
    )
    if whole:
        yield Fault(rule="the books sum to zero", row="all", stands=whole, should_be=0)


def _below_zero() -> Iterator[Fault]:
    below = Q()
    for account in INSIDE:
        below |= Q(**{f"{account}__lt": 0})
    for balance in Balance.objects.filter(below).order_by("pk"):
        low = min(getattr(balance, account) for account in INSIDE)
        yield Fault(
            rule="nothing inside is below zero",
            row=f"balance {balance.pk}",
            stands=low,
            should_be=0,
        )


def _holds() -> Iterator[Fault]:
    """Compare what pockets hold, and what they promise, with the live reservations."""
    for state, column, rule in (
        (ReservationState.HELD, "held", "held pieces are those of live holds"),
        (ReservationState.PROMISED, "promised", "promises of a pocket are live"),
    ):
        rows = Reservation.objects.filter(state=state).order_by()
        by_pocket = {
            (store, part, earmark): total
            for store, part, earmark, total in rows.values_list(
                "store_id", "part_id", "earmark_id"
            ).annotate(Sum("quantity"))
        }
        balances = Balance.objects.values_list(
            "store_id", "part_id", "earmark_id", column, "pk"
        )
        for store, part, earmark, stands, pk in balances:
            should = by_pocket.pop((store, part, earmark), 0)
            if stands != should:
                yield Fault(
                    rule=rule, row=f"balance {pk}", stands=stands, should_be=should
                )
        for pocket, should in by_pocket.items():
            row = "store {} part {} earmark {}".format(*pocket)
            yield Fault(rule=rule, row=row, stands=0, should_be=should)


def _layers() -> Iterator[Fault]:
    inside = Sum(
        "entries__quantity", filter=Q(entries__account__in=sorted(ON_HAND)), default=0
    )
    layers = CostLayer.objects.order_by("pk").annotate(
        inside=inside, left=F("quantity") - F("taken")
    )
    wrong = layers.exclude(inside=F("left")).values_list("pk", "left", "inside")
    for pk, left, from_entries in wrong:
        yield Fault(
            rule="what is left of a layer is the sum of its entries",
            row=f"layer {pk}",
            stands=left,
            should_be=from_entries,
        )


def _layers_of_parts() -> Iterator[Fault]:
    left = {
        (store, part): total
        for store, part, total in CostLayer.objects.order_by()
        .values_list("store_id", "part_id")
        .annotate(total=Sum(F("quantity") - F("taken")))
    }
    on_hand = Balance.objects.order_by().values_list("store_id", "part_id")
    for store, part, should in on_hand.annotate(Sum("on_hand")):
        stands = left.pop((store, part), 0)
        if stands != should:
            yield Fault(
                rule="layers cover the pieces on hand",
                row=f"store {store} part {part}",
                stands=stands,
                should_be=should,
            )
    for (store, part), stands in left.items():
        if stands:
            yield Fault(
                rule="layers cover the pieces on hand",
                row=f"store {store} part {part}",
                stands=stands,
                should_be=0,
            )
