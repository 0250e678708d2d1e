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
from django.utils.translation import ngettext
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from dealership.rules.money import plain_money
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.domain.drafting import (
    NotWholePacks,
    add_line,
    change_line,
    draft_order,
    send_order,
)
from inventory.domain.order_bills import enter_order_bill
from inventory.domain.ordering import (
    OrderedLine,
    cancel_order,
    close_order,
    confirm_order,
)
from inventory.domain.sending import announce_for_order
from inventory.forms.fields import MOST_PIECES
from inventory.forms.ordering import (
    CloseForm,
    ConfirmForm,
    LineForm,
    OrderBillForm,
    OrderForm,
    PiecesForm,
    SlipForm,
)
from inventory.models import OrderLine, PurchaseOrder
from inventory.queries.billed import bills_of, unbilled_pieces
from inventory.queries.stock import COMING_STATES
from inventory.rules.accounts import OrderState
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

    from inventory.domain.order_bills import OrderBilled

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
    listed = rows.order_by("-pk").prefetch_related("lines__part")
    context = {
        "page_obj": Paginator(listed, ROWS).get_page(request.GET.get("page")),
        "drafts": rows.filter(state=OrderState.DRAFT).count(),
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
    """Begin an order with its first part."""
    asked = {
        name: request.GET[name]
        for name in ("part", "quantity", "earmark", "expected_on")
        if name in request.GET
    }
    form = OrderForm(request.POST or None, initial=asked)
    offered = None
    if request.method == "POST" and form.is_valid():
        try:
            order = draft_order(
                key=form.cleaned_data["key"],
                store=store_of(request),
                earmark=form.cleaned_data["earmark"],
                line=_line(request, form),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error("quantity", refusal.sentence)
            offered = _offered(refusal)
        else:
            return redirect("inventory:order", pk=order.pk)
    context = {
        "form": form,
        "offered": offered,
        "back_url": reverse("inventory:orders"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/order_new.html", context)


def _line(request: HttpRequest, form: LineForm) -> OrderedLine:
    """Read a line; a pressed offer stands for the number that was typed."""
    data = form.cleaned_data
    pieces = data["quantity"]
    if request.POST.get("offered", "").isdecimal():
        pieces = min(int(request.POST["offered"][:9]), MOST_PIECES)
    return OrderedLine(
        part=data["part"], quantity=pieces, expected_on=data["expected_on"]
    )


def _offered(refusal: Refusal) -> int | None:
    """Give the number of pieces that can be ordered instead, if there is one."""
    return refusal.offered if isinstance(refusal, NotWholePacks) else None


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
    today = timezone.localdate()
    lines = list(row.lines.select_related("part"))
    open_lines = [line for line in lines if line.received < line.quantity]
    going = row.state in COMING_STATES
    draft = row.state == OrderState.DRAFT
    may_order = _may_order(request)
    shipments = list(row.shipments.order_by("-pk"))
    context = {
        "order": row,
        "lines": lines,
        "pieces": sum(line.quantity for line in lines),
        "cents": sum(line.quantity * line.unit_cost_cents for line in lines),
        "missing": sum(line.quantity - line.received for line in open_lines),
        "behind": sum(1 for line in open_lines if line.back_ordered),
        "late": any(
            line.expected_on and line.expected_on < today for line in open_lines
        ),
        "going": going,
        "draft": draft,
        "may_draft": draft and may_order,
        "may_act": going and may_order,
        "may_close": going
        and may_order
        and all(one.received_at is not None for one in shipments),
        "add": LineForm(auto_id="id_add_%s"),
        "confirm": ConfirmForm(lines=open_lines),
        "slip": SlipForm(lines=open_lines, prefix="slip"),
        "close": CloseForm(auto_id="id_close_%s"),
        "shipments": shipments,
        "bills": [
            (one, sum(line.line_cents for line in one.lines.all()))
            for one in bills_of(row).prefetch_related("lines")
        ],
        "may_bill": may_order
        and row.state not in {OrderState.DRAFT, OrderState.CANCELLED}
        and any(unbilled_pieces(row).values()),
        "today": today,
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/order.html", context)


@require_POST
@guarded(Capability.ORDER_PARTS)
def add_order_line(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a further part on a draft."""
    row = get_object_or_404(_orders(request), pk=pk)
    form = LineForm(request.POST, auto_id="id_add_%s")
    offered = None
    if form.is_valid():
        try:
            add_line(
                order=row,
                line=_line(request, form),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error("quantity", refusal.sentence)
            offered = _offered(refusal)
        else:
            return redirect("inventory:order", pk=row.pk)
    return _order_page(request, row, add=form, offered=offered)


@require_POST
@guarded(Capability.ORDER_PARTS)
def change_order_line(request: HttpRequest, pk: int, line_pk: int) -> HttpResponse:
    """Give a line of a draft another number of pieces, or take it off."""
    row = get_object_or_404(_orders(request), pk=pk)
    line = get_object_or_404(row.lines.select_related("part", "order"), pk=line_pk)
    form = PiecesForm(request.POST)
    if form.is_valid():
        try:
            change_line(
                line=line,
                quantity=form.cleaned_data["quantity"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            messages.error(request, refusal.sentence)
    else:
        messages.error(request, _("That is no number of pieces; 0 takes the line off."))
    return redirect("inventory:order", pk=row.pk)


@require_POST
@guarded(Capability.ORDER_PARTS)
def send(request: HttpRequest, pk: int) -> HttpResponse:
    """Send a draft to the supplier."""
    row = get_object_or_404(_orders(request), pk=pk)
    send_order(order=row, by=staff_of(request), at=timezone.now())
    messages.success(
        request, _("The order counts as sent; hand it to the supplier in their way.")
    )
    return redirect("inventory:order", pk=row.pk)


@require_POST
@guarded(Capability.ORDER_PARTS)
def close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close an order of which the rest is not expected any more."""
    row = get_object_or_404(_orders(request), pk=pk)
    form = CloseForm(request.POST, auto_id="id_close_%s")
    if form.is_valid():
        close_order(
            order=row, **form.cleaned_data, by=staff_of(request), at=timezone.now()
        )
        messages.success(request, _("Nothing more is expected of this order."))
        return redirect("inventory:order", pk=row.pk)
    return _order_page(request, row, close=form)


@require_POST
@guarded(Capability.ORDER_PARTS)
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what the supplier says: days, or back orders."""
    row = get_object_or_404(_orders(request), pk=pk)
    form = ConfirmForm(request.POST, lines=_open_lines(row))
    if form.is_valid():
        confirm_order(
            order=row,
            dates=form.dates(),
            back_ordered=form.back_ordered(),
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("It is noted; promises count on the days."))
        return redirect("inventory:order", pk=row.pk)
    return _order_page(request, row, confirm=form)


def _open_lines(row: PurchaseOrder) -> list[OrderLine]:
    rows = row.lines.filter(received__lt=F("quantity")).select_related("part")
    return list(rows)


@require_POST
@guarded(Capability.ORDER_PARTS)
def announce(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the packing slip of a delivery against the order."""
    row = get_object_or_404(_orders(request), pk=pk)
    lines = _open_lines(row)
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


@require_http_methods(["GET", "POST"])
@guarded(Capability.ORDER_PARTS)
def bill(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the bill of an order as it is printed, whenever it comes."""
    row = get_object_or_404(_orders(request), pk=pk)
    lines = list(row.lines.select_related("part").order_by("pk"))
    form = OrderBillForm(
        request.POST or None, lines=lines, unbilled=unbilled_pieces(row)
    )
    if request.method == "POST" and form.is_valid():
        try:
            done = enter_order_bill(
                order=row,
                number=form.cleaned_data["number"],
                dated=form.cleaned_data["dated"],
                lines=form.priced(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The bill is entered."))
            _say_what_changed(request, done)
            return redirect("inventory:order", pk=row.pk)
    context = {
        "order": row,
        "form": form,
        "back_url": reverse("inventory:order", args=[row.pk]),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/order_bill.html", context)


def _say_what_changed(request: HttpRequest, done: OrderBilled) -> None:
    """Say which pieces stand at another price now, and which could not."""
    if done.recosted:
        messages.info(
            request,
            ngettext(
                "%(n)d piece on the shelf stands at the price billed now.",
                "%(n)d pieces on the shelf stand at the price billed now.",
                done.recosted,
            )
            % {"n": done.recosted},
        )
    if done.kept:
        messages.warning(
            request,
            ngettext(
                "%(n)d piece has left the shelf at the price ordered and keeps it; the"
                " difference of %(money)s is shown as one to settle with the supplier.",
                "%(n)d pieces have left the shelf at the price ordered and keep it; the"
                " difference of %(money)s is shown as one to settle with the supplier.",
                done.kept,
            )
            % {"n": done.kept, "money": plain_money(done.difference_cents)},
        )


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
    path("orders/<int:pk>/parts/", add_order_line, name="add_order_line"),
    path(
        "orders/<int:pk>/parts/<int:line_pk>/",
        change_order_line,
        name="change_order_line",
    ),
    path("orders/<int:pk>/send/", send, name="send_order"),
    path("orders/<int:pk>/close/", close, name="close_order"),
    path("orders/<int:pk>/days/", confirm, name="confirm_order"),
    path("orders/<int:pk>/delivery/", announce, name="announce_delivery"),
    path("orders/<int:pk>/bill/", bill, name="order_bill"),
    path("orders/<int:pk>/cancel/", cancel, name="cancel_order"),
]
