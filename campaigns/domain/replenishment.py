"""Proposals: worked out for every part at every store, then decided by a person."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.learning import learn_responses
from campaigns.models import Replenishment
from campaigns.queries.positions import Case, Key, cases_of, read_house
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from campaigns.rules.movers import inputs_of, what_moved, window_of
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.models import Store
from dealership.rules.refusals import Refusal
from inventory.domain.givingback import prepare_return
from inventory.domain.ordering import OrderedLine, place_order
from inventory.forecasting.proposal import ProposalKind as Kind
from inventory.forecasting.proposal import propose
from inventory.forecasting.wording import sentence
from inventory.models import Balance, Earmark, Part


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Collection, Mapping, Sequence

    from dealership.models import Job, StaffMember

RECONCILE = "campaigns.reconcile"
STORES_AT_ONCE = 10
"""Stores whose facts are read and whose proposals are written together."""

DECIDED = (ProposalState.ACCEPTED, ProposalState.CHANGED, ProposalState.DECLINED)


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


# Working out ----------------------------------------------------------------------


@dataclass(slots=True)
class Worked:
    """What a run came to: proposals by kind, and those left as they stood."""

    order: int = 0
    send_back: int = 0
    nothing: int = 0
    unchanged: int = 0
    ended: int = 0

    def told(self) -> dict[str, int]:
        """Give the figures for the record of the job."""
        return asdict(self)

    def count(self, proposal: Replenishment) -> None:
        """Count a new proposal."""
        match proposal.kind:
            case ProposalKind.ORDER:
                self.order += 1
            case ProposalKind.RETURN:
                self.send_back += 1
            case _:
                self.nothing += 1


def ask_reconcile(
    *, store: Store | None, by: StaffMember | None, now: dt.datetime
) -> Job:
    """Have the proposals of a store (None: of all) worked out within the next minute.

    All who ask within a minute share one job. It is due when the minute is over, so
    that it sees what each of them has changed.
    """
    minute = now.replace(second=0, microsecond=0)
    place = store.code if store else "all"
    return enqueue(
        kind=RECONCILE,
        arguments={"store_id": store.pk} if store else {},
        by=by,
        store=store,
        now=now,
        unique_key=f"{place} {minute:%Y-%m-%dT%H:%MZ}",
        due_at=minute + timedelta(minutes=1),
    )


def reconcile_now(
    *, key: str, store: Store, by: StaffMember | None, now: dt.datetime
) -> Job:
    """Have a store's proposals worked out at once. The same key: the first job."""
    return enqueue(
        kind=RECONCILE,
        arguments={"store_id": store.pk},
        by=by,
        store=store,
        now=now,
        unique_key=key,
    )


def reconcile(
    *,
    today: dt.date,
    at: dt.datetime,
    store_id: int | None = None,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> Worked:
    """Set stock against open vehicles and leave one open proposal per store and part.

    Stores are taken a few at a time; each group is read, worked out and written before
    ``progress(done, total)`` is told. The same facts on the same day leave everything
    as it stands. Where somebody has decided, or another run was faster, between the
    reading and the writing, that part is left to the next run.
    """
    stores = list(Store.objects.order_by("pk"))
    if store_id is not None:
        stores = [one for one in stores if one.pk == store_id]
    learn_responses(at=at)
    house = read_house()
    worked = Worked()
    done = 0
    while done < len(stores):
        progress(done, len(stores))
        some = stores[done : done + STORES_AT_ONCE]
        seen = _open_ids(some)
        cases = cases_of(house=house, stores=some, today=today)
        made = {key: _proposal(case, today, at) for key, case in cases.items()}
        _write(some, made, seen=seen, today=today, worked=worked)
        done += len(some)
    progress(done, len(stores))
    return worked


def _open_ids(stores: Sequence[Store]) -> dict[Key, int]:
    """Read which proposal is open for each store and part."""
    rows = Replenishment.objects.filter(store__in=stores, state=ProposalState.OPEN)
    return {
        (store_id, part_id): pk
        for store_id, part_id, pk in rows.values_list("store_id", "part_id", "pk")
    }


def _proposal(case: Case, today: dt.date, at: dt.datetime) -> Replenishment:
    """Work out one proposal; nothing is written."""
    found = propose(case.position)
    earmark_id = case.earmark_id
    if found.kind is Kind.RETURN and case.returned is not None:
        earmark_id = case.returned.earmark_id
    return Replenishment(
        store_id=case.store_id,
        part=case.part,
        earmark_id=earmark_id,
        made_on=today,
        made_at=at,
        kind=found.kind.value,
        quantity=found.quantity,
        act_by=found.act_by,
        sentence=sentence(found),
        facts={
            "because": found.because.value,
            "rows": [asdict(fact) for fact in found.facts],
            "curve": [list(row) for row in found.curve],
            "window": window_of(case.position, found),
            "inputs": inputs_of(case.position),
            "receipts": [
                {"day": one.day.isoformat(), "pieces": one.pieces}
                for one in case.position.receipts
            ],
            "campaigns": list(case.campaigns),
            "built_in_curve": any(
                use.learned_from == 0 for use in case.position.campaigns
            ),
        },
        choices=[asdict(row) for row in found.choices],
        fingerprint=found.fingerprint,
    )


def _write(
    stores: Sequence[Store],
    made: Mapping[Key, Replenishment],
    *,
    seen: Mapping[Key, int],
    today: dt.date,
    worked: Worked,
) -> None:
    """Put the new proposals in the place of the old, in one transaction."""
    with transaction.atomic():
        rows = Replenishment.objects.filter(store__in=stores)
        standing = {
            (one.store_id, one.part_id): one
            for one in rows.filter(state=ProposalState.OPEN)
            .select_for_update()
            .order_by("pk")
        }
        decided = set(
            rows.filter(made_on=today, state__in=DECIDED).values_list(
                "store_id", "part_id", "fingerprint"
            )
        )
        over: list[int] = []
        new: list[Replenishment] = []
        for key, proposal in made.items():
            old = standing.get(key)
            same = old is not None and old.fingerprint == proposal.fingerprint
            meanwhile = seen.get(key) != (old.pk if old else None)
            if same or meanwhile or (*key, proposal.fingerprint) in decided:
                worked.unchanged += 1
                continue
            if old is not None:
                proposal.moved_by = what_moved(
                    old.facts.get("inputs", {}),
                    proposal.facts["inputs"],
                    before=old.made_on,
                    after=today,
                )
                over.append(old.pk)
            new.append(proposal)
            worked.count(proposal)
        gone = [
            old.pk
            for key, old in standing.items()
            if key not in made and seen.get(key) == old.pk
        ]
        worked.ended += len(gone)
        Replenishment.objects.filter(pk__in=[*over, *gone]).update(
            state=ProposalState.SUPERSEDED
        )
        Replenishment.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)


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
    """Take the pieces from the numbers that this one replaces first, then from it."""
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
    """Give the numbers that lead to this one, the oldest first."""
    found: list[Part] = []
    latest: Collection[Part] = [part]
    while latest:
        latest = list(
            Part.objects.filter(superseded_by__in=latest)
            .exclude(pk__in=[one.pk for one in found])
            .order_by("number")
        )
        found = [*latest, *found]
    return found
