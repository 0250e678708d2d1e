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
