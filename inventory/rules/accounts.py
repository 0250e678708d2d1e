"""The accounts of the books of pieces, and what may be posted between them.

SUPPLIER is where pieces come from, seen from one store: the supplier, or the other
store of the group. What one store sends to another leaves the first by that account
and comes into the second by it when it arrives, so that it cancels out over the group.
"""

from enum import StrEnum


class Account(StrEnum):
    """Where a piece is; the first four are inside the store."""

    FREE = "free"
    HELD = "held"
    QUARANTINE = "quarantine"
    TRANSIT = "transit"
    SUPPLIER = "supplier"
    USED = "used"
    SOLD = "sold"
    RETURNED = "returned"
    SCRAPPED = "scrapped"
    VARIANCE = "variance"


INSIDE = frozenset({Account.FREE, Account.HELD, Account.QUARANTINE, Account.TRANSIT})
ON_HAND = frozenset({Account.FREE, Account.HELD, Account.QUARANTINE})


class MovementKind(StrEnum):
    """Why pieces moved."""

    RECEIVE = "receive"
    RESERVE = "reserve"
    SETTLE = "settle"
    RELEASE = "release"
    USE = "use"
    SELL = "sell"
    RETURN = "return"
    SCRAP = "scrap"
    QUARANTINE = "quarantine"
    REPLACE = "replace"
    EARMARK = "earmark"
    SEND = "send"
    ARRIVE = "arrive"
    COUNT = "count"
    CORRECT = "correct"


# kind -> the pairs (from, to) that its lines may be made of
POSTINGS: dict[MovementKind, frozenset[tuple[Account, Account]]] = {
    MovementKind.RECEIVE: frozenset(
        {(Account.SUPPLIER, Account.FREE), (Account.SUPPLIER, Account.QUARANTINE)}
    ),
    MovementKind.RESERVE: frozenset({(Account.FREE, Account.HELD)}),
    MovementKind.SETTLE: frozenset(
        {(Account.HELD, Account.USED), (Account.HELD, Account.FREE)}
    ),
    MovementKind.RELEASE: frozenset({(Account.HELD, Account.FREE)}),
    MovementKind.USE: frozenset({(Account.FREE, Account.USED)}),
    MovementKind.SELL: frozenset({(Account.FREE, Account.SOLD)}),
    MovementKind.RETURN: frozenset(
        {(Account.FREE, Account.RETURNED), (Account.QUARANTINE, Account.RETURNED)}
    ),
    MovementKind.SCRAP: frozenset(
        {(Account.FREE, Account.SCRAPPED), (Account.QUARANTINE, Account.SCRAPPED)}
    ),
    MovementKind.QUARANTINE: frozenset(
        {(Account.FREE, Account.QUARANTINE), (Account.QUARANTINE, Account.FREE)}
    ),
    MovementKind.REPLACE: frozenset(
        {(Account.QUARANTINE, Account.SUPPLIER), (Account.SUPPLIER, Account.FREE)}
    ),
    MovementKind.EARMARK: frozenset({(Account.FREE, Account.FREE)}),
    MovementKind.SEND: frozenset({(Account.FREE, Account.TRANSIT)}),
    # At the store that sent: what has arrived elsewhere, and what was lost on the way.
    # At the store that received: in order, and damaged.
    MovementKind.ARRIVE: frozenset(
        {
            (Account.TRANSIT, Account.SUPPLIER),
            (Account.TRANSIT, Account.VARIANCE),
            (Account.SUPPLIER, Account.FREE),
            (Account.SUPPLIER, Account.QUARANTINE),
        }
    ),
    MovementKind.COUNT: frozenset(
        {
            (Account.FREE, Account.VARIANCE),
            (Account.VARIANCE, Account.FREE),
            (Account.QUARANTINE, Account.VARIANCE),
            (Account.VARIANCE, Account.QUARANTINE),
        }
    ),
    MovementKind.CORRECT: frozenset(
        {(a, b) for a in Account for b in Account if a is not b}
    ),
}


class ReservationState(StrEnum):
    """A promise of pieces: first on a coming delivery, then held, then resolved."""

    PROMISED = "promised"
    HELD = "held"
    SETTLED = "settled"
    RELEASED = "released"
    LAPSED = "lapsed"


RESERVATION_MOVES: dict[ReservationState, frozenset[ReservationState]] = {
    ReservationState.PROMISED: frozenset(
        {ReservationState.HELD, ReservationState.RELEASED, ReservationState.LAPSED}
    ),
    ReservationState.HELD: frozenset(
        {
            ReservationState.SETTLED,
            ReservationState.RELEASED,
            ReservationState.LAPSED,
        }
    ),
    ReservationState.SETTLED: frozenset(),
    ReservationState.RELEASED: frozenset(),
    ReservationState.LAPSED: frozenset(),
}


