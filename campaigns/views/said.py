"""The sentence at the head of the counter: how a vehicle stands, what to do next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from dealership.templatetags.formats import long_day


if TYPE_CHECKING:
    from collections.abc import Iterable

    from campaigns.queries.counter import AtCounter, OpenCampaign


def counter_sentence(at: AtCounter) -> str:
    """Say what matters first, then the act of each campaign."""
    if not at.campaigns:
        if at.due:
            return _("No campaign is open for this vehicle; scheduled work is due.")
        return _("No campaign is open for this vehicle; there is nothing to do.")
    lead = ngettext(
        "%(n)s campaign is open", "%(n)s campaigns are open", len(at.campaigns)
    ) % {"n": len(at.campaigns)}
    if at.must_not_be_handed_over:
        lead = _("Do not deliver; %(open)s") % {"open": lead}
    acts = _acts(at.campaigns)
    return f"{lead}: {'; '.join(acts)}." if acts else f"{lead}."


def _acts(campaigns: Iterable[OpenCampaign]) -> list[str]:
    """Say what is next for each campaign; those with the same act stand together."""
    grouped: dict[str, list[str]] = {}
    for one in campaigns:
        grouped.setdefault(_act(one), []).append(one.campaign.code)
    return [
        said.replace("{codes}", ", ".join(codes)) for said, codes in grouped.items()
    ]


def _act(one: OpenCampaign) -> str:
    """Say what is next for one campaign; its code comes in at the braces."""
    if one.repair:
        said = _("{codes} is in the workshop")
    elif one.booked:
        said = _("{codes} is booked for %(day)s") % {"day": long_day(one.booked.on)}
    elif one.to_verify:
        said = _("verify whether {codes} concerns it")
    elif one.can_be_booked:
        said = _("book {codes} for %(day)s") % {"day": long_day(one.earliest)}
    elif one.why_no_plan:
        said = _("find out what {codes} needs")
    elif one.request:
        said = _("{codes} waits for parts")
    else:
        said = _("no part for {codes} can be promised, record the request")
    return said
