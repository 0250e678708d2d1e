"""Pages of vehicles: the list, the card, and changing one by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.templatetags.formats import qty
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of
from vehicles.domain.vehicles import change_facts, change_owner, register_vehicle
from vehicles.forms.vehicles import (
    FACT_FIELDS,
    FactsForm,
    OwnerForm,
    RegisterForm,
    VehicleFilter,
)
from vehicles.forms.words import CHANGE_WORDS
from vehicles.queries.vehicles import history_of, tenures_of, vehicles_of
from vehicles.rules.standing import AddressSource
from vehicles.rules.vin import normalise_vin


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from vehicles.models import Vehicle

VEHICLES_A_PAGE = 50
_FORM = require_http_methods(["GET", "HEAD", "POST"])


def may(request: HttpRequest, capability: Capability) -> bool:
    """Tell whether this person may do this in the store chosen now."""
    return staff_of(request).may(capability, store_of(request).pk)


def counter_url(vehicle: Vehicle) -> str:
    """Give the address of the counter page of a vehicle; empty where there is none."""
    try:
        return reverse("campaigns:counter", args=[vehicle.vin])
    except NoReverseMatch:
        return ""


@require_safe
@guarded(Capability.SEE_VEHICLES)
def vehicles_page(request: HttpRequest) -> HttpResponse:
    """Show the vehicles of the store; search, filter and order stand in the address."""
    rows = vehicles_of(staff_of(request)).in_store(store_of(request))
    found = VehicleFilter(request.GET or None, queryset=rows)
    page = Paginator(found.qs, VEHICLES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": found,
        "page_obj": page,
        "filtered": any(v for k, v in request.GET.items() if k not in {"page", "sort"}),
        "may_edit": may(request, Capability.EDIT_VEHICLES),
        "may_import": may(request, Capability.IMPORT_LISTS),
    }
    return render(request, "vehicles/vehicles.html", context)


def _vehicle(request: HttpRequest, vin: str) -> Vehicle:
    rows = vehicles_of(staff_of(request))
    found: Vehicle = get_object_or_404(rows, vin=normalise_vin(vin))
    hold_to_store(request, found.store_id)
    return found


def _facts(vehicle: Vehicle) -> list[tuple[Any, Any]]:
    """Give the facts of a vehicle in the order of its form, in words."""
    shown = []
    for name in FACT_FIELDS:
        display = getattr(vehicle, f"get_{name}_display", None)
        value = display() if display else getattr(vehicle, name)
        value = qty(value) if name == "odometer" else value
        shown.append((FactsForm.base_fields[name].label, value))
    return shown


@require_safe
@guarded(Capability.SEE_VEHICLES)
def vehicle_page(request: HttpRequest, vin: str) -> HttpResponse:
    """Show the card of a vehicle: its facts, its people, what was changed."""
    vehicle = _vehicle(request, vin)
    tenures = tenures_of(vehicle)
    context = {
        "vehicle": vehicle,
        "facts": _facts(vehicle),
        "tenures": tenures,
        "now": [tenure for tenure in tenures if tenure.until is None],
        "addresses": [
            (tenure.party, address)
            for tenure in tenures
            if tenure.until is None
            for address in tenure.party.addresses.all()
        ],
        "changes": [
            (change, CHANGE_WORDS.get(change.field, change.field))
            for change in history_of(vehicle)
        ],
        "counter_url": counter_url(vehicle),
        "may_edit": staff_of(request).may(Capability.EDIT_VEHICLES, vehicle.store_id),
    }
    return render(request, "vehicles/vehicle.html", context)


@_FORM
@guarded(Capability.EDIT_VEHICLES)
def new_vehicle(request: HttpRequest) -> HttpResponse:
    """Enter one vehicle by hand."""
    form = RegisterForm(
        request.POST or None,
        today=timezone.localdate(),
        initial={"vin": request.GET.get("vin", "")[:40]},
    )
    if request.method == "POST" and form.is_valid():
        try:
            vehicle = register_vehicle(
                record=form.record(),
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
                today=timezone.localdate(),
            )
        except Refusal as refusal:
            form.add_error("vin", refusal.sentence)
        else:
            messages.success(request, _("The vehicle is in the file."))
            return redirect("vehicles:vehicle", vin=vehicle.vin)
    return render(request, "vehicles/new.html", {"form": form})


@_FORM
@guarded(Capability.EDIT_VEHICLES)
def edit_vehicle(request: HttpRequest, vin: str) -> HttpResponse:
    """Mend the facts of a vehicle."""
    vehicle = _vehicle(request, vin)
    form = FactsForm(
        request.POST or None,
        today=timezone.localdate(),
        initial={name: getattr(vehicle, name) for name in FACT_FIELDS},
    )
    if request.method == "POST" and form.is_valid():
        changed = change_facts(
            vehicle=vehicle,
            facts=form.cleaned_data,
            by=staff_of(request),
            at=timezone.now(),
        )
        words = _("Saved. What stood there before is in the history.")
        messages.success(request, words if changed else _("Nothing was changed."))
        return redirect("vehicles:vehicle", vin=vehicle.vin)
    return render(request, "vehicles/edit.html", {"form": form, "vehicle": vehicle})


@_FORM
@guarded(Capability.EDIT_VEHICLES)
def new_owner(request: HttpRequest, vin: str) -> HttpResponse:
    """Say who has a vehicle from a day on."""
    vehicle = _vehicle(request, vin)
    today = timezone.localdate()
    form = OwnerForm(request.POST or None, today=today, initial={"tenure_from": today})
    if request.method == "POST" and form.is_valid():
        try:
            changed = change_owner(
                vehicle=vehicle,
                record=form.record(),
                source=AddressSource(form.cleaned_data["source"]),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error("tenure_from", refusal.sentence)
        else:
            words = _("Saved. Who had the vehicle before is in its history.")
            messages.success(request, words if changed else _("Nothing was changed."))
            return redirect("vehicles:vehicle", vin=vehicle.vin)
    context = {
        "form": form,
        "vehicle": vehicle,
        "now": vehicle.open_tenures,  # type: ignore[attr-defined]
    }
    return render(request, "vehicles/owner.html", context)


patterns = [
    path("", vehicles_page, name="vehicles"),
    path("new/", new_vehicle, name="new_vehicle"),
    path("<str:vin>/", vehicle_page, name="vehicle"),
    path("<str:vin>/edit/", edit_vehicle, name="edit_vehicle"),
    path("<str:vin>/owner/", new_owner, name="new_owner"),
]
