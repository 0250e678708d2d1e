"""Pages: the manufacturer's status lists, what follows, and the differences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.status_lists import (
    apply_status_list,
    faults_of_list,
    keep_status_list,
    read_status_list,
    settle_difference,
)
from campaigns.forms.status_lists import DifferenceForm, StatusListForm
from campaigns.models import StatusDifference, StatusList
from campaigns.models.status_list import LISTED_WORDS
from campaigns.models.words import WORK_WORDS
from campaigns.queries.status_lists import compare, count_follows
from campaigns.rules.lifecycle import WorkState
from campaigns.rules.status_rows import ListedStatus, Meets
from campaigns.views.places import add_refusal, posted
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import CSV, file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse

PAGE = 50
FOLLOWS_WORDS = {
    Meets.CLOSES: (gettext_lazy("closed as done elsewhere"), "done"),
    Meets.REOPENS: (gettext_lazy("opened again"), "open"),
    Meets.ASKS: (gettext_lazy("differs: somebody decides"), "act"),
    Meets.AGREES: (gettext_lazy("says what stands here"), "off"),
    Meets.OLDER: (gettext_lazy("the list is older than what is known"), "off"),
    Meets.NOT_IN: (gettext_lazy("not in the population of the campaign"), "act"),
    Meets.UNKNOWN: (gettext_lazy("vehicle or campaign not known here"), "bad"),
}


@require_http_methods(["GET", "POST"])
@guarded(Capability.SEE_CAMPAIGNS)
def status_lists(request: HttpRequest) -> HttpResponse:
    """List what was taken in and what is to be decided; POST takes one more in."""
    staff, store = staff_of(request), store_of(request)
    may_edit = staff.may(Capability.EDIT_CAMPAIGNS, store.pk)
    form = StatusListForm(posted(request), request.FILES or None)
    if request.method == "POST" and may_edit and form.is_valid():
        given = form.cleaned_data
        file = given.pop("file")
        try:
            kept = keep_status_list(
                **given,
                file=file,
                name=file.name,
                store=store,
                by=staff,
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            return redirect("campaigns:status_list", kept.pk)
    rows = StatusList.objects.for_staff(staff).in_store(store)
    waiting = _waiting(request)
    context = {
        "lists": list(rows.select_related("upload", "campaign", "made_by")[:PAGE]),
        "differences": [_told(one) for one in waiting[:PAGE]],
        "waiting": waiting.count(),
        "form": form if may_edit else None,
        "may_edit": may_edit,
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/status_lists.html", context, status=status)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def status_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what follows from each row, before it is applied and after."""
    kept = _list_of(request, pk)
    staff = staff_of(request)
    context: dict[str, object] = {
        "kept": kept,
        "may_edit": staff.may(Capability.EDIT_CAMPAIGNS, kept.store_id),
    }
    if kept.applied_at is None:
        try:
            read = read_status_list(kept)
        except Refusal as refusal:
            context |= {"fault": refusal.sentence, "counts": []}
            return render(request, "campaigns/status_list.html", context)
        compared = compare(kept, read)
        counts = count_follows(compared) | {"faults": len(read.faults)}
        only = request.GET.get("follows", "")
        rows = [one for one in compared if not only or one.follows == only]
        page = Paginator(rows, PAGE).get_page(request.GET.get("page"))
        context |= {
            "page_obj": page,
            "rows": [(one, *FOLLOWS_WORDS[one.follows]) for one in page.object_list],
            "faults": read.faults[:PAGE],
        }
    else:
        counts = kept.counts
    context["counts"] = [
        (kind.value, words, tone, counts.get(kind.value, 0))
        for kind, (words, tone) in FOLLOWS_WORDS.items()
    ]
    context["faulty"] = counts.get("faults", 0)
    return render(request, "campaigns/status_list.html", context)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def apply_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Close and reopen what follows from a list."""
    kept = _list_of(request, pk)
    try:
        done = apply_status_list(
            status_list=kept, by=staff_of(request), at=timezone.now()
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        said = _("%(closed)d closed, %(opened)d opened again, %(asked)d to be decided.")
        messages.success(
            request,
            said
            % {
                "closed": done.counts["closes"],
                "opened": done.counts["reopens"],
                "asked": done.counts["asks"],
            },
        )
    return redirect("campaigns:status_list", pk)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def status_faults(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the rows that could not be read, to be sent back."""
    kept = _list_of(request, pk)
    content = faults_of_list(kept)
    return file_answer(content, f"status-list-{pk}-faults.csv", kind=CSV)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide one difference."""
    difference = get_object_or_404(
        StatusDifference.objects.for_staff(staff_of(request)).select_related(
            "status_list", "campaign_vehicle__vehicle"
        ),
        pk=pk,
    )
    hold_to_store(request, difference.status_list.store_id)
    form = DifferenceForm(request.POST)
    if form.is_valid():
        try:
            settle_difference(
                difference=difference,
                **form.cleaned_data,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            messages.error(request, refusal.sentence)
        else:
            messages.success(
                request,
                _("The difference about %(vin)s is settled.")
                % {"vin": difference.campaign_vehicle.vehicle.vin},
            )
    else:
        messages.error(request, _("Say why, so that the decision can be followed."))
    return redirect("campaigns:status_lists")


def _list_of(request: HttpRequest, pk: int) -> StatusList:
    rows = StatusList.objects.for_staff(staff_of(request)).select_related(
        "store", "upload", "campaign", "made_by", "applied_by"
    )
    found: StatusList = get_object_or_404(rows, pk=pk)
    hold_to_store(request, found.store_id)
    return found


def _waiting(request: HttpRequest) -> QuerySet[StatusDifference]:
    rows = StatusDifference.objects.for_staff(staff_of(request))
    return (
        rows.in_store(store_of(request))
        .unsettled()
        .select_related(
            "status_list", "campaign_vehicle__vehicle", "campaign_vehicle__campaign"
        )
    )


def _told(one: StatusDifference) -> dict[str, object]:
    work = WorkState(one.campaign_vehicle.work_state)
    return {
        "row": one,
        "said": LISTED_WORDS[ListedStatus(one.said)],
        "here": WORK_WORDS[work],
        "can_follow": work is not WorkState.REMEDIED_HERE,
    }


patterns: list[URLPattern] = [
    path("status-lists/", status_lists, name="status_lists"),
    path("status-lists/<int:pk>/", status_list, name="status_list"),
    path("status-lists/<int:pk>/apply/", apply_list, name="apply_status_list"),
    path("status-lists/<int:pk>/faults/", status_faults, name="status_faults"),
    path(
        "status-lists/differences/<int:pk>/",
        settle,
        name="settle_status_difference",
    ),
]
