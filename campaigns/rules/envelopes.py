"""Which letters travel together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from campaigns.rules.lifecycle import CampaignClass, PostedBy


if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

MOST_IN_ONE = 4
"""Letters in one envelope: with more the fold grows thick and the post dearer (common
practice, no source)."""


def may_share_envelope(campaign_class: CampaignClass, posted_by: PostedBy) -> bool:
    """Tell whether letters about several vehicles of one owner may share an envelope.

    A manufacturer's safety notice goes out alone: 49 CFR 577.5(a) and 577.7 speak of
    the notice about one vehicle and mark its envelope (from memory, so the careful
    way). Everything else may travel together.
    """
    return not (
        campaign_class is CampaignClass.SAFETY and posted_by is PostedBy.MANUFACTURER
    )


def put_in_envelopes(to: Sequence[Hashable], *, shared: bool) -> list[int]:
    """Give for each letter, in order, the position of the first in its envelope.

    ``to`` says to whom and where each letter goes; equal neighbours share an envelope,
    at most ``MOST_IN_ONE``. Positions count from 1.
    """
    first: list[int] = []
    for position, one in enumerate(to, start=1):
        same = position > 1 and one == to[position - 2]
        if shared and same and position - first[-1] < MOST_IN_ONE:
            first.append(first[-1])
        else:
            first.append(position)
    return first
