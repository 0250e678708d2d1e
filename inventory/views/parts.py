"""Pages: the board of parts, the card of one part, pieces put aside."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
from inventory.domain.ordering import current_part
from inventory.domain.selling import sell_pieces
from inventory.domain.superseding import end_supersession, supersede
from inventory.forms.shelves import ChainForm, SellForm
from inventory.models import Earmark, Part
from inventory.queries.journal import journal, layers_left, movements_of
from inventory.queries.offers import offered
from inventory.queries.stock import draw_promise, pockets, stock_board, stock_of
from inventory.queries.subjects import words_of_subjects
from inventory.views.places import parts_places


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse

    from dealership.rules.pictures import RunwayPicture
    from inventory.models import Balance
    from inventory.queries.stock import StockOf

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
    rows = pockets(store=store, part=part)
    told = journal(store=store, part=part, ids=list(page))
    context = {
        "part": part,
        "picture": picture,
        "runway": picture.runway(),
        "own_runways": _runways(stock, part, rows, today),
        "stock": stock,
        "subjects": words_of_subjects(
            [
                *(one.subject for one in stock.promised),
                *(row.movement.subject for row in told if row.movement.subject),
            ]
        ),
        "older": list(part.replaces.order_by("number")),
        "newest": current_part(part) if part.superseded_by_id else None,
        "pockets": rows,
        "on_hand": sum(one.on_hand for one in stock.balances),
        "layers": layers_left(store=store, part=part),
        "page_obj": page,
        "journal": told,
        "today": today,
        "parts_places": parts_places(request),
        "may_order": staff.may(Capability.ORDER_PARTS, store.pk),
        "may_move": staff.may(Capability.MOVE_PARTS, store.pk),
        "may_sell": staff.may(Capability.SELL_PARTS, store.pk),
        "may_chain": staff.may(Capability.EDIT_CAMPAIGNS, store.pk),
    }
    return render(request, "inventory/part.html", context)


def _runways(
    stock: StockOf, part: Part, rows: Sequence[Balance], today: dt.date
) -> list[tuple[Earmark | None, RunwayPicture]]:
    """Draw the promise line of each pocket, where there is more than one."""
    wanted = stock.earmark_ids()
    if len(wanted) < 2:  # noqa: PLR2004 (one is the whole)
        return []
    marks: dict[int | None, Earmark | None] = {
        one.earmark_id: one.earmark for one in rows
    }
    missing = [pk for pk in wanted if pk is not None and pk not in marks]
    marks |= {one.pk: one for one in Earmark.objects.filter(pk__in=missing)}
    return [
        (
            marks.get(pk),
            draw_promise(stock, part=part, earmark_ids={pk}, today=today).runway(),
        )
        for pk in sorted(wanted, key=lambda one: (one is not None, one or 0))
    ]


@require_http_methods(["GET", "POST"])
@guarded(Capability.SELL_PARTS)
def sell(request: HttpRequest, pk: int) -> HttpResponse:
    """Sell pieces over the counter."""
    part = get_object_or_404(Part, pk=pk)
    store, staff = store_of(request), staff_of(request)
    may_set_apart = staff.may(Capability.SELL_SET_APART, store.pk)
    form = SellForm(request.POST or None, may_set_apart=may_set_apart)
    if request.method == "POST" and form.is_valid():
        try:
            sell_pieces(
                **{"earmark": None, **form.cleaned_data},
                store=store,
                part=part,
                by=staff,
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The sale is in the books."))
            return redirect("inventory:part", pk=part.pk)
    stock = stock_of(store=store, part_ids=[part.pk])
    today = timezone.localdate()
    spare = draw_promise(stock, part=part, earmark_ids={None}, today=today)
    kept = offered(store=store, part_ids=[part.pk], today=today)
    context = {
        "form": form,
        "part": part,
        "spare": max(0, spare.free_now - kept.get((part.pk, None), 0)),
        "pockets": pockets(store=store, part=part),
        "back_url": reverse("inventory:part", args=[part.pk]),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/sell.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def chain(request: HttpRequest, pk: int) -> HttpResponse:
    """Say which number replaces a part, or that none does."""
    part = get_object_or_404(Part.objects.select_related("superseded_by"), pk=pk)
    start = {
        "new": part.superseded_by.number if part.superseded_by else "",
        "since": part.superseded_on or timezone.localdate(),
        "old_stock_serves": part.old_stock_serves,
    }
    form = ChainForm(request.POST or None, initial=start)
    facts: dict[str, Any] = {"by": staff_of(request), "at": timezone.now()}
    if request.method == "POST" and request.POST.get("end"):
        end_supersession(old=part, why=_("entered by mistake"), **facts)
        messages.success(request, _("Nothing replaces this number now."))
        return redirect("inventory:part", pk=part.pk)
    if request.method == "POST" and form.is_valid():
        try:
            supersede(old=part, **form.cleaned_data, **facts)
        except Refusal as refusal:
            form.add_error("new", refusal.sentence)
        else:
            messages.success(request, _("The newest number is ordered from now on."))
            return redirect("inventory:part", pk=part.pk)
    context = {
        "form": form,
        "part": part,
        "back_url": reverse("inventory:part", args=[part.pk]),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/chain.html", context)


patterns: list[URLPattern] = [
    path("", parts, name="parts"),
    path("<int:pk>/", part_card, name="part"),
    path("<int:pk>/sale/", sell, name="sell_part"),
    path("<int:pk>/number/", chain, name="part_chain"),
]
