"""Letters that came back: booked, and what is done about each."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.lifecycle import record_reach, refuse_days_ahead
from campaigns.models import Letter
from campaigns.rules.letter_returns import ReturnReason, address_is_wrong
from campaigns.rules.lifecycle import Reach, ReturnStep
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from vehicles.domain.people import (
    AddressIncomplete,
    Place,
    change_address,
    stop_letters,
    trust_address,
)
from vehicles.models import Address


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember


class LetterNotOut(Refusal):
    """A letter that was not posted cannot come back."""

    def __init__(self, letter: Letter) -> None:
        super().__init__(
            _("Letter %(code)s was not posted, so it cannot have come back.")
            % {"code": letter.code}
        )


class ReturnBeforePost(Refusal):
    """The day on which it came back lies before the day on which it was posted."""

    def __init__(self, letter: Letter) -> None:
        super().__init__(
            _("Letter %(code)s was posted on %(day)s; it cannot come back before.")
            % {"code": letter.code, "day": letter.posted_on}
        )


class LetterNotBack(Refusal):
    """Nothing is to be decided about a letter that did not come back."""

    def __init__(self, letter: Letter) -> None:
        super().__init__(
            _("Letter %(code)s did not come back, so there is nothing to decide.")
            % {"code": letter.code}
        )


class ReturnSettled(Refusal):
    """Somebody decided already what is done about the letter."""

    def __init__(self, letter: Letter) -> None:
        super().__init__(
            _("About letter %(code)s it is decided already: %(step)s.")
            % {"code": letter.code, "step": letter.get_return_step_display()}
        )


def book_return(
    *,
    letter: Letter,
    why: ReturnReason,
    on: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> Letter:
    """Note that a letter came back and why; a wrong address gets no more post.

    Whether the vehicle counts as not reached stays a person's decision. The same
    again changes nothing. Raises LetterNotOut, ReturnBeforePost, DayAhead.
    """
    refuse_days_ahead(on, at)
    with transaction.atomic():
        row = Letter.objects.select_for_update().get(pk=letter.pk)
        if row.returned_on is not None:
            return row
        if row.posted_on is None:
            raise LetterNotOut(row)
        if on < row.posted_on:
            raise ReturnBeforePost(row)
        row.returned_on, row.returned_why = on, why
        row.save(update_fields=["returned_on", "returned_why"])
        if address_is_wrong(why):
            Address.objects.filter(pk=row.address_id, undeliverable_on=None).update(
                undeliverable_on=on, undeliverable_why=why
            )
        record(
            act="letter.returned",
            subject=row,
            by=by,
            at=at,
            store=row.letter_round.store,
            after={"why": why, "on": on.isoformat()},
        )
    return row


def settle_return(
    *,
    letter: Letter,
    step: ReturnStep,
    place: Place | None,
    on: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> Letter:
    """Decide what is done about a letter that came back.

    A new address, or the same one after all: the vehicle is written to again with the
    next round of letters that came back. Not reached: the vehicle counts as such in
    the report. No more post: the person has died, or does not want it. The same step
    again changes nothing. Raises LetterNotBack, ReturnSettled, AddressIncomplete.
    """
    with transaction.atomic():
        row = (
            Letter.objects.select_for_update(of=("self",))
            .select_related("party", "address__party", "campaign_vehicle__store")
            .get(pk=letter.pk)
        )
        if row.returned_on is None:
            raise LetterNotBack(row)
        if row.return_step == step:
            return row
        if row.return_step:
            raise ReturnSettled(row)
        _take(row, step, place, on=on, by=by, at=at)
        row.return_step = step
        row.save(update_fields=["return_step"])
        record(
            act="letter.return_settled",
            subject=row,
            by=by,
            at=at,
            store=row.campaign_vehicle.store,
            after={"step": step},
        )
    return row


def _take(
    row: Letter,
    step: ReturnStep,
    place: Place | None,
    *,
    on: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    """Do what a step says."""
    match step:
        case ReturnStep.NEW_ADDRESS:
            if place is None:
                raise AddressIncomplete
            change_address(party=row.party, place=place, on=on, by=by, at=at)
        case ReturnStep.SAME_ADDRESS:
            trust_address(address=row.address, by=by, at=at)
        case ReturnStep.NOT_REACHED:
            record_reach(
                campaign_vehicle=row.campaign_vehicle,
                reach=Reach.NOT_NOTIFIED,
                effective_on=on,
                source=_("the post: letter %(code)s, %(why)s")
                % {"code": row.code, "why": row.returned_why},
                by=by,
                at=at,
            )
        case ReturnStep.NO_MORE_POST:
            stop_letters(
                party=row.party,
                deceased=row.returned_why == ReturnReason.DECEASED,
                by=by,
                at=at,
            )
