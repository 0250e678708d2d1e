"""Writing down what a campaign's remedy is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from django.db import transaction
from django.db.models import Max, ProtectedError
from django.utils.translation import gettext as _

from campaigns.domain.tools import need_tools, tool_by_number
from campaigns.models import (
    Campaign,
    Remedy,
    RemedyPrice,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
)
from campaigns.rules.remedy_choice import write_conditions
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.models import Part


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.rules.remedy_choice import Condition
    from dealership.models import StaffMember

Line: TypeAlias = (
    "VariantPart | VariantLabour | VariantStep | VariantCheck | RemedyPrice"
)
LineT = TypeVar("LineT", bound=Line)


class VariantCodeTaken(Refusal):
    """The remedy has another variant with this code."""

    def __init__(self, code: str) -> None:
        super().__init__(
            _("This remedy has a variant %(code)s already. Choose another code.")
            % {"code": code}
        )
        self.code = code


class InUse(Refusal):
    """Visits or repairs refer to it, so it stays."""

    def __init__(self, words: str) -> None:
        super().__init__(
            _(
                "%(words)s is used by visits or repairs, so it cannot be taken out."
                " Change it, or add another variant."
            )
            % {"words": words}
        )
        self.words = words


class PartTwice(Refusal):
    """The variant has a line for this part already."""

    def __init__(self, number: str) -> None:
        super().__init__(
            _("Part %(number)s stands in this variant already. Change that line.")
            % {"number": number}
        )
        self.number = number


class PartNotKnown(Refusal):
    """A part number that is not in the books, without what a new part needs."""

    def __init__(self, number: str) -> None:
        super().__init__(
            _(
                "Part %(number)s is not in the books yet. Enter its name and its cost"
                " too, and it is added."
            )
            % {"number": number}
        )
        self.number = number


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPart:
    """What a part that is not in the books needs; cost in cents a piece."""

    number: str
    name: str = ""
    unit_cost_cents: int | None = None


def remedy_of(campaign: Campaign) -> Remedy:
    """Give the remedy of a campaign; one is made where it is missing."""
    return Remedy.objects.get_or_create(campaign=campaign)[0]


def describe_remedy(
    *,
    campaign: Campaign,
    tools: str,
    cautions: str,
    by: StaffMember,
    at: dt.datetime,
    special_tools: Sequence[tuple[str, str]] | None = None,
) -> Remedy:
    """Write down tools and cautions.

    ``special_tools`` are (number, name); a number that is new is added with its name.
    None leaves them as they are.
    """
    with transaction.atomic():
        remedy = remedy_of(campaign)
        if special_tools is not None:
            needed = [
                tool_by_number(number=number, name=name, by=by, at=at)
                for number, name in special_tools
            ]
            need_tools(remedy=remedy, tools=needed, by=by, at=at)
        remedy.tools, remedy.cautions = tools.strip(), cautions.strip()
        remedy.save(update_fields=["tools", "cautions"])
        _note("campaign.remedy_described", campaign, by, at, remedy=remedy.pk)
    return remedy


def save_variant(
    *,
    campaign: Campaign,
    variant: Variant,
    conditions: Sequence[Condition],
    by: StaffMember,
    at: dt.datetime,
) -> Variant:
    """Add or change a variant and its conditions. Raises VariantCodeTaken."""
    with transaction.atomic():
        remedy = remedy_of(campaign)
        same = remedy.variants.filter(code=variant.code).exclude(pk=variant.pk)
        if same.exists():
            raise VariantCodeTaken(variant.code)
        if variant.pk is None:
            last = remedy.variants.aggregate(last=Max("position"))["last"]
            variant.position = (last or 0) + 1
        variant.remedy = remedy
        variant.conditions = write_conditions(conditions)
        variant.save()
        _note("campaign.variant_written", campaign, by, at, variant=variant.pk)
    return variant


def drop_variant(*, variant: Variant, by: StaffMember, at: dt.datetime) -> None:
    """Take a variant out with its lines. Raises InUse."""
    campaign = variant.remedy.campaign
    with transaction.atomic():
        if campaign is not None:
            _note("campaign.variant_dropped", campaign, by, at, variant=variant.pk)
        try:
            variant.delete()
        except ProtectedError:
            raise InUse(str(variant)) from None


def part_for(
    *, campaign: Campaign, wanted: NewPart, by: StaffMember, at: dt.datetime
) -> Part:
    """Find a part by its number, or add it to the books from the campaign's supplier.

    Raises PartNotKnown where it is new and its name or cost is missing.
    """
    found = Part.objects.filter(number=wanted.number).first()
    if found is not None:
        return found
    if not wanted.name.strip() or wanted.unit_cost_cents is None:
        raise PartNotKnown(wanted.number)
    with transaction.atomic():
        part = Part.objects.create(
            number=wanted.number,
            name=wanted.name.strip(),
            supplier=campaign.supplier,
            unit_cost_cents=wanted.unit_cost_cents,
        )
        record(
            act="part.added",
            subject=part,
            by=by,
            at=at,
            after={"number": part.number, "unit_cost_cents": part.unit_cost_cents},
        )
    return part


def save_line(
    *, variant: Variant, line: LineT, by: StaffMember, at: dt.datetime
) -> LineT:
    """Add or change a line: part, labour, step, check or allowance. Raises PartTwice."""
    with transaction.atomic():
        if isinstance(line, VariantPart):
            same = variant.parts.filter(part=line.part).exclude(pk=line.pk)
            if same.exists():
                raise PartTwice(line.part.number)
        line.variant = variant
        line.save()
        _note_line("campaign.remedy_line_written", variant, line, by, at)
    return line


def drop_line(
    *, variant: Variant, line: Line, by: StaffMember, at: dt.datetime
) -> None:
    """Take a line out. Raises InUse for a check with readings."""
    with transaction.atomic():
        _note_line("campaign.remedy_line_dropped", variant, line, by, at)
        try:
            line.delete()
        except ProtectedError:
            raise InUse(str(line)) from None


def _note_line(
    act: str, variant: Variant, line: Line, by: StaffMember, at: dt.datetime
) -> None:
    campaign = variant.remedy.campaign
    if campaign is None:
        return
    name = line._meta.model_name or ""  # noqa: SLF001 (Django's public _meta)
    _note(act, campaign, by, at, variant=variant.pk, **{name: line.pk})


def _note(
    act: str,
    campaign: Campaign,
    by: StaffMember,
    at: dt.datetime,
    **rows: int,
) -> None:
    """Write the line in the trail; rows by their kind and id."""
    record(act=act, subject=campaign, by=by, at=at, after=dict(rows))
