"""Taking in a bill file or payment advice: kept, matched, applied once."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.domain.claims import record_payment, reject
from campaigns.domain.lifecycle import refuse_days_ahead
from campaigns.models import Allocation, MoneyFile
from campaigns.queries.money_files import (
    BilledMatch,
    Match,
    PaidMatch,
    match_bills,
    match_payments,
)
from campaigns.rules.money_rows import BilledRow, FileKind, PaidRow, Read, read_rows
from dealership.documents.tabular import Limits, open_table
from dealership.domain.audit import record
from dealership.domain.uploads import digest_of, keep_upload
from dealership.rules.refusals import Refusal
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.once import once
from inventory.models import Shipment


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from django.core.files.base import File

    from dealership.models import StaffMember, Store
    from inventory.models import Bill

LIMITS = Limits(columns=60, rows=5_000, cell=400)
KEPT_YEARS = 10
"""Bills and advices are kept as long as claims can be audited: common practice, no
source."""


class FileGone(Refusal):
    """The kept file has passed its day."""

    def __init__(self) -> None:
        super().__init__(_("The file is not kept any more; send it again."))


class NothingToApply(Refusal):
    """No row of the file fits anything."""

    def __init__(self) -> None:
        super().__init__(_("No row of this file can be applied; see why at each row."))


def keep_money_file(
    *,
    file: File[bytes],
    name: str,
    kind: FileKind,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
) -> MoneyFile:
    """Keep a file as it came. The same content again answers with the first one.

    Raises EmptyUpload, UploadTooLarge, and what ``read_money_file`` raises: a file that
    cannot be read is not kept.
    """
    digest = digest_of(file=file, name=name)
    first = MoneyFile.objects.filter(store=store, kind=kind, sha256=digest).first()
    if first:
        return first
    with transaction.atomic():
        upload = keep_upload(
            file=file,
            name=name,
            store=store,
            by=by,
            at=at,
            keep_until=at.date() + timedelta(days=365 * KEPT_YEARS),
        )
        made = MoneyFile.objects.create(
            store=store,
            kind=kind,
            upload=upload,
            sha256=upload.sha256,
            made_by=by,
            made_at=at,
        )
        read_money_file(made)
        record(
            act="money_file.kept",
            subject=made,
            by=by,
            at=at,
            store=store,
            after={"kind": kind.value, "sha256": upload.sha256},
        )
        return made


def read_money_file(money_file: MoneyFile) -> Read:
    """Read the kept file. Raises FileGone, UnreadableList, ColumnMissing."""
    upload = money_file.upload
    if upload.erased_at:
        raise FileGone
    table = open_table(Path(upload.file.path), upload.original_name, limits=LIMITS)
    return read_rows(
        FileKind(money_file.kind),
        table.columns,
        ((row.number, row.cells) for row in table.rows()),
        currency=money_file.store.currency,
    )


def match_money_file(money_file: MoneyFile, read: Read) -> list[Match]:
    """Hold every row against what stands in the house now."""
    if FileKind(money_file.kind) is FileKind.PAYMENTS:
        paid = [row for row in read.rows if isinstance(row, PaidRow)]
        return [*match_payments(money_file.store, paid)]
    billed = [row for row in read.rows if isinstance(row, BilledRow)]
    return [*match_bills(money_file.store, billed)]


def apply_money_file(
    *,
    key: str,
    money_file: MoneyFile,
    dated: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> MoneyFile:
    """Apply every row that fits, all or nothing; ``dated`` where a row has no day.

    A file is applied once, whatever the key: again it answers with what was done.
    Raises NothingToApply, DayAhead, and what reading raises.
    """

    def found() -> MoneyFile | None:
        return MoneyFile.objects.filter(
            pk=money_file.pk, applied_at__isnull=False
        ).first()

    def act() -> MoneyFile:
        free = MoneyFile.objects.filter(pk=money_file.pk, applied_at__isnull=True)
        free.update(applied_at=at, applied_by=by, key=key)
        matches = match_money_file(money_file, read_money_file(money_file))
        chosen = [one for one in matches if one.applies]
        if not chosen:
            raise NothingToApply
        result = _pay(chosen, key, dated, by, at) + _bill(money_file, chosen, by, at)
        MoneyFile.objects.filter(pk=money_file.pk).update(result=result)
        record(
            act="money_file.applied",
            subject=money_file,
            by=by,
            at=at,
            store=money_file.store,
            after={"rows": len(chosen), "of": len(matches)},
        )
        return MoneyFile.objects.get(pk=money_file.pk)

    refuse_days_ahead(dated, at)
    return once(found=found, act=act)


def _pay(
    matches: Sequence[Match],
    key: str,
    dated: dt.date,
    by: StaffMember,
    at: dt.datetime,
) -> list[dict[str, Any]]:
    """Record payments and refusals, row by row."""
    result = []
    for one in matches:
        if not isinstance(one, PaidMatch) or one.claim is None:
            continue
        facts: dict[str, Any] = {
            "key": f"{key}/{one.row.row}",
            "claim": one.claim,
            "dated": one.row.dated or dated,
            "by": by,
            "at": at,
        }
        if one.refuses:
            reject(why=one.row.reason, reference=one.row.advice, **facts)
        else:
            record_payment(paid=one.pays, advice=one.row.advice, **facts)
        result.append({"row": one.row.row, "sentence": one.sentence})
    return result


def _bill(
    money_file: MoneyFile, matches: Sequence[Match], by: StaffMember, at: dt.datetime
) -> list[dict[str, Any]]:
    """Enter each bill whole, and tie it to the deliveries that it is for."""
    by_bill: dict[str, list[BilledMatch]] = {}
    for one in matches:
        if isinstance(one, BilledMatch):
            by_bill.setdefault(one.row.bill, []).append(one)
    result = []
    for number, mine in by_bill.items():
        first = mine[0]
        assert first.line is not None  # a bill that applies has all its lines
        assert first.part is not None  # likewise
        bill = enter_bill(
            store=money_file.store,
            supplier=first.part.supplier,
            number=number,
            dated=first.row.dated,
            lines=[
                BilledLine(
                    part=one.part,
                    quantity=one.row.quantity,
                    unit_cost_cents=one.row.unit_cents,
                )
                for one in mine
                if one.part
            ],
            earmark=first.line.shipment.earmark,
            by=by,
            at=at,
        )
        _tie(bill, mine)
        result += [{"row": one.row.row, "sentence": one.sentence} for one in mine]
    return sorted(result, key=lambda one: int(one["row"]))


def _tie(bill: Bill, matches: Sequence[BilledMatch]) -> None:
    """Name the bill on deliveries that are not counted yet; those are matched later.

    What was counted before its bill stands in layers without one: the account matches
    it by part and order of arrival.
    """
    billed = list(bill.lines.order_by("pk"))
    for one in matches:
        line = one.line
        assert line is not None  # a bill that applies has all its lines
        mine = next(
            here
            for here in billed
            if (here.part_id, here.quantity, here.unit_cost_cents)
            == (line.part_id, one.row.quantity, one.row.unit_cents)
        )
        billed.remove(mine)
        shipment = line.shipment
        unbilled = Allocation.objects.filter(
            shipment=shipment, part=line.part, bill__isnull=True
        )
        unbilled.update(bill=bill)
        if shipment.received_at is None:
            line.bill_line = mine
            line.save(update_fields=["bill_line"])
            Shipment.objects.filter(pk=shipment.pk, bill__isnull=True).update(bill=bill)
