"""A part number replaced by another: chained, mended, ended."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.models import Part
from inventory.rules.supersession import SupersessionGoesRound, current_of


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember


class ChainGoesRound(Refusal):
    """A part would replace itself, by one step or several."""

    def __init__(self, old: Part, new: Part) -> None:
        super().__init__(
            _(
                "%(new)s is itself replaced by %(old)s. A chain of numbers cannot go "
                "round; check which of the two is the newer one."
            )
            % {"old": old.number, "new": new.number}
        )
        self.old = old
        self.new = new


def supersede(
    *,
    old: Part,
    new: Part,
    since: dt.date,
    old_stock_serves: bool,
    by: StaffMember | None,
    at: dt.datetime,
    why: str = "",
) -> Part:
    """Replace a part number by another; what is ordered from now on is the newest.

    ``old_stock_serves``: what is left of the old number may still be fitted, as the
    bulletin says; a line of a remedy may say no for itself. The same facts again change
    nothing. Raises ChainGoesRound.
    """
    with transaction.atomic():
        chain = dict(
            Part.objects.filter(superseded_by__isnull=False).values_list(
                "pk", "superseded_by_id"
            )
        )
        chain[old.pk] = new.pk
        try:
            current_of(old.pk, chain)
        except SupersessionGoesRound as round_:
            raise ChainGoesRound(old, new) from round_
        return _write(
            old,
            by=by,
            at=at,
            why=why,
            superseded_by_id=new.pk,
            superseded_on=since,
            old_stock_serves=old_stock_serves,
        )


def end_supersession(
    *, old: Part, by: StaffMember | None, at: dt.datetime, why: str
) -> Part:
    """Take a part out of a chain that was entered by mistake. A repeat changes nothing."""
    with transaction.atomic():
        return _write(
            old,
            by=by,
            at=at,
            why=why,
            superseded_by_id=None,
            superseded_on=None,
            old_stock_serves=True,
        )


def _write(
    old: Part, *, by: StaffMember | None, at: dt.datetime, why: str, **facts: object
) -> Part:
    """Change the facts that differ, with their line in the trail."""
    part = Part.objects.get(pk=old.pk)
    before = {name: getattr(part, name) for name in facts}
    if before != facts:
        Part.objects.filter(pk=part.pk).update(**facts)
        record(
            act="part.superseded" if facts["superseded_by_id"] else "part.chain_ended",
            subject=part,
            by=by,
            at=at,
            before={name: str(value) for name, value in before.items()},
            after={name: str(value) for name, value in facts.items()},
            why=why,
        )
    return Part.objects.get(pk=part.pk)
