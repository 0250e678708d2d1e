"""Bringing a campaign to its end, and opening it again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.domain.announcing import ReasonMissing
from campaigns.domain.learning import keep_response
from campaigns.models import Campaign
from campaigns.models.words import CAMPAIGN_STATE_WORDS
from campaigns.queries.completion import PopulationCounts, counts
from campaigns.queries.leftovers import what_is_left
from campaigns.rules.lifecycle import CAMPAIGN_MOVES, CampaignState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.queries.leftovers import Left
    from dealership.models import StaffMember


class CampaignCannotMove(Refusal):
    """The campaign is in a state in which this cannot be asked of it."""

    def __init__(self, code: str, state: CampaignState) -> None:
        super().__init__(
            _("Campaign %(code)s is %(state)s, so this cannot be done now.")
            % {"code": code, "state": CAMPAIGN_STATE_WORDS[state]}
        )
        self.code = code
        self.state = state


class SomethingLeft(Refusal):
    """The campaign cannot be closed while something is not explained."""

    def __init__(self, code: str, left: list[Left]) -> None:
        super().__init__(
            _("Campaign %(code)s cannot be closed yet. %(left)s")
            % {"code": code, "left": " ".join(one.words for one in left)}
        )
        self.code = code
        self.left = left


def close_campaign(
    *, campaign: Campaign, why: str, by: StaffMember, at: dt.datetime
) -> Campaign:
    """Close a campaign and keep how far it came.

    Closing it again changes nothing. Raises SomethingLeft with the list of what is
    left, and CampaignCannotMove for one that never ran.
    """
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        if held.state == CampaignState.CLOSED:
            return held
        _check(held, CampaignState.CLOSED)
        left = what_is_left(held)
        if left:
            raise SomethingLeft(held.code, left)
        held.state = CampaignState.CLOSED
        held.closed_at = at
        held.save(update_fields=["state", "closed_at"])
        keep_response(campaign=held, at=at, today=timezone.localdate(at))
        record(
            act="campaign.closed",
            subject=held,
            by=by,
            at=at,
            before={"state": CampaignState.RUNNING.value},
            after=completion_facts(counts(campaign=held, store_ids=None)),
            why=why.strip(),
        )
    return held


def reopen_campaign(
    *, campaign: Campaign, why: str, by: StaffMember, at: dt.datetime
) -> Campaign:
    """Let a closed campaign run again. Raises ReasonMissing and CampaignCannotMove."""
    if not why.strip():
        raise ReasonMissing
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        if held.state == CampaignState.RUNNING:
            return held
        _check(held, CampaignState.RUNNING)
        held.state = CampaignState.RUNNING
        held.closed_at = None
        held.save(update_fields=["state", "closed_at"])
        record(
            act="campaign.reopened",
            subject=held,
            by=by,
            at=at,
            before={"state": CampaignState.CLOSED.value},
            why=why.strip(),
        )
    return held


def completion_facts(told: PopulationCounts) -> dict[str, Any]:
    """Give the counts that are kept with the closing."""
    by_category = told.completion.by_category
    return {
        "involved": told.involved,
        "below_line": told.completion.to_verify_below_line,
        "by_category": {category.value: n for category, n in by_category.items()},
    }


def _check(campaign: Campaign, to: CampaignState) -> None:
    state = CampaignState(campaign.state)
    if to not in CAMPAIGN_MOVES[state] or state is CampaignState.DRAFT:
        raise CampaignCannotMove(campaign.code, state)
