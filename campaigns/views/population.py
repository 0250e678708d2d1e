"""Pages: the vehicles of a campaign, and what a person decides about one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from campaigns.domain import verifying
from campaigns.domain.lifecycle import record_reach
from campaigns.forms.population import (
    DecisionForm,
    ElsewhereForm,
    PlanForm,
    PopulationFilter,
    ReachForm,
)
from campaigns.models import CampaignVehicle
from campaigns.models.words import REACH_WORDS, WORK_WORDS
from campaigns.queries.campaigns import sentence_of
from campaigns.queries.completion import counts
from campaigns.queries.open_questions import count_questions
from campaigns.queries.population import (
    STRETCH_WORDS,
    as_rows,
    listed_without_vehicle,
    population,
)
from campaigns.rules.lifecycle import (
    STILL_OPEN,
    CampaignClass,
    Reach,
    WorkState,
)
from campaigns.views import criteria, matching, open_questions, remedy, vin_list
from campaigns.views.places import campaign_of, campaign_places, may_edit
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from django import forms
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Campaign
    from dealership.models import StaffMember

PAGE = 50


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def population_page(request: HttpRequest, code: str) -> HttpResponse:
    """List the vehicles of a campaign in this store, with the reasons."""
    campaign, store = campaign_of(code), store_of(request)
    told = counts(campaign=campaign, store_ids=[store.pk])
    here = reverse("campaigns:population", args=[code])
    urls = {key: f"{here}?stretch={key}" for key, *_rest in told.stretches()}
    form = PopulationFilter(request.GET)
    stretch, search, sort = form.chosen()
    mine = CampaignVehicle.objects.for_staff(staff_of(request)).filter(
        campaign=campaign, store=store
    )
    found = population(rows=mine, stretch=stretch, search=search, sort=sort)
    page = Paginator(found, PAGE).get_page(request.GET.get("page"))
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
        "counts": told,
        "sentence": sentence_of(campaign, told, timezone.localdate()),
        "stretches": told.stretches(urls),
        "filter": form,
        "stretch_words": STRETCH_WORDS[stretch] if stretch else "",
        "page_obj": page,
        "rows": as_rows(page.object_list),
        "unknown": listed_without_vehicle(campaign).filter(store=store).count(),
        "open_questions": sum(count_questions(campaign=campaign, store=store).values()),
    }
    return render(request, "campaigns/population.html", context)


@require_safe
@guarded(Capability.SEE_CAMPAIGNS)
def population_vehicle(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Show one vehicle of a campaign: verdict, history, and the acts on it."""
    campaign = campaign_of(code)
    row = _row_of(request, campaign, pk)
    return _show_vehicle(request, campaign, row)


@require_POST
@guarded(Capability.SEE_CAMPAIGNS)
def population_act(request: HttpRequest, code: str, pk: int, act: str) -> HttpResponse:
    """Do one act on a vehicle of a campaign."""
    campaign = campaign_of(code)
    row = _row_of(request, campaign, pk)
    if act not in _ACTS:
        raise Http404
    capability, form_class, do, said = _ACTS[act]
    staff = staff_of(request)
    if not staff.may(capability, row.store_id):
        raise PermissionDenied
    form = form_class(request.POST, prefix=act)
    if form.is_valid():
        try:
            do(row, form.cleaned_data, staff, timezone.now())
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, said())
            return redirect("campaigns:population_vehicle", code, pk)
    row.refresh_from_db()
    return _show_vehicle(request, campaign, row, **{act: form})


def _row_of(request: HttpRequest, campaign: Campaign, pk: int) -> CampaignVehicle:
    """Give a vehicle of the population in this person's stores, or answer 404."""
    rows = CampaignVehicle.objects.for_staff(staff_of(request)).select_related(
        "vehicle", "store", "campaign"
    )
    return get_object_or_404(rows, campaign=campaign, pk=pk)


def _show_vehicle(
    request: HttpRequest,
    campaign: Campaign,
    row: CampaignVehicle,
    **bound: forms.Form,
) -> HttpResponse:
    """Show a vehicle; a form that was refused keeps what was typed."""
    (shown,) = as_rows([row])
    work = WorkState(row.work_state)
    context = {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "shown": shown,
        "row": row,
        "vehicle": row.vehicle,
        "state_words": WORK_WORDS[work],
        "reach_words": REACH_WORDS[Reach(row.reach)],
        "visits": row.visit_jobs.filter(live=True).select_related("visit"),
        "entries": _history(row),
        "forms": _forms(request, row, work, bound),
        "may_contact": staff_of(request).may(Capability.EDIT_VEHICLES, row.store_id),
    }
    status = 400 if bound else 200
    return render(request, "campaigns/population_vehicle.html", context, status=status)


