"""The few places of the money pages."""

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
    (_("Claims"), "claims", Capability.SEE_MONEY),
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
