"""Which variant of its remedy each vehicle needs, told by the database in one go.

The same rule as ``campaigns.rules.remedy_choice``, written as SQL for counting many
vehicles; a vehicle at the counter is judged by the rule itself.
"""

from __future__ import annotations

import datetime as dt
import math
from calendar import monthrange
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import (
    BigIntegerField,
    Case,
    Exists,
    OuterRef,
    Q,
    Value,
    When,
)

from campaigns.models import CampaignVehicle
from campaigns.queries.remedies import MONTHS_A_YEAR
from campaigns.rules.lifecycle import WorkState
from campaigns.rules.remedy_choice import (
    BadCondition,
    Condition,
    VehicleFact,
    read_conditions,
)


if TYPE_CHECKING:
    from collections.abc import Mapping

    from campaigns.models import Remedy, Variant

_COLUMNS = {
    VehicleFact.MODEL_YEAR: "vehicle__model_year",
    VehicleFact.BUILD_DATE: "vehicle__build_date",
    VehicleFact.ODOMETER_MILES: "vehicle__odometer",
    VehicleFact.AGE_MONTHS: "vehicle__first_use_date",
}


def variant_of(remedies: Mapping[int, Remedy], *, today: dt.date) -> Case:
    """Give the id of the one variant that fits a row of the population, else NULL.

    ``remedies`` by campaign id, with their variants. NULL: none fits, several may, or
    a fact that decides (a value not yet measured, an odometer nobody read) is missing.
    """
    cases: list[When] = []
    for campaign_id in sorted(remedies):
        variants = list(remedies[campaign_id].variants.all())
        found = [_test(one, today) for one in variants]
        tests = {
            one.pk: test
            for one, test in zip(variants, found, strict=True)
            if test is not None
        }
        if len(tests) < len(variants):
            continue
        for one in variants:
            mine = Q(campaign=campaign_id) & tests[one.pk]
            for other in variants:
                if other.pk != one.pk:
                    mine &= ~tests[other.pk]
            cases.append(When(mine, then=Value(one.pk)))
    return Case(*cases, default=Value(None), output_field=BigIntegerField())


def _test(variant: Variant, today: dt.date) -> Q | None:
    """Give the test of a variant; None where only a measurement can tell."""
    try:
        conditions = read_conditions(variant.conditions)
    except BadCondition:
        return None
    test = Q(pk__isnull=False)
    for one in conditions:
        if one.fact is VehicleFact.MEASURED:
            return None
        if one.fact is VehicleFact.CAMPAIGN:
            test &= _belongs(one)
        elif one.fact is VehicleFact.AGE_MONTHS:
            test &= _aged(one, today)
        else:
            test &= _bounded(one)
    return test


def _bounded(one: Condition) -> Q:
    """Test a column against a range and lists; an unknown value fails."""
    column = _COLUMNS[one.fact]
    test = Q(**{f"{column}__isnull": False})
    if one.low is not None:
        test &= Q(**{f"{column}__gte": _plain(one.low, up=True)})
    if one.high is not None:
        test &= Q(**{f"{column}__lte": _plain(one.high, up=False)})
    if one.one_of:
        test &= Q(**{f"{column}__in": _values(one, one.one_of)})
    if one.none_of:
        test &= ~Q(**{f"{column}__in": _values(one, one.none_of)})
    return test


def _aged(one: Condition, today: dt.date) -> Q:
    """Test the full months since first use, as a range of days."""
    column = _COLUMNS[one.fact]
    test = Q(**{f"{column}__isnull": False})
    if isinstance(one.low, Decimal):
        oldest = months_ago(today, math.ceil(one.low))
        test &= Q(**{f"{column}__lte": oldest})
    if isinstance(one.high, Decimal):
        youngest = months_ago(today, math.floor(one.high) + 1)
        test &= Q(**{f"{column}__gt": youngest})
    return test


def _belongs(one: Condition) -> Q:
    """Test whether the vehicle belongs to some campaigns and not to others."""
    rows = CampaignVehicle.objects.filter(vehicle=OuterRef("vehicle_id")).exclude(
        work_state=WorkState.REMOVED
    )
    test = Q(pk__isnull=False)
    if one.one_of:
        test &= Q(Exists(rows.filter(campaign__code__in=sorted(one.one_of))))
    if one.none_of:
        test &= ~Q(Exists(rows.filter(campaign__code__in=sorted(one.none_of))))
    return test


def months_ago(day: dt.date, months: int) -> dt.date:
    """Give the last day from which so many full months have passed by ``day``.

    >>> months_ago(dt.date(2026, 3, 31), 1)
    datetime.date(2026, 2, 28)
    """
    place = day.year * MONTHS_A_YEAR + day.month - 1 - months
    year, month = divmod(place, MONTHS_A_YEAR)
    return dt.date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _plain(bound: Decimal | dt.date, *, up: bool) -> int | dt.date:
    """Give a bound as the column holds it: whole numbers and days."""
    if isinstance(bound, Decimal):
        return math.ceil(bound) if up else math.floor(bound)
    return bound


def _values(one: Condition, stored: frozenset[str]) -> list[Any]:
    """Read listed values as the column holds them; what it cannot hold never fits."""
    if one.fact is VehicleFact.BUILD_DATE:
        return [dt.date.fromisoformat(text) for text in sorted(stored)]
    return [int(text) for text in sorted(stored) if text.isdigit()]
