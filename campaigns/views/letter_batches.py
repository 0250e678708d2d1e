"""Pages of a round's files: each PDF, its register on paper, sheets printed again."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from campaigns.documents.letter_register import register_pdf
from campaigns.domain.letter_binding import reprint_sheets, sheets_again
from campaigns.forms.letter_batches import ReprintForm
from campaigns.models import LetterFile, LetterReprint
from campaigns.queries.letters import register_rows
from campaigns.views.letters import handed_out, round_of, round_page
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of


if TYPE_CHECKING:
    from django.http import HttpRequest


@require_safe
@guarded(Capability.SEE_LETTERS)
def letter_file(request: HttpRequest, pk: int, number: int) -> FileResponse:
    """Hand out one of the PDFs of a round."""
    row = round_of(request, pk)
    mine = LetterFile.objects.for_staff(staff_of(request)).filter(letter_round=row)
    file = get_object_or_404(mine, number=number)
    name = f"letters-{row.campaign.code}-{row.number}-{number}.pdf"
    return handed_out(FileResponse(file.pdf.open(), as_attachment=True, filename=name))


@require_safe
@guarded(Capability.PRINT_LETTERS)
def register_on_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the register as PDF."""
    row = round_of(request, pk)
    try:
        body = register_pdf(
            list(register_rows(row)),
            campaign=row.campaign.code,
            number=row.number,
            store=row.store,
            printed_at=timezone.now(),
        )
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("campaigns:letter_round", pk=pk)
    name = f"register-{row.campaign.code}-{row.number}.pdf"
    return handed_out(file_answer(body, name))


@require_POST
@guarded(Capability.PRINT_LETTERS)
def reprint(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that some sheets are printed again."""
    row = round_of(request, pk)
    form = ReprintForm(request.POST)
    if form.is_valid():
        try:
            made = reprint_sheets(
                key=form.cleaned_data["key"],
                letter_round=row,
                asked=form.cleaned_data["asked"],
                why=form.cleaned_data["why"],
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            told = _("%(count)d letters are noted as printed again.")
            messages.success(request, told % {"count": len(made.codes)})
            return redirect("campaigns:letter_round", pk=pk)
    return round_page(request, row, again=form)


@require_safe
@guarded(Capability.SEE_LETTERS)
def reprinted(request: HttpRequest, pk: int, reprint_id: int) -> HttpResponse:
    """Hand out the sheets of a reprint as PDF."""
    row = round_of(request, pk)
    mine = LetterReprint.objects.for_staff(staff_of(request)).filter(letter_round=row)
    made = get_object_or_404(mine, pk=reprint_id)
    target = io.BytesIO()
    sheets_again(made, target)
    name = f"again-{row.campaign.code}-{row.number}-{made.pk}.pdf"
    return handed_out(file_answer(target.getvalue(), name))


patterns = [
    path("letters/<int:pk>/files/<int:number>.pdf", letter_file, name="letter_file"),
    path("letters/<int:pk>/register.pdf", register_on_paper, name="register_pdf"),
    path("letters/<int:pk>/reprint/", reprint, name="reprint_sheets"),
    path("letters/<int:pk>/reprints/<int:reprint_id>.pdf", reprinted, name="reprinted"),
]
