"""Pages: parts that go back to the supplier."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import F, Sum
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
from inventory.domain.givingback import (
    cancel_return,
    credit_return,
    expected_credit_cents,
    prepare_return,
    ship_return,
)
from inventory.forms.givingback import CreditForm, ReturnForm, ShipForm
from inventory.models import Credit, GoodsReturn
from inventory.rules.accounts import ReturnState
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

ROWS = 20


def _returns(request: HttpRequest) -> QuerySet[GoodsReturn]:
    mine = GoodsReturn.objects.for_staff(staff_of(request))
    return mine.in_store(store_of(request)).select_related("supplier", "earmark")


@require_safe
@guarded(Capability.SEE_PARTS)
def returns(request: HttpRequest) -> HttpResponse:
    """Show the returns, the newest first."""
    rows = _returns(request).annotate(
        pieces=Sum("lines__quantity"),
        cents=Sum(F("lines__quantity") * F("lines__unit_cost_cents")),
    )
    context = {
        "page_obj": Paginator(rows.order_by("-pk"), ROWS).get_page(
            request.GET.get("page")
        ),
        "boxed": rows.filter(state=ReturnState.PREPARED).count(),
        "uncredited": rows.filter(state=ReturnState.SHIPPED).count(),
        "today": timezone.localdate(),
        "parts_places": parts_places(request),
        "may_return": _may_return(request),
    }
    return render(request, "inventory/returns.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.ORDER_PARTS)
def new_return(request: HttpRequest) -> HttpResponse:
    """Box pieces of one part for their return."""
    asked = {
        name: request.GET[name]
        for name in ("part", "quantity", "earmark", "last_date")
        if name in request.GET
    }
    form = ReturnForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        part, pieces = data.pop("part"), data.pop("quantity")
        try:
            row = prepare_return(
                **data,
                store=store_of(request),
                supplier=part.supplier,
                lines={part: pieces},
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:goods_return", pk=row.pk)
    context = {
        "form": form,
        "back_url": reverse("inventory:returns"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/return_new.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def goods_return(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one return and what is to be done with it next."""
    return _return_page(request, get_object_or_404(_returns(request), pk=pk))


def _return_page(
    request: HttpRequest,
    row: GoodsReturn,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    today = timezone.localdate()
    lines = list(row.lines.select_related("part"))
    context = {
        "goods_return": row,
        "lines": [(line, line.quantity * line.unit_cost_cents) for line in lines],
        "pieces": sum(line.quantity for line in lines),
        "cents": sum(line.quantity * line.unit_cost_cents for line in lines),
        "expected_cents": expected_credit_cents(row),
        "credits": Credit.objects.for_staff(staff_of(request))
        .filter(return_line__goods_return=row)
        .select_related("return_line__part"),
        "ship": ShipForm(initial={"shipped_on": today}),
        "credit": CreditForm(initial={"dated": today}),
        "may_act": _may_return(request),
        "may_credit": staff_of(request).may(Capability.EDIT_MONEY, row.store_id),
        "today": today,
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/goods_return.html", context)


@require_POST
@guarded(Capability.ORDER_PARTS)
def ship(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand a return to the carrier."""
    row = get_object_or_404(_returns(request), pk=pk)
    form = ShipForm(request.POST)
    if not form.is_valid():
        return _return_page(request, row, ship=form)
    ship_return(
        goods_return=row, **form.cleaned_data, by=staff_of(request), at=timezone.now()
    )
    messages.success(request, _("The pieces have left the books."))
    return redirect("inventory:goods_return", pk=row.pk)


@require_POST
@guarded(Capability.ORDER_PARTS)
def cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Unbox a return that was not shipped."""
    row = get_object_or_404(_returns(request), pk=pk)
    cancel_return(goods_return=row, by=staff_of(request), at=timezone.now(), why="")
    messages.success(request, _("The pieces are free again."))
    return redirect("inventory:goods_return", pk=row.pk)


@require_POST
@guarded(Capability.EDIT_MONEY)
def credit(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the supplier's credit note."""
    row = get_object_or_404(_returns(request), pk=pk)
    form = CreditForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            credit_return(
                goods_return=row,
                number=data["number"],
                dated=data["dated"],
                freight_cents=data["freight_cents"] or 0,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The credit is entered."))
            return redirect("inventory:goods_return", pk=row.pk)
    return _return_page(request, row, credit=form)


def _may_return(request: HttpRequest) -> bool:
    return staff_of(request).may(Capability.ORDER_PARTS, store_of(request).pk)


patterns: list[URLPattern] = [
    path("returns/", returns, name="returns"),
    path("returns/new/", new_return, name="new_return"),
    path("returns/<int:pk>/", goods_return, name="goods_return"),
    path("returns/<int:pk>/ship/", ship, name="ship_return"),
    path("returns/<int:pk>/cancel/", cancel, name="cancel_return"),
    path("returns/<int:pk>/credit/", credit, name="credit_return"),
]
