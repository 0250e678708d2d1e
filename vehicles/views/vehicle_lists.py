"""Pages of lists of vehicles on their way in: hand in, look, mend, apply."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from dealership.documents.headers import Row
from dealership.documents.tabular import write_refused
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import CSV, file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of
from dealership.views.jobs import job_card
from vehicles.domain import lists
from vehicles.domain.reading import SHOWN
from vehicles.forms.lists import (
    ColumnsForm,
    DecideAllForm,
    DecideForm,
    RowsFilterForm,
    SheetForm,
    UploadListForm,
)
from vehicles.models.vehicle_list import ROW_STATE_WORDS
from vehicles.queries.lists import (
    TO_MEND,
    lists_of,
    staged_rows,
    taken_in_before,
)
from vehicles.rules.records import Fault
from vehicles.rules.standing import ListState, RowState, VehicleKind
from vehicles.rules.vin import normalise_vin


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

    from vehicles.models import VehicleList

ROWS_A_PAGE = 50
LISTS_A_PAGE = 25
_DELIMITER_WORDS = {
    ",": gettext_lazy("comma"),
    ";": gettext_lazy("semicolon"),
    "\t": gettext_lazy("tab"),
}

_ENCODING_WORDS = {
    "utf-8": "UTF-8",
    "utf-8-sig": "UTF-8",
    "utf_8": "UTF-8",
    "ascii": "ASCII",
    "cp1252": "Windows-1252",
}


def _list(request: HttpRequest, pk: int) -> VehicleList:
    found: VehicleList = get_object_or_404(lists_of(staff_of(request)), pk=pk)
    hold_to_store(request, found.store_id)
    return found


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.IMPORT_LISTS)
def lists_page(request: HttpRequest) -> HttpResponse:
    """Take a list in, and show those taken before."""
    form = UploadListForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            vehicle_list = lists.take_list(
                key=str(form.cleaned_data["key"]),
                file=file,
                name=file.name,
                choices=form.choices(),
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
                today=timezone.localdate(),
            )
        except Refusal as refusal:
            form.add_error("file", refusal.sentence)
        else:
            return redirect("vehicles:vehicle_list", pk=vehicle_list.pk)
    rows = lists_of(staff_of(request)).in_store(store_of(request))
    page = Paginator(rows, LISTS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page_obj": page,
        "waiting": [row for row in page if row.state == ListState.STAGED],
    }
    return render(request, "vehicles/lists.html", context)


@require_safe
@guarded(Capability.IMPORT_LISTS)
def list_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how a list was read and what its rows say."""
    return _list_page(request, _list(request, pk))


def _list_page(
    request: HttpRequest,
    vehicle_list: VehicleList,
    *,
    columns_form: ColumnsForm | None = None,
    sheet_form: SheetForm | None = None,
    status: int = 200,
) -> HttpResponse:
    rows_form = RowsFilterForm(request.GET or None)
    wanted = rows_form.cleaned_data if rows_form.is_valid() else {}
    rows = staged_rows(vehicle_list, wanted.get("state", ""))
    if wanted.get("q"):
        rows = rows.filter(vin__contains=normalise_vin(wanted["q"]))
    page = Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))
    job, counts = vehicle_list.job, vehicle_list.counts
    plain = vehicle_list.reading.get("plain", {})
    idle = lists.is_idle(vehicle_list)
    context = {
        "list": vehicle_list,
        "counts": counts,
        "states": _states(counts),
        "to_apply": counts.get("new", 0) + counts.get("changed", 0),
        "to_decide": counts.get("ask", 0),
        "to_mend": counts.get("refused", 0) + counts.get("ask", 0),
        "idle": idle,
        "may_correct": idle and not vehicle_list.is_begun,
        "card": job_card(job, staff_of(request), timezone.now()) if job else None,
        "reading": _reading(vehicle_list),
        "two_years": _two_years(vehicle_list),
        "light_already": vehicle_list.choices.get("kind") == VehicleKind.LIGHT,
        "before": taken_in_before(vehicle_list),
        "columns_form": columns_form or ColumnsForm(vehicle_list=vehicle_list),
        "sheet_form": sheet_form or SheetForm(vehicle_list=vehicle_list),
        "rows_form": rows_form,
        "shown_of": SHOWN if sum(plain.values()) > SHOWN else 0,
        "page_obj": page,
    }
    return render(request, "vehicles/list.html", context, status=status)


def _states(counts: dict[str, int]) -> list[tuple[str, Any, int]]:
    return [
        (state.value, words, counts.get(state.value, 0))
        for state, words in ROW_STATE_WORDS.items()
        if counts.get(state.value, 0) or state in {RowState.NEW, RowState.REFUSED}
    ]


def _reading(vehicle_list: VehicleList) -> list[tuple[str, Any]]:
    """Say how the file was read."""
    told = vehicle_list.reading
    if not told:
        return []
    facts: list[tuple[str, Any]] = [(_("File"), vehicle_list.upload.original_name)]
    if told["sheet"]:
        facts.append((_("Sheet"), told["sheet"]))
    if told["encoding"]:
        name = told["encoding"].lower()
        facts.append((_("Letters"), _ENCODING_WORDS.get(name, told["encoding"])))
    if told["delimiter"]:
        mark = told["delimiter"]
        facts.append((_("Separator"), _DELIMITER_WORDS.get(mark, mark)))
    head = vehicle_list.header_row
    facts.append((_("Headers"), _("row %d") % head if head else _("none")))
    facts.append((_("Rows"), told["rows"]))
    return facts


