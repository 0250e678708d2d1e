"""Proposals worked out for every part at every store: the reconcile job.

Facts are read for all stores at once, in a fixed number of statements. Where they are
those from which the open proposal was made, nothing more is done; the rest is worked
out in columns and written a few stores at a time.
"""

from __future__ import annotations

import gc
from contextlib import contextmanager, nullcontext
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction

from campaigns.domain.learning import learn_responses
from campaigns.models import Reckoning, Replenishment
from campaigns.queries.positions import Case, Key, cases_of, read_house
from campaigns.queries.touched import touched_stores
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from campaigns.rules.movers import inputs_of, what_moved, window_of
from dealership.domain.jobs import enqueue
from dealership.models import Store
from inventory.forecasting.batch import propose_many
from inventory.forecasting.proposal import ProposalKind as Kind
from inventory.forecasting.wording import sentence
from vehicles.domain.sets import insert_rows


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from contextlib import AbstractContextManager

    from dealership.models import Job, StaffMember
    from inventory.forecasting.proposal import Proposal

    Stage = Callable[[str], AbstractContextManager[None]]

RECONCILE = "campaigns.reconcile"
READ_AT_ONCE = 25
"""Stores whose facts are read, worked out and written together, at the most."""

FEWEST_AT_ONCE = 5
"""Stores that a worker takes together near the end of a run that two share."""

KEPT_DAYS = 14
"""Days for which a proposal is kept that another has replaced undecided."""

DECIDED = (ProposalState.ACCEPTED, ProposalState.CHANGED, ProposalState.DECLINED)

_COLUMNS = (
    "store_id", "part_id", "earmark_id", "made_on", "made_at", "kind", "quantity",
    "act_by", "sentence", "facts", "choices", "moved_by", "fingerprint", "state",
    "done_why",
)  # fmt: skip


@dataclass(slots=True)
class Worked:
    """What a run came to: proposals by kind, and those left as they stood.

    ``passed_over``: stores in which nothing has happened since the last run today.
    """

    order: int = 0
    send_back: int = 0
    nothing: int = 0
    unchanged: int = 0
    ended: int = 0
    passed_over: int = 0

    def told(self) -> dict[str, int]:
        """Give the figures for the record of the job."""
        return asdict(self)

    def count(self, kind: str) -> None:
        """Count a new proposal."""
        match kind:
            case ProposalKind.ORDER:
                self.order += 1
            case ProposalKind.RETURN:
                self.send_back += 1
            case _:
                self.nothing += 1


@dataclass(frozen=True, slots=True)
class _Standing:
    """What stands in the table for the stores of a run.

    ``open`` has id and fingerprint of each open proposal; ``decided`` those decided
    today, with the facts on which they were.
    """

    open: Mapping[Key, tuple[int, str]]
    decided: frozenset[tuple[int, int, str]] = field(default_factory=frozenset)

    def id_of(self, key: Key) -> int | None:
        """Give the open proposal's id, None where there is none."""
        old = self.open.get(key)
        return old[0] if old else None

    def holds(self, key: Key, fingerprint: str) -> bool:
        """Tell whether these facts have their proposal already."""
        old = self.open.get(key)
        same = old is not None and old[1] == fingerprint
        return same or (*key, fingerprint) in self.decided


# Asking for it ----------------------------------------------------------------------


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


# Doing it ---------------------------------------------------------------------------


