"""The pieces that pages are built from; examples in templates/components/README.md."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms, template
from django.http import QueryDict
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import localize
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from dealership.templatetags.formats import as_day


if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from django.core.paginator import Page
    from django.template import Context

register = template.Library()

SOON_DAYS = 14
"""From this many days ahead a deadline is marked as near; common practice, no source."""

TONES = ("done", "open", "act", "wait", "bad", "off")

_VALUES_BY_TONE = {
    "done": (
        "done applied complete completed inspected_clear paid posted received remedied "
        "remedied_here remedied_elsewhere closed credited fitted issued passed in_limits"
    ),
    "act": "needs_repair inspected_needs_repair due offered short stop_sale proposed",
    "wait": (
        "waiting running paused booked to_be_verified sent submitted in_transit held "
        "staged draft in_review printed claimed"
    ),
    "bad": "failed refused rejected returned damaged overdue out_of_limits short_paid",
    "off": (
        "cancelled removed removed_by_amendment disqualified lapsed released void "
        "not_reachable exported stolen scrapped no_show did_not_come past_limit "
        "not_required written_off superseded"
    ),
}
TONE_OF_VALUE = {
    value: tone for tone, values in _VALUES_BY_TONE.items() for value in values.split()
}
_RANGE_ENDS = ("_min", "_max", "_after", "_before")


@register.simple_block_tag
def captured(content: str) -> str:
    """Keep a rendered block in a variable, so that it can be said twice."""
    return (
        content.strip() if not isinstance(content, SafeString) else _stripped(content)
    )


@register.simple_tag
def crumb(label: object, url: str = "") -> SafeString:
    """Write one step of the way to this page; the last has no address."""
    if url:
        return format_html('<li><a href="{}">{}</a></li>', url, label)
    return format_html('<li aria-current="page">{}</li>', label)


@register.inclusion_tag("components/button.html")
def button(
    label: str, href: str = "", kind: str = "plain", **attributes: str
) -> dict[str, Any]:
    """Write a button (or a link that looks like one); attributes: name, value, form."""
    return {"label": label, "href": href, "kind": kind, **attributes}


@register.inclusion_tag("components/places.html")
def subplaces(places: Iterable[object], label: str) -> dict[str, Any]:
    """Write the few places of one thing, such as a campaign."""
    return {"places": places, "label": label}


@register.inclusion_tag("components/state.html")
def mark(tone: str, word: str) -> dict[str, Any]:
    """Write a state mark: a shape and a word."""
    if tone not in TONES:
        raise template.TemplateSyntaxError(f"{tone!r} is none of {', '.join(TONES)}")
    return {"tone": tone, "word": word}


@register.inclusion_tag("components/state.html")
def state(value: object, word: str = "") -> dict[str, Any]:
    """Write the mark of a state by its stored value; unknown values look open."""
    return {"tone": TONE_OF_VALUE.get(str(value), "open"), "word": word or value}


@register.inclusion_tag("components/deadline.html", takes_context=True)
def deadline(
    context: Context,
    day: date | None,
    today: date | None = None,
    words: str = "",
) -> dict[str, Any]:
    """Write a deadline: shape, day and the days left; near from 14 days ahead."""
    today = today or context.get("today") or timezone.localdate()
    if not day:
        return {"day": None}
    left = (as_day(day) - today).days
    near = "over" if left < 0 else "soon" if left <= SOON_DAYS else "far"
    return {"day": as_day(day), "today": today, "near": near, "words": words}


@register.inclusion_tag("components/figure.html")
def figure(number: object, label: str, url: str = "", unit: str = "") -> dict[str, Any]:
    """Write a number that matters; with an address it opens to its rows."""
    return {"number": number, "label": label, "url": url, "unit": unit}


@register.simple_block_tag
def tablebox(
    content: str,
    caption: str,
    id: str = "rows",  # noqa: A002 -- the attribute's own name
    stack: bool = False,  # noqa: FBT001, FBT002 -- a switch written by name in templates
    quiet_caption: bool = False,  # noqa: FBT001, FBT002 -- as above
) -> str:
    """Put a table into its box: caption, sideways scrolling by mouse and keyboard."""
    return render_to_string(
        "components/table.html",
        {
            "content": content,
            "caption": caption,
            "id": id,
            "stack": stack,
            "quiet_caption": quiet_caption,
        },
    )


@register.inclusion_tag("components/sort_head.html", takes_context=True)
def sort_head(
    context: Context,
    field: str,
    label: str,
    *,
    number: bool = False,
    param: str = "sort",
) -> dict[str, Any]:
    """Write a column head that sorts by its field, and back on the second press."""
    query = _query(context)
    now = query.get(param, "")
    query[param] = f"-{field}" if now == field else field
    query.pop("page", None)
    order = {field: "ascending", f"-{field}": "descending"}.get(now, "")
    return {
        "label": label,
        "number": number,
        "order": order,
        "url": f"?{query.urlencode()}",
    }


@register.inclusion_tag("components/pages.html", takes_context=True)
def pages(context: Context, page: Page[Any]) -> dict[str, Any]:
    """Write the way through the pages of a list; nothing when there is but one."""
    numbers = page.paginator.get_elided_page_range(
        page.number, on_each_side=2, on_ends=1
    )
    links = [
        (n, _page_url(context, n) if isinstance(n, int) else "", n == page.number)
        for n in numbers
    ]
    return {
        "page": page,
        "links": links,
        "before": _page_url(context, page.number - 1) if page.has_previous() else "",
        "after": _page_url(context, page.number + 1) if page.has_next() else "",
    }


@register.inclusion_tag("components/filter.html", takes_context=True)
def filter_form(context: Context, form: forms.BaseForm) -> dict[str, Any]:
    """Write a filter as one row of fields that changes the address."""
    query = _query(context)
    kept = [("sort", query["sort"])] if query.get("sort") else []
    return {"form": form, "kept": kept}


@register.inclusion_tag("components/filter_words.html", takes_context=True)
def filter_words(
    context: Context, parts: forms.BaseForm | Iterable[tuple[str, str]]
) -> dict[str, Any]:
    """Say the filter in words, each part with a cross that drops it.

    Takes a bound filter form, or pairs of address parameter and words.
    """
    pairs = _said_parts(parts) if isinstance(parts, forms.BaseForm) else parts
    said = [(words, _url_without(context, name)) for name, words in pairs]
    return {"parts": said}


@register.simple_block_tag
def caution(content: str, title: str) -> str:
    """Write a caution about work that can hurt somebody or spoil a vehicle."""
    return _note(content, title, "caution")


@register.simple_block_tag
def note(content: str, title: str = "", tone: str = "calm") -> str:
    """Write a remark; tones: calm, act, bad, done."""
    return _note(content, title, tone)


def _note(content: str, title: str, tone: str) -> str:
    return render_to_string(
        "components/note.html", {"content": content, "title": title, "tone": tone}
    )


def _stripped(content: SafeString) -> SafeString:
    """Strip rendered text, which stays safe."""
    return SafeString(content.strip())


def _query(context: Context) -> QueryDict:
    """Give a copy of the address's parameters that may be changed."""
    request = context.get("request")
    return request.GET.copy() if request else QueryDict(mutable=True)


