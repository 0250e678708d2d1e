"""The hold list: may a vehicle of the store's own stock go out, and what has changed.

New stock, used stock, rental and loan cars, each as its campaigns stand at an instant
(49 USC 30120(i); ``campaigns.rules.deadlines.judge_hand_over``). Local law and the
agreements with the manufacturer prevail.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

from campaigns.rules.deadlines import HandOver, HandOverReason, HandOverVerdict


if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime


class Stand(StrEnum):
    """Whether a vehicle may go out, the strictest first; the last two leave the list.

    ``HOLD_FROM`` is a rental or loan car in the hours that the law gives to call it in.
    """

    HOLD = "hold"
    HOLD_FROM = "hold_from"
    ASK_LAW = "ask_law"
    TELL = "tell"
    CLEAR = "clear"
    GONE = "gone"


STRICTEST_FIRST = tuple(Stand)


def stand_of(verdict: HandOverVerdict, *, now: datetime) -> Stand:
    """Give how a vehicle stands by one campaign at an instant."""
    if verdict.reason is HandOverReason.NOTHING_OPEN:
        return Stand.CLEAR
    match verdict.verdict:
        case HandOver.MUST_NOT:
            early = verdict.hold_by is not None and now < verdict.hold_by
            return Stand.HOLD_FROM if early else Stand.HOLD
        case HandOver.CHECK_STATE_LAW:
            return Stand.ASK_LAW
        case HandOver.MAY:
            return Stand.TELL


def strictest(stands: Iterable[Stand]) -> Stand:
    """Give the strictest of some; with none, nothing is open."""
    return min(stands, key=STRICTEST_FIRST.index, default=Stand.CLEAR)


def changed(
    before: Mapping[int, Stand], now: Mapping[int, Stand], in_stock: Iterable[int]
) -> dict[int, tuple[Stand | None, Stand]]:
    """Give each vehicle that stands otherwise than before: how it stood, how now.

    ``before`` and ``now`` hold the vehicles with something open by their ids;
    ``in_stock`` are all vehicles of the store's own now. One that left the list is
    clear while it is still there, and gone when it is not. None before: new to the list.
    """
    here = set(in_stock)
    found: dict[int, tuple[Stand | None, Stand]] = {}
    for vehicle in [*now, *(one for one in before if one not in now)]:
        was = before.get(vehicle)
        left = Stand.CLEAR if vehicle in here else Stand.GONE
        stands = now.get(vehicle, left)
        off = was is None or was in {Stand.CLEAR, Stand.GONE}
        if was is stands or (off and stands in {Stand.CLEAR, Stand.GONE}):
            continue
        found[vehicle] = (None if off else was, stands)
    return found
