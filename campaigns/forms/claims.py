"""Forms of claims: sent, paid, rejected, given up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dealership.forms.fields import MoneyField
from inventory.forms.fields import DayField, KeyField


if TYPE_CHECKING:
    from campaigns.models import Claim


class SendClaimForm(forms.Form):
    """When a claim was sent, under which reference."""

    key = KeyField()
    dated = DayField(label=gettext_lazy("Sent on"))
    reference = forms.CharField(
        label=gettext_lazy("Their reference"), max_length=40, required=False
    )


class SendClaimsForm(SendClaimForm):
    """Several claims sent together."""

    claims = forms.TypedMultipleChoiceField(
        coerce=int,
        widget=forms.MultipleHiddenInput,
        error_messages={"required": gettext_lazy("Tick at least one claim.")},
    )

    def __init__(self, *args: Any, ready: list[int], **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.fields["claims"].choices = [(pk, pk) for pk in ready]  # type: ignore[attr-defined]


class PaymentForm(forms.Form):
    """What was paid on each line; paid in full unless something else is typed."""

    key = KeyField()
    dated = DayField(label=gettext_lazy("Paid on"))
    advice = forms.CharField(
        label=gettext_lazy("Payment advice"), max_length=40, required=False
    )

    def __init__(self, *args: Any, claim: Claim, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.lines = [
            line for line in claim.lines.all() if line.claimed_cents > line.paid_cents
        ]
        for line in self.lines:
            self.fields[f"line_{line.pk}"] = MoneyField(
                label=line.title,
                currency=claim.store.currency,
                initial=line.claimed_cents - line.paid_cents,
                required=False,
                help_text=_("Left empty: nothing was paid on this line."),
            )

    def paid(self) -> dict[int, int]:
        """Give cents by line of a valid form."""
        return {
            line.pk: self.cleaned_data[f"line_{line.pk}"] or 0 for line in self.lines
        }


class RejectClaimForm(forms.Form):
    """Why the manufacturer refused it."""

    key = KeyField()
    dated = DayField(label=gettext_lazy("Refused on"))
    why = forms.CharField(
        label=gettext_lazy("Reason they gave"),
        max_length=200,
        error_messages={"required": gettext_lazy("Say why it was refused.")},
    )
    reference = forms.CharField(
        label=gettext_lazy("Their reference"), max_length=40, required=False
    )


class WriteOffClaimForm(forms.Form):
    """Why what is open is given up."""

    key = KeyField()
    dated = DayField(label=gettext_lazy("Given up on"))
    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=200,
        error_messages={"required": gettext_lazy("Say why it is given up.")},
    )
