"""Pages: the texts of letters, read, written anew, and seen as they will be printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from campaigns.domain.letter_texts import write_version
from campaigns.forms.letters import LetterTextForm, words_of
from campaigns.models import LetterText
from campaigns.queries.letters import texts_in_use
from campaigns.rules.letter_text import FIELDS
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from campaigns.views.places import add_refusal
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


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


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_LETTERS)
def letter_text(
    request: HttpRequest,
    campaign_class: str,
    kind: str,
    posted_by: str,
    language: str,
) -> HttpResponse:
    """Show a text with its versions, and take a new version."""
    now = _text_in_use(campaign_class, kind, posted_by, language)
    may_print = staff_of(request).may(Capability.PRINT_LETTERS, store_of(request).pk)
    form = LetterTextForm(
        request.POST or None,
        initial={
            "subject": now.subject,
            "body": now.body,
            "effective_from": timezone.localdate(),
        },
    )
    if request.method == "POST" and not may_print:
        raise PermissionDenied
    if request.method == "POST" and form.is_valid():
        try:
            write_version(
                campaign_class=CampaignClass(campaign_class),
                kind=RoundKind(kind),
                posted_by=PostedBy(posted_by),
                language=language,
                by=staff_of(request),
                at=timezone.now(),
                **form.cleaned_data,
            )
        except Refusal as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The new version is kept."))
            return redirect(request.path)
    context = {
        "text": now,
        "paragraphs": now.body.split("\n\n"),
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
        "texts_url": reverse("campaigns:letter_texts"),
    }
    return render(request, "campaigns/letter_text.html", context)


patterns = [
    path("letters/texts/", letter_texts, name="letter_texts"),
    path(
        "letters/texts/<str:campaign_class>/<str:kind>/<str:posted_by>/<str:language>/",
        letter_text,
        name="letter_text",
    ),
]
