"""Forms of the settings: the store, its people, and what to look for in the trail."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.utils.translation import gettext_lazy as _

from dealership.forms.fields import MoneyField, PercentField
from dealership.models import Store
from dealership.models.staff import ROLE_WORDS
from dealership.rules.roles import Role


if TYPE_CHECKING:
    from collections.abc import Iterable


LEAST_LIMIT, MOST_LIMIT = 5_000, 9_900
"""Outcomes that may be covered at the most, in hundredths of a per cent."""


def _role_choices() -> list[tuple[str, Any]]:
    return [(role.value, ROLE_WORDS[role]) for role in Role]


class StoreForm(forms.ModelForm):  # type: ignore[type-arg]
    """Letterhead, rates, grace, market and paper of one store."""

    labour_rate_cents = MoneyField(
        label=_("labour rate an hour"), help_text=_("As on claims, such as 140.00.")
    )
    parts_handling_basis_points = PercentField(
        label=_("handling on parts, per cent"),
        help_text=_("Added to the cost of a part on claims, such as 30."),
    )

    class Meta:
        model = Store
        fields = (
            "name",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "phone",
            "email",
            "letter_signed_by",
            "time_zone",
            "market",
            "paper",
            "letter_fold_thousandths",
            "letter_form",
            "mailer_id",
            "mail_service",
            "labour_rate_cents",
            "parts_handling_basis_points",
            "bays",
            "workshop_hours_per_day",
            "review_days",
            "no_show_grace_days",
        )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **kwargs)
        self.fields["labour_rate_cents"].currency = self.instance.currency  # type: ignore[attr-defined]

    def clean_country(self) -> str:
        """Take the two letters of ISO 3166-1."""
        return self._two_letters("country")

    def clean_mailer_id(self) -> str:
        """Take 6 or 9 digits, or none."""
        return self._digits("mailer_id", (6, 9))

    def clean_mail_service(self) -> str:
        """Take 3 digits, or none."""
        return self._digits("mail_service", (3,))

    def _digits(self, field: str, lengths: tuple[int, ...]) -> str:
        digits = str(self.cleaned_data[field]).strip()
        right = digits.isascii() and digits.isdigit() and len(digits) in lengths
        if digits and not right:
            raise forms.ValidationError(
                _("Write %(lengths)s digits, or nothing."),
                code="digits",
                params={"lengths": " or ".join(str(one) for one in lengths)},
            )
        return digits

    def clean_market(self) -> str:
        """Take the two letters of ISO 3166-1."""
        return self._two_letters("market")

    def _two_letters(self, field: str) -> str:
        code = str(self.cleaned_data[field]).strip().upper()
        if len(code) != 2 or not code.isascii() or not code.isalpha():  # noqa: PLR2004 (ISO 3166-1 alpha-2)
            raise forms.ValidationError(
                _("“%(code)s” is no country. Write its two letters, such as US."),
                code="country",
                params={"code": code},
            )
        return code

    def clean_time_zone(self) -> str:
        """Take a name of the IANA time zone database."""
        name = str(self.cleaned_data["time_zone"]).strip()
        if name not in available_timezones():
            raise forms.ValidationError(
                _("“%(name)s” is no time zone. Write it as America/Chicago."),
                code="time_zone",
                params={"name": name},
            )
        return name


class OrderingForm(forms.ModelForm):  # type: ignore[type-arg]
    """What ordering and running out cost a store, and how sure it wants to be."""

    second_visit_cents = MoneyField(
        label=_("a customer who comes a second time costs"),
        required=False,
        help_text=_(
            "Loan car, booking again, time at the counter. Leave this and the next"
            " empty to cover 95 of 100 outcomes without costs."
        ),
    )
    labour_margin_cents = MoneyField(
        label=_("margin on the labour of a campaign repair"), required=False
    )
    lost_share_basis_points = PercentField(
        label=_("customers without a part who go elsewhere, per cent")
    )
    order_cost_cents = MoneyField(
        label=_("placing an order costs"),
        help_text=_("Work and freight of one order, whatever its size; 0 if none."),
    )
    return_freight_cents = MoneyField(label=_("freight of a return"))
    letter_cost_cents = MoneyField(
        label=_("an owner letter costs"),
        help_text=_("Sheet, envelope, postage and work; weighed before a reminder."),
    )
    service_limit_basis_points = PercentField(
        label=_("outcomes to be covered at the most, per cent"),
        help_text=_(
            "Usually 98. No store's own history can prove a higher share, so it can"
            " be raised to 99 only."
        ),
    )
    show_rate_basis_points = PercentField(
        label=_("booked visits that happen, per cent"), help_text=_("Usually 90.")
    )

    class Meta:
        model = Store
        fields = (
            "second_visit_cents",
            "labour_margin_cents",
            "lost_share_basis_points",
            "order_cost_cents",
            "return_freight_cents",
            "letter_cost_cents",
            "service_limit_basis_points",
            "show_rate_basis_points",
        )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **kwargs)
        for name in self.Meta.fields:
            if name.endswith("_cents"):
                self.fields[name].currency = self.instance.currency  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Want both sums that make up the cost of a missing part, or neither."""
        found: dict[str, Any] = super().clean() or {}
        visit, margin = (
            found.get("second_visit_cents"),
            found.get("labour_margin_cents"),
        )
        ok = not {"second_visit_cents", "labour_margin_cents"} & set(self.errors)
        if ok and (visit is None) != (margin is None):
            missing = "labour_margin_cents" if margin is None else "second_visit_cents"
            self.add_error(
                missing, _("Give both sums or neither: they are weighed together.")
            )
        return found

    def clean_service_limit_basis_points(self) -> int:
        """Hold the share between 50 and 99 per cent."""
        share = int(self.cleaned_data["service_limit_basis_points"])
        if not LEAST_LIMIT <= share <= MOST_LIMIT:
            raise forms.ValidationError(
                _("Give per cent from 50 to 99."), code="service_limit"
            )
        return share


