"""The same act asked for twice: the second time it answers with the first result."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from django.db import IntegrityError, transaction

from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from collections.abc import Callable

ResultT = TypeVar("ResultT")


def once(
    *,
    found: Callable[[], ResultT | None],
    act: Callable[[], ResultT],
    look_first: bool = True,
) -> ResultT:
    """Give what an earlier call with the same key has made, else do the act.

    ``found`` reads the rows of the key; ``act`` runs in a transaction of its own and
    writes them under a unique constraint. When two calls race, the later one fails on
    that constraint, or finds the pieces gone, and then reads what the earlier one
    made. ``look_first`` False: the act writes the key before all else, so that a repeat
    shows at once and the look can be saved. Raises what ``act`` raises when there is
    no earlier result.
    """
    first = found() if look_first else None
    if first is not None:
        return first
    try:
        with transaction.atomic():
            return act()
    except (IntegrityError, Refusal):
        first = found()
        if first is None:
            raise
        return first
