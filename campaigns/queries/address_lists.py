"""The addresses of a round as a list to be handed out, by purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.rules.lifecycle import ExportPurpose
from vehicles.rules.standing import AddressSource


if TYPE_CHECKING:
    from campaigns.models import LetterRound
    from dealership.documents.sheets import Cell

_FROM_RECORDS = frozenset(ExportPurpose) - {ExportPurpose.OWN_CUSTOMERS}
"""Purposes for which addresses from State records may be given, 18 USC 2721(b)(2)."""


def address_heads() -> tuple[str, ...]:
    """Give the heads of the columns."""
    return (
        _("Letter code"),
        _("VIN"),
        _("Name"),
        _("Street"),
        _("Second street line"),
        _("City"),
        _("State or region"),
        _("Postal code"),
        _("Country"),
    )


def address_rows(
    letter_round: LetterRound, purpose: ExportPurpose
) -> list[tuple[Cell, ...]]:
    """Give the addresses that may be given for a purpose, in the order of the letters.

    Addresses from State records are left out where the purpose is not the recall.
    """
    letters = letter_round.letters.select_related(
        "party", "address", "campaign_vehicle__vehicle"
    )
    if purpose not in _FROM_RECORDS:
        letters = letters.exclude(address__source=AddressSource.STATE_RECORDS)
    return [
        (
            one.code,
            one.campaign_vehicle.vehicle.vin,
            one.party.name,
            one.address.street,
            one.address.street2,
            one.address.city,
            one.address.region,
            one.address.postal_code,
            one.address.country,
        )
        for one in letters.order_by("position")
    ]
