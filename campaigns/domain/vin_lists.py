"""Taking in the manufacturer's list of VINs of a campaign."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db import transaction
from django.db.models.functions import Substr
from django.utils.translation import gettext as _

from campaigns.domain.amending import open_amendment
from campaigns.models import Campaign, ListedVin
from dealership.documents.tabular import Table, open_table, write_refused
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from dealership.rules.refusals import Refusal
from vehicles.models import Vehicle
from vehicles.rules.columns import ColumnGuess, guess_columns
from vehicles.rules.vin import BulkResult, Grade, check_many, judge_vin, normalise_vin


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator

    from dealership.documents.headers import Row
    from dealership.models import Job, StaffMember, Store, Upload

CHUNK = 2_000
_SAMPLE = 200
_SHOWN = 8
_MAKER = 3


class NoVinColumn(Refusal):
    """Nobody said, and nothing shows, which column holds the VINs."""

    def __init__(self) -> None:
        super().__init__(
            _("No column is chosen for the VIN. Choose the one with the VINs.")
        )


class NoVinInList(Refusal):
    """Not one row of the list has a VIN that can be taken in."""

    def __init__(self, rows: int) -> None:
        super().__init__(
            _(
                "None of the %(rows)d rows has a right VIN in the chosen column, so"
                " nothing was taken in. Choose another column, or ask for the list"
                " again."
            )
            % {"rows": rows}
        )
        self.rows = rows


class MakerNotKnown(Refusal):
    """Every VIN of the list has a maker's code that no vehicle of the house has."""

    def __init__(self, codes: tuple[str, ...]) -> None:
        super().__init__(
            _(
                "All VINs of the list begin with %(codes)s, and no vehicle in the"
                " vehicle file does, so nothing was taken in. Is it the right list? If"
                " it is, say so on the form and send it again."
            )
            % {"codes": ", ".join(codes)}
        )
        self.codes = codes


class ListFault(NamedTuple):
    """What is wrong with one row."""

    column: str
    sentence: str


class ListRow(NamedTuple):
    """One row: its VIN as read, and what is wrong with it (empty: nothing)."""

    row: Row
    vin: str
    fault: str


class Preview(NamedTuple):
    """What a list looks like before it is taken in."""

    table: Table
    guesses: tuple[ColumnGuess, ...]
    column: int | None
    why: str
    rows: list[ListRow]
    right: int
    looked_at: int


class Choices(NamedTuple):
    """What a person said about a list."""

    column: int
    sheet: str = ""
    replaces: bool = False
    take_unknown_makers: bool = False


def open_list(upload: Upload, *, sheet: str = "") -> Table:
    """Open a kept list; raises dealership.documents.unreadable.UnreadableList."""
    source: Path | bytes
    try:
        source = Path(upload.file.path)
    except NotImplementedError:
        # A storage without local files, such as an object store.
        with upload.file.open("rb") as stream:
            source = stream.read()
    return open_table(source, upload.original_name, sheet=sheet or None)


def preview_list(
    *, upload: Upload, column: int | None = None, sheet: str = ""
) -> Preview:
    """Guess the column with the VINs, or take the given one, and show some rows.

    Raises UnreadableList for a file that is no list.
    """
    table = open_list(upload, sheet=sheet)
    sample = list(islice(table.rows(), _SAMPLE))
    guesses = guess_columns(table.columns, [row.cells for row in sample])
    guess = next((one for one in guesses if one.field == "vin"), None)
    if column is None or not 0 <= column < len(table.columns):
        column = guess.column if guess else None
    rows = [] if column is None else list(_judged(sample, column))
    return Preview(
        table=table,
        guesses=guesses,
        column=column,
        why=guess.why if guess and guess.column == column else "",
        rows=rows[:_SHOWN],
        right=sum(not row.fault for row in rows),
        looked_at=len(rows),
    )


def ask_list(
    *,
    campaign: Campaign,
    upload: Upload,
    choices: Choices,
    listed_on: dt.date,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
) -> Job:
    """Leave a job that takes a list in. The same list and choices again give that job.

    Raises VersionBusy while the campaign is being matched or applied.
    """
    asked = choices._asdict()
    key = hashlib.sha256(
        json.dumps([campaign.pk, str(upload.pk), asked], sort_keys=True).encode()
    ).hexdigest()
    with transaction.atomic():
        open_amendment(campaign=campaign, by=by, at=at)
        return enqueue(
            kind="campaigns.take_list",
            arguments={
                "campaign_id": campaign.pk,
                "upload_id": str(upload.pk),
                "choices": asked,
                "listed_on": listed_on.isoformat(),
            },
            by=by,
            store=store,
            now=at,
            unique_key=key,
        )


