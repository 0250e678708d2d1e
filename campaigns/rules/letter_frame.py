"""What a language brings to a letter: the words around the text, and the text itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Mapping

    from campaigns.rules.lifecycle import CampaignClass, RoundKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The words that stand on each sheet, whatever its text.

    ``dear`` takes ``{name}``, ``quote`` takes ``{code}``. ``answers`` are the boxes of
    the slip that the owner sends back; ``room`` stands before the line to write on.
    """

    date: str
    campaign: str
    maker_number: str
    regulator_number: str
    vehicle: str
    vin: str
    not_known: str
    dear: str
    yours: str
    quote: str
    slip: str
    answers: tuple[str, ...]
    room: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """The sentences that the shipped texts are put together from, in one language."""

    subjects: Mapping[tuple[CampaignClass, RoundKind], str]
    found: Mapping[CampaignClass, str]
    waiting: Mapping[RoundKind, str]
    soon: str
    paid: str
    report: str
    look_up: str
    ours: str
    notice_subjects: Mapping[CampaignClass, str]
    notice_opening: Mapping[CampaignClass, str]
    notice_found: Mapping[CampaignClass, str]
    notice_remedy: Mapping[RoundKind, str]
    notice_complaint: str
    notice_paid_before: str
    notice_lessor: str
    notice_time: str
    notice_proof: str
    notice_ended: str
