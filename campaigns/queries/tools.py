"""Special tools: what a remedy needs, and whether the store has it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from campaigns.models import Remedy, SpecialTool, ToolAtStore
from campaigns.rules.lifecycle import ToolStanding


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolNow:
    """A tool that a remedy needs, and its place in one store; None: not here."""

    tool: SpecialTool
    place: ToolAtStore | None
    today: dt.date

    @property
    def is_overdue(self) -> bool:
        """Tell whether it should be back with its lender already."""
        due = self.place.back_by if self.place else None
        return due is not None and due < self.today

    @property
    def is_borrowed(self) -> bool:
        """Tell whether it belongs to somebody else."""
        return self.place is not None and self.place.standing == ToolStanding.BORROWED


def tools_needed(remedy: Remedy, *, store: Store, today: dt.date) -> list[ToolNow]:
    """Give the special tools of a remedy with their places in a store."""
    places = ToolAtStore.objects.in_store(store)
    found = remedy.special_tools.order_by("number").prefetch_related(
        Prefetch("places", queryset=places, to_attr="here")
    )
    return [_now(one, today) for one in found]


def all_tools(*, staff: StaffMember, store: Store, today: dt.date) -> list[ToolNow]:
    """Give every special tool with its place in a store and the remedies it is for."""
    places = ToolAtStore.objects.for_staff(staff).in_store(store)
    found = SpecialTool.objects.order_by("number").prefetch_related(
        Prefetch("places", queryset=places, to_attr="here"),
        Prefetch(
            "remedies",
            queryset=Remedy.objects.select_related("campaign", "scheduled_item"),
        ),
    )
    return [_now(one, today) for one in found]


def _now(tool: SpecialTool, today: dt.date) -> ToolNow:
    here: list[ToolAtStore] = getattr(tool, "here", [])
    return ToolNow(tool=tool, place=here[0] if here else None, today=today)
