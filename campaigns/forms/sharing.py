"""Form of the share-out: which part, how many pieces, by what rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.forecasting.sharing import ShareRule
from inventory.models import Part


if TYPE_CHECKING:
    from collections.abc import Iterable

RULE_WORDS = {
    ShareRule.WEBSTER: _("in waves, nothing taken back"),
    ShareRule.HAMILTON: _("once only, by remainders"),
}
MOST_PIECES = 1_000_000


class ShareOutForm(forms.Form):
    """What is to be shared; sent by GET, so that a view of it can be passed on."""

    part = forms.ModelChoiceField(
        label=_("Part"), queryset=Part.objects.none(), to_field_name="number"
    )
    supply = forms.IntegerField(
        label=_("Pieces to share"),
        min_value=0,
        max_value=MOST_PIECES,
        widget=forms.NumberInput(attrs={"type": "range"}),
    )
    rule = forms.ChoiceField(
        label=_("How"),
        choices=[(rule.value, words) for rule, words in RULE_WORDS.items()],
    )
    least_one = forms.BooleanField(
        label=_("First one pack for each store that has none"), required=False
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        parts: Iterable[Part],
        most: int,
        pack: int,
        **kwargs: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **kwargs)
        ids = [part.pk for part in parts]
        field = self.fields["part"]
        field.queryset = Part.objects.filter(pk__in=ids).order_by("number")  # type: ignore[attr-defined]
        supply = self.fields["supply"]
        supply.widget.attrs |= {"max": str(most), "step": str(pack)}
        supply.help_text = _("%(now)s of %(most)d that are missing.") % {
            "now": self.data.get("supply", 0),
            "most": most,
        }

    def clean_rule(self) -> ShareRule:
        """Give the rule itself."""
        return ShareRule(self.cleaned_data["rule"])
