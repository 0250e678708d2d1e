"""How measured values are written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template
from django.utils.translation import gettext as _

from campaigns.rules.lengths import (
    in_other_unit,
    is_length,
    limit_in_other_unit,
    other_unit,
)


if TYPE_CHECKING:
    from decimal import Decimal


register = template.Library()


@register.filter
def measured(value: Decimal | None) -> str:
    """Write a measured value without needless zeros: 39.500 gives 39.5; None: nothing."""
    return "" if value is None else f"{value.normalize():f}"


@register.filter
def with_unit(value: Decimal, unit: str) -> str:
    """Write a value with its unit, a length in both: 61 mm (2.4 in)."""
    own = f"{measured(value)} {unit}"
    if not is_length(unit):
        return own
    return f"{own} ({measured(in_other_unit(value, unit))} {other_unit(unit)})"


@register.simple_tag
def limits_in_other(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    """Write limits of a length in the other unit, rounded to the inside.

    Empty where the unit has no other.
    """
    if not is_length(unit):
        return ""
    other = other_unit(unit)
    lower = None if low is None else limit_in_other_unit(low, unit, lower=True)
    upper = None if high is None else limit_in_other_unit(high, unit, lower=False)
    said = {"low": measured(lower), "high": measured(upper), "unit": other}
    if lower is None:
        return _("at most %(high)s %(unit)s") % said
    if upper is None:
        return _("at least %(low)s %(unit)s") % said
    return _("from %(low)s to %(high)s %(unit)s") % said
