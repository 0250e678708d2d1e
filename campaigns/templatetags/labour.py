"""How the time of work is written."""

from __future__ import annotations

from django import template

from campaigns.queries.visits import hours_of


register = template.Library()


@register.filter
def hours(hundredths: int | None) -> str:
    """Write hundredths of an hour as hours: 80 gives 0.80; None gives 0.00."""
    return hours_of(hundredths or 0)
