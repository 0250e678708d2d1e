"""Pages: letters that came back, what owners say, and address lists handed out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.address_exports import export_addresses
from campaigns.domain.contacts import record_contact
from campaigns.domain.letter_returns import book_return, settle_return
from campaigns.forms.letters import ContactForm, ExportForm, ReturnForm, SettleForm
from campaigns.models import CampaignVehicle, Letter, LetterRound
from campaigns.queries.addressees import party_on
from campaigns.queries.letter_post import (
    MOST_FOUND,
    contacts_of,
    letters_named,
    return_words,
    undecided,
)
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.lifecycle import (
    ContactChannel,
    ExportPurpose,
    OwnerAnswer,
    ReturnStep,
)
from campaigns.views.letters import handed_out
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import CSV, XLSX, file_answer
from dealership.views.guards import guarded, hold_to_store, staff_of, store_of


if TYPE_CHECKING:
    from django.forms import Form
    from django.http import HttpRequest, HttpResponse

    from campaigns.models.letter import LetterQuerySet

A_PAGE = 50


def _letters(request: HttpRequest) -> LetterQuerySet:
    """Give the letters of the chosen store that the person may see."""
    mine = Letter.objects.for_staff(staff_of(request))
    return mine.filter(letter_round__store=store_of(request))


def _letter(request: HttpRequest, pk: int) -> Letter:
    """Give one letter of the person's stores."""
    rows = Letter.objects.for_staff(staff_of(request)).select_related(
        "party",
        "address__party",
        "letter_round__campaign",
        "letter_round__store",
        "campaign_vehicle__vehicle",
        "campaign_vehicle__campaign",
        "campaign_vehicle__store",
    )
    found = get_object_or_404(rows, pk=pk)
    hold_to_store(request, found.letter_round.store_id)
    return found


@require_safe
@guarded(Capability.PRINT_LETTERS)
def post_in(request: HttpRequest) -> HttpResponse:
    """Find the letter that came back or is answered; list what waits for a decision."""
    said = request.GET.get("q", "")[:60]
    found = (
        list(letters_named(_letters(request), said)[: MOST_FOUND + 1]) if said else []
    )
    if len(found) == 1:
        return redirect("campaigns:letter", pk=found[0].pk)
    page = Paginator(undecided(_letters(request)), A_PAGE).get_page(
        request.GET.get("page")
    )
    for one in page:
        one.returned_words = return_words(one.returned_why)  # type: ignore[attr-defined]
    context = {
        "q": said,
        "found": found[:MOST_FOUND],
        "more": len(found) > MOST_FOUND,
        "page_obj": page,
    }
    return render(request, "campaigns/post_in.html", context)


