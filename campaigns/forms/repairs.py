"""Forms of the workshop: opened, measured, signed off, given up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.models.words import OUTCOME_WORDS
from campaigns.rules.lengths import (
    NotAReading,
    fits_the_card,
    is_length,
    other_unit,
    read_typed,
)
from campaigns.rules.lifecycle import Outcome
from campaigns.rules.odometer import OdometerVerdict, judge_odometer
from campaigns.rules.remedy_choice import Unit
from dealership.models import StaffMember
from dealership.models.choices import choices_of
from dealership.rules.roles import ROLE_CAPABILITIES, Capability
from inventory.forms.fields import MOST_PIECES, DayField, KeyField


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import VariantLabour
    from campaigns.queries.repairs import JobCard, PartNow
    from dealership.models import Store
    from inventory.models import Part

    PeopleField = forms.ModelChoiceField[StaffMember]
else:
    PeopleField = forms.ModelChoiceField


class TechnicianField(PeopleField):
    """Somebody of the store who records repairs."""

    def __init__(self, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(
            StaffMember.objects.none(),
            label=gettext_lazy("Technician"),
            required=False,
            **options,
        )

    def of_store(self, store: Store) -> None:
        """Offer the people of one store whose role records repairs."""
        roles = [
            role
            for role, capabilities in ROLE_CAPABILITIES.items()
            if Capability.RECORD_REPAIRS in capabilities
        ]
        self.queryset = (
            StaffMember.objects.filter(
                is_active=True, posts__store=store, posts__role__in=roles
            )
            .distinct()
            .order_by("first_name", "last_name", "username")
        )


class OpenRepairForm(forms.Form):
    """Which job is begun, by whom, on which order."""

    key = KeyField()
    visit_job = forms.IntegerField(required=False, widget=forms.HiddenInput)
    campaign_vehicle = forms.IntegerField(required=False, widget=forms.HiddenInput)
    scheduled_item = forms.IntegerField(required=False, widget=forms.HiddenInput)
    vehicle = forms.IntegerField(required=False, widget=forms.HiddenInput)
    technician = TechnicianField(empty_label=gettext_lazy("not decided yet"))
    repair_order = forms.CharField(
        label=gettext_lazy("Repair order"),
        max_length=20,
        required=False,
        help_text=gettext_lazy("Left empty, the store's next number is given."),
    )

    def __init__(self, *args: Any, store: Store, **options: Any) -> None:  # noqa: ANN401 (Django's)
        super().__init__(*args, **options)
        technician = self.fields["technician"]
        assert isinstance(technician, TechnicianField)
        technician.of_store(store)


class ReadingForm(forms.Form):
    """One measured value, in the check's unit or, for a length, in either."""

    attempt = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    value = forms.CharField(
        label=gettext_lazy("Measured value"),
        max_length=24,
        widget=forms.TextInput(
            attrs={"inputmode": "decimal", "autocomplete": "off", "autofocus": True}
        ),
        error_messages={
            "required": gettext_lazy("Enter the value that you measured."),
        },
    )
    unit = forms.ChoiceField(label=gettext_lazy("Measured in"), required=False)
    asked = forms.CharField(
        label=gettext_lazy("Whom you asked, and the answer"),
        max_length=200,
        required=False,
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        unit: str,
        stopped: bool = False,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.check_unit = unit
        choice = self.fields["unit"]
        assert isinstance(choice, forms.ChoiceField)
        if is_length(unit):
            choice.choices = [
                (one, _UNIT_WORDS[one]) for one in (unit, other_unit(unit))
            ]
            choice.widget = forms.RadioSelect(choices=choice.choices)
            choice.initial = unit
            self.fields["value"].help_text = _(
                "A number; or with its unit: 61 mm, 2.4 in, 2 3/8 in."
            )
        else:
            choice.choices = [(unit, unit)]
            choice.widget = forms.HiddenInput()
            choice.initial = unit
        if not stopped:
            del self.fields["asked"]

    def clean(self) -> dict[str, Any]:
        """Read the value and the unit behind it; typed beats chosen."""
        data: dict[str, Any] = super().clean() or {}
        if "value" not in data:
            return data
        try:
            typed = read_typed(data["value"], unit=data.get("unit") or self.check_unit)
        except NotAReading as refusal:
            self.add_error("value", refusal.sentence)
            return data
        if not fits_the_card(typed.value):
            self.add_error(
                "value", _("Enter at most seven figures and three behind the point.")
            )
        return data | {"value": typed.value, "unit": typed.unit}


_UNIT_WORDS = {
    Unit.MILLIMETRE.value: gettext_lazy("millimetres"),
    Unit.INCH.value: gettext_lazy("inches"),
}


class CompleteRepairForm(forms.Form):
    """What was done: outcome, odometer, pieces of each part, labour."""

    key = KeyField()
    outcome = forms.ChoiceField(
        label=gettext_lazy("Outcome"),
        choices=choices_of(OUTCOME_WORDS),
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Say what came of it.")},
    )
    odometer = forms.IntegerField(
        label=gettext_lazy("Odometer, miles"),
        min_value=0,
        max_value=9_999_999,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "required": gettext_lazy(
                "The odometer is missing. Read it off the vehicle; the claim needs it."
            )
        },
    )
    odometer_why = forms.CharField(
        label=gettext_lazy("Why the odometer is lower than before"),
        max_length=120,
        required=False,
    )
    odometer_sure = forms.BooleanField(
        label=gettext_lazy("I have read the odometer again and it is right"),
        required=False,
    )
    operations = forms.MultipleChoiceField(
        label=gettext_lazy("Labour done"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    done_on = DayField(label=gettext_lazy("Done on"))
    technician = TechnicianField(empty_label=gettext_lazy("whoever signs off"))
    note = forms.CharField(
        label=gettext_lazy("Note"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("Say here why fewer pieces were fitted than planned."),
    )

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (Django's)
        card: JobCard,
        **options: Any,  # noqa: ANN401 (Django's)
    ) -> None:
        super().__init__(*args, **options)
        self.card = card
        repair = card.repair
        technician = self.fields["technician"]
        assert isinstance(technician, TechnicianField)
        technician.of_store(repair.store)
        self.fields["operations"].choices = [  # type: ignore[attr-defined]
            (str(line.pk), f"{line.title}, {line.hundredths_of_hour / 100:g} h")
            for line in card.operations
        ]
        if not card.operations:
            del self.fields["operations"]
        self._offer_odometer(repair.vehicle.odometer)
        for one in card.parts:
            field = forms.IntegerField(
                label=_part_label(one),
                min_value=0,
                max_value=MOST_PIECES,
                initial=one.suggested,
                help_text=_("%(held)d held, %(free)d free besides; planned %(planned)d")
                % {"held": one.held, "free": one.free, "planned": one.suggested},
            )
            field.widget.attrs["inputmode"] = "numeric"
            self.fields[f"part_{one.part.pk}"] = field
        order = ["key", "outcome", "odometer", "odometer_why", "odometer_sure"]
        parts = [f"part_{one.part.pk}" for one in card.parts]
        self.order_fields([*order, *parts, "operations", "done_on", "technician"])

    def _offer_odometer(self, last: int | None) -> None:
        """Say what the last reading was; ask the two questions only when they arise."""
        if last is not None:
            self.fields["odometer"].help_text = _("Last known: %(miles)s") % {
                "miles": f"{last:,}"
            }
        asked = {"odometer_why": OdometerVerdict.BELOW_LAST}
        asked["odometer_sure"] = OdometerVerdict.FAR_ABOVE
        verdict = self._verdict()
        for name, when in asked.items():
            if verdict is not when:
                del self.fields[name]

    def _verdict(self) -> OdometerVerdict | None:
        """Judge what was typed beside the vehicle's last reading."""
        vehicle = self.card.repair.vehicle
        typed = str(self.data.get("odometer", "")).strip()
        if not typed.isdecimal() or len(typed) > 7:  # noqa: PLR2004 (the field's own limit)
            return None
        return judge_odometer(
            miles=int(typed),
            on=self.card.today,
            last_miles=vehicle.odometer,
            last_on=vehicle.odometer_on,
        )

    def clean(self) -> dict[str, Any]:
        """Warn of an odometer that is far above the last one."""
        data: dict[str, Any] = super().clean() or {}
        asked = "odometer_sure" in self.fields and not data.get("odometer_sure")
        if asked and "odometer" in data:
            self.add_error(
                "odometer",
                _(
                    "That is far more than before (%(last)s). Read it again; if it is"
                    " right, tick the box below."
                )
                % {"last": f"{self.card.repair.vehicle.odometer or 0:,}"},
            )
        return data

    def outcome_given(self) -> Outcome:
        """Give the outcome of a valid form."""
        return Outcome(self.cleaned_data["outcome"])

    def used(self) -> dict[Part, int]:
        """Give the pieces of each part of a valid form."""
        return {
            one.part: self.cleaned_data[f"part_{one.part.pk}"]
            for one in self.card.parts
        }

    def operations_done(self) -> list[VariantLabour]:
        """Give the labour that is ticked."""
        ticked = set(self.cleaned_data.get("operations", ()))
        return [line for line in self.card.operations if str(line.pk) in ticked]

    def day(self) -> dt.date:
        """Give the day of the work."""
        day: dt.date = self.cleaned_data["done_on"]
        return day


def _part_label(one: PartNow) -> str:
    """Name a part of the job, and for which one another number serves."""
    named = f"{one.part.number} {one.part.name}"
    if one.serves_for is None:
        return named
    return _("%(named)s, serves for %(number)s") % {
        "named": named,
        "number": one.serves_for.number,
    }


class AbandonRepairForm(forms.Form):
    """Why a repair is given up."""

    why = forms.CharField(label=gettext_lazy("Reason"), max_length=200)