def _forms(
    request: HttpRequest,
    row: CampaignVehicle,
    work: WorkState,
    bound: dict[str, forms.Form],
) -> dict[str, forms.Form]:
    """Give the forms of the acts that this vehicle and this person allow."""
    own = row.vehicle.standing != Standing.CUSTOMER
    fits = {
        "confirm": work is WorkState.TO_VERIFY,
        "rule-out": work is WorkState.TO_VERIFY,
        "judge": work in STILL_OPEN,
        "reach": work in STILL_OPEN or row.reach != Reach.REACHABLE,
        "elsewhere": work in STILL_OPEN,
        "plan": own and work in STILL_OPEN,
        "disqualify": work in STILL_OPEN
        and work is not WorkState.TO_VERIFY
        and row.campaign.campaign_class == CampaignClass.EMISSIONS,
        "reopen": work
        in {
            WorkState.REMEDIED_ELSEWHERE,
            WorkState.INSPECTED_CLEAR,
            WorkState.DISQUALIFIED,
        },
    }
    initial: dict[str, dict[str, Any]] = {
        "plan": {"planned_on": row.planned_on},
        "reach": {"reach": row.reach, "effective_on": timezone.localdate()},
    }
    staff = staff_of(request)
    return {
        act.replace("-", "_"): bound.get(act)
        or _ACTS[act][1](prefix=act, initial=initial.get(act))
        for act, allowed in fits.items()
        if allowed and staff.may(_ACTS[act][0], row.store_id)
    }


def _history(row: CampaignVehicle) -> list[dict[str, Any]]:
    """Tell what happened to a vehicle in this campaign, the newest first."""
    moves = [
        {
            "when": change.effective_on,
            "what": WORK_WORDS[WorkState(change.after)],
            "who": str(change.by or ""),
            "detail": " · ".join(filter(None, (change.why, change.source))),
            "order": (change.recorded_at, change.pk),
        }
        for change in row.state_changes.select_related("by")
    ]
    facts = [
        {
            "when": fact.effective_on,
            "what": REACH_WORDS[Reach(fact.reach)],
            "who": str(fact.by or ""),
            "detail": " · ".join(filter(None, (fact.say_which, fact.source))),
            "order": (fact.recorded_at, fact.pk),
        }
        for fact in row.reach_facts.select_related("by")
    ]
    return sorted([*moves, *facts], key=lambda one: one["order"], reverse=True)


# The acts: who may, which form, what is done, what is said -------------------------

Given = dict[str, Any]


def _confirm(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    verifying.confirm_vehicle(row=row, why=given["why"], by=by, at=at)


def _rule_out(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    verifying.rule_out_vehicle(row=row, why=given["why"], by=by, at=at)


def _judge(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    del given
    verifying.judge_again(row=row, by=by, at=at)


def _reach(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    record_reach(campaign_vehicle=row, by=by, at=at, **given)


def _elsewhere(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    verifying.note_remedied_elsewhere(
        row=row, done_on=given["done_on"], source=given["source"], by=by, at=at
    )


def _plan(row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime) -> None:
    verifying.plan_own_stock(row=row, on=given["planned_on"], by=by, at=at)


def _disqualify(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    verifying.disqualify_vehicle(row=row, why=given["why"], by=by, at=at)


def _reopen(
    row: CampaignVehicle, given: Given, by: StaffMember, at: dt.datetime
) -> None:
    verifying.reopen_vehicle(row=row, why=given["why"], by=by, at=at)


class _NoFieldsForm(DecisionForm):
    """A press without fields."""

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        del self.fields["why"]


_ACTS: dict[
    str,
    tuple[
        Capability,
        type[forms.Form],
        Callable[[CampaignVehicle, Given, StaffMember, dt.datetime], None],
        Callable[[], str],
    ],
] = {
    "confirm": (
        Capability.EDIT_CAMPAIGNS,
        DecisionForm,
        _confirm,
        lambda: _("The vehicle belongs to the campaign and is open."),
    ),
    "rule-out": (
        Capability.EDIT_CAMPAIGNS,
        DecisionForm,
        _rule_out,
        lambda: _("The vehicle is taken out of the campaign."),
    ),
    "judge": (
        Capability.EDIT_VEHICLES,
        _NoFieldsForm,
        _judge,
        lambda: _("The vehicle was matched again with its facts."),
    ),
    "reach": (
        Capability.EDIT_VEHICLES,
        ReachForm,
        _reach,
        lambda: _("It is noted whether the vehicle can be reached."),
    ),
    "elsewhere": (
        Capability.RECORD_REPAIRS,
        ElsewhereForm,
        _elsewhere,
        lambda: _("It is noted that the work was done elsewhere."),
    ),
    "plan": (
        Capability.EDIT_CAMPAIGNS,
        PlanForm,
        _plan,
        lambda: _("The day is planned."),
    ),
    "disqualify": (
        Capability.EDIT_CAMPAIGNS,
        DecisionForm,
        _disqualify,
        lambda: _("The vehicle is disqualified."),
    ),
    "reopen": (
        Capability.EDIT_CAMPAIGNS,
        DecisionForm,
        _reopen,
        lambda: _("The vehicle is open again."),
    ),
}

patterns: list[URLPattern] = [
    path("campaigns/<str:code>/population/", population_page, name="population"),
    *criteria.patterns,
    *matching.patterns,
    *open_questions.patterns,
    *vin_list.patterns,
    *remedy.patterns,
    path(
        "campaigns/<str:code>/population/<int:pk>/",
        population_vehicle,
        name="population_vehicle",
    ),
    path(
        "campaigns/<str:code>/population/<int:pk>/<str:act>/",
        population_act,
        name="population_act",
    ),
]
