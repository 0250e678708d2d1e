"""Proposals decided by a person: accepted, changed or declined."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.reckoning import ask_reconcile
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.givingback import prepare_return
from inventory.domain.ordering import OrderedLine, place_order
from inventory.models import Balance, Earmark, Part


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from dealership.models import StaffMember, Store


class ProposalOver(Refusal):
    """The proposal has been decided, or a newer one stands in its place."""

    def __init__(self, proposal: Replenishment) -> None:
        text = (
            _(
                "A newer proposal has taken the place of this one, because the facts"
                " have changed. Go back to the list and open the newer one."
            )
            if proposal.state == ProposalState.SUPERSEDED
            else _("This proposal has been decided already; nothing more was done.")
        )
        super().__init__(text)
        self.proposal = proposal


class NothingProposed(Refusal):
    """Nothing is proposed, so there is nothing to accept or to decline."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Nothing is proposed here. To order all the same, say how many"
                " pieces and why."
            )
        )


class ReasonWanted(Refusal):
    """A change or a refusal without its reason."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "Say in a few words why you decide otherwise. The reason is kept"
                " beside the proposal."
            )
        )


class NotWholePacks(Refusal):
    """Pieces that cannot be ordered: no whole packs, or fewer than the minimum."""

    def __init__(self, part: Part, quantity: int) -> None:
        super().__init__(
            _(
                "%(part)s comes in packs of %(pack)d, at least %(minimum)d pieces an"
                " order; %(quantity)d cannot be ordered."
            )
            % {
                "part": part.number,
                "pack": part.pack,
                "minimum": max(part.minimum_order, part.pack),
                "quantity": quantity,
            }
        )
        self.part = part
        self.quantity = quantity


# Deciding -------------------------------------------------------------------------


def accept(
    *, key: str, proposal: Replenishment, by: StaffMember, at: dt.datetime
) -> Replenishment:
    """Do what is proposed: place the order, or box the return.

    The same ``key`` again changes nothing. Raises NothingProposed, ProposalOver, and
    what placing an order or preparing a return raises.
    """
    with transaction.atomic():
        held, repeated = _held(proposal, key)
        if repeated:
            return held
        if held.kind == ProposalKind.NOTHING:
            raise NothingProposed
        return _decide(
            held, ProposalState.ACCEPTED, held.quantity, key=key, why="", by=by, at=at
        )


def change(
    *,
    key: str,
    proposal: Replenishment,
    quantity: int,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> Replenishment:
    """Order or return another number of pieces than proposed, with the reason.

    Where nothing is proposed the pieces are ordered. The same ``key`` again changes
    nothing. Raises ReasonWanted, NotWholePacks, ProposalOver, and what placing an
    order or preparing a return raises.
    """
    if not why.strip():
        raise ReasonWanted
    with transaction.atomic():
        held, repeated = _held(proposal, key)
        if repeated:
            return held
        part = held.part
        if held.kind != ProposalKind.RETURN and (
            quantity < part.minimum_order or quantity % part.pack
        ):
            raise NotWholePacks(part, quantity)
        return _decide(
            held, ProposalState.CHANGED, quantity, key=key, why=why, by=by, at=at
        )


def decline(
    *,
    key: str,
    proposal: Replenishment,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> Replenishment:
    """Do nothing of what is proposed, and keep why.

    The same ``key`` again changes nothing. Raises ReasonWanted, NothingProposed,
    ProposalOver.
    """
    if not why.strip():
        raise ReasonWanted
    with transaction.atomic():
        held, repeated = _held(proposal, key)
        if repeated:
            return held
        if held.kind == ProposalKind.NOTHING:
            raise NothingProposed
        return _decide(held, ProposalState.DECLINED, 0, key=key, why=why, by=by, at=at)


def _held(proposal: Replenishment, key: str) -> tuple[Replenishment, bool]:
    """Read and hold a proposal; tell whether this key has decided it before.

    Raises ProposalOver when it is not open for another reason.
    """
    held = (
        Replenishment.objects.select_for_update(of=("self",))
        .select_related("store", "part__supplier", "earmark")
        .get(pk=proposal.pk)
    )
    if held.state == ProposalState.OPEN:
        return held, False
    if held.facts.get("decided_by_key") == key:
        return held, True
    raise ProposalOver(held)


def _decide(
    held: Replenishment,
    state: ProposalState,
    quantity: int,
    *,
    key: str,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> Replenishment:
    """Keep the decision beside the proposal and do what follows from it."""
    if state is not ProposalState.DECLINED:
        if held.kind == ProposalKind.RETURN:
            _box(held, quantity, by=by, at=at)
        else:
            _order(held, quantity, by=by, at=at)
    held.state = state
    held.done_quantity = quantity
    held.done_why = why.strip()[:200]
    held.done_by = by
    held.done_at = at
    held.facts = {**held.facts, "decided_by_key": key}
    held.save(
        update_fields=[
            "state", "done_quantity", "done_why", "done_by", "done_at", "facts",
            "order", "goods_return",
        ]
    )  # fmt: skip
    after: dict[str, Any] = {"state": state.value, "pieces": quantity}
    record(
        act=f"proposal.{state.value}",
        subject=held,
        by=by,
        at=at,
        store=held.store,
        before={"kind": held.kind, "pieces": held.quantity},
        after=after,
        why=why.strip(),
    )
    ask_reconcile(store=held.store, by=by, now=at)
    return held


def _order(
    held: Replenishment, quantity: int, *, by: StaffMember, at: dt.datetime
) -> None:
    held.order = place_order(
        key=f"proposal:{held.pk}",
        store=held.store,
        supplier=held.part.supplier,
        earmark=held.earmark,
        lines=[OrderedLine(part=held.part, quantity=quantity)],
        by=by,
        at=at,
    )


def _box(
    held: Replenishment, quantity: int, *, by: StaffMember, at: dt.datetime
) -> None:
    terms = getattr(held.earmark, "campaign", None)
    held.goods_return = prepare_return(
        key=f"proposal:{held.pk}",
        store=held.store,
        supplier=held.part.supplier,
        earmark=held.earmark,
        lines=_pieces(held.store, held.part, held.earmark, quantity),
        last_date=held.act_by,
        restocking_basis_points=terms.restocking_basis_points if terms else 0,
        by=by,
        at=at,
    )


def _pieces(
    store: Store, part: Part, earmark: Earmark | None, quantity: int
) -> dict[Part, int]:
    """Take the pieces from old numbers that count for this one first, then from it."""
    older = _replaced_by(part)
    pockets = Balance.objects.filter(
        store=store, earmark=earmark, part__in=[part, *older], free__gt=0
    ).select_related("part")
    free = {one.part: one.free for one in pockets}
    lines: dict[Part, int] = {}
    left = quantity
    for one in [*older, part]:
        taken = min(left, free.get(one, 0))
        if taken:
            lines[one] = taken
            left -= taken
    if left or not lines:
        lines[part] = lines.get(part, 0) + left
    return lines


def _replaced_by(part: Part) -> list[Part]:
    """Give the old numbers of which what is left serves for this one, oldest first."""
    found: list[Part] = []
    latest: Collection[Part] = [part]
    while latest:
        latest = list(
            Part.objects.filter(
                superseded_by__in=latest, old_stock_serves=True, recalled=False
            )
            .exclude(pk__in=[one.pk for one in found])
            .order_by("number")
        )
        found = [*latest, *found]
    return found
