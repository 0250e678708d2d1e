"""A letter to nobody, to see a text as it will be printed."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.documents.letters import lay_out_letters
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Letter,
    LetterRound,
    LetterText,
)
from campaigns.queries.letters import merge_values, sender_of, sheet_of
from campaigns.rules.letter_check import Draft
from campaigns.rules.letter_text import fields_of
from campaigns.rules.lifecycle import (
    CampaignClass,
    CampaignState,
    PostedBy,
    RoundKind,
)
from vehicles.models import Address, Party, Vehicle


if TYPE_CHECKING:
    from dealership.documents.pdf import LaidOut
    from dealership.models import Store

_VIN = "11111111111111111"


def sample_campaign(campaign_class: str) -> Campaign:
    """Give the newest running campaign of a class, else an invented one."""
    found = (
        Campaign.objects.filter(
            campaign_class=campaign_class, state=CampaignState.RUNNING
        )
        .order_by("-announced_on", "-pk")
        .first()
    )
    if found:
        return found
    safety = campaign_class == CampaignClass.SAFETY
    return Campaign(
        code=_("our number"),
        maker=_("Manufacturer"),
        maker_number=_("its number"),
        regulator_number=_("regulator's number"),
        title=_("title of the campaign"),
        risk=_("The seat can move in a crash, which raises the risk of injury.")
        if safety
        else _("What happens if it is not done stands here."),
        bulletin=_("What is wrong stands here, and what is done: bolts are replaced."),
        title_es="título de la campaña",
        risk_es="El asiento puede moverse en un choque y causar lesiones."
        if safety
        else "Aquí consta lo que ocurre si no se hace.",
        bulletin_es="Aquí consta qué está mal y qué se hace: se cambian los tornillos.",
        campaign_class=campaign_class,
        announced_on=dt.date(2026, 1, 1),
        parts_available_on=dt.date(2026, 1, 1),
    )


def sample_letter(text: LetterText, campaign: Campaign, store: Store) -> Letter:
    """Give a letter to an invented owner; nothing of it is kept."""
    return Letter(
        letter_round=LetterRound(
            campaign=campaign,
            store=store,
            text=text,
            kind=text.kind,
            posted_by=text.posted_by,
            number=1,
        ),
        campaign_vehicle=CampaignVehicle(
            campaign=campaign,
            store=store,
            vehicle=Vehicle(vin=_VIN, model_year=2022, line=_("model line")),
        ),
        party=Party(name=_("Sample Owner"), store=store, language=text.language),
        address=Address(
            street="1 Sample Street",
            city=store.city,
            region=store.region,
            postal_code=store.postal_code,
            country=store.country,
        ),
        text=text,
        code="L0000000000",
        position=1,
    )


def lay_out_sample(letter: Letter, *, day: dt.date) -> LaidOut:
    """Lay out a sample letter as the printer gets it. Raises PdfEngineMissing."""
    made = letter.letter_round
    return lay_out_letters(
        sender_of(made.store),
        [sheet_of(letter, made)],
        date=day.isoformat(),
        campaign=made.campaign.code,
        guides=True,
    )


def draft_of(letter: Letter) -> Draft:
    """Give a letter as the check reads it; the promise line is not asked."""
    made = letter.letter_round
    text = letter.text or made.text
    sheet = sheet_of(letter, made)
    return Draft(
        campaign_class=CampaignClass(text.campaign_class),
        kind=RoundKind(text.kind),
        posted_by=PostedBy(text.posted_by),
        language=text.language,
        subject=sheet.subject,
        paragraphs=sheet.paragraphs,
        values=merge_values(
            made.campaign, made.store, letter.campaign_vehicle.vehicle, text.language
        ),
        used=fields_of(text.subject) | fields_of(text.body),
    )
