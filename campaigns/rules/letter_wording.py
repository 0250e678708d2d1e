"""The letters that the house comes with, by class, round, sender and language."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from campaigns.rules import letter_english, letter_spanish
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind


if TYPE_CHECKING:
    from campaigns.rules.letter_frame import Frame, Wording

SHIPPED_FROM = dt.date(2020, 1, 1)
"""From when the shipped wording is in force: before any campaign of this house."""

LANGUAGES = [("en", "English"), ("es", "Español")]
"""The languages that texts are kept in, each by its own name."""

DEFAULT_LANGUAGE = "en"

_WORDINGS: dict[str, Wording] = {
    "en": letter_english.WORDING,
    "es": letter_spanish.WORDING,
}
_FRAMES: dict[str, Frame] = {"en": letter_english.FRAME, "es": letter_spanish.FRAME}


def frame_of(language: str) -> Frame:
    """Give the words around the text; English where a language is not kept."""
    return _FRAMES.get(language, _FRAMES[DEFAULT_LANGUAGE])


def shipped_text(
    campaign_class: CampaignClass,
    kind: RoundKind,
    posted_by: PostedBy = PostedBy.STORE,
    language: str = DEFAULT_LANGUAGE,
) -> tuple[str, str]:
    """Give subject and body of the text that the house comes with."""
    words = _WORDINGS[language]
    if posted_by is PostedBy.MANUFACTURER:
        return words.notice_subjects[campaign_class], _notice(
            words, campaign_class, kind
        )
    parts = [words.found[campaign_class]]
    if campaign_class is CampaignClass.SAFETY:
        parts.append("{risk}")
        parts.append(words.soon + words.paid)
    else:
        parts.append("{risk} " + words.paid)
    parts.append(words.waiting[kind])
    if campaign_class is CampaignClass.SAFETY:
        parts.append(words.report)
    parts += [words.look_up, words.ours]
    return words.subjects[campaign_class, kind], "\n\n".join(parts)


def _notice(words: Wording, campaign_class: CampaignClass, kind: RoundKind) -> str:
    """Put a manufacturer's notice together, in the order of 49 CFR 577.5 (memory)."""
    parts = [
        words.notice_opening[campaign_class],
        words.notice_found[campaign_class],
        "{risk}",
        f"{words.notice_remedy[kind]} {words.notice_time}",
    ]
    if campaign_class is CampaignClass.SAFETY:
        parts += [words.notice_complaint, words.notice_paid_before]
        parts.append(words.notice_lessor)
    if campaign_class is CampaignClass.EMISSIONS:
        parts.append(words.notice_proof)
    parts.append(words.notice_ended)
    return "\n\n".join(parts)
