"""Forms: variants of a remedy and their lines."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.domain.remedies_entry import NewPart
from campaigns.forms.campaigns import day_input
from campaigns.forms.criteria import NamesField, YearsField
from campaigns.models import (
    Remedy,
    RemedyPrice,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
)
from campaigns.models.words import READING_WORDS
from campaigns.rules.labour_union import LabourLine, TimesExceedLine, split_time
from campaigns.rules.lifecycle import Payer, ReadingResult
from campaigns.rules.remedy_choice import Condition, VehicleFact, read_conditions
from campaigns.rules.room import Skill
from dealership.forms.fields import MoneyField, PercentField
from inventory.models import Part


if TYPE_CHECKING:
    import datetime as dt

_HUNDRED = 100


class RemedyForm(forms.ModelForm):  # type: ignore[type-arg]
    """What holds for all variants."""

    needed = forms.CharField(
        label=gettext_lazy("Special tools"),
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy(
            "One a line: its number, a blank, its name. The job card says where each is."
        ),
    )
    field_order = ("needed", "tools", "cautions")

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        if self.instance.pk:
            self.initial["needed"] = "\n".join(
                str(one) for one in self.instance.special_tools.order_by("number")
            )

    def clean_needed(self) -> list[tuple[str, str]]:
        """Read number and name of each line."""
        lines = [
            one.split(maxsplit=1) for one in self.cleaned_data["needed"].splitlines()
        ]
        found = {one[0][:40]: one[1][:120] if one[1:] else "" for one in lines if one}
        return list(found.items())

    class Meta:
        model = Remedy
        fields = ("tools", "cautions")
        labels = {"tools": gettext_lazy("Other tools and materials")}
        help_texts = {
            "tools": gettext_lazy("One a line."),
            "cautions": gettext_lazy(
                "One a line, in the manufacturer's words. They stand on the job card."
            ),
        }


class VariantForm(forms.ModelForm):  # type: ignore[type-arg]
    """A variant and the vehicles that it is for."""

    model_years = YearsField(
        label=gettext_lazy("Model years"),
        required=False,
        max_length=400,
        help_text=gettext_lazy("Such as 2021-2023, 2025. Left empty, any."),
    )
    build_from = forms.DateField(
        label=gettext_lazy("Built from"), required=False, widget=day_input()
    )
    build_to = forms.DateField(
        label=gettext_lazy("Built to"), required=False, widget=day_input()
    )
    odometer_from = forms.IntegerField(
        label=gettext_lazy("Odometer from, miles"), required=False, min_value=0
    )
    odometer_to = forms.IntegerField(
        label=gettext_lazy("Odometer to, miles"), required=False, min_value=0
    )
    months_from = forms.IntegerField(
        label=gettext_lazy("Age from, months"), required=False, min_value=0
    )
    months_to = forms.IntegerField(
        label=gettext_lazy("Age to, months"), required=False, min_value=0
    )
    also_in = NamesField(
        label=gettext_lazy("Also in campaign"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("Our number of the other campaign."),
    )
    not_in = NamesField(
        label=gettext_lazy("Not in campaign"), required=False, max_length=200
    )
    measured_name = forms.CharField(
        label=gettext_lazy("Measured value"),
        required=False,
        max_length=80,
        help_text=gettext_lazy("Such as “pad thickness”, with its unit and ends."),
    )
    measured_unit = forms.CharField(
        label=gettext_lazy("Unit"), required=False, max_length=12
    )
    measured_low = forms.DecimalField(
        label=gettext_lazy("At least"),
        required=False,
        max_digits=10,
        decimal_places=3,
    )
    measured_high = forms.DecimalField(
        label=gettext_lazy("At most"), required=False, max_digits=10, decimal_places=3
    )

    class Meta:
        model = Variant
        fields = ("code", "title")

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        for condition in read_conditions(self.instance.conditions):
            self.initial.update(_shown(condition))

    def clean(self) -> dict[str, Any]:
        """Refuse ends in the wrong order and a half told measured value."""
        given = super().clean() or self.cleaned_data
        for first, last in (
            ("build_from", "build_to"),
            ("odometer_from", "odometer_to"),
            ("months_from", "months_to"),
            ("measured_low", "measured_high"),
        ):
            low, high = given.get(first), given.get(last)
            if low is not None and high is not None and low > high:
                self.add_error(
                    last, _("This lies before the other end. Exchange them.")
                )
        told = [given.get("measured_name"), given.get("measured_unit")]
        ends = [given.get("measured_low"), given.get("measured_high")]
        used = any(told) or any(end is not None for end in ends)
        if used and (not all(told) or all(end is None for end in ends)):
            self.add_error(
                "measured_name",
                _("A measured value needs its name, its unit and one end at least."),
            )
        return given

    def validate_unique(self) -> None:
        """Leave that to the domain."""

    def conditions(self) -> list[Condition]:
        """Give the conditions of a valid form."""
        given = self.cleaned_data
        found = []
        if given["model_years"]:
            years = frozenset(map(str, given["model_years"]))
            found.append(Condition(fact=VehicleFact.MODEL_YEAR, one_of=years))
        for fact, low, high in (
            (VehicleFact.BUILD_DATE, given["build_from"], given["build_to"]),
            (
                VehicleFact.ODOMETER_MILES,
                _number(given["odometer_from"]),
                _number(given["odometer_to"]),
            ),
            (
                VehicleFact.AGE_MONTHS,
                _number(given["months_from"]),
                _number(given["months_to"]),
            ),
        ):
            if low is not None or high is not None:
                found.append(Condition(fact=fact, low=low, high=high))
        if given["also_in"] or given["not_in"]:
            found.append(
                Condition(
                    fact=VehicleFact.CAMPAIGN,
                    one_of=frozenset(given["also_in"]),
                    none_of=frozenset(given["not_in"]),
                )
            )
        if given["measured_name"]:
            found.append(
                Condition(
                    fact=VehicleFact.MEASURED,
                    name=given["measured_name"],
                    unit=given["measured_unit"],
                    low=given["measured_low"],
                    high=given["measured_high"],
                )
            )
        return found


def _number(value: int | None) -> Decimal | None:
    return None if value is None else Decimal(value)


def _whole(value: Decimal | dt.date | None) -> int | None:
    return int(value) if isinstance(value, Decimal) else None


def _shown(condition: Condition) -> dict[str, Any]:
    """Give the boxes of a condition with what stands in them."""
    low, high = condition.low, condition.high
    match condition.fact:
        case VehicleFact.MODEL_YEAR:
            return {"model_years": sorted(map(int, condition.one_of))}
        case VehicleFact.BUILD_DATE:
            return {"build_from": low, "build_to": high}
        case VehicleFact.ODOMETER_MILES:
            return {"odometer_from": _whole(low), "odometer_to": _whole(high)}
        case VehicleFact.AGE_MONTHS:
            return {"months_from": _whole(low), "months_to": _whole(high)}
        case VehicleFact.CAMPAIGN:
            return {
                "also_in": sorted(condition.one_of),
                "not_in": sorted(condition.none_of),
            }
        case VehicleFact.MEASURED:
            return {
                "measured_name": condition.name,
                "measured_unit": condition.unit,
                "measured_low": low,
                "measured_high": high,
            }


class PartLineForm(forms.ModelForm):  # type: ignore[type-arg]
    """A part that the variant takes; a new part number is added to the books."""

    number = forms.CharField(
        label=gettext_lazy("Part number"),
        max_length=40,
        widget=forms.TextInput(attrs={"list": "part-numbers"}),
    )
    name = forms.CharField(
        label=gettext_lazy("Name, if the part is new here"),
        max_length=120,
        required=False,
    )
    unit_cost_cents = MoneyField(
        label=gettext_lazy("Cost a piece, if the part is new here"), required=False
    )
    share_basis_points = PercentField(
        label=gettext_lazy("Per cent of vehicles that need it"), initial=10_000
    )

    class Meta:
        model = VariantPart
        fields = ("quantity", "share_basis_points", "old_numbers_serve", "payer")
        help_texts = {
            "old_numbers_serve": gettext_lazy(
                "Tick it only where the manufacturer's bulletin allows it. Then pieces of"
                " a number that this one replaces are held and fitted first, and the"
                " new number is ordered."
            ),
        }

    field_order = (
        "number",
        "quantity",
        "old_numbers_serve",
        "share_basis_points",
        "payer",
        "name",
        "unit_cost_cents",
    )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        if self.instance.pk:
            self.initial["number"] = self.instance.part.number

    def clean_share_basis_points(self) -> int:
        """Refuse a share of nothing."""
        share = int(self.cleaned_data["share_basis_points"] or 0)
        if share < 1:
            raise ValidationError(
                _("If no vehicle needs the part, leave the line out.")
            )
        return share

    def clean_quantity(self) -> int:
        """Refuse less than one piece."""
        quantity = int(self.cleaned_data["quantity"])
        if quantity < 1:
            raise ValidationError(_("Enter one piece at least."))
        return quantity

    def wanted(self) -> NewPart:
        """Give the part that a valid form names."""
        given = self.cleaned_data
        return NewPart(
            number=given["number"].strip(),
            name=given["name"],
            unit_cost_cents=given["unit_cost_cents"],
        )


_WITH_HOURS = re.compile(r"(?P<name>.*\S)\s+(?P<hours>\d{1,3}[.]\d{1,2})\s*h?")


class LabourForm(forms.ModelForm):  # type: ignore[type-arg]
    """The published time of one operation, and what it includes."""

    hours = forms.DecimalField(
        label=gettext_lazy("Time, hours"),
        min_value=Decimal("0.01"),
        max_value=Decimal(200),
        decimal_places=2,
    )
    includes = NamesField(
        label=gettext_lazy("Elementary operations in it"),
        required=False,
        max_length=600,
        help_text=gettext_lazy(
            "With commas between, each with its own hours where the bulletin gives"
            " them: cover off 0.20, drain. What two jobs of a visit share is paid once."
        ),
    )

    class Meta:
        model = VariantLabour
        fields = ("operation", "title", "includes", "skill", "payer")

    field_order = ("operation", "title", "hours", "includes", "skill", "payer")

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        if self.instance.pk:
            hundredths = self.instance.hundredths_of_hour
            self.initial["hours"] = Decimal(hundredths) / _HUNDRED
            self.initial["includes"] = [
                f"{one} {self.instance.times[one] / 100:.2f}"
                if one in self.instance.times
                else one
                for one in self.instance.includes
            ]
        self.fields["skill"].required = False

    def clean_skill(self) -> str:
        """Take mechanical work where nothing is said."""
        return self.cleaned_data["skill"] or Skill.MECHANICAL

    def clean_includes(self) -> list[str]:
        """Read each operation and the hours behind its name."""
        names: list[str] = []
        self.instance.times = {}
        for one in self.cleaned_data["includes"]:
            found = _WITH_HOURS.fullmatch(one)
            name = found["name"] if found else one
            names.append(name)
            if found:
                self.instance.times[name] = int(Decimal(found["hours"]) * _HUNDRED)
        return list(dict.fromkeys(names))

    def clean(self) -> dict[str, Any]:
        """Keep hours as whole hundredths; the operations fit into them."""
        given = super().clean() or self.cleaned_data
        if given.get("hours") is not None:
            self.instance.hundredths_of_hour = int(given["hours"] * _HUNDRED)
            try:
                split_time(
                    LabourLine(
                        key=0,
                        name=given.get("operation") or _("this line"),
                        payer=Payer(given.get("payer") or Payer.MANUFACTURER),
                        hundredths=self.instance.hundredths_of_hour,
                        operations=tuple(given.get("includes") or ()),
                        times=self.instance.times,
                    )
                )
            except TimesExceedLine as refusal:
                self.add_error("includes", refusal.sentence)
        return given


class StepForm(forms.ModelForm):  # type: ignore[type-arg]
    """One step of the work, with the caution that belongs before it."""

    class Meta:
        model = VariantStep
        fields = ("position", "text", "caution")
        widgets = {"text": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        if self.instance.pk is None and self.instance.variant_id is not None:
            steps = VariantStep.objects.filter(variant=self.instance.variant_id)
            self.initial["position"] = steps.count() + 1


class CheckForm(forms.ModelForm):  # type: ignore[type-arg]
    """Something to measure, its limits, and what to do outside them."""

    class Meta:
        model = VariantCheck
        fields = (
            "after_step",
            "title",
            "instruction",
            "unit",
            "low",
            "high",
            "outside",
            "attempts",
            "replace_part",
        )

    def __init__(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        outside = self.fields["outside"]
        assert isinstance(outside, forms.ChoiceField)
        outside.choices = [
            (result.value, words)
            for result, words in READING_WORDS.items()
            if result is not ReadingResult.PASS
        ]
        step = self.fields["after_step"]
        assert isinstance(step, forms.ModelChoiceField)
        step.queryset = VariantStep.objects.filter(variant=self.instance.variant_id)
        step.empty_label = _("at the end")
        part = self.fields["replace_part"]
        assert isinstance(part, forms.ModelChoiceField)
        part.queryset = Part.objects.filter(recalled=False)

    def clean(self) -> dict[str, Any]:
        """Refuse a check without a limit or with its limits exchanged."""
        given = super().clean() or self.cleaned_data
        low, high = given.get("low"), given.get("high")
        if low is None and high is None and not self.errors:
            self.add_error("low", _("Enter one limit at least."))
        if low is not None and high is not None and low > high:
            self.add_error("high", _("This is less than the lower limit."))
        if given.get("outside") == "replace" and not given.get("replace_part"):
            self.add_error("replace_part", _("Say which part is then replaced."))
        return given


class AllowanceForm(forms.ModelForm):  # type: ignore[type-arg]
    """An allowance with a fixed price, such as a loan car."""

    cents = MoneyField(label=gettext_lazy("Amount"))

    class Meta:
        model = RemedyPrice
        fields = ("title", "cents", "payer")
