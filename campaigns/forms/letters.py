"""Forms of letters: a round, its steps, a new text, a letter that came back."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from campaigns.domain.contacts import Told
from campaigns.models.words import (
    ANSWER_WORDS,
    CHANNEL_WORDS,
    CLASS_WORDS,
    POSTED_BY_WORDS,
    PURPOSE_WORDS,
    RETURN_STEP_WORDS,
    RETURN_WORDS,
    ROUND_KIND_WORDS,
    ROUND_SCOPE_WORDS,
)
from campaigns.rules.letter_returns import ReturnReason, steps_for
from campaigns.rules.letter_wording import LANGUAGES
from campaigns.rules.lifecycle import (
    CampaignClass,
    ContactChannel,
    OwnerAnswer,
    PostedBy,
    RoundKind,
    RoundScope,
)
from dealership.models.choices import choices_of
from vehicles.domain.people import Place


if TYPE_CHECKING:
    from campaigns.models import LetterText

LONGEST_BODY = 6_000


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
    scope = forms.ChoiceField(
        label=_("To whom"),
        choices=choices_of(ROUND_SCOPE_WORDS),
        initial=RoundScope.ALL,
        required=False,
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))

    def clean_scope(self) -> RoundScope:
        """Take all open vehicles where nothing is chosen."""
        return RoundScope(self.cleaned_data["scope"] or RoundScope.ALL)

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


class PlaceForm(forms.Form):
    """A new address, if one is told."""

    street = forms.CharField(label=_("Street"), max_length=120, required=False)
    street2 = forms.CharField(
        label=_("Second street line"), max_length=120, required=False
    )
    city = forms.CharField(label=_("City"), max_length=80, required=False)
    region = forms.CharField(label=_("State or region"), max_length=40, required=False)
    postal_code = forms.CharField(label=_("Postal code"), max_length=16, required=False)
    country = forms.CharField(
        label=_("Country, two letters"), max_length=2, initial="US", required=False
    )

    def place(self) -> Place | None:
        """Give the address, or None where nothing was typed."""
        told = self.cleaned_data
        facts = {
            name: told[name]
            for name in ("street", "street2", "city", "region", "postal_code")
        }
        if not any(facts.values()):
            return None
        return Place(**facts, country=(told["country"] or "US").upper())


class SettleForm(PlaceForm):
    """What is done about a letter that came back."""

    step = forms.ChoiceField(
        label=_("What is done about it"), widget=forms.RadioSelect, choices=()
    )
    field_order = ("step",)

    def __init__(self, why: str, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        steps = steps_for(ReturnReason(why))
        self.fields["step"].choices = [  # type: ignore[attr-defined]
            (one.value, RETURN_STEP_WORDS[one]) for one in steps
        ]
        self.initial.setdefault("step", steps[0].value)


class ContactForm(PlaceForm):
    """What an owner said, how and when."""

    channel = forms.ChoiceField(label=_("How"), choices=choices_of(CHANNEL_WORDS))
    answer = forms.ChoiceField(
        label=_("What came of it"),
        choices=choices_of(ANSWER_WORDS),
        help_text=_(
            "Sold, scrapped, exported, stolen and done elsewhere are noted on the"
            " vehicle at once."
        ),
    )
    on = forms.DateField(
        label=_("Day"),
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text=_("For sold, scrapped and the like: the day on which it happened."),
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)
    new_owner = forms.CharField(
        label=_("New owner, if it was sold"), max_length=160, required=False
    )
    key = forms.CharField(max_length=100, widget=forms.HiddenInput)
    field_order = ("channel", "answer", "on", "note", "new_owner")

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.initial.setdefault("key", str(uuid.uuid4()))

    def told(self) -> Told:
        """Give what was typed as the domain takes it."""
        data = self.cleaned_data
        return Told(
            channel=ContactChannel(data["channel"]),
            answer=OwnerAnswer(data["answer"]),
            on=data["on"],
            note=data["note"],
            place=self.place(),
            new_owner=data["new_owner"],
        )


class ExportForm(forms.Form):
    """For what an address list is handed out, and to whom."""

    purpose = forms.ChoiceField(label=_("Purpose"), choices=choices_of(PURPOSE_WORDS))
    recipient = forms.CharField(
        label=_("Who gets it"),
        max_length=120,
        help_text=_("A firm, an office or a person; it is kept for five years."),
    )
    file_kind = forms.ChoiceField(
        label=_("File"), choices=[("csv", "CSV"), ("xlsx", "XLSX")]
    )


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
