"""Forms for single vehicles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import django_filters
from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from vehicles.models import Vehicle
from vehicles.models.party import PARTY_KIND_WORDS, ROLE_WORDS, SOURCE_WORDS
from vehicles.models.vehicle import KIND_WORDS, STANDING_WORDS
from vehicles.queries.vehicles import matching
from vehicles.rules.records import VehicleRecord
from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
    VehicleKind,
)


if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet
    from django.utils.functional import _StrPromise

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_ADDRESS = ("street", "street2", "city", "region", "postal_code", "country")


def _day(
    label: _StrPromise, *, required: bool = False, help_text: _StrPromise | str = ""
) -> forms.DateField:
    return forms.DateField(
        label=label, required=required, help_text=help_text, widget=_DAY
    )


def _text(
    label: _StrPromise, longest: int, *, required: bool = False
) -> forms.CharField:
    return forms.CharField(label=label, max_length=longest, required=required)


class _NotInFuture(forms.Form):
    """Days of what has happened do not lie ahead."""

    def __init__(self, *args: Any, today: dt.date, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        self.today = today

    def clean(self) -> dict[str, Any]:
        """Refuse days ahead, and a vehicle used before it was built."""
        told = super().clean() or {}
        for name, field in self.fields.items():
            value = told.get(name)
            if isinstance(field, forms.DateField) and value and value > self.today:
                self.add_error(name, _("This day is in the future."))
        built, used = told.get("build_date"), told.get("first_use_date")
        if built and used and built > used:
            self.add_error(
                "build_date",
                _("Built on %(built)s, but first used on %(used)s. One is wrong.")
                % {"built": built, "used": used},
            )
        if told.get("odometer_on") and told.get("odometer") is None:
            self.add_error("odometer", _("Write the reading of that day."))
        return told


class FactsForm(_NotInFuture):
    """The facts of a vehicle; each change is kept with what it was."""

    line = _text(gettext_lazy("Model line"), 60)
    model_year = forms.IntegerField(
        label=gettext_lazy("Model year"), min_value=1900, max_value=2100, required=False
    )
    kind = forms.ChoiceField(
        label=gettext_lazy("Kind"),
        choices=[(kind.value, words) for kind, words in KIND_WORDS.items()],
        initial=VehicleKind.LIGHT.value,
    )
    engine = _text(gettext_lazy("Engine"), 40)
    plant = _text(gettext_lazy("Plant"), 40)
    serial = _text(gettext_lazy("Serial number"), 20)
    build_date = _day(gettext_lazy("Built on"))
    first_use_date = _day(gettext_lazy("First used on"))
    odometer = forms.IntegerField(
        label=gettext_lazy("Odometer, miles"),
        min_value=0,
        max_value=2_000_000,
        required=False,
    )
    odometer_on = _day(gettext_lazy("Odometer read on"))
    plate = _text(gettext_lazy("Plate"), 16)
    standing = forms.ChoiceField(
        label=gettext_lazy("Where it stands"),
        choices=[(standing.value, words) for standing, words in STANDING_WORDS.items()],
        initial=Standing.CUSTOMER.value,
    )


FACT_FIELDS = tuple(FactsForm.base_fields)


class OwnerForm(_NotInFuture):
    """Who has a vehicle from a day on, and where they get post."""

    owner_name = _text(gettext_lazy("Name"), 160, required=True)
    owner_kind = forms.ChoiceField(
        label=gettext_lazy("Person or firm"),
        choices=[(kind.value, words) for kind, words in PARTY_KIND_WORDS.items()],
        initial=PartyKind.PERSON.value,
    )
    role = forms.ChoiceField(
        label=gettext_lazy("Has the vehicle as"),
        choices=[(role.value, words) for role, words in ROLE_WORDS.items()],
        initial=TenureRole.OWNER.value,
    )
    tenure_from = _day(
        gettext_lazy("From"),
        required=True,
        help_text=gettext_lazy("Who had it before had it until the day before."),
    )
    street = _text(gettext_lazy("Street"), 120)
    street2 = _text(gettext_lazy("Second street line"), 120)
    city = _text(gettext_lazy("City"), 80)
    region = _text(gettext_lazy("State or region"), 40)
    postal_code = _text(gettext_lazy("Postal code"), 16)
    country = forms.CharField(
        label=gettext_lazy("Country"), max_length=2, min_length=2, initial="US"
    )
    phone = _text(gettext_lazy("Telephone"), 40)
    email = forms.EmailField(
        label=gettext_lazy("E-mail"), max_length=254, required=False
    )
    source = forms.ChoiceField(
        label=gettext_lazy("The address is from"),
        help_text=gettext_lazy(
            "State records come in with their list only: the law ties them to one recall."
        ),
        choices=[
            (source.value, words)
            for source, words in SOURCE_WORDS.items()
            if source is not AddressSource.STATE_RECORDS
        ],
        initial=AddressSource.OWN_CUSTOMER.value,
    )

    def record(self) -> VehicleRecord:
        """Give what was typed as a row of a list says it."""
        told = self.cleaned_data
        return VehicleRecord(
            owner_name=told["owner_name"],
            owner_kind=PartyKind(told["owner_kind"]),
            role=TenureRole(told["role"]),
            tenure_from=told["tenure_from"],
            phone=told["phone"],
            email=told["email"],
            **{name: told[name] for name in _ADDRESS},
        )

    def clean_country(self) -> str:
        """Give the two letters as capitals."""
        return str(self.cleaned_data["country"]).upper()


class RegisterForm(FactsForm):
    """One vehicle by hand; the owner may follow later."""

    field_order = ("vin",)
    vin = forms.CharField(
        label=gettext_lazy("VIN"),
        max_length=40,
        help_text=gettext_lazy(
            "17 characters, as on the vehicle. The check digit does not see every slip:"
            " compare it with the papers once more."
        ),
    )
    owner_name = _text(gettext_lazy("Owner's name"), 160)
    phone = _text(gettext_lazy("Owner's telephone"), 40)
    street = _text(gettext_lazy("Street"), 120)
    city = _text(gettext_lazy("City"), 80)
    region = _text(gettext_lazy("State or region"), 40)
    postal_code = _text(gettext_lazy("Postal code"), 16)

    def record(self) -> VehicleRecord:
        """Give what was typed as a row of a list says it."""
        told = dict(self.cleaned_data)
        told["odometer_date"] = told.pop("odometer_on")
        told["kind"] = VehicleKind(told["kind"])
        told["standing"] = Standing(told["standing"])
        return VehicleRecord(**told)


class VehicleFilter(django_filters.FilterSet):  # type: ignore[misc]  # it has no types
    """What the list of vehicles may be narrowed to; it stands in the address."""

    q = django_filters.CharFilter(
        label=gettext_lazy("VIN, plate or owner"),
        method="named",
        widget=forms.TextInput(attrs={"size": 20}),
    )
    line = django_filters.CharFilter(
        label=gettext_lazy("Model line"),
        lookup_expr="iexact",
        widget=forms.TextInput(attrs={"size": 12}),
    )
    model_year = django_filters.NumberFilter(
        label=gettext_lazy("Model year"),
        widget=forms.TextInput(attrs={"size": 5, "inputmode": "numeric"}),
    )
    standing = django_filters.ChoiceFilter(
        label=gettext_lazy("Stands"),
        empty_label=gettext_lazy("anywhere"),
        choices=[(standing.value, words) for standing, words in STANDING_WORDS.items()],
    )
    sort = django_filters.OrderingFilter(
        fields=(
            ("vin", "vin"),
            ("line", "line"),
            ("model_year", "model_year"),
            ("plate", "plate"),
            ("odometer", "odometer"),
            ("build_date", "build_date"),
        )
    )

    class Meta:
        model = Vehicle
        fields: tuple[str, ...] = ()

    def named(
        self, rows: QuerySet[Vehicle], _name: str, text: str
    ) -> QuerySet[Vehicle]:
        """Narrow to what the text names."""
        return rows.filter(matching(text))
