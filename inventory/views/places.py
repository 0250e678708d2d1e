"""The few places of the parts department."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _

from dealership.views.places import Place


if TYPE_CHECKING:
    from django.http import HttpRequest


def parts_places(request: HttpRequest) -> list[Place]:
    """Give the places of the parts department; the one we are on is marked.

    Proposals are the work's; they are known here by the name of their page alone.
    """
    named = (
        (_("Board"), "inventory:parts"),
        (_("Proposals"), "campaigns:proposals"),
        (_("Deliveries"), "inventory:shipments"),
        (_("Orders"), "inventory:orders"),
        (_("Returns"), "inventory:returns"),
        (_("Transfers"), "inventory:transfers"),
        (_("Quarantine"), "inventory:quarantine"),
        (_("Counts"), "inventory:counts"),
        (_("Bins"), "inventory:bins"),
        (_("Pick list"), "inventory:picks"),
    )
    places = [(label, reverse(name)) for label, name in named]
    board = places[0][1]
    return [
        Place(
            label=label,
            url=url,
            current=request.path == url
            or (url != board and request.path.startswith(url)),
        )
        for label, url in places
    ]
