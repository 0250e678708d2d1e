"""Reading rounds of letters: what is set, who was written to, who was not and why."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Q
from django.utils.translation import gettext as _

from campaigns.documents.letters import Sender, Sheet
from campaigns.models import Letter, LetterRound, LetterText
from campaigns.models.words import OMISSION_WORDS
from campaigns.rules.letter_text import OWNER_FIELDS, fill, paragraphs
from campaigns.rules.letter_window import layout_for
from campaigns.rules.letter_wording import (
    DEFAULT_LANGUAGE,
    LANGUAGES,
    frame_of,
    shipped_text,
)
from campaigns.rules.lifecycle import (
    CampaignClass,
    OmissionReason,
    PostedBy,
    RoundKind,
)
from dealership.documents.pdf import page_of
from dealership.rules import mail_barcode


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence

    from django.db.models import QuerySet

    from campaigns.models import Campaign
    from campaigns.rules.letter_window import Layout
    from dealership.models import Store
    from vehicles.models import Vehicle

_NAMED = ("party", "address", "campaign_vehicle__vehicle")
_NEEDED = (
    *("code", "position", "text", "letter_round"),
    "party__name",
    *("address__street", "address__street2", "address__city"),
    *("address__region", "address__postal_code", "address__country"),
    "campaign_vehicle__vehicle__vin",
    "campaign_vehicle__vehicle__model_year",
    "campaign_vehicle__vehicle__line",
)
_WITH_ALL = ("party", "address", "text", "campaign_vehicle__vehicle")


MAIL_BARCODE_ID = "00"
"""No endorsement is asked for by barcode: from memory, USPS-B-3200."""


def letters_at(letter_round: LetterRound, positions: Sequence[int]) -> list[Letter]:
    """Give the letters at some positions, in order, with all they name."""
    if isinstance(positions, range):
        found = letter_round.letters.filter(
            position__gte=positions.start, position__lt=positions.stop
        )
    else:
        found = letter_round.letters.filter(position__in=positions)
    rows = found.select_related(*_NAMED).only(*_NEEDED).order_by("position")
    letters = list(rows)
    # A round has few texts and they are long: each is read once, not with its letters.
    texts = LetterText.objects.in_bulk({one.text_id for one in letters if one.text_id})
    for letter in letters:
        if letter.text_id:
            letter.text = texts[letter.text_id]
    return letters


def sender_of(store: Store) -> Sender:
    """Give the store as its letterhead shows it."""
    return Sender(
        name=store.name,
        lines=tuple(store.address_lines()),
        phone=store.phone,
        email=store.email,
        signed_by=store.letter_signed_by,
        country=store.country,
        paper=page_of(store.paper),
        layout=layout_of(store),
    )


def layout_of(store: Store) -> Layout:
    """Give how the store's letters are laid out."""
    return layout_for(
        store.paper, store.letter_form, store.letter_fold_thousandths / 1000
    )


def shared_lines(campaign: Campaign, language: str) -> tuple[tuple[str, str], ...]:
    """Give the numbers that each letter of a campaign carries, label and value."""
    frame = frame_of(language)
    lines = (
        (frame.campaign, campaign.code),
        (frame.maker_number, campaign.maker_number),
        (frame.regulator_number, campaign.regulator_number),
    )
    return tuple((label, value) for label, value in lines if value)


def merge_values(
    campaign: Campaign,
    store: Store,
    vehicle: Vehicle,
    language: str = DEFAULT_LANGUAGE,
) -> dict[str, str]:
    """Give what the fields of a text stand for in one letter."""
    spanish = language == "es"
    year = str(vehicle.model_year or "")
    parts_from = campaign.parts_available_on
    return {
        "campaign_title": campaign.title_es if spanish else campaign.title,
        "campaign_number": campaign.code,
        "maker": campaign.maker,
        "maker_number": campaign.maker_number,
        "regulator_number": campaign.regulator_number,
        "risk": campaign.risk_es if spanish else campaign.risk,
        "bulletin": campaign.bulletin_es if spanish else campaign.bulletin,
        "vehicle": f"{year} {vehicle.line}".strip(),
        "vin": vehicle.vin,
        "store_name": store.name,
        "store_phone": store.phone,
        "store_email": store.email,
        "parts_from": parts_from.isoformat() if parts_from else "",
    }


class SheetMaker:
    """Makes the sheets of a round's letters; what many have in common is made once."""

    def __init__(self, letter_round: LetterRound) -> None:
        self._round = letter_round
        self._layout = layout_of(letter_round.store)
        self._words: dict[tuple[int, str, str], Words] = {}
        self._own: dict[int, bool] = {}

    def sheet(self, letter: Letter) -> Sheet:
        """Give all that one letter says."""
        store, vehicle = self._round.store, letter.campaign_vehicle.vehicle
        words = self._words_of(letter)
        address = letter.address
        return Sheet(
            code=letter.code,
            name=letter.party.name,
            address={
                "street": address.street,
                "street2": address.street2,
                "city": address.city,
                "region": address.region,
                "postal_code": address.postal_code,
                "country": address.country,
            },
            home=store.country,
            vin=vehicle.vin,
            vehicle=words.vehicle,
            language=words.language,
            numbers=words.numbers,
            subject=words.subject,
            paragraphs=words.paragraphs,
            layout=self._layout,
            tracking=tracking_of(store, letter),
        )

    def _words_of(self, letter: Letter) -> Words:
        """Give the words that do not depend on the owner, or all of them if they do."""
        text = letter.text or self._round.text
        vehicle = letter.campaign_vehicle.vehicle
        if text.pk not in self._own:
            named = f"{text.subject}{text.body}"
            self._own[text.pk] = any(f"{{{one}}}" in named for one in OWNER_FIELDS)
        own = self._own[text.pk]
        key = (text.pk, str(vehicle.model_year), vehicle.line)
        if own or key not in self._words:
            values = merge_values(
                self._round.campaign, self._round.store, vehicle, text.language
            )
            values["owner_name"] = letter.party.name
            words = words_of(text, values, self._round.campaign)
            if own:
                return words
            self._words[key] = words
        return self._words[key]


