"""Pages: the counter, where one vehicle is looked at, booked or put on the list."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.booking import book_visit
from campaigns.domain.requests import record_request, withdraw
from campaigns.forms.booking import OTHER_DAY, BookForm
from campaigns.forms.requests import RequestForm, WithdrawForm
from campaigns.models import CampaignVehicle, PartRequest, ScheduledItem, Visit
from campaigns.queries.counter import vehicle_at_counter
from campaigns.queries.room import hours_of, load_words
from campaigns.queries.waiting import place_of, waiting_list
from campaigns.views.places import add_refusal
from campaigns.views.said import counter_sentence
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.templatetags.formats import long_day
from dealership.views.guards import guarded, staff_of
from vehicles.models import Vehicle
from vehicles.rules.vin import normalise_vin


if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Campaign
    from campaigns.queries.counter import AtCounter, OpenCampaign
    from campaigns.queries.remedies import Plan
    from campaigns.queries.room import DayLoad
    from campaigns.queries.waiting import Availability


def vehicle_of(request: HttpRequest, vin: str) -> Vehicle:
    """Give the vehicle of an address, or answer 404."""
    return get_object_or_404(
        Vehicle.objects.for_staff(staff_of(request)).select_related("store"),
        vin=normalise_vin(vin),
    )


def _may_book(request: HttpRequest, vehicle: Vehicle) -> bool:
    """Tell whether this person may book in the store of the vehicle."""
    return staff_of(request).may(Capability.BOOK_VISITS, vehicle.store_id)


def _vehicle_to_book(request: HttpRequest, vin: str) -> Vehicle:
    """Give the vehicle, or answer 403 to who may not book in its store."""
    vehicle = vehicle_of(request, vin)
    if not _may_book(request, vehicle):
        raise PermissionDenied
    return vehicle


def _request_form(at: AtCounter, one: OpenCampaign) -> RequestForm:
    """Prepare a request with the owner's name, so that one press records it."""
    who, contact = _asking(at)
    return RequestForm(
        initial={
            "key": uuid.uuid4(),
            "campaign_vehicle": one.row.pk,
            "who": who,
            "contact": contact,
        },
        prefix=f"c{one.row.pk}",
        auto_id=f"id_{one.row.pk}_%s",
    )


@require_safe
@guarded(Capability.USE_COUNTER)
def counter(request: HttpRequest, vin: str) -> HttpResponse:
    """Show what is open on a vehicle, and the one act that comes next."""
    vehicle = vehicle_of(request, vin)
    at = vehicle_at_counter(
        staff=staff_of(request), vehicle=vehicle, today=timezone.localdate()
    )
    return _counter_page(request, at)


def _counter_page(
    request: HttpRequest, at: AtCounter, bad: RequestForm | None = None
) -> HttpResponse:
    may_book = _may_book(request, at.vehicle)
    sections = [
        (one, _request_form(at, one) if may_book and one.can_be_asked else None)
        for one in at.campaigns
    ]
    context = {
        "at": at,
        "sentence": counter_sentence(at),
        "vehicle": at.vehicle,
        "sections": sections,
        "may_book": may_book,
        "may_repair": staff_of(request).may(
            Capability.RECORD_REPAIRS, at.vehicle.store_id
        ),
        "withdraw_form": WithdrawForm(),
        "told_key": uuid.uuid4(),
        "told_today": any(
            timezone.localdate(one.at) == timezone.localdate() for one in at.told
        ),
        "bad": bad,
        "today": timezone.localdate(),
    }
    status = 409 if bad else 200
    return render(request, "campaigns/counter.html", context, status=status)


