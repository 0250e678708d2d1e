"""Forms of letters: a round, its steps, a new text, a letter that came back."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import CLASS_WORDS, POSTED_BY_WORDS, ROUND_KIND_WORDS
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from dealership.models.choices import choices_of


if TYPE_CHECKING:
    from campaigns.models import LetterText

LONGEST_BODY = 6_000
RETURN_WORDS = {
    ReturnReason.UNKNOWN: _("not known at this address"),
    ReturnReason.MOVED: _("moved, no new address left"),
    ReturnReason.FORWARDING_ENDED: _("moved, the post no longer sends it on"),
    ReturnReason.NO_SUCH_ADDRESS: _("no such street or number"),
    ReturnReason.INCOMPLETE: _("address is not complete"),
    ReturnReason.VACANT: _("nobody lives there"),
    ReturnReason.NO_BOX: _("no letter box"),
    ReturnReason.BOX_CLOSED: _("post office box closed"),
    ReturnReason.AWAY: _("away for a time"),
    ReturnReason.UNCLAIMED: _("not picked up"),
    ReturnReason.REFUSED: _("not accepted"),
    ReturnReason.DECEASED: _("the person has died"),
    ReturnReason.NOT_MAILABLE: _("the post could not carry it"),
}


class DrawUpForm(forms.Form):
    """Which letter a round sends."""

    kind = forms.ChoiceField(
        label=_("Letter"),
        choices=choices_of(ROUND_KIND_WORDS),
        initial=RoundKind.FIRST,
        help_text=_(
            "Take the interim letter while parts are not in this store; the others"
            " say that they are here."
        ),
    )
    posted_by = forms.ChoiceField(
        label=_("Whose letter"),
        choices=choices_of(POSTED_BY_WORDS),
        initial=PostedBy.STORE,
        required=False,
        help_text=_(
            "Take the manufacturer's notice only when the manufacturer has asked you"
            " to send it in its name."
        ),
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))

    def clean_posted_by(self) -> PostedBy:
        """Take the store's own letter where nothing is chosen."""
        return PostedBy(self.cleaned_data["posted_by"] or PostedBy.STORE)


class DatedForm(forms.Form):
    """The day of a step."""

    on = forms.DateField(label=_("Day"), widget=forms.DateInput(attrs={"type": "date"}))


class ReturnForm(DatedForm):
    """A letter that came back."""

    why = forms.ChoiceField(
        label=_("What the envelope says"), choices=choices_of(RETURN_WORDS)
    )
    code = forms.CharField(
        label=_("Letter code"),
        max_length=16,
        help_text=_("Scan the code on the sheet or type the number beside it."),
    )
    field_order = ("code", "why", "on")


class RemarkForm(forms.Form):
    """The reason for which a remark of the letter check is let pass."""

    text = forms.IntegerField(widget=forms.HiddenInput)
    rule = forms.CharField(max_length=40, widget=forms.HiddenInput)
    why = forms.CharField(label=_("Reason to let it pass"), max_length=300)


class LetterTextForm(forms.Form):
    """A new version of a text."""

    subject = forms.CharField(
        label=_("Subject line"), max_length=160, widget=forms.TextInput()
    )
    body = forms.CharField(
        label=_("Paragraphs, an empty line between two"),
        max_length=LONGEST_BODY,
        widget=forms.Textarea({"rows": 18, "cols": 84}),
    )
    effective_from = forms.DateField(
        label=_("In force from"), widget=forms.DateInput(attrs={"type": "date"})
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TextWords:
    """What a text is, in words."""

    campaign_class: str
    kind: str
    posted_by: str
    language: str


def words_of(text: LetterText) -> TextWords:
    """Give class, letter, sender and language of a text in words."""
    return TextWords(
        campaign_class=str(CLASS_WORDS[CampaignClass(text.campaign_class)]),
        kind=str(ROUND_KIND_WORDS[RoundKind(text.kind)]),
        posted_by=str(POSTED_BY_WORDS[PostedBy(text.posted_by)]),
        language=dict(LANGUAGES)[text.language],
    )
