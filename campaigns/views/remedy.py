"""Pages: the remedy of a campaign, its variants and their lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from campaigns.domain.remedies_entry import (
    describe_remedy,
    drop_line,
    drop_variant,
    part_for,
    remedy_of,
    save_line,
    save_variant,
)
from campaigns.forms.remedy import (
    AllowanceForm,
    CheckForm,
    LabourForm,
    PartLineForm,
    RemedyForm,
    StepForm,
    VariantForm,
)
from campaigns.models import (
    RemedyPrice,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
)
from campaigns.queries.campaigns import variants_of
from campaigns.queries.remedy_words import said_conditions
from campaigns.queries.tools import tools_needed
from campaigns.views.places import (
    add_refusal,
    campaign_of,
    campaign_places,
    may_edit,
    posted,
)
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.models import Part


if TYPE_CHECKING:
    from django import forms
    from django.http import HttpRequest, HttpResponse

    from campaigns.models import Campaign
    from dealership.models import StaffMember

_KINDS: dict[str, tuple[type[forms.ModelForm[Any]], type[Any]]] = {
    "part": (PartLineForm, VariantPart),
    "labour": (LabourForm, VariantLabour),
    "step": (StepForm, VariantStep),
    "check": (CheckForm, VariantCheck),
    "allowance": (AllowanceForm, RemedyPrice),
}


@require_http_methods(["GET", "POST"])
@guarded(Capability.SEE_CAMPAIGNS)
def remedy_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show the remedy with its variants; POST writes tools and cautions down."""
    campaign = campaign_of(code)
    form = RemedyForm(posted(request), instance=remedy_of(campaign))
    if request.method == "POST" and may_edit(request) and form.is_valid():
        describe_remedy(
            campaign=campaign,
            tools=form.cleaned_data["tools"],
            cautions=form.cleaned_data["cautions"],
            special_tools=form.cleaned_data["needed"],
            by=staff_of(request),
            at=timezone.now(),
        )
        messages.success(request, _("Tools and cautions are written down."))
        return redirect("campaigns:remedy", code)
    variants = variants_of(campaign)
    context = _frame(request, campaign) | {
        "form": form,
        "remedy": form.instance,
        "tools": tools_needed(
            form.instance, store=store_of(request), today=timezone.localdate()
        ),
        "variants": [(one, said_conditions(one)) for one in variants],
    }
    return render(request, "campaigns/remedy.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def new_variant(request: HttpRequest, code: str) -> HttpResponse:
    """Add a variant."""
    return _edit_variant(request, campaign_of(code), Variant())


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def variant_facts(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Change a variant's name and conditions."""
    campaign = campaign_of(code)
    return _edit_variant(request, campaign, _variant_of(campaign, pk))


@require_http_methods(["GET"])
@guarded(Capability.SEE_CAMPAIGNS)
def variant_page(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Show a variant with its lines and a form to add each kind."""
    campaign = campaign_of(code)
    return _show_variant(request, campaign, _variant_of(campaign, pk))


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def remove_variant(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Take a variant out."""
    campaign = campaign_of(code)
    try:
        drop_variant(
            variant=_variant_of(campaign, pk), by=staff_of(request), at=timezone.now()
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("campaigns:variant", code, pk)
    messages.success(request, _("The variant is taken out."))
    return redirect("campaigns:remedy", code)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def add_line(request: HttpRequest, code: str, pk: int, kind: str) -> HttpResponse:
    """Add a line to a variant."""
    campaign = campaign_of(code)
    variant = _variant_of(campaign, pk)
    form_class, model = _kind_of(kind)
    form = form_class(request.POST, instance=model(variant=variant), prefix=kind)
    if form.is_valid() and _write(campaign, variant, form, staff_of(request)):
        messages.success(request, _("The line is added."))
        return redirect("campaigns:variant", code, pk)
    return _show_variant(request, campaign, variant, **{kind: form})


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_CAMPAIGNS)
def edit_line(
    request: HttpRequest, code: str, pk: int, kind: str, line: int
) -> HttpResponse:
    """Change a line of a variant."""
    campaign = campaign_of(code)
    variant = _variant_of(campaign, pk)
    form_class, model = _kind_of(kind)
    row = get_object_or_404(model, pk=line, variant=variant)
    form = form_class(posted(request), instance=row, prefix=kind)
    if (
        request.method == "POST"
        and form.is_valid()
        and _write(campaign, variant, form, staff_of(request))
    ):
        messages.success(request, _("The line is changed."))
        return redirect("campaigns:variant", code, pk)
    context = _frame(request, campaign) | {
        "form": form,
        "variant": variant,
        "kind": kind,
        "line": line,
        "parts": _part_numbers(),
    }
    status = 200 if not form.errors else 400
    return render(request, "campaigns/remedy_line.html", context, status=status)


@require_POST
@guarded(Capability.EDIT_CAMPAIGNS)
def remove_line(
    request: HttpRequest, code: str, pk: int, kind: str, line: int
) -> HttpResponse:
    """Take a line out of a variant."""
    campaign = campaign_of(code)
    variant = _variant_of(campaign, pk)
    model = _kind_of(kind)[1]
    row = get_object_or_404(model, pk=line, variant=variant)
    try:
        drop_line(variant=variant, line=row, by=staff_of(request), at=timezone.now())
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, _("The line is taken out."))
    return redirect("campaigns:variant", code, pk)


def _write(
    campaign: Campaign,
    variant: Variant,
    form: forms.ModelForm[Any],
    by: StaffMember,
) -> bool:
    """Write the line of a valid form; a refusal goes into the form."""
    now = timezone.now()
    line = form.save(commit=False)
    try:
        if isinstance(form, PartLineForm):
            line.part = part_for(campaign=campaign, wanted=form.wanted(), by=by, at=now)
        save_line(variant=variant, line=line, by=by, at=now)
    except Refusal as refusal:
        add_refusal(form, refusal)
        return False
    return True


def _edit_variant(
    request: HttpRequest, campaign: Campaign, variant: Variant
) -> HttpResponse:
    form = VariantForm(posted(request), instance=variant)
    if request.method == "POST" and form.is_valid():
        try:
            saved = save_variant(
                campaign=campaign,
                variant=form.save(commit=False),
                conditions=form.conditions(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The variant is written down."))
            return redirect("campaigns:variant", campaign.code, saved.pk)
    context = _frame(request, campaign) | {"form": form, "variant": variant}
    status = 200 if not form.errors else 400
    return render(request, "campaigns/remedy_variant_edit.html", context, status=status)


def _show_variant(
    request: HttpRequest,
    campaign: Campaign,
    variant: Variant,
    **bound: forms.ModelForm[Any],
) -> HttpResponse:
    """Show a variant; a line that was refused keeps what was typed."""
    shown = next(one for one in variants_of(campaign) if one.pk == variant.pk)
    add_forms = {
        kind: bound.get(kind)
        or form_class(prefix=kind, instance=model(variant=variant))
        for kind, (form_class, model) in _KINDS.items()
    }
    context = _frame(request, campaign) | {
        "variant": shown,
        "conditions": said_conditions(shown),
        "add": add_forms,
        "parts": _part_numbers(),
    }
    status = 400 if bound else 200
    return render(request, "campaigns/remedy_variant.html", context, status=status)


def _variant_of(campaign: Campaign, pk: int) -> Variant:
    return get_object_or_404(
        Variant.objects.select_related("remedy__campaign"),
        pk=pk,
        remedy__campaign=campaign,
    )


def _kind_of(kind: str) -> tuple[type[forms.ModelForm[Any]], type[Any]]:
    if kind not in _KINDS:
        raise Http404
    return _KINDS[kind]


def _part_numbers() -> list[Part]:
    """Give the parts that the box for a number proposes."""
    return list(Part.objects.filter(superseded_by=None, recalled=False)[:500])


def _frame(request: HttpRequest, campaign: Campaign) -> dict[str, Any]:
    """Give what every page of a campaign shows."""
    return {
        "campaign": campaign,
        "places_of_campaign": campaign_places(request, campaign),
        "may_edit": may_edit(request),
    }


_BASE = "campaigns/<str:code>/remedy"
patterns: list[URLPattern] = [
    path(f"{_BASE}/", remedy_page, name="remedy"),
    path(f"{_BASE}/new/", new_variant, name="new_variant"),
    path(f"{_BASE}/<int:pk>/", variant_page, name="variant"),
    path(f"{_BASE}/<int:pk>/facts/", variant_facts, name="variant_facts"),
    path(f"{_BASE}/<int:pk>/drop/", remove_variant, name="drop_variant"),
    path(f"{_BASE}/<int:pk>/<str:kind>/", add_line, name="add_line"),
    path(f"{_BASE}/<int:pk>/<str:kind>/<int:line>/", edit_line, name="edit_line"),
    path(
        f"{_BASE}/<int:pk>/<str:kind>/<int:line>/drop/", remove_line, name="drop_line"
    ),
]
