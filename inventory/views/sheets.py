"""Pages: bins and their labels, and the pick list of a day."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of
from inventory.documents.sheets import bin_labels_pdf, pick_list_pdf
from inventory.domain.shelving import add_bin, put_in_bin, rename_bin, take_down_bin
from inventory.forms.shelves import BinForm, DayForm, FillForm
from inventory.models import Balance, BinLocation
from inventory.queries.shelves import bins_of, picks_of
from inventory.views.places import parts_places


if TYPE_CHECKING:
    import datetime as dt

    from django.http import HttpRequest, HttpResponse

ROWS = 40
MOST_LABELS = 500


def _bin(request: HttpRequest, pk: int) -> BinLocation:
    mine = BinLocation.objects.for_staff(staff_of(request)).in_store(store_of(request))
    return get_object_or_404(mine.select_related("store"), pk=pk)


@require_safe
@guarded(Capability.SEE_PARTS)
def bins(request: HttpRequest) -> HttpResponse:
    """Show the bins of the store and what lies in them."""
    return _bins_page(request)


def _bins_page(
    request: HttpRequest,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    store = store_of(request)
    nowhere = Balance.objects.in_store(store).filter(bin__isnull=True, on_hand__gt=0)
    context = {
        "page_obj": Paginator(bins_of(store), ROWS).get_page(request.GET.get("page")),
        "nowhere": nowhere.select_related("part", "earmark"),
        "may_move": _may_move(request),
        "form": BinForm(),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/bins.html", context)


@require_POST
@guarded(Capability.MOVE_PARTS)
def new_bin(request: HttpRequest) -> HttpResponse:
    """Make a bin."""
    form = BinForm(request.POST)
    if form.is_valid():
        try:
            place = add_bin(
                store=store_of(request),
                code=form.cleaned_data["code"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error("code", refusal.sentence)
        else:
            return redirect("inventory:bin", pk=place.pk)
    return _bins_page(request, form=form)


@require_safe
@guarded(Capability.SEE_PARTS)
def one_bin(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one bin, what lies in it, and how to change it."""
    return _bin_page(request, _bin(request, pk))


def _bin_page(
    request: HttpRequest,
    place: BinLocation,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    rows = place.balances.select_related("part", "earmark").order_by("part__number")
    lying = [row for row in rows if row.on_hand]
    context = {
        "place": place,
        "rows": rows,
        "parts": len(lying),
        "pieces": sum(row.on_hand for row in lying),
        "may_move": _may_move(request),
        "rename": BinForm(initial={"code": place.code}, auto_id="id_rename_%s"),
        "fill": FillForm(),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/bin.html", context)


@require_POST
@guarded(Capability.MOVE_PARTS)
def rename(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a bin another code."""
    place = _bin(request, pk)
    form = BinForm(request.POST, auto_id="id_rename_%s")
    if form.is_valid():
        try:
            rename_bin(
                place=place,
                code=form.cleaned_data["code"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error("code", refusal.sentence)
        else:
            messages.success(request, _("The bin has its new code; print its label."))
            return redirect("inventory:bin", pk=place.pk)
    return _bin_page(request, place, rename=form)


@require_POST
@guarded(Capability.MOVE_PARTS)
def fill(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that the pieces of a pocket lie in this bin."""
    place = _bin(request, pk)
    form = FillForm(request.POST)
    if form.is_valid():
        put_in_bin(
            store=place.store,
            **form.cleaned_data,
            code=place.code,
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("The bin is noted."))
        return redirect("inventory:bin", pk=place.pk)
    return _bin_page(request, place, fill=form)


@require_POST
@guarded(Capability.MOVE_PARTS)
def take_down(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an empty bin down."""
    place = _bin(request, pk)
    take_down_bin(place=place, by=staff_of(request), at=timezone.now())
    messages.success(request, _("The bin is gone."))
    return redirect("inventory:bins")


@require_safe
@guarded(Capability.SEE_PARTS)
def labels(request: HttpRequest) -> HttpResponse:
    """Give the labels of all bins, or of the one asked for, as a paper."""
    store = store_of(request)
    chosen = BinLocation.objects.for_staff(staff_of(request)).in_store(store)
    wanted = request.GET.get("bin", "")
    if wanted:
        chosen = chosen.filter(code=wanted)
    places = list(chosen[:MOST_LABELS])
    lying: dict[int, list[str]] = defaultdict(list)
    rows = Balance.objects.filter(bin__in=places, on_hand__gt=0)
    for row in rows.select_related("part").order_by("part__number"):
        lying[row.bin_id or 0].append(f"{row.part.number} {row.part.name}")
    pdf = bin_labels_pdf(store=store, bins=places, parts=lying)
    return file_answer(pdf, "bin-labels.pdf", shown=True)


@require_safe
@guarded(Capability.SEE_PARTS)
def picks(request: HttpRequest) -> HttpResponse:
    """Show what to take off the shelves for a day."""
    form, day = _day(request)
    found = picks_of(store=store_of(request), day=day)
    context = {
        "form": form,
        "day": day,
        "iso_day": day.isoformat(),
        "picks": found,
        "pieces": sum(one.pieces for one in found),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/picks.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def pick_list(request: HttpRequest) -> HttpResponse:
    """Give the pick list of a day as a paper."""
    _form, day = _day(request)
    store = store_of(request)
    pdf = pick_list_pdf(
        store=store,
        day=day,
        picks=picks_of(store=store, day=day),
        today=timezone.localdate(),
    )
    return file_answer(pdf, f"pick-list-{day.isoformat()}.pdf", shown=True)


def _day(request: HttpRequest) -> tuple[DayForm, dt.date]:
    """Read the day that is asked for; today where none is, or none that is a day."""
    today = timezone.localdate()
    asked = "day" in request.GET
    form = DayForm(request.GET if asked else None, initial={"day": today})
    return form, form.cleaned_data["day"] if form.is_valid() else today


def _may_move(request: HttpRequest) -> bool:
    return staff_of(request).may(Capability.MOVE_PARTS, store_of(request).pk)


patterns: list[URLPattern] = [
    path("bins/", bins, name="bins"),
    path("bins/new/", new_bin, name="new_bin"),
    path("bins/labels/", labels, name="bin_labels"),
    path("bins/<int:pk>/", one_bin, name="bin"),
    path("bins/<int:pk>/code/", rename, name="rename_bin"),
    path("bins/<int:pk>/part/", fill, name="fill_bin"),
    path("bins/<int:pk>/gone/", take_down, name="take_down_bin"),
    path("picks/", picks, name="picks"),
    path("picks/sheet/", pick_list, name="pick_list"),
]
