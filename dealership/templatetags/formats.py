"""How money, quantities, days and VINs are written, everywhere the same."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from babel.dates import format_date
from babel.numbers import format_currency, format_decimal, format_percent
from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.translation import get_language, gettext, ngettext, to_locale

from dealership.rules import money as cents_rules


if TYPE_CHECKING:
    from django.utils.safestring import SafeString


register = template.Library()

NOTHING = "\N{EN DASH}"
_MINUS = "\N{MINUS SIGN}"
_VIN_LENGTH = 17


def babel_locale() -> str:
    """Give the page's language as Babel names it."""
    return to_locale(get_language() or "en")


@register.filter
def money(cents: int | str | None, currency: str = "USD") -> str:
    """Write whole cents with their currency: 123450 gives $1,234.50; None a dash."""
    if cents is None or cents == "":
        return NOTHING
    shown = format_currency(
        Decimal(cents).scaleb(-2), currency or "USD", locale=babel_locale()
    )
    return shown.replace("-", _MINUS)


@register.filter
def plain_money(cents: int | str | None) -> str:
    """Write whole cents without a currency, for a column whose head names it."""
    if cents is None or cents == "":
        return NOTHING
    return cents_rules.plain_money(int(cents)).replace("-", _MINUS)


@register.filter
def qty(number: int | Decimal | str | None) -> str:
    """Write a count with thousands marks; None gives a dash."""
    if number is None or number == "":
        return NOTHING
    return format_decimal(number, locale=babel_locale()).replace("-", _MINUS)


@register.filter
def percent(share: float | Decimal | str | None) -> str:
    """Write a share (0.204) as a percentage with at most one decimal (20.4%)."""
    if share is None or share == "":
        return NOTHING
    locale = babel_locale()
    return format_percent(share, format="#,##0.#%", locale=locale)


@register.filter
def iso(day: date | None) -> SafeString | str:
    """Write a day as 2026-03-09, and a moment as 2026-03-09 14:05 local time."""
    if not day:
        return NOTHING
    if isinstance(day, datetime):
        local = timezone.localtime(day) if timezone.is_aware(day) else day
        return format_html(
            '<time datetime="{}">{}</time>',
            local.isoformat(timespec="minutes"),
            local.strftime("%Y-%m-%d %H:%M"),
        )
    return format_html('<time datetime="{0}">{0}</time>', day.isoformat())


@register.filter
def long_day(day: date | None) -> str:
    """Write a day for running text: Mon 9 Mar 2026."""
    if not day:
        return NOTHING
    return format_date(as_day(day), "EEE d MMM y", locale=babel_locale())


@register.filter
def day_words(day: date | None, today: date | None = None) -> str:
    """Say how far a day is from today: today, in 6 days, 3 days over."""
    if not day:
        return NOTHING
    distance = (as_day(day) - (today or timezone.localdate())).days
    if distance < 0:
        over = -distance
        return ngettext("%(days)s day over", "%(days)s days over", over) % {
            "days": qty(over)
        }
    if distance == 0:
        return gettext("today")
    if distance == 1:
        return gettext("tomorrow")
    return ngettext("in %(days)s day", "in %(days)s days", distance) % {
        "days": qty(distance)
    }


@register.filter
def vin(number: str | None) -> SafeString | str:
    """Write a VIN in the groups of ISO 3779 (3, 6, 8), the last eight emphasised.

    The gaps are drawn, not written, so that the copied text is the bare VIN. A number
    of another length is shown whole.
    """
    if not number:
        return NOTHING
    if len(number) != _VIN_LENGTH:
        return format_html('<span class="vin">{}</span>', number)
    return format_html(
        '<span class="vin" translate="no">{}<span>{}</span>'
        '<span class="vin-last">{}</span></span>',
        number[:3],
        number[3:9],
        number[9:],
    )


@register.filter
def trail_facts(facts: dict[str, Any] | None) -> str:
    """Write the facts of an act in words: ``state open, by category remedied 3``.

    Facts within facts follow their name; underscores become blanks; none is a dash.
    """
    return _facts_in_words(facts or {}) or NOTHING


def _facts_in_words(facts: dict[str, Any]) -> str:
    return ", ".join(
        f"{str(name).replace('_', ' ')} {_fact(value)}".rstrip()
        for name, value in facts.items()
    )


def _fact(value: object) -> str:
    if isinstance(value, dict):
        return f"({_facts_in_words(value)})"
    if isinstance(value, list):
        return ", ".join(_fact(one) for one in value)
    if isinstance(value, bool) or value is None:
        return gettext("yes") if value else NOTHING if value is None else gettext("no")
    return str(value)


def as_day(day: date) -> date:
    """Give the local calendar day of a day or a moment."""
    if isinstance(day, datetime):
        return timezone.localtime(day).date() if timezone.is_aware(day) else day.date()
    return day
