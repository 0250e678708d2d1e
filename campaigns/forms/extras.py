"""Forms: bills beside the work, and what a campaign pays of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.models.words import EXTRA_WORDS
from campaigns.rules.claim_gaps import ExtraLimits
from campaigns.rules.lifecycle import ClaimLineKind
from dealership.forms.fields import MoneyField
from dealership.models.choices import choices_of
from inventory.forms.fields import DayField, KeyField


if TYPE_CHECKING:
    from collections.abc import Sequence

    from campaigns.queries.extras import KindOffered

MOST_DAYS = 366


class PaperForm(forms.Form):
    """Number and date of the paper that proves a bill."""

    evidence = forms.CharField(
        label=gettext_lazy("Number of the bill, agreement or receipt"),
        max_length=60,
        required=False,
    )
    dated = DayField(label=gettext_lazy("Date of that paper"), required=False)


class ExtraForm(PaperForm):
    """One bill of a repair."""

    key = KeyField()
    kind = forms.ChoiceField(
        label=gettext_lazy("What it is for"),
        choices=choices_of(EXTRA_WORDS),
        widget=forms.RadioSelect,
    )
    title = forms.CharField(
        label=gettext_lazy("In a few words"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("No names: the claim carries this line."),
    )
    cents = MoneyField(label=gettext_lazy("Amount of the bill"))
    days = forms.IntegerField(
        label=gettext_lazy("Days, for a loan car"),
        min_value=1,
        max_value=MOST_DAYS,
        required=False,
    )

    field_order = ("key", "kind", "title", "cents", "days", "evidence", "dated")

    def kind_given(self) -> ClaimLineKind:
        """Give the kind of a valid form."""
        return ClaimLineKind(self.cleaned_data["kind"])


class ExtraLimitsForm(forms.Form):
    """What a campaign pays of each kind of extra."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        offered: Sequence[KindOffered],
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.offered = offered
        for one in offered:
            kind, row = one.kind.value, one.limit
            self.fields[f"{kind}_paid"] = forms.BooleanField(
                label=_("The campaign pays: %(kind)s") % {"kind": one.words},
                required=False,
                initial=row is not None,
                help_text=_("Wants as evidence: %(paper)s.") % {"paper": one.wants},
            )
            self.fields[f"{kind}_most"] = MoneyField(
                label=_("%(kind)s: at most for a repair") % {"kind": one.words},
                required=False,
                initial=row.most_cents if row else None,
            )
            if one.kind is ClaimLineKind.LOAN_CAR:
                self.fields[f"{kind}_day"] = MoneyField(
                    label=_("%(kind)s: at most a day") % {"kind": one.words},
                    required=False,
                    initial=row.day_cents if row else None,
                )
                self.fields[f"{kind}_days"] = forms.IntegerField(
                    label=_("%(kind)s: days at most") % {"kind": one.words},
                    required=False,
                    min_value=1,
                    max_value=MOST_DAYS,
                    initial=row.most_days if row else None,
                )

    def limits(self) -> dict[ClaimLineKind, ExtraLimits | None]:
        """Give the limits of a valid form by kind; None where nothing is paid."""
        given = self.cleaned_data
        return {
            one.kind: ExtraLimits(
                most_cents=given[f"{one.kind.value}_most"],
                day_cents=given.get(f"{one.kind.value}_day"),
                most_days=given.get(f"{one.kind.value}_days"),
            )
            if given[f"{one.kind.value}_paid"]
            else None
            for one in self.offered
        }
