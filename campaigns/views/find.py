"""Page: one box, which finds anything that has a number or a name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from campaigns.queries.find import Kind, find, may_be_registered
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from vehicles.rules.vin import Market


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from campaigns.queries.find import Answer, Found

LIVE, ALL = 5, 20
"""Answers of each kind while somebody types, and on the page."""


@require_safe
@guarded(Capability.SEE_TODAY)
def find_anything(request: HttpRequest) -> HttpResponse:
    """Answer while somebody types, go to the first answer on Enter, or list them."""
    store = store_of(request)
    live = bool(getattr(request, "htmx", False))
    found = find(
        request.GET.get("q", ""),
        staff=staff_of(request),
        market=Market.US if store.market == "US" else Market.OTHER,
        limit=LIVE if live else ALL,
    )
    if found.first and not live:
        return redirect(address_of(found.first))
    may_register = staff_of(request).may(Capability.EDIT_VEHICLES, store.pk)
    context = {
        "q": found.text,
        "found": found,
        "answers": [(one, address_of(one)) for one in found.answers],
        "sentence": _sentence(found),
        "register_url": _register_url(found) if may_register else "",
    }
    template = "campaigns/find_answers.html" if live else "campaigns/find.html"
    return render(request, template, context)


def address_of(answer: Answer) -> str:
    """Give where an answer leads: a vehicle and a letter to the counter."""
    match answer.kind:
        case Kind.VEHICLE | Kind.LETTER:
            return reverse("campaigns:counter", args=[answer.target])
        case Kind.CAMPAIGN:
            return reverse("campaigns:campaign", args=[answer.target])
        case Kind.PART:
            return reverse("inventory:part", args=[answer.target])
        case Kind.REPAIR:
            return reverse("campaigns:repair", args=[answer.target])


def _register_url(found: Found) -> str:
    """Give where an unknown VIN can be taken in; empty where it cannot."""
    verdict = found.unknown_vin
    if verdict is None or found.elsewhere or not may_be_registered(verdict):
        return ""
    return f"{reverse('vehicles:new_vehicle')}?vin={verdict.vin}"


def _sentence(found: Found) -> str:
    """Say what came of it and what to do next."""
    if not found.text:
        return _("Type or scan a VIN, a plate, a name or any number.")
    if found.answers:
        return _("%(n)s answers for “%(text)s”: choose one.") % {
            "n": len(found.answers),
            "text": found.text,
        }
    if found.elsewhere:
        return _(
            "The vehicle %(vin)s is looked after by another store of the group."
        ) % {"vin": found.text}
    if found.unknown_vin is not None:
        return _(
            "No vehicle with the VIN %(vin)s is known here; compare it with the papers."
        ) % {"vin": found.unknown_vin.vin}
    return _("Nothing is known here as “%(text)s”. Check it and type it again.") % {
        "text": found.text
    }


patterns = [path("find/", find_anything, name="find")]
