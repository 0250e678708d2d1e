"""Special tools: owned or borrowed, where they are, and back by when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.models import SpecialTool, ToolAtStore
from campaigns.rules.lifecycle import ToolStanding
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection

    from campaigns.models import Remedy
    from dealership.models import StaffMember, Store


class LenderMissing(Refusal):
    """A borrowed tool without its lender or the day it goes back."""

    field = "lender"

    def __init__(self) -> None:
        super().__init__(
            _("A borrowed tool needs the name of its lender and the day it goes back.")
        )


class PlaceMissing(Refusal):
    """A tool of which nobody would find the place."""

    field = "place"

    def __init__(self) -> None:
        super().__init__(_("Say where the tool is kept, so that it can be found."))


def tool_by_number(
    *, number: str, name: str, by: StaffMember | None, at: dt.datetime
) -> SpecialTool:
    """Find a tool by its number, or add it with its name."""
    with transaction.atomic():
        tool, made = SpecialTool.objects.get_or_create(
            number=number.strip(), defaults={"name": name.strip() or number.strip()}
        )
        if made:
            record(
                act="tool.added",
                subject=tool,
                by=by,
                at=at,
                after={"number": tool.number},
            )
    return tool


def keep_tool(
    *,
    store: Store,
    tool: SpecialTool,
    standing: ToolStanding,
    place: str,
    by: StaffMember | None,
    at: dt.datetime,
    lender: str = "",
    back_by: dt.date | None = None,
) -> ToolAtStore:
    """Note that a store has a tool: where, and if borrowed from whom and until when.

    Written again, the newer facts stand. Raises PlaceMissing, LenderMissing.
    """
    if not place.strip():
        raise PlaceMissing
    borrowed = standing is ToolStanding.BORROWED
    if borrowed and (not lender.strip() or back_by is None):
        raise LenderMissing
    with transaction.atomic():
        kept, _made = ToolAtStore.objects.update_or_create(
            store=store,
            tool=tool,
            defaults={
                "standing": standing,
                "place": place.strip()[:60],
                "lender": lender.strip()[:80] if borrowed else "",
                "back_by": back_by if borrowed else None,
            },
        )
        record(
            act="tool.kept",
            subject=kept,
            by=by,
            at=at,
            store=store,
            after={
                "tool": tool.number,
                "standing": standing.value,
                "place": kept.place,
                "back_by": kept.back_by.isoformat() if kept.back_by else "",
            },
        )
    return kept


def let_tool_go(*, kept: ToolAtStore, by: StaffMember | None, at: dt.datetime) -> None:
    """Note that a tool has left the store: given back, lent on, or worn out."""
    with transaction.atomic():
        record(
            act="tool.gone",
            subject=kept,
            by=by,
            at=at,
            store=kept.store,
            before={"tool": kept.tool.number, "standing": kept.standing},
        )
        kept.delete()


def need_tools(
    *,
    remedy: Remedy,
    tools: Collection[SpecialTool],
    by: StaffMember | None,
    at: dt.datetime,
) -> Remedy:
    """Say which special tools a remedy needs."""
    with transaction.atomic():
        remedy.special_tools.set(tools)
        record(
            act="campaign.tools_needed",
            subject=remedy.campaign or remedy,
            by=by,
            at=at,
            after={"tools": sorted(one.number for one in tools)},
        )
    return remedy
