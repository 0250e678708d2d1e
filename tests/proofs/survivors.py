"""Mutants that no test sees, each with the reason why it does no harm."""

_RACE = (
    "Reached only where somebody brings pieces between the change that was refused and"
    " the look at why."
)
_NONE = "An account from which nothing is taken cannot be short."

_LOCK = (
    "SQLite holds its one write lock from the start of the transaction; for PostgreSQL"
    " `tests/inventory/domain/test_locks.py` asks from a second connection."
)

WHY: dict[str, str] = {
    "inventory.domain.locks.lock_layers: CostLayer.objects.select_for_update() ->"
    " CostLayer.objects.all()": _LOCK,
    "inventory.domain.spare.hold_spare: lock_pockets(store=store, part_ids=[part.pk for"
    " part in lines]) -> pass": _LOCK,
    "inventory.domain.promises.live_of: lock_pockets(store=store,"
    " part_ids=set(rows.values_list('part_id', flat=True))) -> pass": _LOCK,
    "inventory.domain.spare.hold_spare: "
    "ensure_pockets(store=store, pockets=[(part.pk, earmark_id) for part in lines])"
    " -> pass": (
        "Where a pocket has no row nothing is free, and the refusal comes all the same."
    ),
    "inventory.domain.spare.hold_spare: 1 -> 2": (
        "The promise line always reaches past the last receipt and promise, so one day"
        " more of it shows nothing new."
    ),
    "inventory.domain.promises.keep_promises: waiting.order_by('needed_on', 'pk')"
    " -> waiting.all()": "It is the model's own order; the words make it plain.",
    "inventory.domain.promises.live_of: True -> False": (
        "A look-up by related rows takes the first of each tuple: the same parts."
    ),
    "inventory.domain.promises._keep: True -> False": (
        "Django inserts a row without a number in either case."
    ),
    "inventory.domain.ledger.reverse: entries.order_by('id') -> entries.all()": (
        "It is the model's own order; the words make it plain."
    ),
    "inventory.domain.ledger.reverse: True -> False": (
        "Entries come in pairs; the strictness is a guard against broken books."
    ),
    "inventory.domain.ledger._refuse: raise NotEnough(part, Account.FREE,"
    " max(map(abs, change.values())), balance.free) -> pass": _RACE,
    "inventory.domain.ledger._refuse: max(map(abs, change.values())) ->"
    " min(map(abs, change.values()))": _RACE,
    "inventory.domain.ledger._refuse: amount < 0 -> amount <= 0": _NONE,
    "inventory.domain.ledger._refuse: 0 -> 1": _NONE,
}
