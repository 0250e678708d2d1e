"""The accounts of the books of pieces, and what may be posted between them."""

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
    MovementKind.ARRIVE: frozenset(
        {(Account.TRANSIT, Account.FREE), (Account.TRANSIT, Account.VARIANCE)}
    ),
    MovementKind.COUNT: frozenset(
        {(Account.FREE, Account.VARIANCE), (Account.VARIANCE, Account.FREE)}
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
    """How a dispute stands."""

    OPEN = "open"
    CREDITED = "credited"
    REPLACED = "replaced"
    WRITTEN_OFF = "written_off"


class OrderState(StrEnum):
    """How an order stands."""

    DRAFT = "draft"
    SENT = "sent"
    CONFIRMED = "confirmed"
    PART_RECEIVED = "part_received"
    RECEIVED = "received"
    CANCELLED = "cancelled"


class ReturnState(StrEnum):
    """How a return to the manufacturer stands."""

    PREPARED = "prepared"
    SHIPPED = "shipped"
    CREDITED = "credited"
    CANCELLED = "cancelled"