class DisputeKind(StrEnum):
    """What was wrong with pieces that were billed."""

    SHORT = "short"
    DAMAGED = "damaged"


class DisputeState(StrEnum):
    """How a dispute stands; awaited: a replacement at no cost is on its way."""

    OPEN = "open"
    AWAITED = "awaited"
    CREDITED = "credited"
    REPLACED = "replaced"
    WRITTEN_OFF = "written_off"


DISPUTE_MOVES: dict[DisputeState, frozenset[DisputeState]] = {
    DisputeState.OPEN: frozenset(
        {
            DisputeState.AWAITED,
            DisputeState.CREDITED,
            DisputeState.REPLACED,
            DisputeState.WRITTEN_OFF,
        }
    ),
    DisputeState.AWAITED: frozenset({DisputeState.REPLACED}),
    DisputeState.CREDITED: frozenset(),
    DisputeState.REPLACED: frozenset(),
    DisputeState.WRITTEN_OFF: frozenset(),
}
UNSETTLED = (DisputeState.OPEN, DisputeState.AWAITED)
"""States of a dispute whose cents are still in dispute."""


class OrderState(StrEnum):
    """How an order stands; closed: what has not come is not expected any more."""

    DRAFT = "draft"
    SENT = "sent"
    CONFIRMED = "confirmed"
    PART_RECEIVED = "part_received"
    BACK_ORDERED = "back_ordered"
    RECEIVED = "received"
    CLOSED = "closed"
    CANCELLED = "cancelled"


ORDER_MOVES: dict[OrderState, frozenset[OrderState]] = {
    OrderState.DRAFT: frozenset({OrderState.SENT, OrderState.CANCELLED}),
    OrderState.SENT: frozenset(
        {
            OrderState.CONFIRMED,
            OrderState.BACK_ORDERED,
            OrderState.PART_RECEIVED,
            OrderState.RECEIVED,
            OrderState.CLOSED,
            OrderState.CANCELLED,
        }
    ),
    OrderState.CONFIRMED: frozenset(
        {
            OrderState.BACK_ORDERED,
            OrderState.PART_RECEIVED,
            OrderState.RECEIVED,
            OrderState.CLOSED,
            OrderState.CANCELLED,
        }
    ),
    OrderState.PART_RECEIVED: frozenset(
        {OrderState.BACK_ORDERED, OrderState.RECEIVED, OrderState.CLOSED}
    ),
    OrderState.BACK_ORDERED: frozenset(
        {
            OrderState.CONFIRMED,
            OrderState.PART_RECEIVED,
            OrderState.RECEIVED,
            OrderState.CLOSED,
            OrderState.CANCELLED,
        }
    ),
    OrderState.RECEIVED: frozenset(),
    OrderState.CLOSED: frozenset(),
    OrderState.CANCELLED: frozenset(),
}

ORDER_OVER = (OrderState.RECEIVED, OrderState.CLOSED, OrderState.CANCELLED)
"""States of an order of which nothing is expected any more."""


class ReturnState(StrEnum):
    """How a return to the manufacturer stands."""

    PREPARED = "prepared"
    SHIPPED = "shipped"
    CREDITED = "credited"
    CANCELLED = "cancelled"


class TransferState(StrEnum):
    """How pieces between two stores stand."""

    SENT = "sent"
    ARRIVED = "arrived"
    CALLED_BACK = "called_back"


TRANSFER_MOVES: dict[TransferState, frozenset[TransferState]] = {
    TransferState.SENT: frozenset({TransferState.ARRIVED, TransferState.CALLED_BACK}),
    TransferState.ARRIVED: frozenset(),
    TransferState.CALLED_BACK: frozenset(),
}


class CountState(StrEnum):
    """How a count of the shelves stands."""

    PREPARED = "prepared"
    ENTERED = "entered"
    BOOKED = "booked"
    DROPPED = "dropped"


COUNT_MOVES: dict[CountState, frozenset[CountState]] = {
    CountState.PREPARED: frozenset({CountState.ENTERED, CountState.DROPPED}),
    CountState.ENTERED: frozenset(
        {CountState.PREPARED, CountState.BOOKED, CountState.DROPPED}
    ),
    CountState.BOOKED: frozenset(),
    CountState.DROPPED: frozenset(),
}


class LotKind(StrEnum):
    """Why pieces stand in quarantine."""

    RECALLED = "recalled"
    REMOVED = "removed"
    DAMAGED = "damaged"
    DOUBTFUL = "doubtful"


NEVER_FREED = frozenset({LotKind.RECALLED, LotKind.REMOVED})
"""What may leave quarantine only as a return or as scrap: recalled stock, and parts
taken out of vehicles (49 USC 30120(j))."""
