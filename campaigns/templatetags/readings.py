"""How measured values are written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template


if TYPE_CHECKING:
    from decimal import Decimal


register = template.Library()


@register.filter
def measured(value: Decimal | None) -> str:
    """Write a measured value without needless zeros: 39.500 gives 39.5; None: nothing."""
    return "" if value is None else f"{value.normalize():f}"
