"""The texts of letters: those the house comes with, and new versions by hand."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from campaigns.models import LetterText
from campaigns.rules.letter_text import FIELDS, UnknownField, check_fields
from campaigns.rules.letter_wording import (
    DEFAULT_LANGUAGE,
    LANGUAGES,
    SHIPPED_FROM,
    shipped_text,
)
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember


class TextInForce(Refusal):
    """The new version would be in force before the one that it follows."""

    def __init__(self, earliest: dt.date) -> None:
        super().__init__(
            _(
                "A version in force from %(day)s exists already. Choose that day or a"
                " later one."
            )
            % {"day": earliest.isoformat()}
        )
        self.earliest = earliest


class FieldNotKnown(Refusal):
    """The text names a field that cannot be filled in."""

    def __init__(self, fields: tuple[str, ...]) -> None:
        super().__init__(
            _(
                "These fields are not known: %(fields)s. Use only these, in braces:"
                " %(known)s."
            )
            % {"fields": ", ".join(fields), "known": ", ".join(FIELDS)}
        )
        self.fields = fields


def load_shipped_texts(*, at: dt.datetime) -> int:
    """Put in the texts that the house comes with; those that stand stay as they are.

    Gives how many were put in.
    """
    kept = set(
        LetterText.objects.filter(number=1).values_list(
            "campaign_class", "kind", "posted_by", "language"
        )
    )
    wanted = itertools.product(
        CampaignClass, RoundKind, PostedBy, (code for code, _words in LANGUAGES)
    )
    missing = [one for one in wanted if one not in kept]
    made = []
    for campaign_class, kind, posted_by, language in missing:
        subject, body = shipped_text(campaign_class, kind, posted_by, language)
        made.append(
            LetterText(
                campaign_class=campaign_class,
                kind=kind,
                posted_by=posted_by,
                language=language,
                number=1,
                subject=subject,
                body=body,
                effective_from=SHIPPED_FROM,
                made_at=at,
            )
        )
    LetterText.objects.bulk_create(made, ignore_conflicts=True)
    return len(made)


def texts_in_force(
    *,
    campaign_class: CampaignClass,
    kind: RoundKind,
    posted_by: PostedBy,
    on: dt.date,
    at: dt.datetime,
) -> dict[str, LetterText]:
    """Give for each language the newest text in force on a day.

    Where none is kept yet, the shipped ones are put in.
    """
    texts = LetterText.objects.filter(
        campaign_class=campaign_class,
        kind=kind,
        posted_by=posted_by,
        effective_from__lte=on,
    ).order_by("number")
    found = {text.language: text for text in texts}
    if len(found) < len(LANGUAGES):
        load_shipped_texts(at=at)
        found = {text.language: text for text in texts.all()}
    return found


def write_version(
    *,
    campaign_class: CampaignClass,
    kind: RoundKind,
    posted_by: PostedBy = PostedBy.STORE,
    language: str = DEFAULT_LANGUAGE,
    subject: str,
    body: str,
    effective_from: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> LetterText:
    """Add a version of a text; the versions before it stay as they were.

    Raises FieldNotKnown for a field that cannot be filled in, TextInForce when a
    later version is in force already.
    """
    try:
        check_fields(subject)
        check_fields(body)
    except UnknownField as wrong:
        raise FieldNotKnown(wrong.fields) from wrong
    with transaction.atomic():
        before = LetterText.objects.filter(
            campaign_class=campaign_class,
            kind=kind,
            posted_by=posted_by,
            language=language,
        ).aggregate(number=Max("number"), day=Max("effective_from"))
        if before["day"] and effective_from < before["day"]:
            raise TextInForce(before["day"])
        text = LetterText.objects.create(
            campaign_class=campaign_class,
            kind=kind,
            posted_by=posted_by,
            language=language,
            number=(before["number"] or 0) + 1,
            subject=subject,
            body=body,
            effective_from=effective_from,
            made_by=by,
            made_at=at,
        )
        record(
            act="letter_text.written",
            subject=text,
            by=by,
            at=at,
            after={
                "class": campaign_class,
                "kind": kind,
                "posted_by": posted_by,
                "language": language,
                "number": text.number,
            },
        )
    return text
