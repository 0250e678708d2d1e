"""Pages: bill files and payment advices, matched and applied."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.domain.money_files import (
    apply_money_file,
    keep_money_file,
    match_money_file,
    read_money_file,
)
from campaigns.forms.money_files import ApplyFileForm, MoneyFileForm
from campaigns.models import MoneyFile
from campaigns.queries.money_files import Verdict
from campaigns.views.money_places import money_places
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

SHOWN = 50
VERDICT_WORDS = {
    Verdict.MATCHED: (gettext_lazy("fits"), "done"),
    Verdict.DIFFERS: (gettext_lazy("differs"), "act"),
    Verdict.UNKNOWN: (gettext_lazy("not known here"), "bad"),
    Verdict.ALREADY: (gettext_lazy("here already"), "off"),
}


@require_safe
@guarded(Capability.SEE_MONEY)
def money_files(request: HttpRequest) -> HttpResponse:
    """List the files taken in, and take in one more."""
    return _list_page(request, MoneyFileForm())


@require_POST
@guarded(Capability.EDIT_MONEY)
def take_in(request: HttpRequest) -> HttpResponse:
    """Keep a file and show how it fits; nothing is applied yet."""
    form = MoneyFileForm(request.POST, request.FILES)
    if form.is_valid():
        file = form.cleaned_data["file"]
        try:
            kept = keep_money_file(
                file=file,
                name=file.name,
                kind=form.cleaned_data["kind"],
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("campaigns:money_file", kept.pk)
    return _list_page(request, form)


@require_safe
@guarded(Capability.SEE_MONEY)
def money_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Show each row beside what stands in the house."""
    form = ApplyFileForm(initial={"dated": timezone.localdate()})
    return _file_page(request, _file(request, pk), form)


@require_POST
@guarded(Capability.EDIT_MONEY)
def apply_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Apply every row that fits, at one press."""
    kept, form = _file(request, pk), ApplyFileForm(request.POST)
    if form.is_valid():
        try:
            done = apply_money_file(
                **form.cleaned_data,
                money_file=kept,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            rows = len(done.result)
            words = ngettext("%(n)d row is applied.", "%(n)d rows are applied.", rows)
            messages.success(request, words % {"n": rows})
            return redirect("campaigns:money_file", done.pk)
    return _file_page(request, kept, form)


@require_safe
@guarded(Capability.SEE_MONEY)
def source_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the file as it came."""
    upload = _file(request, pk).upload
    with upload.file.open("rb") as stream:
        content = stream.read()
    return file_answer(content, f"file-{pk}", kind="application/octet-stream")


def _file(request: HttpRequest, pk: int) -> MoneyFile:
    rows = MoneyFile.objects.for_staff(staff_of(request)).select_related(
        "store", "upload", "made_by", "applied_by"
    )
    found: MoneyFile = get_object_or_404(rows, pk=pk)
    hold_to_store(request, found.store_id)
    return found


def _list_page(request: HttpRequest, form: MoneyFileForm) -> HttpResponse:
    staff, store = staff_of(request), store_of(request)
    rows = MoneyFile.objects.for_staff(staff).in_store(store)
    files = list(rows.select_related("upload", "made_by")[:SHOWN])
    context = {
        "rows": files,
        "waiting": sum(one.applied_at is None for one in files),
        "form": form if staff.may(Capability.EDIT_MONEY, store.pk) else None,
        "money_places": money_places(request),
    }
    return render(request, "campaigns/money_files.html", context)


def _file_page(
    request: HttpRequest, kept: MoneyFile, form: ApplyFileForm
) -> HttpResponse:
    staff = staff_of(request)
    context = {
        "kept": kept,
        "result": kept.result,
        "money_places": money_places(request),
    }
    if kept.applied_at is None:
        context |= _matched(kept)
        may_edit = staff.may(Capability.EDIT_MONEY, kept.store_id)
        context["form"] = form if may_edit else None
    return render(request, "campaigns/money_file.html", context)


def _matched(kept: MoneyFile) -> dict[str, object]:
    try:
        read = read_money_file(kept)
    except Refusal as refusal:
        return {"gone": refusal.sentence}
    matches = match_money_file(kept, read)
    return {
        "matches": [(one, *VERDICT_WORDS[one.verdict]) for one in matches],
        "faults": read.faults,
        "applies": sum(one.applies for one in matches),
        "counts": [
            (words, sum(one.verdict is verdict for one in matches))
            for verdict, (words, _tone) in VERDICT_WORDS.items()
        ]
        + [(_("not readable"), len({one.row for one in read.faults}))],
    }


patterns: list[URLPattern] = [
    path("money/files/", money_files, name="money_files"),
    path("money/files/take-in/", take_in, name="take_in_money_file"),
    path("money/files/<int:pk>/", money_file, name="money_file"),
    path("money/files/<int:pk>/apply/", apply_file, name="apply_money_file"),
    path("money/files/<int:pk>/source/", source_file, name="money_file_source"),
]
