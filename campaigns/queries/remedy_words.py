"""A variant's conditions in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.rules.remedy_choice import Condition, VehicleFact, read_conditions


if TYPE_CHECKING:
    from campaigns.models import Variant


def said_conditions(variant: Variant) -> list[str]:
    """Say for which vehicles a variant is; empty: for every one."""
    said = []
    for condition in read_conditions(variant.conditions):
        said += _said(condition)
    return said


def _said(condition: Condition) -> list[str]:
    """Say one condition."""
    values = ", ".join(sorted(condition.one_of))
    barred = ", ".join(sorted(condition.none_of))
    words = _words(condition)
    said = []
    if condition.fact is VehicleFact.CAMPAIGN:
        if values:
            said.append(_("also in campaign %(codes)s") % {"codes": values})
        if barred:
            said.append(_("not in campaign %(codes)s") % {"codes": barred})
        return said
    if values:
        said.append(f"{words} {values}")
    ends = {"words": words, "low": condition.low, "high": condition.high}
    if condition.low is not None and condition.high is not None:
        said.append(_("%(words)s %(low)s to %(high)s, both inside") % ends)
    elif condition.low is not None:
        said.append(_("%(words)s %(low)s or more") % ends)
    elif condition.high is not None:
        said.append(_("%(words)s %(high)s or less") % ends)
    return said


def _words(condition: Condition) -> str:
    match condition.fact:
        case VehicleFact.MODEL_YEAR:
            return _("model year")
        case VehicleFact.BUILD_DATE:
            return _("build date")
        case VehicleFact.ODOMETER_MILES:
            return _("odometer in miles")
        case VehicleFact.AGE_MONTHS:
            return _("age in months")
        case VehicleFact.CAMPAIGN:
            return _("campaign")
        case VehicleFact.MEASURED:
            return f"{condition.name} ({condition.unit})"
