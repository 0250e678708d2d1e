"""Pages: the board of parts, the card of one part, pieces put aside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.domain import quarantine
from inventory.forms.givingback import AsideForm
from inventory.models import Part
from inventory.queries.journal import journal, layers_left, movements_of
from inventory.queries.stock import draw_promise, pockets, stock_board, stock_of
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

ROWS = 20
MOVEMENTS = 30


@require_safe
@guarded(Capability.SEE_PARTS)
def parts(request: HttpRequest) -> HttpResponse:
    """Show what the store has of each part; what runs out first comes first."""
    rows = stock_board(store=store_of(request), today=timezone.localdate())
    wanted = request.GET.get("q", "").strip()
    shown = [
        row
        for row in rows
        if wanted.lower() in f"{row.part.number} {row.part.name}".lower()
    ]
    short = [row for row in rows if row.runs_out_on]
    context = {
        "page_obj": Paginator(shown, ROWS).get_page(request.GET.get("page")),
        "short": short,
        "all_count": len(rows),
        "wanted": wanted,
        "said": [("q", wanted)] if wanted else [],
        "parts_places": parts_places(request),
        "may_order": staff_of(request).may(
            Capability.ORDER_PARTS, store_of(request).pk
        ),
    }
    return render(request, "inventory/parts.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def part_card(request: HttpRequest, pk: int) -> HttpResponse:
    """Show everything about one part in this store."""
    part = get_object_or_404(Part.objects.select_related("supplier"), pk=pk)
    store, today = store_of(request), timezone.localdate()
    stock = stock_of(store=store, part_ids=[part.pk])
    picture = draw_promise(
        stock, part=part, earmark_ids=stock.earmark_ids(), today=today
    )
    page = Paginator(movements_of(store=store, part=part), MOVEMENTS).get_page(
        request.GET.get("page")
    )
    staff = staff_of(request)
    context = {
        "part": part,
        "picture": picture,
        "runway": picture.runway(),
        "stock": stock,
        "pockets": pockets(store=store, part=part),
        "on_hand": sum(one.on_hand for one in stock.balances),
        "layers": layers_left(store=store, part=part),
        "page_obj": page,
        "journal": journal(store=store, part=part, ids=list(page)),
        "today": today,
        "parts_places": parts_places(request),
        "may_order": staff.may(Capability.ORDER_PARTS, store.pk),
        "may_move": staff.may(Capability.MOVE_PARTS, store.pk),
    }
    return render(request, "inventory/part.html", context)


ACTS: dict[str, Callable[..., object]] = {
    "aside": quarantine.put_aside,
    "back": quarantine.put_back,
    "scrap": quarantine.scrap,
}


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def put_aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Put pieces into quarantine, take them back, or scrap them."""
    part = get_object_or_404(Part, pk=pk)
    form = AsideForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        facts = dict(form.cleaned_data)
        act = ACTS[facts.pop("act")]
        try:
            act(
                **facts,
                store=store_of(request),
                part=part,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("It is in the books."))
            return redirect("inventory:part", pk=part.pk)
    context = {
        "form": form,
        "part": part,
        "back_url": reverse("inventory:part", args=[part.pk]),
        "parts_places": parts_places(request),
        "pockets": pockets(store=store_of(request), part=part),
    }
    return render(request, "inventory/aside.html", context)


patterns: list[URLPattern] = [
    path("", parts, name="parts"),
    path("<int:pk>/", part_card, name="part"),
    path("<int:pk>/quarantine/", put_aside, name="put_aside"),
]
