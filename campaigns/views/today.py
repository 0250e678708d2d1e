"""The first page: what waits for this person today, with the act that clears it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.shortcuts import render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from campaigns.queries.hold_list import changes_of_day, stock_lines
from campaigns.queries.worklists import today_rows
from campaigns.rules.hold_list import Stand
from dealership.models.staff import ROLE_WORDS
from dealership.rules.roles import Capability, Role
from dealership.templatetags.formats import day_words
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse
    from django.urls import URLPattern

    from campaigns.queries.chores.row import Chore, Target
    from campaigns.queries.worklists import Group
    from dealership.models import Store


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the page and where its act leads."""

    chore: Chore
    url: str


@dataclass(frozen=True, slots=True)
class Shown:
    """The rows of one post, and the pages that have all of them."""

    title: str
    entries: tuple[Entry, ...]
    full: tuple[tuple[str, str], ...]


@require_safe
@guarded(Capability.SEE_TODAY)
def today(request: HttpRequest) -> HttpResponse:
    """Show what there is to do, the most urgent first."""
    day, store = timezone.localdate(), store_of(request)
    groups = today_rows(staff=staff_of(request), store=store, today=day)
    shown = [_shown(group) for group in groups]
    context = {
        "groups": shown,
        "waiting": any(group.entries for group in shown),
        "sentence": sentence_of(groups, day),
        "day": day,
        "alarm": any(
            one.kind == "failed_proof" for group in groups for one in group.chores
        ),
        "empty": empty_words(groups),
        **_stock_alert(request, store),
    }
    return render(request, "campaigns/today.html", context)


def _stock_alert(request: HttpRequest, store: Store) -> dict[str, object]:
    """Say how many own vehicles must stay, to those who hand vehicles over."""
    staff, now = staff_of(request), timezone.now()
    if not staff.may(Capability.USE_COUNTER, store.pk):
        return {}
    lines = stock_lines(store=store, now=now)
    changes = changes_of_day(staff=staff, store=store, day=timezone.localdate(now))
    return {
        "held": sum(line.must_stay for line in lines),
        "call_in": sum(line.stand is Stand.HOLD_FROM for line in lines),
        "stock_changes": len(changes),
    }


def empty_words(groups: Sequence[Group]) -> str:
    """Say what would stand on an empty page; each post waits for something else."""
    if {group.role for group in groups} == {Role.ADMINISTRATOR}:
        return _(
            "No list waits to be taken in, and the last proof of the books found"
            " nothing. Parts, letters and vehicles stand with the people who care for"
            " them."
        )
    return _(
        "Nothing waits. New work appears here by itself: letters due, parts to order,"
        " vehicles to call."
    )


def _shown(group: Group) -> Shown:
    return Shown(
        title=str(ROLE_WORDS[group.role]),
        entries=tuple(
            Entry(chore=one, url=address_of(one.target)) for one in group.chores
        ),
        full=tuple((words, address_of(page)) for words, page in group.full),
    )


def address_of(target: Target) -> str:
    """Give the address of a page."""
    url = reverse(target.name, args=target.args)
    return f"{url}?{target.query}" if target.query else url


def sentence_of(groups: Sequence[Group], day: dt.date) -> str:
    """Say how much waits, and what comes first."""
    chores = [one for group in groups for one in group.chores]
    if not chores:
        return _("Nothing waits for you today; what comes up will stand here.")
    due = [one for one in chores if one.deadline is not None]
    first = min(due, key=lambda one: one.deadline or day) if due else chores[0]
    told = {"n": len(chores), "reason": first.reason, "about": first.about}
    if first.deadline is None:
        return (
            ngettext(
                "One thing waits for you: %(reason)s (%(about)s).",
                "%(n)d things wait for you; begin with: %(reason)s (%(about)s).",
                len(chores),
            )
            % told
        )
    told["when"] = day_words(first.deadline, day)
    if first.deadline < day:
        return (
            ngettext(
                "One thing waits for you, %(when)s: %(reason)s (%(about)s).",
                "%(n)d things wait for you; the first is %(when)s: %(reason)s"
                " (%(about)s).",
                len(chores),
            )
            % told
        )
    return (
        ngettext(
            "One thing waits for you, due %(when)s: %(reason)s (%(about)s).",
            "%(n)d things wait for you; the first is due %(when)s: %(reason)s"
            " (%(about)s).",
            len(chores),
        )
        % told
    )


patterns: list[URLPattern] = [path("", today, name="today")]
