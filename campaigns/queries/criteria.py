"""Criteria as the matching rules read them, and as sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.utils.translation import gettext as _

from campaigns.models import CampaignVehicle, CriteriaVersion, Criterion, ListedVin
from vehicles.models import Vehicle
from vehicles.rules.criteria import CriteriaSet, SerialRange, folded
from vehicles.rules.criteria import Criterion as Rule


if TYPE_CHECKING:
    from collections.abc import Iterable


def rule_of(criterion: Criterion) -> Rule:
    """Read one criterion; raises CriterionAsksNothing and WindowBackToFront."""
    serials: tuple[SerialRange, ...] = ()
    if criterion.serial_from or criterion.serial_to:
        serials = (SerialRange(criterion.serial_from, criterion.serial_to),)
    return Rule(
        id=criterion.pk or 0,
        include=criterion.include,
        model_years=frozenset(map(int, criterion.model_years)),
        lines=frozenset(criterion.lines),
        engines=frozenset(criterion.engines),
        plants=frozenset(criterion.plants),
        build_from=criterion.build_from,
        build_to=criterion.build_to,
        serials=serials,
    )


def rules_of(version: CriteriaVersion) -> CriteriaSet:
    """Read all that a version says; a list of VINs counts where there is one.

    The VINs themselves are not loaded: the facts say whether a vehicle is on the
    list. Raises NothingToMatchBy, CriterionAsksNothing, WindowBackToFront.
    """
    listed = ListedVin.objects.filter(campaign=version.campaign_id).exists()
    return CriteriaSet(
        criteria=tuple(rule_of(row) for row in version.criteria.order_by("id")),
        listed_vins=frozenset() if listed else None,
    )


def sentence_of(criterion: Criterion) -> str:
    """Say a criterion in one sentence."""
    parts = []
    if criterion.model_years:
        years = ", ".join(map(str, sorted(criterion.model_years)))
        parts.append(_("model year %(years)s") % {"years": years})
    for words, values in (
        (_("line %(values)s"), criterion.lines),
        (_("engine %(values)s"), criterion.engines),
        (_("plant %(values)s"), criterion.plants),
    ):
        if values:
            parts.append(words % {"values": _(" or ").join(values)})
    if criterion.build_from or criterion.build_to:
        parts.append(_window(_("built"), criterion.build_from, criterion.build_to))
    if criterion.serial_from or criterion.serial_to:
        parts.append(
            _window(_("serial number"), criterion.serial_from, criterion.serial_to)
        )
    told = _(", and ").join(parts)
    if criterion.include:
        return _("Takes in: %(tests)s.") % {"tests": told}
    return _("Leaves out: %(tests)s.") % {"tests": told}


def _window(words: str, first: Any, last: Any) -> str:  # noqa: ANN401 (days or serials)
    if not last:
        return _("%(words)s from %(first)s on") % {"words": words, "first": first}
    if not first:
        return _("%(words)s up to and including %(last)s") % {
            "words": words,
            "last": last,
        }
    return _("%(words)s from %(first)s to %(last)s, both inside") % {
        "words": words,
        "first": first,
        "last": last,
    }


def may_concern(version: CriteriaVersion) -> Q:
    """Give a condition that every vehicle meets whose verdict may change something.

    Vehicles left out fail a test of each including criterion by a known fact, are on
    no list and not in the population: nothing could come of them. Serial ranges are
    not asked here, since only the rule can compare serial numbers.
    """
    campaign = version.campaign_id
    wanted = Q(
        pk__in=CampaignVehicle.objects.filter(campaign=campaign).values("vehicle")
    ) | Q(vin__in=ListedVin.objects.filter(campaign=campaign).values("vin"))
    for row in version.criteria.filter(include=True):
        wanted |= _not_ruled_out(row)
    return wanted


def _not_ruled_out(row: Criterion) -> Q:
    """Keep the vehicles that no known fact rules out."""
    asked = Q(pk__isnull=False)
    if row.model_years:
        asked &= Q(model_year__in=row.model_years) | Q(model_year__isnull=True)
    for field in ("line", "engine", "plant"):
        values = getattr(row, f"{field}s")
        if values:
            asked &= Q(**{f"{field}__in": _spellings(field, values)})
    if row.build_from:
        asked &= Q(build_date__gte=row.build_from) | Q(build_date__isnull=True)
    if row.build_to:
        asked &= Q(build_date__lte=row.build_to) | Q(build_date__isnull=True)
    return asked


def _spellings(field: str, values: Iterable[str]) -> list[str]:
    """Give each spelling in the vehicle file that the rule reads as one of these.

    A blank is a missing fact and stays in.
    """
    wanted = {folded(value) for value in values} | {""}
    held = Vehicle.objects.order_by(field).values_list(field, flat=True).distinct()
    return [spelling for spelling in held if folded(spelling) in wanted]


def known_words(limit: int = 200) -> dict[str, list[str]]:
    """Give the lines, engines and plants in the vehicle file, to choose from."""
    return {
        f"{field}s": list(
            Vehicle.objects.exclude(**{field: ""})
            .order_by(field)
            .values_list(field, flat=True)
            .distinct()[:limit]
        )
        for field in ("line", "engine", "plant")
    }
