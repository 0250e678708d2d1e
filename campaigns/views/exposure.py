"""Pages: where money is tied up, and the lines behind each figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.paginator import Paginator
from django.http import QueryDict
from django.shortcuts import render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from campaigns.queries.account_words import HELD_WORDS
from campaigns.queries.exposure import (
    STATES,
    By,
    Line,
    Sum,
    Wanted,
    add_up,
    exposure_lines,
    whole,
)
from campaigns.rules.exposure import AgeBand
from campaigns.views.money_places import money_places, money_stores
from dealership.rules.roles import Capability
from dealership.views.guards import guarded


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

A_PAGE = 100
BY_WORDS = {
    By.CAMPAIGN: gettext_lazy("campaign"),
    By.STORE: gettext_lazy("store"),
    By.PART: gettext_lazy("part"),
}
FILTERS = ("campaign", "store", "part", "state", "band")


@require_safe
@guarded(Capability.SEE_MONEY)
def exposure(request: HttpRequest) -> HttpResponse:
    """Show what is tied up by campaign, store or part; each figure opens."""
    stores, everywhere = money_stores(request)
    by = _by(request)
    wanted = _wanted(request)
    lines = [
        line
        for line in exposure_lines(store_ids=stores, today=timezone.localdate())
        if wanted.takes(line)
    ]
    total = whole(lines)
    states = [name for name in STATES if total.states[name]]
    context = {
        "by": by.value,
        "by_words": BY_WORDS[by],
        "choices": [
            (one.value, words, _url(request, "exposure", by=one.value))
            for one, words in BY_WORDS.items()
        ],
        "states": [HELD_WORDS[name] for name in states],
        "bands": list(AgeBand),
        "rows": [_cells(request, one, states, by) for one in add_up(lines, by)],
        "whole": _cells(request, total, states, None),
        "old_cents": total.bands[AgeBand.OVER_90],
        "old_url": _url(request, "exposure_lines", band=AgeBand.OVER_90.value),
        "parts_of_filter": _said(request),
        "everywhere": everywhere,
        "everywhere_url": _url(request, "exposure", stores="all"),
        "here_url": _url(request, "exposure", stores=""),
        "money_places": money_places(request),
    }
    return render(request, "campaigns/exposure.html", context)


@require_safe
@guarded(Capability.SEE_MONEY)
def lines_page(request: HttpRequest) -> HttpResponse:
    """Show the lines behind a figure, the oldest first."""
    stores, everywhere = money_stores(request)
    wanted = _wanted(request)
    lines = [
        line
        for line in exposure_lines(store_ids=stores, today=timezone.localdate())
        if wanted.takes(line)
    ]
    page = Paginator(lines, A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page_obj": page,
        "lines": [(one, HELD_WORDS[one.state], _page_of(one)) for one in page],
        "cents": sum(one.row.cents for one in lines),
        "parts_of_filter": _said(request),
        "back_url": _url(request, "exposure"),
        "everywhere": everywhere,
        "money_places": money_places(request),
    }
    return render(request, "campaigns/exposure_lines.html", context)


def _by(request: HttpRequest) -> By:
    wish = request.GET.get("by", "")
    return By(wish) if wish in set(By) else By.CAMPAIGN


def _wanted(request: HttpRequest) -> Wanted:
    return Wanted(**{name: request.GET.get(name, "") for name in FILTERS})


def _url(request: HttpRequest, name: str, **changes: str) -> str:
    """Give an address with what is asked for now, and these changes."""
    kept = {
        key: value
        for key in ("by", "stores", *FILTERS)
        if (value := changes.get(key, request.GET.get(key, "")))
    }
    question = QueryDict(mutable=True)
    question.update(kept)
    return f"{reverse(f'campaigns:{name}')}?{question.urlencode()}"


def _cells(
    request: HttpRequest, one: Sum, states: list[str], by: By | None
) -> dict[str, object]:
    """Give the figures of one row, each with the address of its lines."""
    mine = {by.value: one.key} if by else {}

    def opened(**more: str) -> str:
        return _url(request, "exposure_lines", **mine, **more)

    return {
        "sum": one,
        "url": opened(),
        "states": [
            (HELD_WORDS[name], one.states[name], opened(state=name)) for name in states
        ],
        "bands": [
            (band.value, one.bands[band], opened(band=band.value)) for band in AgeBand
        ],
    }


def _said(request: HttpRequest) -> list[tuple[str, str]]:
    """Say each part of the filter, and the address without it."""
    labels = {
        "campaign": _("campaign %(value)s"),
        "store": _("store %(value)s"),
        "part": _("part %(value)s"),
        "state": _("%(value)s"),
        "band": _("%(value)s days"),
    }
    name = request.resolver_match.url_name if request.resolver_match else "exposure"
    return [
        (
            labels[key] % {"value": HELD_WORDS.get(value, value)},
            _url(request, str(name), **{key: ""}),
        )
        for key in FILTERS
        if (value := request.GET.get(key, ""))
    ]


def _page_of(line: Line) -> str:
    row = line.row
    return reverse(row.page, args=[row.pk]) if row.page else ""


patterns: list[URLPattern] = [
    path("money/where/", exposure, name="exposure"),
    path("money/where/lines/", lines_page, name="exposure_lines"),
]
