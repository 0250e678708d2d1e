"""Pages: the proof of the books, and asking for one more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from campaigns.models import BookProof
from campaigns.views.money_places import money_places
from dealership.domain.jobs import enqueue
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

SHOWN = 15
"""Proofs that the page lists: two weeks of nights."""


@require_safe
@guarded(Capability.SEE_MONEY)
def proofs(request: HttpRequest) -> HttpResponse:
    """Show the last proof, each place that does not balance, and the nights before."""
    rows = list(BookProof.objects.select_related("by")[:SHOWN])
    context = {
        "latest": rows[0] if rows else None,
        "rows": rows,
        "money_places": money_places(request),
    }
    return render(request, "campaigns/proofs.html", context)


@require_POST
@guarded(Capability.SEE_MONEY)
def prove_again(request: HttpRequest) -> HttpResponse:
    """Have the books proved now; a press while one waits changes nothing."""
    now = timezone.now()
    job = enqueue(
        kind="campaigns.prove_books",
        arguments={},
        by=staff_of(request),
        store=store_of(request),
        now=now,
        unique_key=f"asked {now:%Y-%m-%d %H:%M}",
    )
    return redirect("dealership:job", job.pk)


patterns: list[URLPattern] = [
    path("money/proof/", proofs, name="proofs"),
    path("money/proof/again/", prove_again, name="prove_again"),
]
