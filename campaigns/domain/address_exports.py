"""Handing out address lists: for a purpose, to somebody, and kept who got it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.models import AddressExport
from campaigns.queries.address_lists import address_heads, address_rows
from dealership.documents.sheets import to_csv, to_xlsx
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.models import LetterRound
    from campaigns.rules.lifecycle import ExportPurpose
    from dealership.models import StaffMember

YEARS_KEPT = 5
"""18 USC 2721(c): who got it and for what is kept for five years."""


class NobodyNamed(Refusal):
    """The list would go to somebody who is not named."""

    def __init__(self) -> None:
        super().__init__(_("Name who gets the list; it is kept for five years."))


class NothingToExport(Refusal):
    """No address of the round may be given for this purpose."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "No address of this round may be given for this purpose. Addresses"
                " from State records are for the recall only."
            )
        )


def export_addresses(
    *,
    letter_round: LetterRound,
    purpose: ExportPurpose,
    recipient: str,
    file_kind: str,
    by: StaffMember,
    at: dt.datetime,
) -> tuple[AddressExport, bytes]:
    """Make the address list of a round and keep who got it and for what.

    No cell of it can act as a formula. Raises NobodyNamed, NothingToExport.
    """
    if not recipient.strip():
        raise NobodyNamed
    rows = address_rows(letter_round, purpose)
    if not rows:
        raise NothingToExport
    day = timezone.localdate(at)
    if file_kind == "xlsx":
        body = to_xlsx(address_heads(), rows, sheet=_("Addresses"), made=day)
    else:
        body = to_csv(address_heads(), rows)
    with transaction.atomic():
        export = AddressExport.objects.create(
            store=letter_round.store,
            letter_round=letter_round,
            purpose=purpose,
            recipient=recipient.strip()[:120],
            file_kind=file_kind,
            rows=len(rows),
            by=by,
            at=at,
            keep_until=_years_on(day),
        )
        record(
            act="addresses.exported",
            subject=letter_round,
            by=by,
            at=at,
            store=letter_round.store,
            after={"purpose": purpose, "rows": len(rows)},
        )
    return export, body


def _years_on(day: dt.date) -> dt.date:
    """Give the day five years on; 29 February gives 1 March."""
    try:
        return day.replace(year=day.year + YEARS_KEPT)
    except ValueError:
        return day.replace(year=day.year + YEARS_KEPT, month=3, day=1)
