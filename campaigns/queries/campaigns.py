"""Campaigns as the list and the overview show them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from campaigns.models import Variant, VariantPart
from campaigns.queries.completion import PopulationCounts, counts_of
from campaigns.queries.remedies import note_numbers
from campaigns.rules.deadlines import Deadline, DeadlineKind, deadlines_of
from campaigns.rules.lifecycle import CampaignState


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Sequence

    from campaigns.models import Campaign


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignRow:
    """One campaign with its counts, its sentence and its next last day."""

    campaign: Campaign
    counts: PopulationCounts
    sentence: str
    next_deadline: Deadline | None


def campaign_rows(
    *,
    campaigns: Sequence[Campaign],
    store_ids: Collection[int] | None,
    today: dt.date,
) -> list[CampaignRow]:
    """Give each campaign with its counts in these stores; two statements for all."""
    told = counts_of(campaign_ids=[one.pk for one in campaigns], store_ids=store_ids)
    return [
        CampaignRow(
            campaign=one,
            counts=told[one.pk],
            sentence=sentence_of(one, told[one.pk], today),
            next_deadline=_next(deadlines(one, today)),
        )
        for one in campaigns
    ]


def deadlines(campaign: Campaign, today: dt.date) -> tuple[Deadline, ...]:
    """Give the last days of a campaign, the nearest first."""
    return deadlines_of(
        (
            (DeadlineKind.CLAIM, campaign.claims_until),
            (DeadlineKind.RETURN, campaign.returns_until),
            (DeadlineKind.REMEDY_OFFERED, campaign.eligible_until),
        ),
        today=today,
    )


def deadline_words(kind: DeadlineKind) -> str:
    """Say what a last day is for."""
    match kind:
        case DeadlineKind.CLAIM:
            return _("claims until")
        case DeadlineKind.RETURN:
            return _("parts returnable until")
        case DeadlineKind.REMEDY_OFFERED:
            return _("remedy offered until")


def variants_of(campaign: Campaign) -> list[Variant]:
    """Give the variants of a campaign's remedy with their lines."""
    variants = list(
        Variant.objects.filter(remedy__campaign=campaign).prefetch_related(
            Prefetch("parts", queryset=VariantPart.objects.select_related("part")),
            "labour",
            "steps",
            "checks__replace_part",
            "checks__after_step",
            "allowances",
        )
    )
    note_numbers(line for one in variants for line in one.parts.all())
    return variants


def sentence_of(campaign: Campaign, told: PopulationCounts, today: dt.date) -> str:
    """Say in one sentence how a campaign stands and what comes next."""
    if campaign.state == CampaignState.DRAFT:
        return _("Being entered: write down criteria and remedy, then match.")
    stands = ngettext(
        "%(open)d of %(all)d vehicle still open",
        "%(open)d of %(all)d vehicles still open",
        told.involved,
    ) % {"open": told.still_open, "all": told.involved}
    if campaign.state == CampaignState.CLOSED:
        if not told.involved:
            return _("Closed; no vehicle of this store was in it.")
        return _("Closed: %(done)d of %(all)d remedied or found in order.") % {
            "done": told.complete,
            "all": told.involved,
        }
    if not told.involved and not told.to_verify:
        return _("No vehicle of this store is affected: nothing to do.")
    return f"{stands}; {_next_step(campaign, told, today)}"


def _next_step(campaign: Campaign, told: PopulationCounts, today: dt.date) -> str:
    """Say what comes next, the most pressing first."""
    near = _next(deadlines(campaign, today))
    if told.to_verify:
        return ngettext(
            "%(n)d to be verified first.", "%(n)d to be verified first.", told.to_verify
        ) % {"n": told.to_verify}
    if not told.still_open:
        return _("close the campaign when parts and claims are settled.")
    if near is not None and near.urgency in {"today", "soon"}:
        return _("%(what)s %(day)s.") % {
            "what": deadline_words(near.kind),
            "day": near.last_day.isoformat(),
        }
    if told.open_not_booked:
        return ngettext(
            "%(n)d has no visit booked.",
            "%(n)d have no visit booked.",
            told.open_not_booked,
        ) % {"n": told.open_not_booked}
    return _("all of them are booked.")


def _next(found: tuple[Deadline, ...]) -> Deadline | None:
    """Give the nearest last day that has not passed."""
    return next((one for one in found if one.days_left >= 0), None)
