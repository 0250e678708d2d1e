"""How times, shares and limits of a remedy are written."""

from __future__ import annotations

from decimal import Decimal

from django import template

from dealership.templatetags.formats import NOTHING, qty


register = template.Library()

_HUNDRED = 100


@register.filter
def hours(hundredths: int) -> str:
    """Write hundredths of an hour as hours: 80 gives 0.80."""
    return f"{Decimal(hundredths) / _HUNDRED:.2f}"


@register.filter
def hundredths(share: int) -> str:
    """Write hundredths of a per cent as per cent: 1250 gives 12.5."""
    return f"{(Decimal(share) / _HUNDRED).normalize():f}"


@register.filter
def measure(value: Decimal | None) -> str:
    """Write a limit without idle zeros: 40.000 gives 40; None a dash."""
    return NOTHING if value is None else qty(value.normalize())
