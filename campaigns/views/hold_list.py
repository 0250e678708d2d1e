"""Page: the store's own vehicles, which of them may go out, and what has changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.documents.hold_list import hold_list_pdf
from campaigns.domain.hold_list import check_stock
from campaigns.queries.hold_list import (
    changes_of_day,
    differences,
    in_stock,
    last_check,
    stock_lines,
)
from campaigns.rules.hold_list import Stand
from dealership.rules.roles import Capability
from dealership.templatetags.formats import long_day
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from collections.abc import Sequence

    from django.http import HttpRequest, HttpResponse

    from campaigns.queries.hold_list import StockLine


@require_safe
@guarded(Capability.USE_COUNTER)
def hold_list(request: HttpRequest) -> HttpResponse:
    """Show every own vehicle with an open campaign, and whether it may go out."""
    staff, store, now = staff_of(request), store_of(request), timezone.now()
    lines, stock = stock_lines(store=store, now=now), in_stock(store)
    context = {
        "lines": lines,
        "stock": len(stock),
        "sentence": hold_sentence(lines, len(stock)),
        "check": last_check(staff=staff, store=store),
        "pending": len(differences(store=store, lines=lines, stock=stock)),
        "changes": changes_of_day(
            staff=staff, store=store, day=timezone.localdate(now)
        ),
        "may_plan": staff.may(Capability.BOOK_VISITS, store.pk),
    }
    return render(request, "campaigns/hold_list.html", context)


@require_safe
@guarded(Capability.USE_COUNTER)
def hold_list_paper(request: HttpRequest) -> HttpResponse:
    """Give the list as a paper."""
    store, now = store_of(request), timezone.now()
    lines = stock_lines(store=store, now=now)
    context = {
        "store": store,
        "now": now,
        "held": [one for one in lines if one.stand in {Stand.HOLD, Stand.HOLD_FROM}],
        "others": [one for one in lines if one.stand in {Stand.ASK_LAW, Stand.TELL}],
        "sentence": hold_sentence(lines, len(in_stock(store))),
    }
    day = timezone.localdate(now).isoformat()
    return file_answer(
        hold_list_pdf(context), f"hold-list-{store.code}-{day}.pdf", shown=True
    )


@require_POST
@guarded(Capability.USE_COUNTER)
def check_stock_now(request: HttpRequest) -> HttpResponse:
    """Check the store's own vehicles now, and say what has changed."""
    check = check_stock(
        store=store_of(request), by=staff_of(request), at=timezone.now()
    )
    n = check.changes.count()
    said = ngettext(
        "%(all)s vehicles checked; %(n)s stands otherwise than at the check before.",
        "%(all)s vehicles checked; %(n)s stand otherwise than at the check before.",
        n,
    )
    messages.success(request, said % {"all": check.vehicles, "n": n})
    return redirect("campaigns:hold_list")


def hold_sentence(lines: Sequence[StockLine], stock: int) -> str:
    """Say how many must stay, how many from when, and what to do next."""
    if not stock:
        return _("The store has no vehicle of its own on file.")
    held = sum(one.must_stay for one in lines)
    soon = sorted(one.hold_by for one in lines if _is_soon(one) and one.hold_by)
    if not held and not soon:
        return ngettext(
            "The store's %(n)s own vehicle may go out as far as campaigns go.",
            "None of the store's %(n)s own vehicles must stay.",
            stock,
        ) % {"n": stock}
    said = ngettext(
        "%(held)s of %(n)s own vehicles must not go out before its remedy",
        "%(held)s of %(n)s own vehicles must not go out before their remedy",
        held,
    ) % {"held": held, "n": stock}
    if soon:
        first = timezone.localtime(soon[0])
        said += _("; %(soon)s more from %(day)s, %(hour)s on") % {
            "soon": len(soon),
            "day": long_day(first),
            "hour": f"{first:%H:%M}",
        }
    unplanned = sum(one.must_stay and not one.planned_on for one in lines)
    if unplanned:
        return said + _("; set a day for the %(n)s that have none.") % {"n": unplanned}
    return said + "."


def _is_soon(line: StockLine) -> bool:
    return line.stand is Stand.HOLD_FROM


patterns = [
    path("hold-list/", hold_list, name="hold_list"),
    path("hold-list/hold-list.pdf", hold_list_paper, name="hold_list_paper"),
    path("hold-list/check/", check_stock_now, name="check_stock_now"),
]
