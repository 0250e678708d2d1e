"""What an act in the audit trail can change about proposals: nothing, a store, all."""

from enum import StrEnum


class Touch(StrEnum):
    """Whose proposals an act may move."""

    NOBODY = "nobody"
    ITS_STORE = "its_store"
    ALL = "all"


_NOBODY = frozenset(
    {
        "bin",
        "books",
        "job",
        "letter_text",
        "notice",
        "payer",
        "replay",
        "report",
        "staff",
    }
)
_ITS_STORE = frozenset(
    {
        "campaign_vehicle",
        "claim",
        "count",
        "dispute",
        "letter",
        "letter_round",
        "order",
        "pieces",
        "proposal",
        "repair",
        "request",
        "reservation",
        "return",
        "shipment",
        "visit",
    }
)


def touch_of(act: str) -> Touch:
    """Tell whose proposals an act may move, by the word before its dot.

    An act that is not known here moves all: rather too much work than a proposal that
    stands on old facts.
    """
    kind = act.partition(".")[0]
    if kind in _NOBODY:
        return Touch.NOBODY
    return Touch.ITS_STORE if kind in _ITS_STORE else Touch.ALL
