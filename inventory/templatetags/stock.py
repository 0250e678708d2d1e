"""Tags of the pages on parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html


if TYPE_CHECKING:
    from collections.abc import Mapping

    from inventory.queries.subjects import Said

register = template.Library()

# the reason of these movements already names the paper
_NAMED_BY_REASON = ("shipment:", "return:")


@register.simple_tag
def promised_to(subjects: Mapping[str, Said], subject: str, why: str = "") -> str:
    """Say for what pieces moved or are promised, with a link where there is a page.

    ``subjects`` are the words of all purposes of the page; ``why`` is the movement's
    own reason, said before it.
    """
    said = subjects.get(subject)
    if said is None:
        return why
    words = said.words
    if why and subject.startswith(_NAMED_BY_REASON):
        words, why = why, ""
    return format_html("{} {}", why, _linked(words, said.page, said.pk))


@register.simple_tag
def linked(words: str, page: str, pk: int) -> str:
    """Write words as a link to the page of a row, or plainly where it has none."""
    return _linked(words, page, pk)


def _linked(words: str, page: str, pk: int) -> str:
    try:
        url = reverse(page, args=[pk]) if page else ""
    except NoReverseMatch:
        url = ""
    return format_html('<a href="{}">{}</a>', url, words) if url else words