@require_safe
@guarded(Capability.PRINT_LETTERS)
def letter(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one letter: book it as come back, decide, or note the owner's answer."""
    return _letter_page(request, _letter(request, pk))


def _letter_page(
    request: HttpRequest, row: Letter, act: str = "", form: Form | None = None
) -> HttpResponse:
    """Draw the page of a letter, with the form that was wrong where one was."""
    today = timezone.localdate()
    back = row.returned_on is not None
    forms: dict[str, Form | None] = {
        "returned": None
        if back or row.posted_on is None
        else ReturnForm(initial={"on": today, "code": row.code}),
        "settle": SettleForm(row.returned_why, initial={"country": "US"})
        if back and not row.return_step
        else None,
        "answer": ContactForm(
            initial={"on": today, "channel": ContactChannel.SLIP, "answer": "sold"}
        ),
    }
    if form is not None:
        forms[act] = form
    context = {
        "letter": row,
        "row": row.campaign_vehicle,
        "vehicle": row.campaign_vehicle.vehicle,
        "forms": forms,
        "returned_words": return_words(row.returned_why),
        "contacts": contacts_of(row.campaign_vehicle),
    }
    return render(request, "campaigns/letter.html", context)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def letter_returned(request: HttpRequest, pk: int) -> HttpResponse:
    """Book a letter as come back."""
    row = _letter(request, pk)
    form = ReturnForm(request.POST)
    if form.is_valid():
        try:
            book_return(
                letter=row,
                why=ReturnReason(form.cleaned_data["why"]),
                on=form.cleaned_data["on"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(
                request, _("Booked as come back. Now decide what is done.")
            )
            return redirect("campaigns:letter", pk=pk)
    return _letter_page(request, row, "returned", form)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def letter_settled(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide what is done about a letter that came back."""
    row = _letter(request, pk)
    form = SettleForm(row.returned_why or ReturnReason.UNKNOWN, request.POST)
    if form.is_valid():
        try:
            settle_return(
                letter=row,
                step=ReturnStep(form.cleaned_data["step"]),
                place=form.place(),
                on=timezone.localdate(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("It is noted."))
            return redirect("campaigns:post_in")
    return _letter_page(request, row, "settle", form)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def letter_answered(request: HttpRequest, pk: int) -> HttpResponse:
    """Note what the owner answered to a letter."""
    row = _letter(request, pk)
    form = ContactForm(request.POST)
    if form.is_valid():
        try:
            record_contact(
                key=form.cleaned_data["key"],
                campaign_vehicle=row.campaign_vehicle,
                party=row.party,
                told=form.told(),
                letter=row,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The answer is noted."))
            return redirect("campaigns:letter", pk=pk)
    return _letter_page(request, row, "answer", form)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.EDIT_VEHICLES)
def contacts(request: HttpRequest, pk: int) -> HttpResponse:
    """Show and note calls and messages about a vehicle of a campaign."""
    row = get_object_or_404(
        CampaignVehicle.objects.for_staff(staff_of(request)).select_related(
            "vehicle", "campaign", "store"
        ),
        pk=pk,
    )
    hold_to_store(request, row.store_id)
    today = timezone.localdate()
    party = party_on(row.vehicle.tenures.select_related("party"), today)
    form = ContactForm(
        request.POST or None,
        initial={
            "on": today,
            "channel": ContactChannel.CALL,
            "answer": OwnerAnswer.TOLD,
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            record_contact(
                key=form.cleaned_data["key"],
                campaign_vehicle=row,
                party=party,
                told=form.told(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The answer is noted."))
            return redirect(request.path)
    context = {
        "row": row,
        "vehicle": row.vehicle,
        "campaign": row.campaign,
        "party": party,
        "form": form,
        "contacts": contacts_of(row),
    }
    return render(request, "campaigns/contacts.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.EXPORT_ADDRESSES)
def addresses(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the addresses of a round, for a purpose that is kept."""
    row = get_object_or_404(
        LetterRound.objects.for_staff(staff_of(request)).select_related(
            "campaign", "store"
        ),
        pk=pk,
    )
    hold_to_store(request, row.store_id)
    form = ExportForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        kind = form.cleaned_data["file_kind"]
        try:
            _export, body = export_addresses(
                letter_round=row,
                purpose=ExportPurpose(form.cleaned_data["purpose"]),
                recipient=form.cleaned_data["recipient"],
                file_kind=kind,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            name = f"addresses-{row.campaign.code}-{row.number}.{kind}"
            mime = XLSX if kind == "xlsx" else CSV
            return handed_out(file_answer(body, name, kind=mime))
    context = {
        "round": row,
        "form": form,
        "letters": row.letters.count(),
        "exports": row.exports.select_related("by"),
    }
    return render(request, "campaigns/addresses.html", context)


patterns = [
    path("letters/in/", post_in, name="post_in"),
    path("letters/in/<int:pk>/", letter, name="letter"),
    path("letters/in/<int:pk>/returned/", letter_returned, name="letter_returned"),
    path("letters/in/<int:pk>/settled/", letter_settled, name="letter_settled"),
    path("letters/in/<int:pk>/answered/", letter_answered, name="letter_answered"),
    path("letters/contacts/<int:pk>/", contacts, name="contacts"),
    path("letters/<int:pk>/addresses/", addresses, name="addresses"),
]