@dataclass(frozen=True, slots=True)
class Words:
    """The words of a letter without its owner's own lines."""

    language: str
    vehicle: str
    numbers: tuple[tuple[str, str], ...]
    subject: str
    paragraphs: tuple[str, ...]


def words_of(text: LetterText, values: dict[str, str], campaign: Campaign) -> Words:
    """Fill a text's fields."""
    return Words(
        language=text.language,
        vehicle=values["vehicle"] or frame_of(text.language).not_known,
        numbers=shared_lines(campaign, text.language),
        subject=fill(text.subject, values),
        paragraphs=tuple(
            filled for one in paragraphs(text.body) if (filled := fill(one, values))
        ),
    )


def sheet_of(letter: Letter, letter_round: LetterRound) -> Sheet:
    """Give all that one letter says."""
    return SheetMaker(letter_round).sheet(letter)


def tracking_of(store: Store, letter: Letter) -> str:
    """Give the digits of a letter's postal barcode, or none where it is switched off.

    The serial number is the letter's row: no two letters of a mailer share one until
    the numbers are used up.
    """
    if not (store.mailer_id and store.mail_service):
        return ""
    return mail_barcode.tracking_of(
        barcode_id=MAIL_BARCODE_ID,
        service=store.mail_service,
        mailer=store.mailer_id,
        serial=letter.pk or 0,
    )


def rounds_of(rounds: QuerySet[LetterRound]) -> QuerySet[LetterRound]:
    """Give rounds as a list shows them, the last first, with the counts of each."""
    counted = rounds.select_related("campaign", "store", "text").annotate(
        letter_count=Count("letters", distinct=True),
        left_out=Count("omissions", distinct=True),
        returned=Count(
            "letters", filter=Q(letters__returned_on__isnull=False), distinct=True
        ),
    )
    # Counting drops the order that the table states.
    return counted.order_by("-id")


def register_rows(
    letter_round: LetterRound,
) -> Iterator[tuple[str | int | dt.date | None, ...]]:
    """Give one row an open vehicle: written to, or why not. Heads: REGISTER_HEADS."""
    letters = letter_round.letters.select_related(*_WITH_ALL).order_by("position")
    for one in letters:
        yield (
            one.campaign_vehicle.vehicle.vin,
            _("letter"),
            one.code,
            one.address.city,
            one.address.postal_code,
            one.page,
            one.printed_on,
            one.posted_on,
            one.returned_on,
            one.returned_why,
        )
    left = letter_round.omissions.select_related("campaign_vehicle__vehicle")
    for omission in left:
        reason = str(OMISSION_WORDS[OmissionReason(omission.reason)])
        vin = omission.campaign_vehicle.vehicle.vin
        yield (vin, reason, *("",) * 3, *(None,) * 4, "")


def register_heads() -> tuple[str, ...]:
    """Give the heads of the register's columns."""
    return (
        _("VIN"),
        _("Letter, or why not"),
        _("Letter code"),
        _("City"),
        _("Postal code"),
        _("Page"),
        _("Printed"),
        _("Posted"),
        _("Came back"),
        _("Why it came back"),
    )


def why_not_set(letter: Letter, letter_round: LetterRound) -> str:
    """Say why a letter was not set, in words; empty where it was."""
    if letter.page is not None:
        return ""
    missing = sheet_of(letter, letter_round).missing
    if missing:
        return _("no font here can draw %(characters)s") % {"characters": missing}
    return _("the address is too long for the sheet")


def texts_in_use(on: dt.date) -> list[LetterText]:
    """Give for each class, letter, sender and language the text in force on a day.

    Where none is kept yet it is the shipped one, as a row that is not kept.
    """
    kept: dict[tuple[str, ...], LetterText] = {}
    rows = LetterText.objects.filter(effective_from__lte=on)
    for text in rows.order_by("number"):
        kept[text.campaign_class, text.kind, text.posted_by, text.language] = text
    return [
        kept.get((campaign_class, kind, posted_by, language))
        or shipped_row(campaign_class, kind, posted_by, language)
        for campaign_class in CampaignClass
        for posted_by in PostedBy
        for kind in RoundKind
        for language, _words in LANGUAGES
    ]


def shipped_row(
    campaign_class: CampaignClass, kind: RoundKind, posted_by: PostedBy, language: str
) -> LetterText:
    """Give the shipped text as a row that is not kept yet."""
    subject, body = shipped_text(campaign_class, kind, posted_by, language)
    return LetterText(
        campaign_class=campaign_class,
        kind=kind,
        posted_by=posted_by,
        language=language,
        number=1,
        subject=subject,
        body=body,
    )
