"""What the frame of every page shows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from dealership.queries.notices import system_notices
from dealership.rules.roles import Capability
from dealership.views.places import Place


if TYPE_CHECKING:
    from django.http import HttpRequest
    from django.utils.functional import _StrPromise


PLACES: tuple[tuple[_StrPromise, str, Capability], ...] = (
    (_("Today"), "campaigns:today", Capability.SEE_TODAY),
    (_("Campaigns"), "campaigns:campaigns", Capability.SEE_CAMPAIGNS),
    (_("Vehicles"), "vehicles:vehicles", Capability.SEE_VEHICLES),
    (_("Parts"), "inventory:parts", Capability.SEE_PARTS),
    (_("Letters"), "campaigns:letters", Capability.SEE_LETTERS),
    (_("Money"), "campaigns:money", Capability.SEE_MONEY),
    (_("Reports"), "campaigns:reports", Capability.SEE_REPORTS),
    (_("Settings"), "dealership:settings", Capability.SEE_SETTINGS),
)


def _places(request: HttpRequest, store_id: int) -> list[Place]:
    found = []
    for label, name, capability in PLACES:
        if not request.user.may(capability, store_id):  # type: ignore[union-attr]
            continue
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        here = request.path == url if url == "/" else request.path.startswith(url)
        found.append(Place(label=label, url=url, current=here))
    return found


def chrome(request: HttpRequest) -> dict[str, Any]:
    """Give places, stores and notices; what a role may not use is not shown."""
    store = getattr(request, "store", None)
    if not request.user.is_authenticated or store is None:
        return {"places": [], "stores": [], "current_store": None, "notices": []}
    return {
        "places": _places(request, store.pk),
        "stores": getattr(request, "stores", []),
        "current_store": store,
        "notices": system_notices(now=timezone.now()),
        "today": timezone.localdate(),
    }
