"""The few places of the parts department."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext as _

from dealership.views.places import Place


if TYPE_CHECKING:
    from django.http import HttpRequest


def parts_places(request: HttpRequest) -> list[Place]:
    """Give board, deliveries, orders and returns; the one we are on is marked."""
    named = (
        (_("Board"), "inventory:parts"),
        (_("Deliveries"), "inventory:shipments"),
        (_("Orders"), "inventory:orders"),
        (_("Returns"), "inventory:returns"),
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