@require_POST
@guarded(Capability.BOOK_VISITS)
def request_remedy(request: HttpRequest, vin: str) -> HttpResponse:
    """Record who asked, and give the vehicle its place on the waiting list."""
    vehicle = _vehicle_to_book(request, vin)
    today = timezone.localdate()
    row = _row_of(request, vehicle)
    form = RequestForm(request.POST, prefix=f"c{row.pk}", auto_id=f"id_{row.pk}_%s")
    if form.is_valid():
        try:
            record_request(
                key=str(form.cleaned_data["key"]),
                campaign_vehicle=row,
                who=form.cleaned_data["who"],
                contact=form.cleaned_data["contact"],
                asked_on=today,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            place = place_of(waiting_list(store=vehicle.store, today=today), row)
            messages.success(
                request,
                _("The request for %(code)s is recorded: place %(place)s on the list.")
                % {"code": row.campaign.code, "place": place},
            )
            return redirect("campaigns:counter", vehicle.vin)
    at = vehicle_at_counter(staff=staff_of(request), vehicle=vehicle, today=today)
    return _counter_page(request, at, bad=form)


def _row_of(request: HttpRequest, vehicle: Vehicle) -> CampaignVehicle:
    """Give the row of the campaign that a form speaks of, or answer 404."""
    wanted = next(
        (
            value
            for name, value in request.POST.items()
            if name.rpartition("-")[2] == "campaign_vehicle"
        ),
        "",
    )
    return get_object_or_404(
        CampaignVehicle.objects.for_staff(staff_of(request)).select_related("campaign"),
        vehicle=vehicle,
        pk=wanted if str(wanted).isdigit() else 0,
    )


@require_POST
@guarded(Capability.BOOK_VISITS)
def withdraw_request(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a vehicle off the waiting list."""
    asked = get_object_or_404(
        PartRequest.objects.for_staff(staff_of(request)).select_related(
            "campaign_vehicle__vehicle"
        ),
        pk=pk,
    )
    vehicle = asked.campaign_vehicle.vehicle
    if not _may_book(request, vehicle):
        raise PermissionDenied
    form = WithdrawForm(request.POST)
    if form.is_valid():
        try:
            withdraw(
                request=asked,
                why=form.cleaned_data["why"],
                by=staff_of(request),
                at=timezone.now(),
                today=timezone.localdate(),
            )
            messages.success(request, _("The vehicle is off the waiting list."))
        except Refusal as refusal:
            messages.error(request, refusal.sentence)
    else:
        messages.error(request, _("Say why the vehicle leaves the waiting list."))
    return redirect("campaigns:counter", vehicle.vin)


# Booking --------------------------------------------------------------------------


@dataclass(frozen=True)
class _Choice:
    """One job that the form may name: what it is, in words, and its days."""

    wanted: CampaignVehicle | ScheduledItem
    words: str
    days: tuple[DayLoad, ...] = ()
    bookable: bool = False


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.BOOK_VISITS)
def book(request: HttpRequest, vin: str) -> HttpResponse:
    """Book a visit with the parts of its jobs."""
    vehicle = _vehicle_to_book(request, vin)
    first = _booked_before(request)
    if first is not None:
        return redirect("campaigns:visit", first.pk)
    at = vehicle_at_counter(
        staff=staff_of(request), vehicle=vehicle, today=timezone.localdate()
    )
    choices = _choices(at)
    chosen = _chosen(request, choices)
    days = _days_for([choices[value] for value in chosen])
    form = _book_form(request, at, choices, chosen, days)
    if form.is_bound and form.is_valid():
        wanted = [choices[value].wanted for value in form.cleaned_data["jobs"]]
        answer = _book(request, vehicle, form, wanted)
        if answer is not None:
            return answer
    context = {
        "at": at,
        "vehicle": vehicle,
        "form": form,
        "jobs": [choices[value] for value in chosen],
        "earliest": days[0].day if days else None,
        "cautions": [
            one.plan.remedy.cautions
            for one in at.campaigns
            if one.can_be_booked and one.plan and one.plan.remedy.cautions
        ],
    }
    status = 409 if form.errors else 200
    return render(request, "campaigns/book.html", context, status=status)


def _booked_before(request: HttpRequest) -> Visit | None:
    """Give the visit that the same press has made already."""
    key = request.POST.get("key", "")
    if not key:
        return None
    return Visit.objects.for_staff(staff_of(request)).filter(key=key).first()


def _book_form(
    request: HttpRequest,
    at: AtCounter,
    choices: dict[str, _Choice],
    chosen: Sequence[str],
    days: Sequence[DayLoad],
) -> BookForm:
    """Make the form: what was sent, or what is offered.

    What was sent may name a job that somebody else has booked since: the booking
    itself says so by name.
    """
    offered = _day_choices(days)
    if request.method == "POST":
        named = [(value, one.words) for value, one in choices.items()]
        sent = request.POST.get("day", "")
        known = [value for value, _words in offered]
        if _is_day(sent) and sent not in known:
            offered = [*offered, (sent, long_day(dt.date.fromisoformat(sent)))]
        return BookForm(request.POST, jobs=named, days=offered)
    bookable = [(value, one.words) for value, one in choices.items() if one.bookable]
    return BookForm(initial=_initial(at, chosen, days), jobs=bookable, days=offered)


def _is_day(text: str) -> bool:
    """Tell whether a text is a day as the form writes it."""
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _choices(at: AtCounter) -> dict[str, _Choice]:
    """Name every job of the vehicle, bookable or not, for the form."""
    campaigns = {
        f"campaign-{one.row.pk}": _Choice(
            one.row,
            _job_words(one.campaign, one.plan, one.there),
            one.days,
            bookable=one.can_be_booked,
        )
        for one in at.campaigns
    }
    items = {
        f"item-{one.due.item.pk}": _Choice(
            one.due.item,
            _job_words(one.due.item, one.plan, one.there),
            one.days,
            bookable=one.can_be_booked,
        )
        for one in at.due
    }
    closed = {
        f"campaign-{row.pk}": _Choice(row, str(row.campaign)) for row in at.closed
    }
    return {**campaigns, **items, **closed}


def _job_words(
    thing: Campaign | ScheduledItem, plan: Plan | None, there: Availability | None
) -> str:
    """Say a job in a line: what, how long, and from when its parts are here."""
    if plan is None or there is None:
        return str(thing)
    if not there.parts:
        parts = _("no parts")
    elif there.is_here:
        parts = _("parts here")
    elif there.earliest:
        parts = _("parts from %(day)s") % {"day": there.earliest.isoformat()}
    else:
        parts = _("no parts to promise")
    return f"{thing} · {hours_of(plan.hundredths_of_hour)} h · {parts}"


def _chosen(request: HttpRequest, choices: dict[str, _Choice]) -> list[str]:
    """Give the jobs that are asked for; at first all open campaigns."""
    if request.method == "POST":
        return [value for value in request.POST.getlist("jobs") if value in choices]
    known = [
        value
        for value in request.GET.getlist("job")
        if value in choices and choices[value].bookable
    ]
    return known or [
        value
        for value, one in choices.items()
        if one.bookable and isinstance(one.wanted, CampaignVehicle)
    ]


def _days_for(chosen: Sequence[_Choice]) -> tuple[DayLoad, ...]:
    """Give the days on which every chosen job can be promised."""
    with_days = [one.days for one in chosen if one.days]
    return max(with_days, key=lambda days: days[0].day, default=())


def _day_choices(days: Sequence[DayLoad]) -> list[tuple[str, str]]:
    """Say each day with how full the workshop is."""
    return [
        (
            one.day.isoformat(),
            f"{long_day(one.day)} · {load_words(one)}",
        )
        for one in days
    ]


def _initial(
    at: AtCounter, chosen: Sequence[str], days: Sequence[DayLoad]
) -> dict[str, object]:
    """Fill the form in, so that the first day needs one press."""
    asked = next((one.request for one in at.campaigns if one.request), None)
    who, contact = _asking(at)
    return {
        "key": uuid.uuid4(),
        "jobs": chosen,
        "day": days[0].day.isoformat() if days else OTHER_DAY,
        "who": (asked and asked.who) or who,
        "contact": (asked and asked.contact) or contact,
    }


def _asking(at: AtCounter) -> tuple[str, str]:
    """Give who most likely asks, and how to reach them; nobody for own stock."""
    owner = at.owner
    return (owner.name, owner.phone or owner.email) if owner else ("", "")


def _book(
    request: HttpRequest,
    vehicle: Vehicle,
    form: BookForm,
    wanted: Sequence[CampaignVehicle | ScheduledItem],
) -> HttpResponse | None:
    """Book what a valid form asks for; None where it was refused, said in the form."""
    given = form.cleaned_data
    try:
        visit = book_visit(
            key=str(given["key"]),
            vehicle=vehicle,
            store=vehicle.store,
            on=form.chosen_day(),
            jobs=wanted,
            hour=given["hour"],
            who=given["who"],
            contact=given["contact"],
            note=given["note"],
            loan_until=form.chosen_loan_until(),
            over_hours=given["over_hours"],
            by=staff_of(request),
            at=timezone.now(),
            today=timezone.localdate(),
        )
    except Refusal as refusal:
        add_refusal(form, refusal)
        return None
    messages.success(request, _("Booked for %(day)s.") % {"day": long_day(visit.on)})
    return redirect("campaigns:visit", visit.pk)


patterns = [
    path("counter/<str:vin>/", counter, name="counter"),
    path("counter/<str:vin>/book/", book, name="book"),
    path("counter/<str:vin>/request/", request_remedy, name="request_remedy"),
    path("requests/<int:pk>/withdraw/", withdraw_request, name="withdraw_request"),
]
