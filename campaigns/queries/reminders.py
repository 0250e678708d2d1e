"""Campaigns whose owners may be reminded: what a letter would bring, what is missing."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Exists, Max, OuterRef
from django.utils.translation import ngettext

from campaigns.models import Campaign, CampaignVehicle, LetterRound, VisitJob
from campaigns.queries.demand import wanted_of
from campaigns.queries.experience import experience_for, read_experience
from campaigns.queries.remedies import load_remedies
from campaigns.queries.uses import part_uses, whole_campaign
from campaigns.rules.lifecycle import (
    CampaignState,
    Reach,
    RoundKind,
    RoundState,
    WorkState,
)
from inventory.forecasting.reminding import (
    Costs,
    Judgement,
    PartInHand,
    Verdict,
    judge_reminder,
    wanted_in_wave,
)
from inventory.queries.numbers import draw_together
from inventory.queries.stock import stock_of
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Iterable, Mapping

    from campaigns.models import Remedy
    from campaigns.queries.demand import Wanted
    from campaigns.queries.experience import Scope
    from campaigns.queries.uses import UseOf
    from dealership.models import Store
    from inventory.forecasting.response import Experience
    from inventory.models import Part
    from inventory.queries.stock import StockOf

_IN_WORK = (RoundState.DRAWN_UP, RoundState.PRINTING, RoundState.PRINTED)
_TO_WRITE = (WorkState.OPEN, WorkState.NEEDS_REPAIR)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminder:
    """A look at a reminder about one campaign in one store.

    ``last_on`` is the day on which the latest letter was posted, ``rounds`` how many
    rounds were, ``parts`` the parts by id that ``judged`` names.
    """

    campaign: Campaign
    store: Store
    last_on: dt.date
    rounds: int
    judged: Judgement
    parts: Mapping[int, Part]

    @property
    def pays(self) -> bool:
        """Tell whether the letter is proposed."""
        return self.judged.verdict is Verdict.PAYS

    @property
    def reminded(self) -> float:
        """Give the visits expected with the letter."""
        return self.judged.without + self.judged.extra

    @property
    def short(self) -> list[tuple[Part, PartInHand]]:
        """Give the parts that are too few, with their pieces."""
        return [(self.parts[one.part_id], one) for one in self.judged.short]


def reminders_of(
    *, store: Store, today: dt.date, campaign: Campaign | None = None
) -> list[Reminder]:
    """Look at a reminder for each running campaign whose owners had a letter here.

    Of one campaign, or of all; not where a round is in work. A fixed number of
    queries; the campaigns come in the order of their codes.
    """
    posted = _posted(store, today, campaign)
    if not posted:
        return []
    campaigns = list(
        Campaign.objects.filter(pk__in=posted)
        .select_related("earmark")
        .order_by("code")
    )
    loaded = load_remedies(campaign_ids=[one.pk for one in campaigns])
    remedies = {pk: one for (_kind, pk), one in loaded.items()}
    wanted = wanted_of(
        campaigns=campaigns, remedies=remedies, store_ids=[store.pk], today=today
    )
    look = _Look(
        store=store,
        today=today,
        wanted=wanted,
        known=read_experience(),
        letters=_letters(store, posted),
        shelf=_Shelf.of(store, remedies.values(), today),
    )
    return [look.at(one, remedies.get(one.pk), *posted[one.pk]) for one in campaigns]


def brings_words(judged: Judgement) -> str:
    """Say in a few words what the letters would bring."""
    letters = ngettext("%(n)d letter", "%(n)d letters", judged.letters) % {
        "n": judged.letters
    }
    extra = round(judged.extra)
    return ngettext(
        "%(letters)s, about %(extra)d visit more in %(weeks)d weeks",
        "%(letters)s, about %(extra)d visits more in %(weeks)d weeks",
        extra,
    ) % {"letters": letters, "extra": extra, "weeks": judged.weeks}


def _posted(
    store: Store, today: dt.date, campaign: Campaign | None
) -> dict[int, tuple[dt.date, int]]:
    """Give the last posting day and the number of rounds, by running campaign."""
    rounds = LetterRound.objects.in_store(store)
    if campaign is not None:
        rounds = rounds.filter(campaign=campaign)
    in_work = rounds.filter(campaign=OuterRef("campaign"), state__in=_IN_WORK)
    told = (
        rounds.filter(
            campaign__state=CampaignState.RUNNING,
            state=RoundState.POSTED,
            posted_on__lte=today,
        )
        .exclude(kind=RoundKind.INTERIM)
        .exclude(Exists(in_work))
        .order_by()
        .values_list("campaign_id")
        .annotate(last=Max("posted_on"), n=Count("pk"))
    )
    return {pk: (last, n) for pk, last, n in told}


def _letters(store: Store, campaign_ids: Collection[int]) -> dict[int, int]:
    """Count the vehicles whose owners would be written to: open, had a letter, not booked.

    Addresses are looked at when the round is drawn up; it may leave some out.
    """
    booked = VisitJob.objects.filter(campaign_vehicle=OuterRef("pk"), live=True)
    told = (
        CampaignVehicle.objects.filter(
            store=store,
            campaign__in=campaign_ids,
            work_state__in=_TO_WRITE,
            reach=Reach.REACHABLE,
            latest_letter_on__isnull=False,
            vehicle__standing=Standing.CUSTOMER,
        )
        .exclude(Exists(booked))
        .order_by()
        .values_list("campaign_id")
        .annotate(n=Count("pk"))
    )
    return dict(told)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """All that was read for the campaigns of one store."""

    store: Store
    today: dt.date
    wanted: Wanted
    known: Mapping[Scope, Experience]
    letters: Mapping[int, int]
    shelf: _Shelf

    def at(
        self, campaign: Campaign, remedy: Remedy | None, last_on: dt.date, rounds: int
    ) -> Reminder:
        """Look at one campaign."""
        facts = {
            "cell": (self.store.pk, campaign.pk),
            "today": self.today,
            "experience": experience_for(
                self.known,
                store_id=self.store.pk,
                campaign_class=campaign.campaign_class,
            ),
        }
        whole = whole_campaign(campaign, self.wanted, **facts)  # type: ignore[arg-type]
        uses = part_uses(campaign, remedy, self.wanted, **facts) if remedy else []  # type: ignore[arg-type]
        judged = judge_reminder(
            whole.use if whole else None,
            letters=self.letters.get(campaign.pk, 0),
            rounds=rounds,
            costs=Costs(
                letter_cents=self.store.letter_cost_cents,
                visit_cents=self.store.labour_margin_cents,
            ),
            parts=self.shelf.in_hand(campaign, uses),
            today=self.today,
        )
        return Reminder(
            campaign=campaign,
            store=self.store,
            last_on=last_on,
            rounds=rounds,
            judged=judged,
            parts={one.part_id: self.shelf.parts[one.part_id] for one in judged.short},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shelf:
    """The parts of some remedies under each of the numbers that serve."""

    parts: Mapping[int, Part]
    numbers: Mapping[int, tuple[Part, ...]]
    stock: StockOf
    today: dt.date

    @classmethod
    def of(cls, store: Store, remedies: Iterable[Remedy], today: dt.date) -> _Shelf:
        """Read what a store has of the parts of some remedies."""
        lines = [
            line
            for remedy in remedies
            for variant in remedy.variants.all()
            for line in variant.parts.all()
        ]
        numbers = {line.part_id: line.numbers for line in lines}
        asked = {one.pk for alike in numbers.values() for one in alike}
        return cls(
            parts={line.part_id: line.part for line in lines},
            numbers=numbers,
            stock=stock_of(store=store, part_ids=asked),
            today=today,
        )

    def in_hand(self, campaign: Campaign, uses: Iterable[UseOf]) -> list[PartInHand]:
        """Set spare pieces against what the first wave of a reminder takes."""
        wanted: dict[int, int] = defaultdict(int)
        for one in uses:
            wave = wanted_in_wave(one.use, today=self.today) if one.use else 0
            wanted[one.part_id] += one.waiting + wave
        pockets = {campaign.earmark_id, None}
        return [
            PartInHand(
                part_id=part_id,
                spare=draw_together(
                    self.stock,
                    numbers=self.numbers[part_id],
                    earmark_ids=set(pockets),
                    today=self.today,
                ).free_now,
                wanted=pieces,
            )
            for part_id, pieces in sorted(wanted.items())
        ]
