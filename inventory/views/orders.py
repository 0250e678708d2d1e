"""Pages: orders of further parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Min, Q, Sum
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
from dealership.views.guards import guarded, staff_of, store_of
from inventory.domain.ordering import (
    OrderedLine,
    cancel_order,
    confirm_order,
    place_order,
)
from inventory.domain.sending import announce_for_order
from inventory.forms.ordering import ConfirmForm, OrderForm, SlipForm
from inventory.models import PurchaseOrder
from inventory.queries.stock import COMING_STATES
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

ROWS = 20


def _orders(request: HttpRequest) -> QuerySet[PurchaseOrder]:
    mine = PurchaseOrder.objects.for_staff(staff_of(request))
    return mine.in_store(store_of(request)).select_related("supplier", "earmark")


@require_safe
@guarded(Capability.SEE_PARTS)
def orders(request: HttpRequest) -> HttpResponse:
    """Show the orders; those still expected come first."""
    open_line = Q(lines__received__lt=F("lines__quantity"))
    rows = _orders(request).annotate(
        pieces=Sum("lines__quantity"),
        received=Sum("lines__received"),
        next_day=Min("lines__expected_on", filter=open_line),
    )
    coming = rows.filter(state__in=COMING_STATES)
    today = timezone.localdate()
    context = {
        "page_obj": Paginator(rows.order_by("-pk"), ROWS).get_page(
            request.GET.get("page")
        ),
        "coming": coming.count(),
        "late": coming.filter(next_day__lt=today).count(),
        "today": today,
        "parts_places": parts_places(request),
        "may_order": _may_order(request),
    }
    return render(request, "inventory/orders.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.ORDER_PARTS)
def new_order(request: HttpRequest) -> HttpResponse:
    """Order pieces of one part."""
    asked = {
        name: request.GET[name] for name in ("part", "quantity") if name in request.GET
    }
    form = OrderForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        line = OrderedLine(
            part=data["part"],
            quantity=data["quantity"],
            expected_on=data["expected_on"],
        )
        try:
            order = place_order(
                key=data["key"],
                store=store_of(request),
                supplier=data["part"].supplier,
                earmark=data["earmark"],
                lines=[line],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:order", pk=order.pk)
    context = {
        "form": form,
        "back_url": reverse("inventory:orders"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/order_new.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one order, what has come of it, and what can be done next."""
    return _order_page(request, get_object_or_404(_orders(request), pk=pk))


def _order_page(
    request: HttpRequest,
    row: PurchaseOrder,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    lines = list(row.lines.select_related("part"))
    going = row.state in COMING_STATES
    context = {
        "order": row,
        "lines": lines,
        "missing": sum(max(line.quantity - line.received, 0) for line in lines),
        "late": any(
            line.expected_on and line.expected_on < timezone.localdate()
            for line in lines
            if line.received < line.quantity
        ),
        "going": going,
        "may_act": going and _may_order(request),
        "confirm": ConfirmForm(lines=lines),
        "slip": SlipForm(lines=lines, prefix="slip"),
        "shipments": row.shipments.order_by("-pk"),
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/order.html", context)


@require_POST
@guarded(Capability.ORDER_PARTS)
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down the days that the supplier confirms."""
    row = get_object_or_404(_orders(request), pk=pk)
    form = ConfirmForm(request.POST, lines=list(row.lines.select_related("part")))
    if form.is_valid():
        confirm_order(
            order=row, dates=form.dates(), by=staff_of(request), at=timezone.now()
        )
        messages.success(request, _("The days are noted; promises count on them."))
        return redirect("inventory:order", pk=row.pk)
    return _order_page(request, row, confirm=form)


@require_POST
@guarded(Capability.ORDER_PARTS)
def announce(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the packing slip of a delivery against the order."""
    row = get_object_or_404(_orders(request), pk=pk)
    lines = list(row.lines.select_related("part"))
    form = SlipForm(request.POST, lines=lines, prefix="slip")
    if form.is_valid():
        data = form.cleaned_data
        try:
            shipment = announce_for_order(
                order=row,
                number=data["number"],
                sent=form.sent(),
                expected_on=data["expected_on"],
                bill_number=data["bill_number"],
                bill_dated=data["bill_dated"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:shipment", pk=shipment.pk)
    return _order_page(request, row, slip=form)


@require_POST
@guarded(Capability.ORDER_PARTS)
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Cancel an order of which nothing has come."""
    row = get_object_or_404(_orders(request), pk=pk)
    cancel_order(order=row, by=staff_of(request), at=timezone.now(), why="")
    messages.success(request, _("The order is cancelled; tell the supplier."))
    return redirect("inventory:order", pk=row.pk)


def _may_order(request: HttpRequest) -> bool:
    return staff_of(request).may(Capability.ORDER_PARTS, store_of(request).pk)


patterns: list[URLPattern] = [
    path("orders/", orders, name="orders"),
    path("orders/new/", new_order, name="new_order"),
    path("orders/<int:pk>/", order, name="order"),
    path("orders/<int:pk>/days/", confirm, name="confirm_order"),
    path("orders/<int:pk>/delivery/", announce, name="announce_delivery"),
    path("orders/<int:pk>/cancel/", cancel, name="cancel_order"),
]
