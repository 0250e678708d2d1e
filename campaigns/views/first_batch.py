"""Pages: a campaign's parts: first batch, stock, promises, proposals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from campaigns.domain import first_batch
from campaigns.domain.batch_papers import enter_bill_over_parts, enter_slip_over_parts
from campaigns.forms.first_batch import (
    BatchForm,
    BillForm,
    BillRowsForm,
    ReceiveForm,
    SlipForm,
    SlipRowsForm,
)
from campaigns.models import Allocation, Campaign
from campaigns.queries.coverage import campaign_parts
from campaigns.views.places import campaign_places
from dealership.rules.money import share_of_basis_points
from dealership.rules.pictures import FlagKind, RunwayFlag
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.queries.subjects import words_of_subjects


if TYPE_CHECKING:
    from django import forms
    from django.http import HttpRequest, HttpResponse


def _campaign(code: str) -> Campaign:
    """Find a campaign; all stores share it, their rows below it are their own."""
    return get_object_or_404(Campaign.objects.select_related("earmark"), code=code)


def _allocation(request: HttpRequest, code: str, pk: int) -> Allocation:
    mine = Allocation.objects.for_staff(staff_of(request)).in_store(store_of(request))
    return get_object_or_404(
        mine.select_related("campaign", "part", "bill", "shipment", "store"),
        pk=pk,
        campaign__code=code,
    )


@require_safe
@guarded(Capability.SEE_PARTS)
def campaign_parts_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show the parts of a campaign in this store and whom they cover."""
    campaign, store = _campaign(code), store_of(request)
    today = timezone.localdate()
    found = campaign_parts(campaign=campaign, store=store, today=today)
    flags = _flags(campaign)
    context = {
        "campaign": campaign,
        "found": found,
        "subjects": words_of_subjects(
            subject for _part, subject, *_rest in found.promised
        ),
        "covers": [(one, one.picture.runway(flags=flags)) for one in found.covers],
        "campaign_places": campaign_places(request, campaign),
        "restocking": share_of_basis_points(campaign.restocking_basis_points),
        "may_move": staff_of(request).may(Capability.MOVE_PARTS, store.pk),
        "may_settle": staff_of(request).may(Capability.EDIT_MONEY, store.pk),
        "unbilled": sum(row.allocation.bill_id is None for row in found.batches),
        "unsent": sum(row.allocation.shipment_id is None for row in found.batches),
        "today": today,
    }
    return render(request, "campaigns/first_batch.html", context)


