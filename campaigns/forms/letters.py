"""Forms of letters: a round, its steps, a new text, a letter that came back."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import CLASS_WORDS, ROUND_KIND_WORDS
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.lifecycle import CampaignClass, RoundKind
from dealership.models.choices import choices_of


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
            "Take the interim letter while parts are not in this store; the first"
            " letter and the reminder say that they are here."
        ),
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))


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


class LetterTextForm(forms.Form):
    """A new version of a text."""

    subject = forms.CharField(
        label=_("Subject line"), max_length=160, widget=forms.TextInput({"size": 80})
    )
    body = forms.CharField(
        label=_("Paragraphs, an empty line between two"),
        max_length=6_000,
        widget=forms.Textarea({"rows": 18, "cols": 84}),
    )
    effective_from = forms.DateField(
        label=_("In force from"), widget=forms.DateInput(attrs={"type": "date"})
    )


def words_of(campaign_class: str, kind: str) -> tuple[str, str]:
    """Give class and letter in words."""
    return (
        str(CLASS_WORDS[CampaignClass(campaign_class)]),
        str(ROUND_KIND_WORDS[RoundKind(kind)]),
    )
