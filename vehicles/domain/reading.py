"""Reading a kept list: its columns are guessed, its rows cleaned and staged.

Nothing of it reaches the file of vehicles: that is what applying is for.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from dealership.documents.headers import Row
from dealership.domain.audit import record as write_audit
from vehicles.domain.merging import Merger, Outcome, Terms
from vehicles.domain.sets import insert_rows
from vehicles.domain.taking import pack_of
from vehicles.models import StagedRow, Vehicle, VehicleList
from vehicles.queries.lists import count_states
from vehicles.rules.blocks import BlockCleaner
from vehicles.rules.columns import (
    FIELDS,
    ColumnGuess,
    check_mapping,
    guess_columns,
    mapping_of,
    odometer_is_in_kilometres,
)
from vehicles.rules.dates import DateOrder, OrderEvidence, OrderState, OrderVerdict
from vehicles.rules.records import (
    DATE_FIELDS,
    CleanRow,
    Fault,
    Severity,
    VehicleRecord,
)
from vehicles.rules.repeats import SeenRows
from vehicles.rules.rows import RowCleaner, RowRules
from vehicles.rules.standing import (
    AddressSource,
    ListState,
    RowState,
    TenureRole,
    VehicleKind,
)
from vehicles.rules.vin import Market


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from dealership.documents.tabular import Table
    from vehicles.rules.blocks import Block

CHUNK = 5_000
SHOWN = 1_000
"""Plain rows that a page shows; of a longer list the others are only counted."""
REMARKED = "remarked"
SAMPLE = 300
_SHOWN_SAMPLES = 3
_LONGEST_SAMPLE = 60
_TICK = 5_000
_TWO_YEARS = 2

_STAGED = (
    "vehicle_list_id", "row_number", "state", "vin", "raw", "record", "faults",
    "is_sample",
)  # fmt: skip
_KEPT_RAW = frozenset({RowState.REFUSED, RowState.ASK, RowState.LEFT_OUT})


def survey(
    *, vehicle_list: VehicleList, table: Table, tick: Callable[[int], None]
) -> int:
    """Look through a list: guess its columns, settle its dates, count its rows.

    ``tick`` is called now and then with the rows seen so far. A mapping that a person
    has made stays. Raises an UnreadableList when the reader comes to something that
    cannot be read.
    """
    sample = list(islice(table.rows(), SAMPLE))
    guesses = guess_columns(table.columns, [row.cells for row in sample])
    mapping: dict[str, int] = (
        vehicle_list.mapping
        if vehicle_list.choices.get("mapped")
        else mapping_of(guesses)
    )
    mapping = {f: c for f, c in mapping.items() if c < len(table.columns)}
    evidence = {name: OrderEvidence() for name in DATE_FIELDS if name in mapping}
    rows = 0
    for chunk in chunks(table.rows(), _TICK):
        for name, seen in evidence.items():
            _gather(seen, mapping[name], chunk)
        rows += len(chunk)
        tick(rows)
    vehicle_list.headers = list(table.columns)
    vehicle_list.header_row = table.header_row
    vehicle_list.mapping = mapping
    vehicle_list.guesses = [_told_guess(guess, sample) for guess in guesses]
    vehicle_list.sheet_notes = list(table.notes)
    vehicle_list.reading = {
        "kind": table.kind,
        "encoding": table.encoding,
        "delimiter": table.delimiter,
        "sheet": table.sheet,
        "sheets": list(table.sheets),
        "rows": rows,
        "dates": {
            name: _told_verdict(seen.verdict()) for name, seen in evidence.items()
        },
    }
    vehicle_list.error = ""
    vehicle_list.save()
    return rows


def _gather(seen: OrderEvidence, column: int, rows: list[Row]) -> None:
    """Look at the cells of a date column, at each text once."""
    cells = [row.cells[column] for row in rows]
    first: dict[str, int] = {}
    for place, text in enumerate(cells):
        if text not in first:
            first[text] = place
    for text, times in Counter(cells).items():
        if text:
            seen.add(rows[first[text]].number, text, times)


def _told_guess(guess: ColumnGuess, sample: list[Row]) -> dict[str, Any]:
    """Keep a guess with a few different cells of its column."""
    cells = (
        row.cells[guess.column].strip()
        for row in sample
        if guess.column < len(row.cells)
    )
    different = dict.fromkeys(cell for cell in cells if cell)
    return {
        "column": guess.column,
        "header": guess.header,
        "field": guess.field,
        "confidence": guess.confidence,
        "why": guess.why,
        "samples": [
            cell[:_LONGEST_SAMPLE] for cell in islice(different, _SHOWN_SAMPLES)
        ],
    }


def _told_verdict(verdict: OrderVerdict) -> dict[str, Any]:
    return {
        "state": verdict.state.value,
        "order": verdict.order.value if verdict.order else "",
        "day": list(verdict.day_witness or ()),
        "month": list(verdict.month_witness or ()),
        "open": list(verdict.open_witness or ()),
        "open_cells": verdict.open_cells,
    }


def date_orders(vehicle_list: VehicleList) -> dict[str, DateOrder]:
    """Give the order of each date column: what a person said, else what cells show."""
    orders = {
        name: DateOrder(told["order"])
        for name, told in vehicle_list.reading.get("dates", {}).items()
        if told["state"] == OrderState.SETTLED
    }
    said = vehicle_list.date_orders.items()
    return orders | {name: DateOrder(order) for name, order in said if order}


def rules_of(vehicle_list: VehicleList, *, today: dt.date) -> RowRules:
    """Give the rules by which the rows of a list are read."""
    mapping, headers = vehicle_list.mapping, vehicle_list.headers
    odometer = mapping.get("odometer")
    store = vehicle_list.store
    return RowRules(
        headers=headers,
        mapping=mapping,
        today=today,
        date_orders=date_orders(vehicle_list),
        market=Market.US if store.market == "US" else Market.OTHER,
        kind=VehicleKind(vehicle_list.choices.get("kind", VehicleKind.LIGHT)),
        country=store.country,
        odometer_in_kilometres=odometer is not None
        and odometer_is_in_kilometres(headers[odometer]),
    )


def terms_of(vehicle_list: VehicleList, *, day: dt.date) -> Terms:
    """Give what holds for all rows of a list."""
    choices = vehicle_list.choices
    return Terms(
        store_id=vehicle_list.store_id,
        day=day,
        kind_stated="kind" in vehicle_list.mapping,
        source=AddressSource(choices.get("source", AddressSource.OWN_CUSTOMER)),
        only_for=choices.get("only_for", ""),
    )


@dataclass(slots=True)
class Stager:
    """Stages the rows of one list, chunk by chunk, and knows which VINs came before.

    Rows about new vehicles with nothing wrong in them are packed together; each other
    row is staged by itself, and so are the first plain ones, to be looked at.
    """

    vehicle_list: VehicleList
    cleaner: RowCleaner
    blocks: BlockCleaner
    terms: Terms
    seen: SeenRows
    seen_vins: SeenRows
    plain: Counter[str]
    shown: int = 0
    remarked: int = 0

    @classmethod
    def of(cls, vehicle_list: VehicleList, *, today: dt.date, day: dt.date) -> Stager:
        """Be ready to stage a list from its beginning; raises MappingFault."""
        check_mapping(vehicle_list.mapping, columns=len(vehicle_list.headers))
        rules = rules_of(vehicle_list, today=today)
        return cls(
            vehicle_list,
            RowCleaner(rules),
            BlockCleaner(rules),
            terms_of(vehicle_list, day=day),
            SeenRows(),
            SeenRows(),
            Counter(),
        )

    def stage(self, rows: Sequence[Row]) -> None:
        """Stage one chunk in its own transaction."""
        if not rows:
            return
        numbers, raw = zip(*rows, strict=True)
        block = self.blocks.clean(numbers, raw)
        clean = self.cleaner.clean
        single = {
            n: self._settled(clean(numbers[n], raw[n])) for n in sorted(block.odd)
        }
        refused = {n for n, row in single.items() if row.worst is Severity.REFUSE}
        repeated = self._repeated(block, single, refused)
        plain = self._new_ones(block, repeated)
        for n in set(range(len(rows))) - plain - single.keys():
            single[n] = CleanRow(numbers[n], block.record(n), ())
        told = self._judged_rows(rows, single, repeated)
        packed = sorted(plain)
        self.plain[RowState.NEW] += len(packed)
        told += self._samples(rows, block, packed)
        columns = block.columns
        if len(packed) < len(rows):
            columns = {name: [col[n] for n in packed] for name, col in columns.items()}
        with transaction.atomic():
            if packed:
                pack_of(self.vehicle_list, [numbers[n] for n in packed], columns).save()
            insert_rows(StagedRow, _STAGED, told)
            self.vehicle_list.staged_rows_done = numbers[-1]
            self.vehicle_list.reading["plain"] = dict(self.plain)
            self.vehicle_list.save(update_fields=["staged_rows_done", "reading"])

    def _settled(self, row: CleanRow) -> CleanRow:
        """Take a model year that a person chose where the VIN allows two."""
        record = row.record
        if record.model_year or len(record.model_years) != _TWO_YEARS:
            return row
        choices = self.vehicle_list.choices
        year = choices.get("years", {}).get(str(row.row))
        pick = choices.get("year_pick")
        if year is None and pick:
            year = record.model_years[0 if pick == "early" else 1]
        return with_year(row, year) if year in record.model_years else row

    def _repeated(
        self, block: Block, single: dict[int, CleanRow], refused: set[int]
    ) -> dict[int, tuple[int, bool]]:
        """Find rows about a vehicle of an earlier row: that row, and if it is equal."""
        keys, marks = list(block.keys()), block.marks()
        for n, row in single.items():
            keys[n], marks[n] = _key(row.record), block.mark_of(row.record)
        kept = [n for n in range(len(keys)) if n not in refused]
        earlier = self.seen.look(
            [hash(keys[n]) for n in kept],
            [marks[n] for n in kept],
            [block.numbers[n] for n in kept],
        )
        return {
            kept[at]: (int(earlier.rows[at]), bool(earlier.same[at]))
            for at in earlier.rows.nonzero()[0].tolist()
        }

    def _new_ones(self, block: Block, repeated: dict[int, Any]) -> set[int]:
        """Find the plain rows about vehicles that nothing is known of."""
        vins = block.columns["vin"]
        numbers = block.numbers
        plain = set(range(len(vins))) - block.odd - repeated.keys()
        if "role" in block.columns:
            hashes = list(map(hash, vins))
            before = self.seen_vins.look(hashes, hashes, numbers)
            plain -= set(before.rows.nonzero()[0].tolist())
        asked = [vins[n] for n in plain]
        held = set(
            Vehicle.objects.filter(vin__in=asked)
            .order_by()
            .values_list("vin", flat=True)
        )
        return {n for n in plain if vins[n] not in held} if held else plain

    def _judged_rows(
        self,
        rows: Sequence[Row],
        single: dict[int, CleanRow],
        repeated: dict[int, tuple[int, bool]],
    ) -> list[tuple[Any, ...]]:
        """Judge rows one by one; gives what is to be staged."""
        if not single:
            return []
        merger = Merger.over(
            (row.record for row in single.values()), self.terms, review=True
        )
        told = []
        for n in sorted(single):
            row, outcome = self._judged(single[n], repeated.get(n), merger)
            faults = (*row.faults, *outcome.faults)
            if outcome.state is RowState.SAME and not faults:
                self.plain[RowState.SAME] += 1
                if self.shown >= SHOWN:
                    continue
                self.shown += 1
            told.append(self._staged(rows[n], row, outcome))
        return told

    def _staged(
        self, raw: Row, row: CleanRow, outcome: Outcome, *, sample: bool = False
    ) -> tuple[Any, ...]:
        faults = (*row.faults, *outcome.faults)
        return (
            self.vehicle_list.pk,
            row.row,
            outcome.state.value,
            row.record.vin,
            list(raw.cells) if outcome.state in _KEPT_RAW else [],
            row.record.to_json(),
            [fault.to_json() for fault in faults],
            sample or (outcome.state is RowState.SAME and not faults),
        )

    def _samples(
        self, rows: Sequence[Row], block: Block, packed: list[int]
    ) -> list[tuple[Any, ...]]:
        """Stage the first packed rows also by themselves, to be looked at.

        First come those of which there is something to tell.
        """
        remarks = [n for n in packed if n in block.told][: SHOWN - self.remarked]
        plain = [n for n in packed if n not in block.told][: SHOWN - self.shown]
        self.remarked += len(remarks)
        self.shown += len(plain)
        self.plain[REMARKED] += sum(n in block.told for n in packed)
        new, clean = Outcome(RowState.NEW), self.cleaner.clean
        cleaned = [clean(*rows[n]) for n in remarks]
        cleaned += [CleanRow(rows[n].number, block.record(n), ()) for n in plain]
        return [
            self._staged(Row(row.row, ()), row, new, sample=True) for row in cleaned
        ]

    def _judged(
        self, row: CleanRow, repeated: tuple[int, bool] | None, merger: Merger
    ) -> tuple[CleanRow, Outcome]:
        if row.worst is Severity.REFUSE:
            return row, Outcome(RowState.REFUSED)
        if repeated is not None:
            return row, self._repetition(row, *repeated)
        row = _known_year(row, merger)
        if row.worst is Severity.ASK:
            return row, Outcome(RowState.ASK)
        return row, merger.take(row.row, row.record)

    def _repetition(self, row: CleanRow, first: int, same: bool) -> Outcome:  # noqa: FBT001 (what was found of the two rows)
        """Say that a row is about the same vehicle as an earlier one."""
        sentence = (
            _("Row %(row)d says the very same of this vehicle. This row is left out.")
            if same
            else _(
                "This VIN stands in row %(row)d already, with other facts. Keep one of"
                " the two rows, or give each its own role, such as owner and lessee."
            )
        ) % {"row": first}
        rules = self.cleaner.rules
        fault = Fault(
            row.row,
            rules.headers[rules.mapping["vin"]],
            "vin",
            row.record.vin,
            "row_repeated" if same else "vin_twice",
            sentence,
            Severity.WARN if same else Severity.REFUSE,
        )
        return Outcome(RowState.LEFT_OUT if same else RowState.REFUSED, (fault,))


def with_year(row: CleanRow, year: int) -> CleanRow:
    """Give a row its model year and take the question away."""
    record = VehicleRecord.from_json(row.record.to_json() | {"model_year": year})
    faults = tuple(f for f in row.faults if f.code != "vin_two_model_years")
    return CleanRow(row.row, record, faults)


def _known_year(row: CleanRow, merger: Merger) -> CleanRow:
    """Take the model year that is known of the vehicle already."""
    record = row.record
    if record.model_year or len(record.model_years) != _TWO_YEARS:
        return row
    vehicle = merger.known.vehicles.get(record.vin)
    year = vehicle["model_year"] if vehicle else None
    return with_year(row, year) if year in record.model_years else row


def _key(record: VehicleRecord) -> tuple[str, TenureRole]:
    """Give what may stand only once in a list: a vehicle and one role at it."""
    return record.vin, record.role or TenureRole.OWNER


def chunks(rows: Iterable[Row], size: int = CHUNK) -> Iterator[list[Row]]:
    """Cut rows into chunks."""
    source = iter(rows)
    while chunk := list(islice(source, size)):
        yield chunk


def begin_staging(*, vehicle_list: VehicleList) -> None:
    """Clear what an earlier reading staged, also one that was broken off."""
    vehicle_list.reading.pop("plain", None)
    vehicle_list.staged_rows_done = 0
    forget_staged(vehicle_list)


def forget_staged(vehicle_list: VehicleList) -> None:
    """Take away all that is staged of a list."""
    StagedRow.objects.filter(vehicle_list=vehicle_list).delete()
    vehicle_list.packs.all().delete()


def finish_staging(*, vehicle_list: VehicleList, at: dt.datetime) -> dict[str, int]:
    """Say that all rows are staged; gives how many are in each state."""
    with transaction.atomic():
        vehicle_list.counts = count_states(vehicle_list)
        vehicle_list.state = ListState.STAGED
        vehicle_list.error = ""
        vehicle_list.save(update_fields=["counts", "state", "error"])
        write_audit(
            act="vehicle_list.read",
            subject=vehicle_list,
            by=vehicle_list.made_by,
            at=at,
            store=vehicle_list.store,
            after=vehicle_list.counts,
        )
    counts: dict[str, int] = vehicle_list.counts
    return counts


def note_unreadable(*, vehicle_list: VehicleList, sentence: str) -> None:
    """Keep why a list cannot be read; nothing of it stays staged."""
    with transaction.atomic():
        forget_staged(vehicle_list)
        vehicle_list.reading.pop("plain", None)
        vehicle_list.state = ListState.FAILED
        vehicle_list.error = sentence
        vehicle_list.staged_rows_done = 0
        vehicle_list.counts = {}
        vehicle_list.save()


def note_columns_wanted(*, vehicle_list: VehicleList, sentence: str) -> None:
    """Keep that the columns must be told before a row can be staged."""
    vehicle_list.state = ListState.STAGED
    vehicle_list.error = sentence
    vehicle_list.counts = {}
    vehicle_list.save(update_fields=["state", "error", "counts"])


assert set(DATE_FIELDS) <= set(FIELDS)
