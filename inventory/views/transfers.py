"""Pages: pieces between the stores of the group."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Sum
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of
from inventory.domain.transferring import call_back, receive_transfer, send_pieces
from inventory.forms.shelves import (
    ROWS_AT_FIRST,
    ArrivalForm,
    TransferForm,
    WhyForm,
)
from inventory.models import Transfer
from inventory.rules.accounts import TransferState
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from inventory.models.shelf import TransferQuerySet

ROWS = 20


def _transfers(request: HttpRequest) -> TransferQuerySet:
    """Give what leaves or reaches a store of this person, whichever is chosen now."""
    mine = Transfer.objects.for_staff(staff_of(request))
    return mine.select_related("store", "to_store", "earmark", "sent_by", "ended_by")


@require_safe
@guarded(Capability.SEE_PARTS)
def transfers(request: HttpRequest) -> HttpResponse:
    """Show what is on its way to and from this store, then what has ended."""
    store = store_of(request)
    rows = _transfers(request).touching(store).annotate(pieces=Sum("lines__quantity"))
    going = rows.filter(state=TransferState.SENT)
    context = {
        "page_obj": Paginator(rows.order_by("-pk"), ROWS).get_page(
            request.GET.get("page")
        ),
        "coming": going.filter(to_store=store).count(),
        "leaving": going.filter(store=store).count(),
        "today": timezone.localdate(),
        "may_move": _may_move(request, store.pk),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/transfers.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def new_transfer(request: HttpRequest) -> HttpResponse:
    """Send pieces to another store, a row for each part."""
    store = store_of(request)
    rows = _rows_asked(request)
    more = "more" in request.POST
    if request.method == "POST" and not more:
        form = TransferForm(request.POST, store=store, rows=rows)
    else:
        form = TransferForm(
            initial=(request.POST if more else request.GET).dict(),
            store=store,
            rows=rows + ROWS_AT_FIRST if more else rows,
        )
    if form.is_bound and form.is_valid():
        data = form.cleaned_data
        try:
            row = send_pieces(
                **{name: data[name] for name in form.base_fields},
                store=store,
                lines=form.lines(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            return redirect("inventory:transfer", pk=row.pk)
    context = {
        "form": form,
        "row_count": len(form.numbers),
        "back_url": reverse("inventory:transfers"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/transfer_new.html", context)


def _rows_asked(request: HttpRequest) -> int:
    """Give how many rows the form had."""
    told = request.POST.get("rows", "")[:3]
    return int(told) if told.isdecimal() else ROWS_AT_FIRST


@require_safe
@guarded(Capability.SEE_PARTS)
def transfer(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one transfer, and to whom it is due what can be done with it."""
    return _page(request, get_object_or_404(_transfers(request), pk=pk))


def _page(
    request: HttpRequest,
    row: Transfer,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    lines = list(row.lines.select_related("part"))
    going = row.state == TransferState.SENT
    context = {
        "transfer": row,
        "lines": lines,
        "pieces": sum(line.quantity for line in lines),
        "lost": sum(line.lost or 0 for line in lines),
        "going": going,
        "may_receive": going and _may_move(request, row.to_store_id),
        "may_call_back": going and _may_move(request, row.store_id),
        "arrival": ArrivalForm(lines=lines),
        "back": WhyForm(prefix="back"),
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/transfer.html", context)


@require_POST
@guarded(Capability.MOVE_PARTS)
def receive(request: HttpRequest, pk: int) -> HttpResponse:
    """Count a transfer into the store it was sent to."""
    row = get_object_or_404(_transfers(request), pk=pk)
    hold_to_store(request, row.to_store_id)
    lines = list(row.lines.select_related("part"))
    form = ArrivalForm(request.POST, lines=lines)
    if form.is_valid():
        try:
            receive_transfer(
                transfer=row,
                counts=form.counts(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The transfer is in the books of both stores."))
            return redirect("inventory:transfer", pk=row.pk)
    return _page(request, row, arrival=form)


@require_POST
@guarded(Capability.MOVE_PARTS)
def callback(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo a transfer that has not left after all."""
    row = get_object_or_404(_transfers(request), pk=pk)
    hold_to_store(request, row.store_id)
    form = WhyForm(request.POST, prefix="back")
    if form.is_valid():
        call_back(
            transfer=row, **form.cleaned_data, by=staff_of(request), at=timezone.now()
        )
        messages.success(request, _("The pieces are free again where they came from."))
        return redirect("inventory:transfer", pk=row.pk)
    return _page(request, row, back=form)


def _may_move(request: HttpRequest, store_id: int) -> bool:
    return staff_of(request).may(Capability.MOVE_PARTS, store_id)


patterns: list[URLPattern] = [
    path("transfers/", transfers, name="transfers"),
    path("transfers/new/", new_transfer, name="new_transfer"),
    path("transfers/<int:pk>/", transfer, name="transfer"),
    path("transfers/<int:pk>/arrived/", receive, name="receive_transfer"),
    path("transfers/<int:pk>/back/", callback, name="call_back_transfer"),
]
