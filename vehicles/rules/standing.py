"""Closed lists of what is said about a vehicle and its people."""

from enum import StrEnum


class Standing(StrEnum):
    """Where a vehicle stands."""

    CUSTOMER = "customer"
    NEW = "new"
    USED = "used"
    RENTAL = "rental"
    LOANER = "loaner"


class VehicleKind(StrEnum):
    """The kind, as far as the VIN's year rule needs it."""

    LIGHT = "light"
    HEAVY = "heavy"
    TRAILER = "trailer"
    UNKNOWN = "unknown"


class PartyKind(StrEnum):
    """A person or a firm."""

    PERSON = "person"
    FIRM = "firm"


class TenureRole(StrEnum):
    """As what somebody has a vehicle."""

    OWNER = "owner"
    LESSEE = "lessee"
    LESSOR = "lessor"


class AddressSource(StrEnum):
    """From whom an address is known; the law ties its use to that."""

    OWN_CUSTOMER = "own_customer"
    STATE_RECORDS = "state_records"
    ADDRESS_SERVICE = "address_service"


class ListState(StrEnum):
    """How far a list of vehicles is taken in."""

    WAITING = "waiting"
    STAGED = "staged"
    APPLYING = "applying"
    APPLIED = "applied"
    ABANDONED = "abandoned"
    FAILED = "failed"


class RowState(StrEnum):
    """What is to become of one row of a list."""

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    ASK = "ask"
    REFUSED = "refused"
    LEFT_OUT = "left_out"
