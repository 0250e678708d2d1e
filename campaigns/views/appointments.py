"""Page: the appointments of a day, looked at together, their parts held at once."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from campaigns.domain.appointments import Wanted, hold_appointments
from campaigns.forms.appointments import AppointmentsForm
from campaigns.queries.appointments import Line, Stand, appointments_of
from campaigns.queries.room import load_words, loads, skill_words
from campaigns.rules.appointments import Appointment
from campaigns.rules.room import lacking
from campaigns.views.places import posted
from dealership.rules.roles import Capability
from dealership.rules.workdays import next_business_day
from dealership.templatetags.formats import long_day
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.presses import key_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.rules.room import Skill
    from dealership.models import Store

KEPT = "appointments"
"""Where a session keeps the list that somebody is working on."""


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.USE_COUNTER)
def appointments(request: HttpRequest) -> HttpResponse:
    """Take a list in, and show what each of its vehicles wants."""
    today = timezone.localdate()
    form = AppointmentsForm(
        posted(request),
        request.FILES or None,
        today=today,
        initial={"day": next_business_day(today + dt.timedelta(days=1))},
    )
    if form.is_bound and form.is_valid():
        _keep(request, form.cleaned_data["day"], form.cleaned_data["appointments"])
        return redirect("campaigns:appointments")
    day, listed = _kept(request)
    staff, store = staff_of(request), store_of(request)
    lines = (
        appointments_of(staff=staff, store=store, listed=listed, day=day, today=today)
        if listed and day
        else []
    )
    context: dict[str, Any] = {
        "form": form,
        "day": day,
        "lines": lines,
        "to_hold": sum(bool(line.to_hold) for line in lines),
        "hundredths": sum(line.hundredths_of_hour for line in lines),
        "room": _room(store, lines, day, today) if lines and day else None,
        "sentence": _sentence(lines, day),
        "key": uuid.uuid4(),
        "may_book": staff.may(Capability.BOOK_VISITS, store.pk),
    }
    status = 400 if form.errors else 200
    return render(request, "campaigns/appointments.html", context, status=status)


@require_POST
@guarded(Capability.BOOK_VISITS)
def hold_all(request: HttpRequest) -> HttpResponse:
    """Hold the parts of every vehicle of the list for which they are there."""
    day, listed = _kept(request)
    staff, store, today = staff_of(request), store_of(request), timezone.localdate()
    if not listed or day is None:
        messages.error(request, _("The list is gone. Paste it again."))
        return redirect("campaigns:appointments")
    lines = appointments_of(
        staff=staff, store=store, listed=listed, day=day, today=today
    )
    held = hold_appointments(
        key=key_of(request),
        store=store,
        day=day,
        wanted=[
            Wanted(
                vehicle=line.vehicle,
                rows=[job.row for job in line.to_hold],
                hour=line.appointment.hour,
                who=line.owner_name,
            )
            for line in lines
            if line.vehicle and line.to_hold
        ],
        by=staff,
        at=timezone.now(),
        today=today,
    )
    for vehicle, sentence in held.refused:
        messages.error(request, f"{vehicle.vin}: {sentence}")
    if held.visits:
        said = ngettext(
            "The parts of %(n)s vehicle are held for %(day)s.",
            "The parts of %(n)s vehicles are held for %(day)s.",
            len(held.visits),
        )
        messages.success(request, said % {"n": len(held.visits), "day": long_day(day)})
    return redirect("campaigns:appointments")


def _room(
    store: Store, lines: list[Line], day: dt.date, today: dt.date
) -> dict[str, object]:
    """Say how full the day is, and which skills the list would book over."""
    (load,) = loads(store=store, first=day, days=1, today=today)
    wanted: dict[Skill, int] = defaultdict(int)
    for line in lines:
        for job in line.to_hold:
            for skill, hundredths in (
                job.plan.hundredths_by_skill if job.plan else {}
            ).items():
                wanted[skill] += hundredths
    short = lacking(load.hours, wanted)
    return {
        "words": load_words(load),
        "adds": sum(wanted.values()),
        "is_over": bool(short),
        "short": ", ".join(filter(None, (skill_words(one.skill) for one in short))),
    }


def _keep(request: HttpRequest, day: dt.date, listed: list[Appointment]) -> None:
    """Keep the list in the session, until another one is pasted."""
    request.session[KEPT] = {
        "store": store_of(request).pk,
        "day": day.isoformat(),
        "lines": [
            [one.number, one.text, list(one.codes), one.hour and one.hour.isoformat()]
            for one in listed
        ],
    }


def _kept(request: HttpRequest) -> tuple[dt.date | None, list[Appointment]]:
    """Give the list that is being worked on; none of another store."""
    kept = request.session.get(KEPT)
    if not kept or kept["store"] != store_of(request).pk:
        return None, []
    return dt.date.fromisoformat(kept["day"]), [
        Appointment(
            number=number,
            text=text,
            codes=tuple(codes),
            hour=dt.time.fromisoformat(hour) if hour else None,
        )
        for number, text, codes, hour in kept["lines"]
    ]


def _sentence(lines: list[Line], day: dt.date | None) -> str:
    """Say how the day stands and what to do next."""
    if not lines or day is None:
        return _("Paste tomorrow's appointments to see which have an open campaign.")
    open_ones = sum(bool(line.jobs) for line in lines)
    said = ngettext(
        "%(open)s of %(n)s vehicle on %(day)s has an open campaign",
        "%(open)s of %(n)s vehicles on %(day)s have an open campaign",
        len(lines),
    ) % {"open": open_ones, "n": len(lines), "day": long_day(day)}
    ready = sum(line.stand is Stand.CAN_HOLD for line in lines)
    if ready:
        return said + _("; hold the parts of %(n)s now.") % {"n": ready}
    held = sum(line.stand in {Stand.HELD, Stand.IN_WORK} for line in lines)
    return said + _("; the parts of %(n)s are held.") % {"n": held}


patterns = [
    path("appointments/", appointments, name="appointments"),
    path("appointments/hold/", hold_all, name="hold_appointments"),
]
