"""Why post comes back, in our own words, and what each reason means for the address.

The reasons are those of the Domestic Mail Manual 507.1.1 and, for the finer ones, of
the postal service's endorsements (some read at second hand).
"""

from enum import StrEnum

from campaigns.rules.lifecycle import ReturnStep


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


RIGHT_ADDRESS = frozenset(
    {
        ReturnReason.AWAY,
        ReturnReason.UNCLAIMED,
        ReturnReason.REFUSED,
        ReturnReason.NOT_MAILABLE,
    }
)
"""With these the address may be right: it is not shut for later letters."""

_ANY = (ReturnStep.NEW_ADDRESS, ReturnStep.SAME_ADDRESS, ReturnStep.NOT_REACHED)
_SUGGESTED = {
    ReturnReason.AWAY: ReturnStep.SAME_ADDRESS,
    ReturnReason.UNCLAIMED: ReturnStep.SAME_ADDRESS,
    ReturnReason.NOT_MAILABLE: ReturnStep.SAME_ADDRESS,
    ReturnReason.INCOMPLETE: ReturnStep.NEW_ADDRESS,
    ReturnReason.NO_SUCH_ADDRESS: ReturnStep.NEW_ADDRESS,
    ReturnReason.REFUSED: ReturnStep.NO_MORE_POST,
    ReturnReason.DECEASED: ReturnStep.NO_MORE_POST,
}


def address_is_wrong(why: ReturnReason) -> bool:
    """Tell whether the address gets no more post until somebody decides."""
    return why not in RIGHT_ADDRESS


def steps_for(why: ReturnReason) -> tuple[ReturnStep, ...]:
    """Give what may be done about a letter that came back, the likeliest first.

    That a vehicle counts as not reached is never the first: a person decides it after
    having tried.
    """
    first = _SUGGESTED.get(why, ReturnStep.NEW_ADDRESS)
    return (first, *(one for one in (*_ANY, ReturnStep.NO_MORE_POST) if one != first))
