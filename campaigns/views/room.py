"""Page: the workshop's hours by day and skill, and its loan cars."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from campaigns.domain.room import forget_day, set_day, set_week
from campaigns.forms.room import DayHoursForm, WeekForm
from campaigns.models import DifferingDay
from campaigns.queries.room import differing_days, hours_of, loan_cars, usual_week
from campaigns.rules.room import Skill
from campaigns.views.places import posted
from dealership.domain.stores import change_store
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from dealership.models import Store


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.PLAN_WORKSHOP)
def workshop_hours(request: HttpRequest) -> HttpResponse:
    """Show the hours of a usual week and of the days that differ; change the week."""
    store = store_of(request)
    form = WeekForm(
        posted(request),
        week=usual_week(store),
        initial={"loan_cars": store.loan_cars},
    )
    if form.is_bound and form.is_valid():
        staff, now = staff_of(request), timezone.now()
        set_week(store=store, week=form.week(), by=staff, at=now)
        cars = {"loan_cars": form.cleaned_data["loan_cars"]}
        change_store(store=store, facts=cars, by=staff, at=now)
        messages.success(request, _("The hours and the loan cars are kept."))
        return redirect("campaigns:workshop_hours")
    return _page(request, store, form, DayHoursForm())


@require_POST
@guarded(Capability.PLAN_WORKSHOP)
def set_day_hours(request: HttpRequest) -> HttpResponse:
    """Say the hours of one day that differs."""
    store = store_of(request)
    form = DayHoursForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        set_day(
            store=store,
            day=given["day"],
            skill=Skill(given["skill"]),
            hundredths=int(given["hours"] * 100),
            why=given["why"],
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("The hours of that day are kept."))
        return redirect("campaigns:workshop_hours")
    week = WeekForm(week=usual_week(store), initial={"loan_cars": store.loan_cars})
    return _page(request, store, week, form)


@require_POST
@guarded(Capability.PLAN_WORKSHOP)
def forget_day_hours(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a day have the hours of its week again."""
    found = get_object_or_404(
        DifferingDay.objects.for_staff(staff_of(request)).in_store(store_of(request)),
        pk=pk,
    )
    forget_day(differing=found, by=staff_of(request), at=timezone.now())
    return redirect("campaigns:workshop_hours")


def _page(
    request: HttpRequest, store: Store, form: WeekForm, day_form: DayHoursForm
) -> HttpResponse:
    context = {
        "form": form,
        "day_form": day_form,
        "differing": differing_days(store, since=timezone.localdate()),
        "sentence": _sentence(store),
    }
    wrong = form.errors or day_form.errors
    return render(
        request, "campaigns/workshop_hours.html", context, status=400 if wrong else 200
    )


def _sentence(store: Store) -> str:
    """Say how many hours and loan cars a usual week has."""
    week = usual_week(store)
    told = {"cars": loan_cars(store)}
    if not week:
        told["hours"] = store.workshop_hours_per_day
        return (
            _(
                "%(hours)s hours a working day for all skills together, and %(cars)s"
                " loan cars; give hours by skill to have each checked by itself."
            )
            % told
        )
    return _(
        "%(hours)s hours in a usual week and %(cars)s loan cars can be booked."
    ) % {
        **told,
        "hours": hours_of(sum(week.values())),
    }


patterns = [
    path("visits/hours/", workshop_hours, name="workshop_hours"),
    path("visits/hours/day/", set_day_hours, name="set_day_hours"),
    path("visits/hours/<int:pk>/forget/", forget_day_hours, name="forget_day_hours"),
]
