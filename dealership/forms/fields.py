"""Fields for sums of money and shares: forgiving to type, exact to keep."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from dealership.rules.money import NotMoney, parse_money, plain_money


class MoneyField(forms.CharField):
    """A sum as people write it; its value is whole cents, zero or more."""

    def __init__(self, *, currency: str = "USD", **options: Any) -> None:  # noqa: ANN401 (Django's)
        options.setdefault("max_length", 40)
        super().__init__(**options)
        self.currency = currency
        self.widget.attrs.setdefault("inputmode", "decimal")

    def prepare_value(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Show cents as 1,234.50."""
        return plain_money(value) if isinstance(value, int) else value

    def clean(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Read whole cents, or None where the field may be empty."""
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_money(text, currency=self.currency)
        except NotMoney as wrong:
            raise ValidationError(wrong.sentence, code="money") from wrong


class PercentField(forms.CharField):
    """A share typed in per cent; its value is whole hundredths of a per cent."""

    def __init__(self, *, at_most: int = 100, **options: Any) -> None:  # noqa: ANN401 (Django's)
        options.setdefault("max_length", 12)
        super().__init__(**options)
        self.at_most = at_most
        self.widget.attrs.setdefault("inputmode", "decimal")

    def prepare_value(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Show 3000 as 30."""
        if not isinstance(value, int):
            return value
        return f"{(Decimal(value) / 100).normalize():f}"

    def clean(self, value: Any) -> Any:  # noqa: ANN401 (Django's)
        """Read hundredths of a per cent, or None where the field may be empty."""
        text = super().clean(value)
        if not text:
            return None
        plain = text.replace("%", "").strip()
        try:
            hundredths = Decimal(plain) * 100
            whole = int(hundredths)
        except (InvalidOperation, ValueError, OverflowError):
            raise ValidationError(
                _("“%(text)s” is not a number. Write the share in per cent, as 12.5."),
                code="percent",
                params={"text": text},
            ) from None
        if whole != hundredths or not 0 <= whole <= self.at_most * 100:
            raise ValidationError(
                _("Give per cent from 0 to %(most)d, with two decimals at most."),
                code="percent_range",
                params={"most": self.at_most},
            )
        return whole
