"""The vehicles of a campaign about which somebody has to find out or decide."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db.models import Count, Q, TextField
from django.db.models.functions import Cast
from django.utils.translation import gettext_lazy as _

from campaigns.models import CampaignVehicle
from campaigns.rules.lifecycle import WorkState
from dealership.models import AuditEntry


if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from campaigns.models import Campaign
    from dealership.models import Store

FOUND_OUT, DECIDED = "campaign.found_out", "campaign.decided"
"""Acts in the trail of a campaign; each names the vehicle's row."""
UNLISTED, DISAGREE = "criteria_met_not_on_list", "criteria_disagree"
_DECIDED = ("confirmed", "ruled_out")
_FACTS = {
    "model_year": _("model year"),
    "line": _("model line"),
    "engine": _("engine"),
    "plant": _("plant"),
    "serial": _("serial number"),
    "build_date": _("built on"),
}


class Question(StrEnum):
    """What is open about a vehicle."""

    FACT = "fact"
    UNLISTED = "unlisted"
    DISAGREE = "disagree"


QUESTION_WORDS = {
    Question.FACT: _("a fact is missing"),
    Question.UNLISTED: _("fits the criteria, not on the list"),
    Question.DISAGREE: _("on the list, left out by the criteria"),
}


@dataclass(frozen=True, slots=True)
class Settled:
    """One thing that was found out or decided."""

    entry: AuditEntry
    row: CampaignVehicle
    found: tuple[tuple[str, str], ...]


def _says(code: str) -> Q:
    return Q(told__contains=f'"{code}"')


def _condition(question: Question) -> Q:
    """Give what rows with ``told`` (their reasons as text) meet."""
    waits = Q(work_state=WorkState.TO_VERIFY)
    if question is Question.FACT:
        return waits & ~_says(UNLISTED)
    if question is Question.UNLISTED:
        return waits & _says(UNLISTED)
    in_work = Q(work_state__in=[WorkState.OPEN, WorkState.NEEDS_REPAIR])
    return in_work & _says(DISAGREE) & ~Q(outcome__in=_DECIDED)


def asks_somebody() -> Q:
    """Ask for the vehicles with any open question."""
    told = CampaignVehicle.objects.alias(told=Cast("reasons", TextField()))
    listed = told.filter(_condition(Question.DISAGREE))
    return Q(work_state=WorkState.TO_VERIFY) | Q(pk__in=listed.values("pk"))


def open_questions(
    *, campaign: Campaign, store: Store, question: Question
) -> QuerySet[CampaignVehicle]:
    """Give the vehicles of a store with one sort of question, by VIN."""
    return (
        CampaignVehicle.objects.in_store(store)
        .alias(told=Cast("reasons", TextField()))
        .filter(_condition(question), campaign=campaign)
        .select_related("vehicle", "store", "campaign")
        .order_by("vehicle__vin")
    )


def count_questions(*, campaign: Campaign, store: Store) -> dict[Question, int]:
    """Count the vehicles of a store by what is open about them; one statement."""
    found = (
        CampaignVehicle.objects.in_store(store)
        .still_open()
        .filter(campaign=campaign)
        .annotate(told=Cast("reasons", TextField()))
        .aggregate(
            **{one.value: Count("pk", filter=_condition(one)) for one in Question}
        )
    )
    return {one: found[one.value] for one in Question}


def missing_fields(reasons: Iterable[dict[str, str]]) -> tuple[str, ...]:
    """Give the fields of the vehicle that a verdict waits for, each once."""
    fields = []
    for reason in reasons:
        name, _mark, fault = str(reason.get("code", "")).rpartition("_")
        if str(reason.get("code", "")).endswith("_not_comparable"):
            name, fault = name.removesuffix("_not"), "missing"
        if fault == "missing" and name in _FACTS and name not in fields:
            fields.append(name)
    return tuple(fields)


def settled(*, campaign: Campaign, store: Store, limit: int = 20) -> list[Settled]:
    """Give what was found out and decided in a store, the latest first."""
    entries = list(
        AuditEntry.objects.filter(
            subject=f"{campaign._meta.label_lower}:{campaign.pk}",  # noqa: SLF001 (Django's public _meta)
            act__in=[FOUND_OUT, DECIDED],
            store=store,
        )
        .select_related("by")
        .order_by("-id")[:limit]
    )
    rows = (
        CampaignVehicle.objects.in_store(store)
        .select_related("vehicle")
        .in_bulk([int(entry.after["row"]) for entry in entries])
    )
    return [
        Settled(entry, rows[row_id], _told(entry))
        for entry in entries
        if (row_id := int(entry.after["row"])) in rows
    ]


def _told(entry: AuditEntry) -> tuple[tuple[str, str], ...]:
    """Give the facts that were found out, by the names that people know."""
    facts: dict[str, str] = entry.after.get("facts", {})
    return tuple(
        (str(_FACTS[name]), value) for name, value in facts.items() if name in _FACTS
    )