def _page_url(context: Context, number: int) -> str:
    query = _query(context)
    query["page"] = str(number)
    return f"?{query.urlencode()}"


def _url_without(context: Context, name: str) -> str:
    """Give the address without one filter part; the list starts at its first page."""
    query = _query(context)
    for key in (name, "page", *(name + end for end in _RANGE_ENDS)):
        query.pop(key, None)
    return f"?{query.urlencode()}"


def _said_parts(form: forms.BaseForm) -> list[tuple[str, str]]:
    """Say each part of a filter that is in use: parameter, and label with value."""
    if not form.is_bound or not form.is_valid():
        return []
    said = []
    for bound in form:
        value = form.cleaned_data.get(bound.name)
        if value in (None, "", False) or (hasattr(value, "__len__") and not len(value)):
            continue
        if bound.name == "sort":
            continue
        said.append((bound.html_name, _said_value(bound, value)))
    return said


def _said_value(bound: forms.BoundField, value: object) -> str:
    if value is True:
        return str(bound.label)
    if isinstance(value, slice):
        ends = [localize(end) for end in (value.start, value.stop)]
        shown = _("%(low)s to %(high)s") % {
            "low": ends[0] if value.start is not None else "…",
            "high": ends[1] if value.stop is not None else "…",
        }
    else:
        words = dict(_flat_choices(bound.field))
        many = value if isinstance(value, (list, tuple, set)) else [value]
        shown = ", ".join(str(words.get(str(one), localize(one))) for one in many)
    return f"{bound.label}: {shown}"


def _flat_choices(field: forms.Field) -> list[tuple[str, str]]:
    """Give the choices of a field without their groups; none for rows of a table."""
    if isinstance(field, forms.ModelChoiceField) or not hasattr(field, "choices"):
        return []
    flat: list[tuple[str, str]] = []
    for value, label in field.choices:
        pairs = label if isinstance(label, (list, tuple)) else [(value, label)]
        flat.extend((str(one), str(word)) for one, word in pairs)
    return flat