class NewPersonForm(forms.Form):
    """Somebody new, with a first post."""

    first_name = forms.CharField(label=_("first name"), max_length=150)
    last_name = forms.CharField(label=_("last name"), max_length=150)
    username = forms.CharField(
        label=_("name to sign in with"),
        max_length=150,
        validators=[UnicodeUsernameValidator()],
        help_text=_("Letters, digits and @ . + - _"),
    )
    store = forms.ModelChoiceField(label=_("store"), queryset=Store.objects.none())
    role = forms.ChoiceField(label=_("role"), choices=_role_choices)

    def __init__(self, *args: Any, stores: Iterable[Store], **kwargs: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **kwargs)
        _offer_stores(self.fields["store"], stores)

    def clean_role(self) -> Role:
        """Give the role itself."""
        return Role(self.cleaned_data["role"])


class PostForm(forms.Form):
    """One more post for somebody."""

    store = forms.ModelChoiceField(label=_("store"), queryset=Store.objects.none())
    role = forms.ChoiceField(label=_("role"), choices=_role_choices)

    def __init__(self, *args: Any, stores: Iterable[Store], **kwargs: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **kwargs)
        _offer_stores(self.fields["store"], stores)

    def clean_role(self) -> Role:
        """Give the role itself."""
        return Role(self.cleaned_data["role"])


class LockOutForm(forms.Form):
    """Why somebody is locked out."""

    why = forms.CharField(
        label=_("reason"),
        max_length=200,
        help_text=_("It stands in the trail, such as: left the firm."),
    )


class TrailForm(forms.Form):
    """What to look for in the trail."""

    act = forms.ChoiceField(label=_("act"), required=False)
    subject = forms.CharField(label=_("row"), required=False, max_length=80)
    since = forms.DateField(
        label=_("since"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def __init__(self, *args: Any, acts: Iterable[str], **kwargs: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **kwargs)
        self.fields["act"].choices = [("", _("every act")), *((a, a) for a in acts)]  # type: ignore[attr-defined]


def _offer_stores(field: forms.Field, stores: Iterable[Store]) -> None:
    """Let only these stores be chosen; the only one is chosen already."""
    ids = [store.pk for store in stores]
    field.queryset = Store.objects.filter(pk__in=ids)  # type: ignore[attr-defined]
    if len(ids) == 1:
        field.initial = ids[0]
