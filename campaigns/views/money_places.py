"""The few places of the money pages, and whose money a page shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from dealership.rules.roles import Capability
from dealership.views.guards import staff_of, store_of
from dealership.views.places import Place


if TYPE_CHECKING:
    from django.http import HttpRequest
    from django.utils.functional import _StrPromise

_PLACES: tuple[tuple[_StrPromise, str, Capability], ...] = (
    (_("By campaign"), "money", Capability.SEE_MONEY),
    (_("Where it is tied up"), "exposure", Capability.SEE_MONEY),
    (_("Claims"), "claims", Capability.SEE_MONEY),
    (_("Files"), "money_files", Capability.SEE_MONEY),
    (_("Proof of the books"), "proofs", Capability.SEE_MONEY),
)


def money_places(request: HttpRequest) -> list[Place]:
    """Give the places of the money pages that this person may use."""
    staff, store = staff_of(request), store_of(request)
    return [
        Place(label=label, url=url, current=request.path == url)
        for label, name, capability in _PLACES
        if staff.may(capability, store.pk)
        for url in [reverse(f"campaigns:{name}")]
    ]


def money_stores(request: HttpRequest) -> tuple[list[int], bool]:
    """Give the store chosen now, or all stores whose money this person may see."""
    staff, here = staff_of(request), store_of(request)
    may = [
        store.pk
        for store in request.stores  # type: ignore[attr-defined]
        if staff.may(Capability.SEE_MONEY, store.pk)
    ]
    everywhere = request.GET.get("stores") == "all" and len(may) > 1
    return (may if everywhere else [here.pk]), everywhere