def reconcile(
    *,
    today: dt.date,
    at: dt.datetime,
    store_id: int | None = None,
    helping: bool = False,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
    stage: Stage = lambda _name: nullcontext(),
) -> Worked:
    """Set stock against open vehicles and leave one open proposal per store and part.

    A store asked for by ``store_id`` is looked at in any case; of all stores those in
    which nothing has happened since their last run today are passed over. The same
    facts on the same day leave everything as it stands. Where somebody has decided, or
    another run was faster, between the reading and the writing, that part is left to
    the next run.

    ``helping`` joins the run that began at ``at`` and takes stores from the other end.
    ``progress(done, total)`` counts stores. Within ``stage(name)`` stands each stretch
    of "reading", "maths" and "writing", for whoever wants to time them.
    """
    stores = list(Store.objects.order_by("pk"))
    if store_id is None:
        touched = touched_stores([one.pk for one in stores], today=today)
        looked = [one for one in stores if one.pk in touched]
    else:
        looked = stores = [one for one in stores if one.pk == store_id]
    worked = Worked(passed_over=len(stores) - len(looked))
    progress(0, len(looked))
    if not looked:
        return worked
    with stage("reading"):
        if not helping:
            learn_responses(at=at)
        house = read_house()
    left = looked
    with _no_search_for_cycles():
        while left:
            size = _at_once(len(left), len(looked))
            some = left[-size:] if helping else left[:size]
            with stage("reading"):
                seen = _standing(some, today)
                cases = cases_of(house=house, stores=some, today=today)
            _work_out(cases, some, seen, today=today, at=at, worked=worked, stage=stage)
            del cases
            mine = {one.pk for one in some}
            done = set() if store_id is not None else _done_by_now(looked, today, at)
            left = [one for one in left if one.pk not in mine and one.pk not in done]
            progress(len(looked) - len(left), len(looked))
    _forget(looked, today)
    return worked


def stores_to_share(*, today: dt.date) -> bool:
    """Tell whether a run over all stores is long enough for two hands."""
    ids = list(Store.objects.values_list("pk", flat=True))
    return len(touched_stores(ids, today=today)) > READ_AT_ONCE


