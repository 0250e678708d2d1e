"""Pages: the texts of letters, read, written anew, and seen as they will be printed."""

from __future__ import annotations

from base64 import b64encode
from typing import TYPE_CHECKING, NamedTuple

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from campaigns.domain.letter_texts import write_version
from campaigns.forms.letters import LONGEST_BODY, LetterTextForm, words_of
from campaigns.models import LetterText
from campaigns.queries.letter_checks import Answered
from campaigns.queries.letter_samples import (
    draft_of,
    lay_out_sample,
    sample_campaign,
    sample_letter,
)
from campaigns.queries.letters import texts_in_use
from campaigns.rules.letter_check import check_letter
from campaigns.rules.letter_text import FIELDS, UnknownField, check_fields
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from campaigns.views.letter_checks import Remark, remark
from campaigns.views.letters import handed_out
from campaigns.views.places import add_refusal
from dealership.documents.pdf import PdfEngineMissing
from dealership.documents.raster import page_pictures
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.files import file_answer
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest

    from campaigns.models import Letter


@require_safe
@guarded(Capability.SEE_LETTERS)
def letter_texts(request: HttpRequest) -> HttpResponse:
    """List the texts in force."""
    texts = [(words_of(text), text) for text in texts_in_use(timezone.localdate())]
    return render(request, "campaigns/letter_texts.html", {"texts": texts})


def _text_in_use(
    campaign_class: str, kind: str, posted_by: str, language: str
) -> LetterText:
    """Give the text in force that the address names, or answer 404."""
    known = (
        campaign_class in set(CampaignClass)
        and kind in set(RoundKind)
        and posted_by in set(PostedBy)
        and language in dict(LANGUAGES)
    )
    if not known:
        raise Http404
    named = (campaign_class, kind, posted_by, language)
    return next(
        text
        for text in texts_in_use(timezone.localdate())
        if (text.campaign_class, text.kind, text.posted_by, text.language) == named
    )


class Preview(NamedTuple):
    """A text as it would be printed, and what the check says of it."""

    letter: Letter
    remarks: list[Remark]
    pictures: list[str]
    pages: int
    slow: bool
    fault: str


def _preview(
    request: HttpRequest, now: LetterText, form: LetterTextForm
) -> Preview | None:
    """Lay out what is typed; None while it cannot be read."""
    letter = _typed_letter(request, now, form)
    if letter is None or letter.text is None:
        return None
    draft = draft_of(letter)
    remarks = [
        remark(Answered(finding=one, answer=None)) for one in check_letter(draft)
    ]
    pictures, pages, fault = [], 0, ""
    try:
        laid = lay_out_sample(letter, day=timezone.localdate())
    except PdfEngineMissing as missing:
        fault = str(missing)
    else:
        pages = laid.pages
        pictures = [b64encode(one).decode() for one in page_pictures(laid.pdf)]
    return Preview(letter, remarks, pictures, pages, letter.text.names_the_owner, fault)


def _typed_letter(
    request: HttpRequest, now: LetterText, form: LetterTextForm
) -> Letter | None:
    """Give a sample letter with what is typed, or None where a field is unknown."""
    subject = form["subject"].value() or ""
    body = (form["body"].value() or "")[:LONGEST_BODY]
    try:
        check_fields(subject)
        check_fields(body)
    except UnknownField:
        return None
    text = LetterText(
        campaign_class=now.campaign_class,
        kind=now.kind,
        posted_by=now.posted_by,
        language=now.language,
        number=now.number + 1,
        subject=subject,
        body=body,
    )
    campaign = sample_campaign(now.campaign_class)
    return sample_letter(text, campaign, store_of(request))


def _form(request: HttpRequest, now: LetterText) -> LetterTextForm:
    """Give the form of the next version, filled with the one in force."""
    return LetterTextForm(
        request.POST or None,
        initial={
            "subject": now.subject,
            "body": now.body,
            "effective_from": timezone.localdate(),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_LETTERS)
def letter_text(
    request: HttpRequest,
    campaign_class: str,
    kind: str,
    posted_by: str,
    language: str,
) -> HttpResponse:
    """Show a text with its versions; take a new version, or only show it."""
    now = _text_in_use(campaign_class, kind, posted_by, language)
    may_print = staff_of(request).may(Capability.PRINT_LETTERS, store_of(request).pk)
    form = _form(request, now)
    if request.method == "POST" and not may_print:
        raise PermissionDenied
    keep = request.method == "POST" and "look" not in request.POST
    if keep and form.is_valid() and _kept(request, now, form):
        return redirect(request.path)
    context = {
        "text": now,
        "versions": LetterText.objects.filter(
            campaign_class=campaign_class,
            kind=kind,
            posted_by=posted_by,
            language=language,
        ),
        "words": words_of(now),
        "fields": FIELDS,
        "form": form,
        "may_print": may_print,
        "may_answer": None,
        "texts_url": reverse("campaigns:letter_texts"),
        "address": [campaign_class, kind, posted_by, language],
        "preview": _preview(request, now, form),
    }
    return render(request, "campaigns/letter_text.html", context)


def _kept(request: HttpRequest, now: LetterText, form: LetterTextForm) -> bool:
    """Keep a new version; a refusal goes into the form."""
    try:
        write_version(
            campaign_class=CampaignClass(now.campaign_class),
            kind=RoundKind(now.kind),
            posted_by=PostedBy(now.posted_by),
            language=now.language,
            by=staff_of(request),
            at=timezone.now(),
            **form.cleaned_data,
        )
    except Refusal as refusal:
        add_refusal(form, refusal)
        return False
    messages.success(request, _("The new version is kept."))
    return True


@require_POST
@guarded(Capability.PRINT_LETTERS)
def text_preview(
    request: HttpRequest,
    campaign_class: str,
    kind: str,
    posted_by: str,
    language: str,
) -> HttpResponse:
    """Answer with the picture and the check of what is typed so far."""
    now = _text_in_use(campaign_class, kind, posted_by, language)
    form = _form(request, now)
    context = {"preview": _preview(request, now, form), "may_answer": None}
    return render(request, "campaigns/letter_preview.html", context)


@require_POST
@guarded(Capability.PRINT_LETTERS)
def text_pdf(
    request: HttpRequest,
    campaign_class: str,
    kind: str,
    posted_by: str,
    language: str,
) -> HttpResponse:
    """Hand out what is typed so far as the PDF that the printer would get."""
    now = _text_in_use(campaign_class, kind, posted_by, language)
    letter = _typed_letter(request, now, _form(request, now))
    if letter is None:
        messages.error(
            request, _("The text names a field that is not known. Mend it first.")
        )
        return redirect(
            "campaigns:letter_text", campaign_class, kind, posted_by, language
        )
    laid = lay_out_sample(letter, day=timezone.localdate())
    return handed_out(file_answer(laid.pdf, "letter-sample.pdf"))


_ADDRESS = (
    "letters/texts/<str:campaign_class>/<str:kind>/<str:posted_by>/<str:language>/"
)
patterns = [
    path("letters/texts/", letter_texts, name="letter_texts"),
    path(_ADDRESS, letter_text, name="letter_text"),
    path(f"{_ADDRESS}preview/", text_preview, name="text_preview"),
    path(f"{_ADDRESS}sample.pdf", text_pdf, name="text_pdf"),
]
