"""Pages: deliveries to count, and what was wrong with them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Sum
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.domain.disputes import move_last_date, settle_dispute
from inventory.domain.receiving import receive_shipment, redate_shipment
from inventory.domain.replacing import expect_replacement
from inventory.forms.receiving import (
    CountForm,
    DisputeForm,
    LastDateForm,
    RedateForm,
    ReplacementForm,
)
from inventory.models import Dispute, Shipment
from inventory.queries.stock import bins_of_lines
from inventory.rules.accounts import UNSETTLED, DisputeState
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

ROWS = 20


def _shipments(request: HttpRequest) -> QuerySet[Shipment]:
    mine = Shipment.objects.for_staff(staff_of(request)).in_store(store_of(request))
    return mine.select_related("supplier", "earmark", "bill", "order", "received_by")


@require_safe
@guarded(Capability.SEE_PARTS)
def shipments(request: HttpRequest) -> HttpResponse:
    """Show the deliveries, those to be counted first."""
    rows = _shipments(request).annotate(pieces=Sum("lines__sent"))
    ordered = rows.order_by(
        F("received_at").desc(nulls_first=True), F("expected_on").asc(nulls_last=True)
    )
    waiting = rows.filter(received_at__isnull=True)
    disputes = Dispute.objects.for_staff(staff_of(request)).in_store(store_of(request))
    context = {
        "page_obj": Paginator(ordered, ROWS).get_page(request.GET.get("page")),
        "waiting": waiting.count(),
        "first": waiting.order_by(F("expected_on").asc(nulls_last=True)).first(),
        "disputes": disputes.filter(state__in=UNSETTLED).select_related(
            "shipment_line__part", "shipment_line__shipment"
        ),
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/shipments.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.SEE_PARTS)
def shipment(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one delivery; count it where that is still to be done."""
    row = get_object_or_404(_shipments(request), pk=pk)
    may_move = staff_of(request).may(Capability.MOVE_PARTS, store_of(request).pk)
    if row.received_at is None and may_move:
        return _count(request, row)
    if request.method == "POST":
        return redirect("inventory:shipment", pk=row.pk)
    context = {
        "shipment": row,
        "lines": row.lines.select_related("part", "bin", "bill_line"),
        "disputes": Dispute.objects.for_staff(staff_of(request))
        .filter(shipment_line__shipment=row)
        .select_related("shipment_line__part"),
        "may_settle": staff_of(request).may(Capability.EDIT_MONEY, row.store_id),
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/shipment.html", context)


def _count(request: HttpRequest, row: Shipment) -> HttpResponse:
    """Take the count of a delivery that is still to be counted."""
    lines = list(row.lines.select_related("part"))
    form = CountForm(
        request.POST if request.method == "POST" else None,
        lines=lines,
        bins=bins_of_lines(shipment=row),
    )
    if request.method == "POST" and form.is_valid():
        try:
            receive_shipment(
                key=form.cleaned_data["key"],
                shipment=row,
                counts=form.counts(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The delivery is in the books."))
            return redirect("inventory:shipment", pk=row.pk)
    sent = sum(line.sent for line in lines)
    context = {
        "shipment": row,
        "form": form,
        "redate": RedateForm(initial={"expected_on": row.expected_on}),
        "sent": sent,
        "label": ngettext(
            "Receive %(n)d piece sent", "Receive what came of %(n)d pieces sent", sent
        )
        % {"n": sent},
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/shipment_count.html", context)


@require_POST
@guarded(Capability.MOVE_PARTS)
def redate(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a delivery that is late a new day."""
    row = get_object_or_404(_shipments(request), pk=pk)
    form = RedateForm(request.POST)
    if form.is_valid():
        redate_shipment(
            shipment=row, **form.cleaned_data, by=staff_of(request), at=timezone.now()
        )
        messages.success(request, _("The new day counts in the promises from now on."))
    else:
        messages.error(request, _("That is no day. Write it as 2026-03-09."))
    return redirect("inventory:shipment", pk=row.pk)


def _dispute(request: HttpRequest, pk: int) -> Dispute:
    mine = Dispute.objects.for_staff(staff_of(request)).in_store(store_of(request))
    lines = "shipment_line__part", "shipment_line__shipment"
    return get_object_or_404(
        mine.select_related(*lines, "replacement__shipment"), pk=pk
    )


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_MONEY)
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    """End a dispute: credited, replaced or written off."""
    dispute = _dispute(request, pk)
    form = DisputeForm(request.POST or None, initial={"dated": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        facts = dict(form.cleaned_data)
        try:
            settle_dispute(
                dispute=dispute,
                how=DisputeState(facts.pop("how")),
                **facts,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The dispute is settled."))
            return redirect("inventory:shipment", pk=dispute.shipment_line.shipment_id)
    return _dispute_page(request, dispute, form=form)


def _dispute_page(
    request: HttpRequest,
    dispute: Dispute,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    today = timezone.localdate()
    context = {
        "dispute": dispute,
        "line": dispute.shipment_line,
        "cents": dispute.quantity * dispute.unit_cost_cents,
        "form": DisputeForm(initial={"dated": today}),
        "replacement": ReplacementForm(auto_id="id_new_%s"),
        "last_date": LastDateForm(
            initial={"last_date": dispute.last_date}, auto_id="id_day_%s"
        ),
        "today": today,
        "back_url": reverse(
            "inventory:shipment", args=[dispute.shipment_line.shipment_id]
        ),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/dispute.html", context)


@require_POST
@guarded(Capability.EDIT_MONEY)
def replacement(request: HttpRequest, pk: int) -> HttpResponse:
    """Announce the delivery at no cost by which the shipper makes it good."""
    dispute = _dispute(request, pk)
    form = ReplacementForm(request.POST, auto_id="id_new_%s")
    if form.is_valid():
        try:
            shipment = expect_replacement(
                dispute=dispute,
                **form.cleaned_data,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The replacement is expected; count it here."))
            return redirect("inventory:shipment", pk=shipment.pk)
    return _dispute_page(request, dispute, replacement=form)


@require_POST
@guarded(Capability.EDIT_MONEY)
def last_date(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a dispute another last date."""
    dispute = _dispute(request, pk)
    form = LastDateForm(request.POST, auto_id="id_day_%s")
    if form.is_valid():
        move_last_date(
            dispute=dispute,
            **form.cleaned_data,
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("The new last date is kept."))
        return redirect("inventory:dispute", pk=dispute.pk)
    return _dispute_page(request, dispute, last_date=form)


patterns: list[URLPattern] = [
    path("shipments/", shipments, name="shipments"),
    path("shipments/<int:pk>/", shipment, name="shipment"),
    path("shipments/<int:pk>/day/", redate, name="redate_shipment"),
    path("disputes/<int:pk>/", settle, name="dispute"),
    path("disputes/<int:pk>/replacement/", replacement, name="expect_replacement"),
    path("disputes/<int:pk>/last-date/", last_date, name="move_last_date"),
]
