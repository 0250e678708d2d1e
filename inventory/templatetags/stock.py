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


@register.simple_tag
def promised_to(subject: str) -> str:
    """Say for what pieces moved or are promised, with a link where there is a page.

    A movement's own row number stands in its subject as ``kind:number``; what belongs
    to a page that is not there is said in words alone.
    """
    kind, _colon, number = subject.partition(":")
    known = _SUBJECTS.get(kind)
    if known is None or not number.isdecimal():
        return subject
    words = str(known[0]) % {"number": number}
    try:
        url = reverse(known[1], args=[int(number)])
    except NoReverseMatch:
        return words
    return format_html('<a href="{}">{}</a>', url, words)
