"""Why post comes back, in our own words.

The reasons are those of the Domestic Mail Manual 507.1.1 and, for the finer ones, of
the postal service's endorsements (some read at second hand).
"""

from enum import StrEnum


class ReturnReason(StrEnum):
    """What the envelope says."""

    UNKNOWN = "unknown"
    MOVED = "moved"
    FORWARDING_ENDED = "forwarding_ended"
    NO_SUCH_ADDRESS = "no_such_address"
    INCOMPLETE = "incomplete"
    VACANT = "vacant"
    NO_BOX = "no_box"
    BOX_CLOSED = "box_closed"
    AWAY = "away"
    UNCLAIMED = "unclaimed"
    REFUSED = "refused"
    DECEASED = "deceased"
    NOT_MAILABLE = "not_mailable"
