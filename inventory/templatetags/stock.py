"""Tags of the pages on parts."""

from __future__ import annotations

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _


register = template.Library()

# kind of subject -> words with its number, and the address of its page if it has one
_SUBJECTS = {
    "shipment": (_("delivery %(number)s"), "inventory:shipment"),
    "return": (_("return %(number)s"), "inventory:goods_return"),
    "dispute": (_("dispute %(number)s"), "inventory:dispute"),
    "visit_job": (_("visit job %(number)s"), "campaigns:visit_job"),
    "repair": (_("repair %(number)s"), "campaigns:repair"),
}


# the reason of these movements already names the paper
_NAMED_BY_REASON = frozenset({"shipment", "return"})


@register.simple_tag
def promised_to(subject: str, why: str = "") -> str:
    """Say for what pieces moved or are promised, with a link where there is a page.

    ``why`` is the movement's own reason, said before it.
    """
    kind, _colon, number = subject.partition(":")
    known = _SUBJECTS.get(kind)
    if known is None or not number.isdecimal():
        return f"{why} {subject}".strip()
    words = str(known[0]) % {"number": number}
    if why and kind in _NAMED_BY_REASON:
        words, why = why, ""
    try:
        url = reverse(known[1], args=[int(number)])
    except NoReverseMatch:
        return f"{why} {words}".strip()
    return format_html('{} <a href="{}">{}</a>', why, url, words)
