"""Pages: counts of the shelves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
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
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of
from inventory.documents.sheets import count_sheet_pdf
from inventory.domain.counting import (
    book_count,
    count_again,
    drop_count,
    enter_count,
    in_the_way,
    prepare_count,
)
from inventory.forms.shelves import ApproveForm, FoundForm, NewCountForm
from inventory.models import StockCount
from inventory.queries.shelves import (
    lots_to_count,
    others_may_approve,
    pockets_to_count,
)
from inventory.queries.subjects import words_of_subjects
from inventory.rules.accounts import CountState
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

    from inventory.models import StockCountLine

ROWS = 20


def _counts(request: HttpRequest) -> QuerySet[StockCount]:
    mine = StockCount.objects.for_staff(staff_of(request)).in_store(store_of(request))
    return mine.select_related("store", "prepared_by", "counted_by", "approved_by")


@require_safe
@guarded(Capability.SEE_PARTS)
def counts(request: HttpRequest) -> HttpResponse:
    """Show the counts, the newest first."""
    rows = _counts(request).annotate(line_count=Count("lines"))
    context = {
        "page_obj": Paginator(rows.order_by("-pk"), ROWS).get_page(
            request.GET.get("page")
        ),
        "to_count": rows.filter(state=CountState.PREPARED).count(),
        "to_approve": rows.filter(state=CountState.ENTERED).count(),
        "may_count": _may(request, Capability.COUNT_PARTS),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/counts.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.COUNT_PARTS)
def new_count(request: HttpRequest) -> HttpResponse:
    """Draw up a count of a bin, a part, or all shelves."""
    store = store_of(request)
    asked = {
        name: request.GET[name] for name in ("place", "part") if name in request.GET
    }
    form = NewCountForm(request.POST or None, initial=asked, store=store)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            row = prepare_count(
                key=data["key"],
                store=store,
                pockets=pockets_to_count(
                    store=store, place=data["place"], part=data["part"]
                )
                if form.counts_shelves()
                else [],
                lots=lots_to_count(store=store, part=data["part"])
                if form.counts_quarantine()
                else [],
                about=form.about(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:count", pk=row.pk)
    context = {
        "form": form,
        "back_url": reverse("inventory:counts"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/count_new.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def count(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one count: blind until it is counted, then its differences."""
    return _page(request, get_object_or_404(_counts(request), pk=pk))


def _lines(row: StockCount) -> list[StockCountLine]:
    return list(
        row.lines.select_related("part", "earmark", "bin", "lot").order_by("pk")
    )


def _approval(
    row: StockCount,
    lines: Sequence[StockCountLine],
    data: Any = None,  # noqa: ANN401
) -> ApproveForm:
    """Prepare the approval: the differences, and the promises in their way."""
    different = [line for line in lines if line.difference]
    promises = in_the_way(count=row, lines=different)
    return ApproveForm(
        data,
        different=different,
        promises=promises,
        words=words_of_subjects([one.subject for one in promises]),
    )


def _page(
    request: HttpRequest,
    row: StockCount,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    lines = _lines(row)
    entered = row.state == CountState.ENTERED
    may_approve = entered and _may(request, Capability.APPROVE_COUNTS)
    prepared = row.state == CountState.PREPARED
    may_count = prepared and _may(request, Capability.COUNT_PARTS)
    context = {
        "count": row,
        "lines": lines,
        "different": sum(1 for line in lines if line.difference),
        "may_count": may_count,
        "may_approve": may_approve,
        "may_drop": (prepared or entered) and _may(request, Capability.APPROVE_COUNTS),
        "found": FoundForm(lines=lines) if may_count else None,
        "approval": _approval(row, lines) if may_approve else None,
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/count.html", context)


@require_POST
@guarded(Capability.COUNT_PARTS)
def enter(request: HttpRequest, pk: int) -> HttpResponse:
    """Note what was found; nothing is booked yet."""
    row = get_object_or_404(_counts(request), pk=pk)
    form = FoundForm(request.POST, lines=_lines(row))
    if form.is_valid():
        enter_count(
            count=row, found=form.found(), by=staff_of(request), at=timezone.now()
        )
        messages.success(request, _("The figures are kept; nothing is booked yet."))
        return redirect("inventory:count", pk=row.pk)
    return _page(request, row, found=form)


@require_POST
@guarded(Capability.APPROVE_COUNTS)
def book(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve a count; its differences go into the books."""
    row = get_object_or_404(_counts(request), pk=pk)
    staff = staff_of(request)
    form = _approval(row, _lines(row), request.POST)
    if form.is_valid():
        try:
            done = book_count(
                count=row,
                reasons=form.reasons(),
                taken_back=form.taken_back(),
                others_may=others_may_approve(store=row.store, but=staff),
                by=staff,
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The count is in the books."))
            words = words_of_subjects([one.subject for one in done.told])
            for one in done.told:
                messages.warning(
                    request,
                    _("No part is left for %(whom)s: call and agree on another day.")
                    % {"whom": words[one.subject].words},
                )
            return redirect("inventory:count", pk=row.pk)
    return _page(request, row, approval=form)


@require_POST
@guarded(Capability.APPROVE_COUNTS)
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Have it counted anew."""
    row = get_object_or_404(_counts(request), pk=pk)
    count_again(count=row, by=staff_of(request), at=timezone.now())
    messages.success(request, _("The figures are thrown away; count anew."))
    return redirect("inventory:count", pk=row.pk)


@require_POST
@guarded(Capability.APPROVE_COUNTS)
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the count up."""
    row = get_object_or_404(_counts(request), pk=pk)
    drop_count(count=row, by=staff_of(request), at=timezone.now())
    messages.success(request, _("The count is dropped; the books stay as they are."))
    return redirect("inventory:count", pk=row.pk)


@require_safe
@guarded(Capability.SEE_PARTS)
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the blind count sheet as a paper."""
    row = get_object_or_404(_counts(request), pk=pk)
    pdf = count_sheet_pdf(count=row, lines=_lines(row), today=timezone.localdate())
    return file_answer(pdf, f"count-{row.number}.pdf", shown=True)


def _may(request: HttpRequest, capability: Capability) -> bool:
    return staff_of(request).may(capability, store_of(request).pk)


patterns: list[URLPattern] = [
    path("counts/", counts, name="counts"),
    path("counts/new/", new_count, name="new_count"),
    path("counts/<int:pk>/", count, name="count"),
    path("counts/<int:pk>/sheet/", sheet, name="count_sheet"),
    path("counts/<int:pk>/found/", enter, name="enter_count"),
    path("counts/<int:pk>/book/", book, name="book_count"),
    path("counts/<int:pk>/again/", again, name="count_again"),
    path("counts/<int:pk>/drop/", drop, name="drop_count"),
]
