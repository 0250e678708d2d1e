"""Pages: how each manufacturer pays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from campaigns.domain.payers import set_payer
from campaigns.forms.payers import PayerForm
from campaigns.models import PayerTerms, StockAgreement
from campaigns.queries.payers import agreement_of
from campaigns.views.places import posted
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.settings import settings_places
from inventory.models import Supplier


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


@require_safe
@guarded(Capability.SEE_SETTINGS)
def payers(request: HttpRequest) -> HttpResponse:
    """List the manufacturers: their rounding, and this store's agreement."""
    store = store_of(request)
    terms = {one.supplier_id: one for one in PayerTerms.objects.all()}
    agreed = {
        one.supplier_id: one for one in StockAgreement.objects.filter(store=store)
    }
    rows = [
        (
            one,
            terms.get(one.pk) or PayerTerms(supplier=one),
            agreed.get(one.pk) or StockAgreement(store=store, supplier=one),
            one.pk in agreed,
        )
        for one in Supplier.objects.order_by("name")
    ]
    context = {
        "rows": [
            (one, mine, agreement, agreement.rate_basis_points / 10_000, kept)
            for one, mine, agreement, kept in rows
        ],
        "kept": len(agreed),
        "setting_places": settings_places(request),
        "may_edit": staff_of(request).may(Capability.EDIT_SETTINGS, store.pk),
    }
    return render(request, "campaigns/payers.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_SETTINGS)
def payer(request: HttpRequest, pk: int) -> HttpResponse:
    """Set how one manufacturer pays."""
    supplier, store = get_object_or_404(Supplier, pk=pk), store_of(request)
    terms = PayerTerms.objects.filter(supplier=supplier).first()
    stands = PayerForm.facts_of(
        terms or PayerTerms(supplier=supplier), agreement_of(store, supplier)
    )
    form = PayerForm(posted(request), initial=stands)
    if form.is_valid():
        set_payer(
            supplier=supplier,
            store=store,
            facts=form.cleaned_data,
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("It is kept, and holds from the next claim on."))
        return redirect("campaigns:payers")
    context = {
        "supplier": supplier,
        "form": form,
        "setting_places": settings_places(request),
    }
    return render(request, "campaigns/payer.html", context)


patterns: list[URLPattern] = [
    path("settings/payers/", payers, name="payers"),
    path("settings/payers/<int:pk>/", payer, name="payer"),
]