def _at_once(left: int, stores: int) -> int:
    """Give how many stores to take next, of those left of a run over so many.

    Two hands that share a run take fewer and fewer, so that they end together.
    """
    if stores <= READ_AT_ONCE:
        return stores
    return min(READ_AT_ONCE, max(FEWEST_AT_ONCE, left // 2))


def _done_by_now(stores: Sequence[Store], today: dt.date, at: dt.datetime) -> set[int]:
    """Give the stores of a run that it, a helper, or a later run has finished."""
    marks = Reckoning.objects.filter(
        store__in=stores, worked_on=today, seen_until__gte=at
    )
    return set(marks.values_list("store_id", flat=True))


@contextmanager
def _no_search_for_cycles() -> Iterator[None]:
    """Leave Python's collector alone for a while.

    A run holds some million objects, none of them in a cycle, and looking through them
    over and over takes a third of its time. What is no longer held goes at once.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _standing(stores: Sequence[Store], today: dt.date) -> _Standing:
    """Read what is open for these stores, and what was decided today."""
    rows = Replenishment.objects.filter(store__in=stores).order_by()
    told = rows.filter(state=ProposalState.OPEN).values_list(
        "store_id", "part_id", "pk", "fingerprint"
    )
    decided = rows.filter(made_on=today, state__in=DECIDED).values_list(
        "store_id", "part_id", "fingerprint"
    )
    return _Standing(
        {(store, part): (pk, fingerprint) for store, part, pk, fingerprint in told},
        frozenset(decided),
    )


def _work_out(
    cases: Mapping[Key, Case],
    stores: Sequence[Store],
    seen: _Standing,
    *,
    today: dt.date,
    at: dt.datetime,
    worked: Worked,
    stage: Stage,
) -> None:
    """Work out what is new and write it."""
    with stage("maths"):
        marks = {key: case.position.fingerprint() for key, case in cases.items()}
        new = [case for key, case in cases.items() if not seen.holds(key, marks[key])]
        worked.unchanged += len(cases) - len(new)
        found = propose_many(
            [case.position for case in new],
            [marks[case.store_id, case.part.pk] for case in new],
        )
    with stage("writing"):
        made = {
            (case.store_id, case.part.pk): _row(case, one, today, at)
            for case, one in zip(new, found, strict=True)
        }
        _write(stores, made, set(cases), seen=seen, today=today, at=at, worked=worked)


def _row(
    case: Case, found: Proposal, today: dt.date, at: dt.datetime
) -> dict[str, Any]:
    """Give one proposal as the row that will be written."""
    position = case.position
    earmark_id = case.earmark_id
    if found.kind is Kind.RETURN and case.returned is not None:
        earmark_id = case.returned.earmark_id
    return {
        "store_id": case.store_id,
        "part_id": case.part.pk,
        "earmark_id": earmark_id,
        "made_on": today,
        "made_at": at,
        "kind": found.kind.value,
        "quantity": found.quantity,
        "act_by": found.act_by,
        "sentence": sentence(found),
        "facts": {
            "because": found.because.value,
            "rows": found.facts,
            "curve": found.curve,
            "window": window_of(position, found),
            "inputs": inputs_of(position),
            "receipts": [
                {"day": one.day.isoformat(), "pieces": one.pieces}
                for one in position.receipts
            ],
            "campaigns": list(case.campaigns),
            "built_in_curve": any(use.learned_from == 0 for use in position.campaigns),
        },
        "choices": [
            {
                "quantity": row.quantity,
                "level": row.level,
                "run_out": row.run_out,
                "left_over": row.left_over,
                "last_unused": row.last_unused,
            }
            for row in found.choices
        ],
        "moved_by": [],
        "fingerprint": found.fingerprint,
        "state": ProposalState.OPEN.value,
        "done_why": "",
    }


def _write(
    stores: Sequence[Store],
    made: Mapping[Key, dict[str, Any]],
    wanted: set[Key],
    *,
    seen: _Standing,
    today: dt.date,
    at: dt.datetime,
    worked: Worked,
) -> None:
    """Put the new proposals in the place of the old, in one transaction.

    Two runs over the same store take turns; who decides a proposal holds its row.
    """
    with transaction.atomic():
        later = _take_turns(stores, today, at)
        open_now = {
            (store, part): (pk, made_on)
            for store, part, pk, made_on in Replenishment.objects.filter(
                store__in=stores, state=ProposalState.OPEN
            )
            .select_for_update()
            .order_by("pk")
            .values_list("store_id", "part_id", "pk", "made_on")
        }
        new, over = [], []
        for key, row in made.items():
            old = open_now.get(key)
            if key[0] in later or seen.id_of(key) != (old[0] if old else None):
                worked.unchanged += 1
                continue
            if old is not None:
                over.append(old[0])
            new.append(row)
            worked.count(row["kind"])
        _name_what_moved(new, open_now, over, today)
        gone = [
            pk
            for key, (pk, _day) in open_now.items()
            if key not in wanted and seen.id_of(key) == pk and key[0] not in later
        ]
        worked.ended += len(gone)
        Replenishment.objects.filter(pk__in=[*over, *gone]).update(
            state=ProposalState.SUPERSEDED
        )
        insert_rows(
            Replenishment, _COLUMNS, [[row[name] for name in _COLUMNS] for row in new]
        )


def _take_turns(stores: Sequence[Store], today: dt.date, at: dt.datetime) -> set[int]:
    """Hold the marks of these stores and note the run on them.

    Gives the stores in which a run that began later was faster: its facts are newer.
    """
    Reckoning.objects.bulk_create(
        [Reckoning(store=one, worked_on=today, seen_until=at) for one in stores],
        ignore_conflicts=True,
    )
    held = Reckoning.objects.filter(store__in=stores).order_by("store")
    later = {one.store_id for one in held.select_for_update() if one.seen_until > at}
    held.exclude(store__in=later).update(worked_on=today, seen_until=at)
    return later


def _name_what_moved(
    new: Sequence[dict[str, Any]],
    open_now: Mapping[Key, tuple[int, dt.date]],
    over: Sequence[int],
    today: dt.date,
) -> None:
    """Say of each proposal that replaces another which facts have changed."""
    inputs = dict(
        Replenishment.objects.filter(pk__in=over).values_list("pk", "facts__inputs")
    )
    for row in new:
        old = open_now.get((row["store_id"], row["part_id"]))
        if old is not None:
            row["moved_by"] = what_moved(
                inputs.get(old[0]) or {},
                row["facts"]["inputs"],
                before=old[1],
                after=today,
            )


def _forget(stores: Sequence[Store], today: dt.date) -> None:
    """Drop proposals that nobody decided and that others have replaced long since."""
    Replenishment.objects.filter(
        store__in=stores,
        state=ProposalState.SUPERSEDED,
        made_on__lt=today - timedelta(days=KEPT_DAYS),
    ).delete()