def _two_years(vehicle_list: VehicleList) -> int:
    """Count the rows whose VIN allows two model years and that wait for an answer."""
    if not vehicle_list.counts.get(RowState.ASK):
        return 0
    rows = staged_rows(vehicle_list, RowState.ASK)
    told = rows.filter(record__model_years__1__isnull=False)
    return told.filter(record__model_year__isnull=True).count()


@require_POST
@guarded(Capability.IMPORT_LISTS)
def correct_columns(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the person's word for the columns and read the list again."""
    vehicle_list = _list(request, pk)
    form = ColumnsForm(request.POST, vehicle_list=vehicle_list)
    if not form.is_valid():
        return _list_page(request, vehicle_list, columns_form=form, status=422)
    return _act(
        request,
        vehicle_list,
        lambda: lists.correct_columns(
            vehicle_list=vehicle_list,
            **form.cleaned_data,
            by=staff_of(request),
            at=timezone.now(),
        ),
    )


@require_POST
@guarded(Capability.IMPORT_LISTS)
def correct_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Read another sheet, or take another row for the headers."""
    vehicle_list = _list(request, pk)
    form = SheetForm(request.POST, vehicle_list=vehicle_list)
    if not form.is_valid():
        return _list_page(request, vehicle_list, sheet_form=form, status=422)
    return _act(
        request,
        vehicle_list,
        lambda: lists.correct_sheet(
            vehicle_list=vehicle_list,
            sheet=form.cleaned_data.get("sheet", ""),
            header_row=form.cleaned_data["header_row"],
            by=staff_of(request),
            at=timezone.now(),
        ),
    )


@require_POST
@guarded(Capability.IMPORT_LISTS)
def decide_row(request: HttpRequest, pk: int) -> HttpResponse:
    """Settle the model year of one row."""
    vehicle_list = _list(request, pk)
    form = DecideForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose one of the two model years."))
        return redirect("vehicles:vehicle_list", pk=pk)
    row = get_object_or_404(
        staged_rows(vehicle_list), row_number=form.cleaned_data["row"]
    )
    return _act(
        request,
        vehicle_list,
        lambda: lists.decide_year(
            vehicle_list=vehicle_list,
            row_number=row.row_number,
            year=form.cleaned_data["year"],
            by=staff_of(request),
            at=timezone.now(),
            day=timezone.localdate(vehicle_list.made_at),
        ),
        query=f"?state={RowState.ASK.value}",
    )


@require_POST
@guarded(Capability.IMPORT_LISTS)
def decide_all(request: HttpRequest, pk: int) -> HttpResponse:
    """Settle the model year of all rows that allow two."""
    vehicle_list = _list(request, pk)
    form = DecideAllForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose what holds for all these rows."))
        return redirect("vehicles:vehicle_list", pk=pk)
    pick, by, at = form.cleaned_data["pick"], staff_of(request), timezone.now()

    def decide() -> VehicleList:
        if pick == VehicleKind.LIGHT:
            return lists.choose_kind(vehicle_list=vehicle_list, kind=pick, by=by, at=at)
        return lists.choose_years(vehicle_list=vehicle_list, pick=pick, by=by, at=at)

    return _act(request, vehicle_list, decide)


@require_POST
@guarded(Capability.IMPORT_LISTS)
def apply_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the reviewed rows into the file of vehicles."""
    vehicle_list = _list(request, pk)
    return _act(
        request,
        vehicle_list,
        lambda: lists.apply_list(
            vehicle_list=vehicle_list, by=staff_of(request), at=timezone.now()
        ),
    )


@require_POST
@guarded(Capability.IMPORT_LISTS)
def abandon_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a list aside."""
    vehicle_list = _list(request, pk)
    return _act(
        request,
        vehicle_list,
        lambda: lists.abandon_list(
            vehicle_list=vehicle_list, by=staff_of(request), at=timezone.now()
        ),
    )


def _act(
    request: HttpRequest,
    vehicle_list: VehicleList,
    act: Callable[[], object],
    query: str = "",
) -> HttpResponse:
    """Do one act on a list, say what was refused, and go back to its page."""
    try:
        act()
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    back = redirect("vehicles:vehicle_list", pk=vehicle_list.pk)
    back["Location"] += query
    return back


@require_safe
@guarded(Capability.IMPORT_LISTS)
def refused_rows(request: HttpRequest, pk: int) -> HttpResponse:
    """Give back the rows that were not taken, to be mended and sent again."""
    vehicle_list = _list(request, pk)
    rows = staged_rows(vehicle_list).filter(state__in=TO_MEND)
    told = list(rows.values_list("row_number", "raw", "faults"))
    content = write_refused(
        vehicle_list.headers,
        (Row(number, tuple(raw)) for number, raw, _faults in told),
        {n: [Fault.from_json(f) for f in faults] for n, _raw, faults in told},
    )
    return file_answer(content, f"refused-{vehicle_list.pk}.csv", kind=CSV)


patterns = [
    path("lists/", lists_page, name="vehicle_lists"),
    path("lists/<int:pk>/", list_page, name="vehicle_list"),
    path("lists/<int:pk>/columns/", correct_columns, name="list_columns"),
    path("lists/<int:pk>/sheet/", correct_sheet, name="list_sheet"),
    path("lists/<int:pk>/row/", decide_row, name="decide_row"),
    path("lists/<int:pk>/years/", decide_all, name="decide_all"),
    path("lists/<int:pk>/apply/", apply_list, name="apply_list"),
    path("lists/<int:pk>/abandon/", abandon_list, name="abandon_list"),
    path("lists/<int:pk>/refused.csv", refused_rows, name="refused_rows"),
]