def take_in_list(
    *,
    campaign: Campaign,
    upload: Upload,
    choices: Choices,
    listed_on: dt.date,
    by: StaffMember | None,
    at: dt.datetime,
) -> dict[str, Any]:
    """Take in the rows with a right VIN; gives the counts. Repeating changes nothing.

    Rows that are refused are told by ``refused_file``. A list that replaces drops the
    VINs that this store's earlier lists had and the new one has not. Raises
    UnreadableList, NoVinInList, MakerNotKnown and VersionBusy; then nothing was
    changed.
    """
    table = open_list(upload, sheet=choices.sheet)
    counts: Counter[str] = Counter()
    numbers: dict[str, int] = {}
    for one in _judged(table.rows(), choices.column):
        counts["rows"] += 1
        if one.fault:
            counts["refused"] += 1
        elif one.vin in numbers:
            counts["twice"] += 1
        else:
            numbers[one.vin] = one.row.number
    if not numbers:
        raise NoVinInList(counts["rows"])
    if not choices.take_unknown_makers:
        _refuse_unknown_makers(numbers)
    with transaction.atomic():
        version = open_amendment(campaign=campaign, by=by, at=at)
        held = dict(
            ListedVin.objects.filter(campaign=campaign).values_list("vin", "store")
        )
        new = [vin for vin in numbers if vin not in held]
        rows = (
            ListedVin(
                campaign=campaign,
                vin=vin,
                store=upload.store,
                upload=upload,
                row_number=numbers[vin],
                listed_on=listed_on,
            )
            for vin in new
        )
        while batch := list(islice(rows, CHUNK)):
            ListedVin.objects.bulk_create(batch)
        counts["new"] = len(new)
        counts["known"] = len(numbers) - len(new)
        if choices.replaces:
            mine = [vin for vin, store in held.items() if store == upload.store_id]
            counts["dropped"] = _drop(campaign, [v for v in mine if v not in numbers])
        record(
            act="campaign.list_taken_in",
            subject=campaign,
            by=by,
            at=at,
            store=upload.store,
            after={
                "upload": str(upload.pk),
                "version": version.number,
                "counts": dict(counts),
            },
        )
    names = ("rows", "new", "known", "twice", "refused", "dropped")
    return {name: counts[name] for name in names}


def refused_file(*, upload: Upload, choices: Choices) -> bytes:
    """Write the refused rows of a list as CSV, to be mended and sent again.

    Raises UnreadableList, and NoVinColumn where the list has no such column.
    """
    table = open_list(upload, sheet=choices.sheet)
    if not 0 <= choices.column < len(table.columns):
        raise NoVinColumn
    name = table.columns[choices.column]
    refused = [one for one in _judged(table.rows(), choices.column) if one.fault]
    return write_refused(
        table.columns,
        [one.row for one in refused],
        {one.row.number: [ListFault(name, one.fault)] for one in refused},
    )


def _judged(rows: Iterable[Row], column: int) -> Iterator[ListRow]:
    """Judge the VIN of each row; only those that fail the quick check one by one."""
    left = iter(rows)
    while batch := list(islice(left, CHUNK)):
        vins = [normalise_vin(_cell(row, column)) for row in batch]
        for row, vin, result in zip(batch, vins, check_many(vins), strict=True):
            if result == BulkResult.GOOD:
                yield ListRow(row, vin, "")
                continue
            verdict = judge_vin(_cell(row, column))
            wrong = [r for r in verdict.reasons if r.grade is Grade.REJECT]
            yield ListRow(row, verdict.vin, " ".join(r.sentence for r in wrong))


def _cell(row: Row, column: int) -> str:
    return row.cells[column] if column < len(row.cells) else ""


def _refuse_unknown_makers(vins: Iterable[str]) -> None:
    """Raise MakerNotKnown where the vehicle file knows none of the makers."""
    held = set(
        Vehicle.objects.order_by()
        .annotate(maker=Substr("vin", 1, _MAKER))
        .values_list("maker", flat=True)
        .distinct()
    )
    codes = {vin[:_MAKER] for vin in vins}
    if held and not codes & held:
        raise MakerNotKnown(tuple(sorted(codes)[:_SHOWN]))


def _drop(campaign: Campaign, vins: list[str]) -> int:
    """Take VINs off the list; gives how many."""
    for start in range(0, len(vins), CHUNK):
        ListedVin.objects.filter(
            campaign=campaign, vin__in=vins[start : start + CHUNK]
        ).delete()
    return len(vins)
