"""One box: whatever somebody types or scans, and what it may be."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import chain
from typing import TYPE_CHECKING

from django.db.models import Q

from campaigns.models import Campaign, CampaignVehicle, Letter, Repair
from campaigns.rules.lifecycle import STILL_OPEN, CampaignState
from inventory.models import Part
from vehicles.models import Vehicle
from vehicles.queries.vehicles import begins_with, search, with_owners
from vehicles.rules.cells import clean_text
from vehicles.rules.vin import (
    VIN_LENGTH,
    Grade,
    Market,
    VinVerdict,
    has_right_check_digit,
    judge_vin,
    normalise_vin,
    without_import_mark,
    wrong_characters,
)


if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from dealership.models import StaffMember
    from vehicles.models import Tenure

SHORTEST = 3
"""Fewer characters than this find everything; only a whole code is looked for."""


_LONGEST = 1_000


class Kind(StrEnum):
    """What was found."""

    VEHICLE = "vehicle"
    CAMPAIGN = "campaign"
    PART = "part"
    REPAIR = "repair"
    LETTER = "letter"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One thing found.

    ``target`` is what its address is made of: a VIN, a code or an id. ``exact``: the
    whole of what was typed is its number, so nothing else was meant. ``open_campaigns``
    are the codes that are open on a vehicle.
    """

    kind: Kind
    target: str
    title: str
    detail: str
    exact: bool
    open_campaigns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The answers, the best first, and what is said of a VIN that is not known."""

    text: str
    answers: tuple[Answer, ...]
    unknown_vin: VinVerdict | None
    elsewhere: bool

    @property
    def digit_is_right(self) -> bool:
        """Tell whether the check digit of an unknown VIN is right."""
        verdict = self.unknown_vin
        if verdict is None or wrong_characters(verdict.vin):
            return False
        return has_right_check_digit(verdict.vin)

    @property
    def first(self) -> Answer | None:
        """Give the answer that Enter goes to.

        The first one, unless several are equally likely: then a person chooses.
        """
        if not self.answers:
            return None
        best = self.answers[0]
        alone = len(self.answers) == 1
        return best if alone or (best.exact and not self.answers[1].exact) else None


def find(text: str, *, staff: StaffMember, market: Market, limit: int = 10) -> Found:
    """Look for a text among all that this person may see.

    VIN, its last 8, plate, owner, part number, campaign code or maker's number,
    repair order, letter code. ``limit`` answers of each kind at most; exact ones
    first.
    """
    typed = clean_text(text[:_LONGEST]).text[:200]
    if not typed:
        return Found(text="", answers=(), unknown_vin=None, elsewhere=False)
    answers = list(
        chain(
            _vehicles(typed, staff, limit),
            _campaigns(typed, limit),
            _parts(typed, limit),
            _repairs(typed, staff, limit),
            _letters(typed, staff, limit),
        )
    )
    answers.sort(key=lambda one: not one.exact)
    code = without_import_mark(normalise_vin(typed))
    unknown = looks_like_vin(code) and not any(one.target == code for one in answers)
    return Found(
        text=typed,
        answers=tuple(answers),
        unknown_vin=judge_vin(code, market=market) if unknown else None,
        elsewhere=unknown and Vehicle.objects.filter(vin=code).exists(),
    )


def looks_like_vin(code: str) -> bool:
    """Tell whether somebody meant a VIN: 17 letters and figures."""
    return len(code) == VIN_LENGTH and code.isascii() and code.isalnum()


def may_be_registered(verdict: VinVerdict) -> bool:
    """Tell whether an unknown VIN could be taken in as it is."""
    return verdict.grade is not Grade.REJECT and not wrong_characters(verdict.vin)


def _vehicles(typed: str, staff: StaffMember, limit: int) -> Iterator[Answer]:
    """Find vehicles by VIN, last 8, plate, owner; else by the beginning of the VIN."""
    code = without_import_mark(normalise_vin(typed))
    shown = search(typed, staff, limit)
    if not shown and len(code) >= SHORTEST:
        mine = with_owners(Vehicle.objects.for_staff(staff))
        shown = list(mine.filter(begins_with("vin", code))[:limit])
    still_open = _open_codes(shown)
    numbers = {code, typed.upper()}
    for one in shown:
        tenures: list[Tenure] = getattr(one, "open_tenures", [])
        names = [tenure.party.name for tenure in tenures[:1]]
        words = [str(one.model_year or ""), one.line, one.plate, *names]
        yield Answer(
            kind=Kind.VEHICLE,
            target=one.vin,
            title=one.vin,
            detail=" · ".join(word for word in words if word),
            exact=bool(numbers & {one.vin, one.vin_tail, one.plate.upper()}),
            open_campaigns=tuple(still_open.get(one.pk, ())),
        )


def _open_codes(vehicles: Sequence[Vehicle]) -> dict[int, list[str]]:
    """Give the codes of the campaigns that are open on these vehicles."""
    rows = (
        CampaignVehicle.objects.filter(vehicle__in=vehicles, work_state__in=STILL_OPEN)
        .exclude(campaign__state=CampaignState.DRAFT)
        .order_by("campaign__code")
        .values_list("vehicle_id", "campaign__code")
    )
    codes: dict[int, list[str]] = {}
    for vehicle_id, code in rows:
        codes.setdefault(vehicle_id, []).append(code)
    return codes


def _campaigns(typed: str, limit: int) -> Iterable[Answer]:
    """Find campaigns by our number, the maker's or the regulator's."""
    numbers = ("code", "maker_number", "regulator_number")
    rows = Campaign.objects.filter(_begins(numbers, typed))[:limit]
    return [
        Answer(
            kind=Kind.CAMPAIGN,
            target=one.code,
            title=f"{one.code} {one.title}",
            detail=f"{one.maker} {one.maker_number}",
            exact=_is_one_of(typed, *(getattr(one, name) for name in numbers)),
        )
        for one in rows
    ]


def _parts(typed: str, limit: int) -> Iterable[Answer]:
    """Find parts by number; the same part whatever its dashes."""
    rows = Part.objects.filter(_begins(("number",), typed))[:limit]
    return [
        Answer(
            kind=Kind.PART,
            target=str(one.pk),
            title=one.number,
            detail=one.name,
            exact=_is_one_of(typed, one.number),
        )
        for one in rows
    ]


def _repairs(typed: str, staff: StaffMember, limit: int) -> Iterable[Answer]:
    """Find repairs by repair order."""
    rows = Repair.objects.for_staff(staff).filter(_begins(("repair_order",), typed))
    return [
        Answer(
            kind=Kind.REPAIR,
            target=str(one.pk),
            title=one.repair_order,
            detail=one.vehicle.vin,
            exact=_is_one_of(typed, one.repair_order),
        )
        for one in rows.select_related("vehicle")[:limit]
    ]


def _letters(typed: str, staff: StaffMember, limit: int) -> Iterable[Answer]:
    """Find letters by the code printed on them; they lead to the vehicle."""
    rows = Letter.objects.for_staff(staff).filter(code__iexact=typed)
    return [
        Answer(
            kind=Kind.LETTER,
            target=one.campaign_vehicle.vehicle.vin,
            title=one.code,
            detail=f"{one.campaign_vehicle.campaign.code} · "
            f"{one.campaign_vehicle.vehicle.vin}",
            exact=True,
        )
        for one in rows.select_related(
            "campaign_vehicle__vehicle", "campaign_vehicle__campaign"
        )[:limit]
    ]


def _begins(fields: Sequence[str], typed: str) -> Q:
    """Match what begins with the text; a short text only the whole of a number."""
    lookup = "istartswith" if len(typed) >= SHORTEST else "iexact"
    wanted = Q()
    for field in fields:
        wanted |= Q(**{f"{field}__{lookup}": typed})
    return wanted


def _is_one_of(typed: str, *numbers: str) -> bool:
    """Tell whether the text is one of these numbers, whatever its case."""
    return typed.casefold() in {number.casefold() for number in numbers if number}
