"""Page: a supply that is too small, shared over the stores of the group."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from campaigns.forms.sharing import ShareOutForm
from campaigns.queries.sharing import claimants_of, explained, shared_parts
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of
from inventory.forecasting.sharing import ShareRule, share_out
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse
    from django.urls import URLPattern

    from campaigns.queries.sharing import StoreShare
    from inventory.models import Part


@require_safe
@guarded(Capability.SEE_PARTS)
def share(request: HttpRequest) -> HttpResponse:
    """Share pieces over stores; part, pieces and rule stand in the address."""
    staff = staff_of(request)
    parts = shared_parts(staff)
    part = _chosen(request, parts)
    claimants = claimants_of(staff, part) if part else []
    missing = sum(max(0, one.need - one.have) for _store, one in claimants)
    asked = "supply" in request.GET
    data = request.GET.copy()
    if part is not None:
        data["part"] = part.number
        data["rule"] = data.get("rule") or ShareRule.WEBSTER.value
    if not asked:
        # the first look: half of what is missing, one pack each first
        data.update({"supply": str(missing // 2), "least_one": "on"})
    pack = part.pack if part else 1
    form = ShareOutForm(
        data if part else None, parts=parts, most=-(-missing // pack) * pack, pack=pack
    )
    rows: list[StoreShare] = []
    if part is not None and form.is_valid():
        wanted = form.cleaned_data
        shares = share_out(
            [one for _store, one in claimants],
            wanted["supply"],
            pack=part.pack,
            rule=wanted["rule"],
            least_one=wanted["least_one"] and wanted["rule"] is ShareRule.WEBSTER,
        )
        rows = explained(claimants, shares)
    given = sum(row.share.pieces for row in rows)
    supply = form.cleaned_data["supply"] if rows else 0
    context = {
        "form": form,
        "part": part,
        "rows": rows,
        "missing": missing,
        "given": given,
        "supply": supply,
        "unshared": max(0, supply - given),
        "short": sum(row.share.short for row in rows),
        "sentence": _sentence(part, rows, supply, missing),
        "parts_places": parts_places(request),
    }
    return render(request, "campaigns/share_out.html", context)


def _chosen(request: HttpRequest, parts: list[Part]) -> Part | None:
    """Give the part of the address, else the first that is shared."""
    number = request.GET.get("part", "")
    named = [part for part in parts if part.number == number]
    return next(iter(named or parts), None)


def _sentence(
    part: Part | None, rows: list[StoreShare], supply: int, missing: int
) -> str:
    """Say how far the pieces reach."""
    if part is None:
        return _(
            "No part is wanted by two stores of yours, so nothing is to be shared."
        )
    short = sum(row.share.short for row in rows)
    if not short:
        return _("%(n)d pieces of %(part)s are enough for every store.") % {
            "n": supply,
            "part": part.number,
        }
    stores = sum(row.share.pieces > 0 for row in rows)
    return ngettext(
        "%(n)d of the %(missing)d missing pieces of %(part)s go to %(stores)d store;"
        " %(short)d stay missing.",
        "%(n)d of the %(missing)d missing pieces of %(part)s go to %(stores)d stores;"
        " %(short)d stay missing.",
        stores,
    ) % {
        "n": sum(row.share.pieces for row in rows),
        "missing": missing,
        "part": part.number,
        "stores": stores,
        "short": short,
    }


patterns: list[URLPattern] = [path("proposals/share-out/", share, name="share_out")]
