"""What the overview of a campaign shows: its days, and what is to be done next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import CampaignVehicle, LetterRound, Variant
from campaigns.queries.campaigns import deadline_words, deadlines
from campaigns.queries.population import Stretch, in_stretch, listed_without_vehicle
from campaigns.queries.reminders import brings_words, reminders_of
from campaigns.rules.lifecycle import CampaignState, VersionState


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import Campaign
    from campaigns.queries.completion import PopulationCounts
    from dealership.models import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyDate:
    """One day of a campaign; ``is_last`` marks a day by which something is due."""

    words: str
    day: dt.date
    is_last: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NextAct:
    """One thing to do next, with the page that does it."""

    reason: str
    act: str
    url: str
    detail: str = ""
    about: str = ""
    tone: str = "act"
    deadline: dt.date | None = None
    main: bool = False


def place_url(name: str, campaign: Campaign) -> str:
    """Give the address of a place of a campaign; empty where the house has none."""
    try:
        return reverse(f"campaigns:{name}", args=[campaign.code])
    except NoReverseMatch:
        return ""


def key_dates(campaign: Campaign, today: dt.date) -> list[KeyDate]:
    """Give the days of a campaign in order."""
    begun = (
        (_("announced"), campaign.announced_on),
        (_("parts available from"), campaign.parts_available_on),
        (_("owner letters from"), campaign.letters_on),
        (_("next reminder planned for"), campaign.reminder_on),
    )
    days = [KeyDate(words=words, day=day, is_last=False) for words, day in begun if day]
    days += [
        KeyDate(words=deadline_words(one.kind), day=one.last_day, is_last=True)
        for one in deadlines(campaign, today)
    ]
    return sorted(days, key=lambda one: one.day)


def next_acts(
    campaign: Campaign, store: Store, told: PopulationCounts, today: dt.date
) -> list[NextAct]:
    """Say what is to be done next, the most pressing first."""
    if campaign.state == CampaignState.CLOSED:
        return []
    acts = [*_entering(campaign), *_vehicles(campaign, store, told)]
    if campaign.state == CampaignState.RUNNING:
        acts += _letters(campaign, store, told, today)
    return acts


def _entering(campaign: Campaign) -> list[NextAct]:
    """Say what is not yet written down."""
    acts = []
    if not Variant.objects.filter(remedy__campaign=campaign).exists():
        acts.append(
            NextAct(
                reason=_("The remedy has no variant yet"),
                detail=_("Without it no visit can be booked and no part held."),
                act=_("Write down the remedy"),
                url=reverse("campaigns:new_variant", args=[campaign.code]),
            )
        )
    version = campaign.versions.filter(
        state__in=[VersionState.DRAFT, VersionState.MATCHED]
    ).first()
    if version is not None and version.state == VersionState.MATCHED:
        acts.append(
            NextAct(
                reason=_("A match waits to be looked at"),
                detail=_("Nothing changes before it is applied."),
                act=_("Look at the changes"),
                url=reverse("campaigns:match", args=[campaign.code]),
            )
        )
    elif version is not None:
        acts.append(
            NextAct(
                reason=_("Criteria or list are changed and not yet matched"),
                act=_("Look at the criteria"),
                url=reverse("campaigns:criteria", args=[campaign.code]),
            )
        )
    return acts


def _vehicles(
    campaign: Campaign, store: Store, told: PopulationCounts
) -> list[NextAct]:
    """Say which vehicles want a decision."""
    population = reverse("campaigns:population", args=[campaign.code])
    acts = []
    if told.to_verify:
        acts.append(
            NextAct(
                reason=ngettext(
                    "%(n)d vehicle to be verified",
                    "%(n)d vehicles to be verified",
                    told.to_verify,
                )
                % {"n": told.to_verify},
                detail=_("A fact is missing; each row says which."),
                act=_("Verify them"),
                url=f"{population}?stretch={Stretch.TO_BE_VERIFIED}",
            )
        )
    mine = CampaignVehicle.objects.filter(campaign=campaign, store=store)
    own = in_stretch(mine, Stretch.OWN_STOCK).filter(planned_on=None).count()
    if own:
        acts.append(
            NextAct(
                reason=ngettext(
                    "%(n)d vehicle of our own stock has no day planned",
                    "%(n)d vehicles of our own stock have no day planned",
                    own,
                )
                % {"n": own},
                detail=_("New stock must not be handed over before the remedy.")
                if campaign.stop_sale
                else "",
                tone="bad" if campaign.stop_sale else "act",
                act=_("Plan them"),
                url=f"{population}?stretch={Stretch.OWN_STOCK}",
            )
        )
    missing = listed_without_vehicle(campaign).filter(store=store).count()
    if missing:
        acts.append(
            NextAct(
                reason=ngettext(
                    "%(n)d VIN of the list is not in the vehicle file",
                    "%(n)d VINs of the list are not in the vehicle file",
                    missing,
                )
                % {"n": missing},
                tone="wait",
                act=_("See them"),
                url=reverse("campaigns:unknown_vins", args=[campaign.code]),
            )
        )
    return acts


def _letters(
    campaign: Campaign, store: Store, told: PopulationCounts, today: dt.date
) -> list[NextAct]:
    """Say that owners are to be written to, once they may be."""
    due = campaign.letters_on is None or campaign.letters_on <= today
    if not due or not told.still_open:
        return []
    if LetterRound.objects.filter(campaign=campaign, store=store).exists():
        return _reminder(campaign, store, today)
    return [
        NextAct(
            reason=_("The owners have not been written to"),
            act=_("Go to the letters"),
            url=place_url("campaign_letters", campaign),
            deadline=campaign.letters_on,
        )
    ]


def _reminder(campaign: Campaign, store: Store, today: dt.date) -> list[NextAct]:
    """Say that a reminder pays, where it does."""
    return [
        NextAct(
            reason=_("A reminder pays, and the parts for it are here"),
            detail=brings_words(one.judged),
            act=_("Go to the letters"),
            url=place_url("campaign_letters", campaign),
        )
        for one in reminders_of(store=store, today=today, campaign=campaign)
        if one.pays
    ]