def _flags(campaign: Campaign) -> list[RunwayFlag]:
    """Put the deadlines of the campaign on the runway."""
    due = (
        (campaign.returns_until, FlagKind.RETURN, _("parts returnable until")),
        (campaign.claims_until, FlagKind.CLAIM, _("claims until")),
    )
    return [
        RunwayFlag(day=day, kind=kind, words=words) for day, kind, words in due if day
    ]


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def new_batch(request: HttpRequest, code: str) -> HttpResponse:
    """Enter a first batch as the manufacturer announced it."""
    campaign = _campaign(code)
    form = BatchForm(
        request.POST or None, initial={"announced_on": timezone.localdate()}
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            first_batch.announce(
                campaign=campaign,
                store=store_of(request),
                part=data["part"],
                quantity=data["quantity"],
                unit_cost_cents=data["unit_cost_cents"],
                announced_on=data["announced_on"],
                bill=form.bill(),
                slip=form.slip(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The first batch is entered."))
            return redirect("campaigns:campaign_parts", code=campaign.code)
    return _form_page(
        request,
        campaign,
        form,
        title=_("Enter a first batch"),
        sentence=_(
            "The manufacturer sends and bills it without an order; enter what the "
            "announcement says, and bill and packing slip if they are at hand."
        ),
        label=_("Enter the first batch"),
    )


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def batch_bill(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Enter the bill of a batch."""
    batch = _allocation(request, code, pk)
    initial = {"quantity": batch.quantity, "unit_cost_cents": batch.unit_cost_cents}
    form = BillForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            first_batch.enter_batch_bill(
                allocation=batch,
                paper=form.paper(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The bill is entered."))
            return redirect("campaigns:campaign_parts", code=code)
    return _form_page(
        request,
        batch.campaign,
        form,
        title=_("Bill of %(part)s") % {"part": batch.part.number},
        sentence=_("Enter what the bill says, even where it is wrong."),
        label=_("Enter the bill"),
    )


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def batch_slip(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Enter the packing slip of a batch."""
    batch = _allocation(request, code, pk)
    form = SlipForm(request.POST or None, initial={"quantity": batch.quantity})
    if request.method == "POST" and form.is_valid():
        try:
            first_batch.enter_slip(
                allocation=batch,
                paper=form.paper(),
                announced_on=timezone.localdate(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The packing slip is entered."))
            return redirect("campaigns:campaign_parts", code=code)
    return _form_page(
        request,
        batch.campaign,
        form,
        title=_("Packing slip of %(part)s") % {"part": batch.part.number},
        sentence=_("Enter what the slip says; what came is counted afterwards."),
        label=_("Enter the packing slip"),
    )


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def bill_over_parts(request: HttpRequest, code: str) -> HttpResponse:
    """Enter one bill over several parts; each row that differs is named."""
    campaign = _campaign(code)
    form = BillRowsForm(
        request.POST or None, batches=_without(request, campaign, "bill")
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            enter_bill_over_parts(
                campaign=campaign,
                store=store_of(request),
                number=data["number"],
                dated=data["dated"],
                lines=form.lines(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The bill is entered."))
            _name_differences(request, campaign, set(form.pieces()))
            return redirect("campaigns:campaign_parts", code=code)
    return _rows_page(
        request,
        campaign,
        form,
        title=_("One bill over several parts"),
        sentence=_(
            "Enter what the bill says of each part, even where it is wrong; 0 for a"
            " part that is not on it."
        ),
        label=_("Enter the bill"),
        heads=(_("Pieces billed"), _("Price a piece")),
    )


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def slip_over_parts(request: HttpRequest, code: str) -> HttpResponse:
    """Enter one packing slip over several parts; each row that differs is named."""
    campaign = _campaign(code)
    form = SlipRowsForm(
        request.POST or None, batches=_without(request, campaign, "shipment")
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            enter_slip_over_parts(
                campaign=campaign,
                store=store_of(request),
                number=data["number"],
                sent=form.pieces(),
                announced_on=timezone.localdate(),
                expected_on=data["expected_on"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The packing slip is entered."))
            _name_differences(request, campaign, set(form.pieces()))
            return redirect("campaigns:campaign_parts", code=code)
    return _rows_page(
        request,
        campaign,
        form,
        title=_("One packing slip over several parts"),
        sentence=_(
            "Enter what the slip says of each part, 0 for a part that is not on it;"
            " what came is counted afterwards."
        ),
        label=_("Enter the packing slip"),
        heads=(_("Pieces sent"),),
    )


def _without(request: HttpRequest, campaign: Campaign, paper: str) -> list[Allocation]:
    """Give the batches of this store without such a paper, or with the one sent again."""
    mine = Allocation.objects.for_staff(staff_of(request)).in_store(store_of(request))
    wanted = Q(**{f"{paper}__isnull": True})
    if request.method == "POST":
        wanted |= Q(**{f"{paper}__number": request.POST.get("number", "").strip()})
    rows = mine.filter(wanted, campaign=campaign).select_related("part")
    return list(rows.order_by("part__number"))


def _name_differences(
    request: HttpRequest, campaign: Campaign, batch_ids: set[int]
) -> None:
    """Say of each part of a paper in what it differs from the announcement."""
    parts = set(
        Allocation.objects.filter(pk__in=batch_ids).values_list("part_id", flat=True)
    )
    found = campaign_parts(
        campaign=campaign, store=store_of(request), today=timezone.localdate()
    )
    named = [
        _("%(part)s: %(words)s, %(pieces)d pieces")
        % {"part": one.part.number, "words": one.words, "pieces": one.pieces}
        for one in found.differences
        if one.part.pk in parts and one.dispute is None
    ]
    if named:
        messages.warning(request, _("It differs: %s") % "; ".join(named))


def _rows_page(
    request: HttpRequest,
    campaign: Campaign,
    form: BillRowsForm | SlipRowsForm,
    *,
    title: str,
    sentence: str,
    label: str,
    heads: tuple[str, ...],
) -> HttpResponse:
    context = {
        "campaign": campaign,
        "form": form,
        "heads": heads,
        "rows": [
            (batch, list(zip(heads, fields, strict=True)))
            for batch, fields in form.rows()
        ],
        "form_title": title,
        "form_sentence": sentence,
        "form_label": label,
        "back_url": reverse("campaigns:campaign_parts", args=[campaign.code]),
        "campaign_places": campaign_places(request, campaign),
    }
    return render(request, "campaigns/first_batch_rows.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def batch_receive(request: HttpRequest, code: str, pk: int) -> HttpResponse:
    """Count a batch onto its bin, set apart for the campaign.

    A packing slip with further parts is counted as a whole, on its own page.
    """
    batch = _allocation(request, code, pk)
    if batch.shipment and batch.shipment.lines.exclude(part=batch.part).exists():
        return redirect("inventory:shipment", pk=batch.shipment.pk)
    line = (
        batch.shipment.lines.filter(part=batch.part).first() if batch.shipment else None
    )
    sent = line.sent if line else batch.quantity
    form = ReceiveForm(request.POST or None, initial={"good": sent})
    if request.method == "POST" and form.is_valid():
        try:
            first_batch.receive(
                **form.cleaned_data,
                allocation=batch,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The batch is in the books."))
            return redirect("campaigns:campaign_parts", code=code)
    return _form_page(
        request,
        batch.campaign,
        form,
        title=_("Receive %(part)s") % {"part": batch.part.number},
        sentence=ngettext(
            "%(n)d piece was sent; count what came, the rest is short.",
            "%(n)d pieces were sent; count what came, the rest is short.",
            sent,
        )
        % {"n": sent},
        label=ngettext(
            "Receive what came of %(n)d piece",
            "Receive what came of %(n)d pieces",
            sent,
        )
        % {"n": sent},
        consequence=_(
            "Pieces in order are set apart for this campaign; short and damaged ones "
            "open a dispute. The count cannot be taken back."
        ),
    )


def _form_page(
    request: HttpRequest,
    campaign: Campaign,
    form: forms.Form,
    *,
    title: str,
    sentence: str,
    label: str,
    consequence: str = "",
) -> HttpResponse:
    context = {
        "campaign": campaign,
        "form": form,
        "form_title": title,
        "form_sentence": sentence,
        "form_label": label,
        "consequence": consequence,
        "back_url": reverse("campaigns:campaign_parts", args=[campaign.code]),
        "campaign_places": campaign_places(request, campaign),
    }
    return render(request, "campaigns/first_batch_form.html", context)


patterns: list[URLPattern] = [
    path("campaigns/<str:code>/parts/", campaign_parts_page, name="campaign_parts"),
    path("campaigns/<str:code>/parts/new/", new_batch, name="new_batch"),
    path("campaigns/<str:code>/parts/bill/", bill_over_parts, name="bill_over_parts"),
    path("campaigns/<str:code>/parts/slip/", slip_over_parts, name="slip_over_parts"),
    path("campaigns/<str:code>/parts/<int:pk>/bill/", batch_bill, name="batch_bill"),
    path("campaigns/<str:code>/parts/<int:pk>/slip/", batch_slip, name="batch_slip"),
    path(
        "campaigns/<str:code>/parts/<int:pk>/receive/",
        batch_receive,
        name="batch_receive",
    ),
]
