"""What waits for the office."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from campaigns.models import Campaign, CampaignVehicle, Letter, LetterRound
from campaigns.models.words import ROUND_KIND_WORDS
from campaigns.queries.chores.row import MOST, Chore, Kind, Target, listed
from campaigns.queries.letter_post import return_words
from campaigns.queries.reminders import Reminder, brings_words, reminders_of
from campaigns.rules.lifecycle import (
    CampaignState,
    Reach,
    RoundKind,
    RoundState,
    WorkState,
)
from vehicles.models import VehicleList
from vehicles.rules.standing import ListState


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import Store

_ALL_LETTERS = Target(name="campaigns:letters")


def rounds_due(*, store: Store, today: dt.date) -> Kind:
    """Give the campaigns whose letters may go out and that have no round yet."""
    rounds = (
        LetterRound.objects.in_store(store)
        .exclude(kind=RoundKind.INTERIM)
        .exclude(state=RoundState.CANCELLED)
    )
    to_write = CampaignVehicle.objects.in_store(store).filter(
        work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR], reach=Reach.REACHABLE
    )
    found = (
        Campaign.objects.filter(
            Exists(to_write.filter(campaign=OuterRef("pk"))),
            state=CampaignState.RUNNING,
            letters_on__lte=today,
        )
        .exclude(Exists(rounds.filter(campaign=OuterRef("pk"))))
        .order_by("letters_on", "code")
    )

    def write(one: Campaign) -> Chore:
        return Chore(
            kind="round_due",
            reason=_("Owner letters may go out; none are drawn up"),
            about=f"{one.code} {one.title}",
            deadline=one.letters_on,
            act=_("Draw up the letters"),
            target=Target(name="campaigns:campaign_letters", args=(one.code,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_LETTERS, full_words=_("All letters")
    )


def reminders_due(*, store: Store, today: dt.date) -> Kind:
    """Give the campaigns in which a reminder pays and the parts for it are here."""
    found = [one for one in reminders_of(store=store, today=today) if one.pays]

    def write(one: Reminder) -> Chore:
        return Chore(
            kind="reminder",
            reason=_("A reminder pays, and the parts for it are here"),
            about=f"{one.campaign.code} {one.campaign.title}",
            detail=brings_words(one.judged),
            act=_("Draw up the reminder"),
            target=Target(name="campaigns:remind_owners", args=(one.campaign.code,)),
            press=True,
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_LETTERS, full_words=_("All letters")
    )


def rounds_in_work(*, store: Store, today: dt.date) -> Kind:
    """Give the rounds to be printed and to be posted."""
    del today
    found = (
        LetterRound.objects.in_store(store)
        .filter(state__in=[RoundState.DRAWN_UP, RoundState.PRINTED])
        .select_related("campaign")
        .order_by("made_at", "pk")
    )

    def write(one: LetterRound) -> Chore:
        drawn = one.state == RoundState.DRAWN_UP
        return Chore(
            kind="round_print" if drawn else "round_post",
            reason=_("Drawn up, not printed") if drawn else _("Printed, not posted"),
            about=f"{one.campaign.code}, {ROUND_KIND_WORDS[RoundKind(one.kind)]}",
            detail=_("%(n)d sheets") % {"n": one.sheets} if one.sheets else "",
            deadline=one.campaign.letters_on if one.kind == RoundKind.FIRST else None,
            act=_("Print") if drawn else _("Post"),
            target=Target(name="campaigns:letter_round", args=(one.pk,)),
            tone="act",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_LETTERS, full_words=_("All letters")
    )


def returned(*, store: Store, today: dt.date) -> Kind:
    """Give the letters that came back while the vehicle is open and nothing is decided.

    A new address, or another step, clears it.
    """
    del today
    found = (
        Letter.objects.in_store(store)
        .filter(
            returned_on__isnull=False,
            return_step="",
            campaign_vehicle__work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR],
        )
        .select_related("campaign_vehicle__vehicle", "campaign_vehicle__campaign")
        .order_by("returned_on", "pk")
    )

    def write(one: Letter) -> Chore:
        vehicle = one.campaign_vehicle.vehicle
        return Chore(
            kind="returned",
            reason=_("Letter came back: %(why)s")
            % {"why": return_words(one.returned_why) or _("no reason given")},
            about=f"{vehicle.vin} {vehicle.line}",
            detail=_("%(code)s, letter %(letter)s")
            % {"code": one.campaign_vehicle.campaign.code, "letter": one.code},
            act=_("Decide what is done"),
            target=Target(name="campaigns:letter", args=(one.pk,)),
            tone="bad",
        )

    return listed(
        found[: MOST + 1], write, full=_ALL_LETTERS, full_words=_("All letters")
    )


def lists(*, store: Store, today: dt.date) -> Kind:
    """Give the vehicle lists that are read and wait to be reviewed."""
    del today
    found = (
        VehicleList.objects.in_store(store)
        .filter(state=ListState.STAGED)
        .select_related("upload")
        .order_by("made_at", "pk")
    )

    def write(one: VehicleList) -> Chore:
        refused = one.counts.get("refused", 0)
        return Chore(
            kind="list",
            reason=_("List read, not yet applied"),
            about=one.upload.original_name,
            detail=_("%(n)d rows refused") % {"n": refused} if refused else "",
            act=_("Review it"),
            target=Target(name="vehicles:vehicle_list", args=(one.pk,)),
            tone="bad" if refused else "open",
        )

    return listed(
        found[: MOST + 1],
        write,
        full=Target(name="vehicles:vehicle_lists"),
        full_words=_("All lists"),
    )
