"""Post that comes in: finding the letter it belongs to, and what waits for a decision."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from campaigns.models.words import RETURN_WORDS
from campaigns.rules.lifecycle import STILL_OPEN
from vehicles.rules.names import folded_name
from vehicles.rules.vin import normalise_vin


if TYPE_CHECKING:
    from django.db.models import QuerySet

    from campaigns.models import CampaignVehicle, Contact, Letter

MOST_FOUND = 30
_VIN_PIECE = 5
_WITH = (
    "party",
    "address",
    "letter_round__campaign",
    "letter_round__store",
    "campaign_vehicle__vehicle",
    "campaign_vehicle__campaign",
)


def letters_named(letters: QuerySet[Letter], text: str) -> QuerySet[Letter]:
    """Give the posted letters that a code, a VIN or a piece of it, or a name means."""
    said = text.strip()
    posted = letters.filter(posted_on__isnull=False).select_related(*_WITH)
    exact = posted.filter(code=said.upper())
    if not said or exact.exists():
        return exact
    vin = normalise_vin(said)
    by_vin = Q(campaign_vehicle__vehicle__vin__contains=vin)
    found = Q(party__name_folded__contains=folded_name(said))
    if len(vin) >= _VIN_PIECE:
        found |= by_vin
    return posted.filter(found).order_by("-posted_on", "-pk")


def undecided(letters: QuerySet[Letter]) -> QuerySet[Letter]:
    """Give the letters that came back and about which nothing is decided, oldest first.

    A letter about a vehicle that wants no work any more needs no decision.
    """
    return (
        letters.filter(
            returned_on__isnull=False,
            return_step="",
            campaign_vehicle__work_state__in=STILL_OPEN,
        )
        .select_related(*_WITH)
        .order_by("returned_on", "pk")
    )


def return_words(why: str) -> str:
    """Say why a letter came back."""
    return str(RETURN_WORDS.get(why, why))  # type: ignore[call-overload]


def contacts_of(row: CampaignVehicle) -> QuerySet[Contact]:
    """Give what was said of a vehicle in a campaign, the newest first."""
    return row.contacts.select_related("by", "party", "letter").order_by("-on", "-pk")
