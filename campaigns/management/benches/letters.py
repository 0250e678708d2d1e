"""Owner letters as PDF, against the layout engine alone on the same letters.

Timed in one run: the layout engine in chunks of 50 (the yardstick, on some of the
letters); letters filled in on backgrounds; all in, which is those and one letter in 200
that is left to the engine (both paper alone, from what a letter says to the file); and
the job of the round as a worker does it, with reading and writing its rows, the sample
that is compared, and binding. At full size 500 letters with odd names are set both
ways and compared by pixel and word.
"""

from __future__ import annotations

import io
import json
import os
import random
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pikepdf
from django.db import connection
from django.test.utils import override_settings
from django.utils import timezone

from campaigns.documents.letter_press import Press, make_press
from campaigns.documents.letters import lay_out_letters
from campaigns.domain.letter_texts import load_shipped_texts
from campaigns.management.benches.measuring import (
    Result,
    Watch,
    throw_away_house,
    watched,
)
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Letter,
    LetterRound,
    LetterText,
)
from campaigns.queries.letters import SheetMaker, letters_at, sender_of
from campaigns.queries.round_samples import characters_of, sample_letters
from campaigns.rules.lifecycle import CampaignClass, RoundKind, RoundState, WorkState
from dealership.documents.likeness import differences
from dealership.documents.pdf import merge_pdfs
from dealership.documents.shaping import NotExact
from dealership.documents.sheaf import Sheaf
from dealership.domain.jobs import enqueue, load_handlers, run_job
from dealership.models import StaffMember, Store
from dealership.rules.jobs import JobState
from inventory.models import Earmark, Supplier
from vehicles.models import Address, Party, Vehicle
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import BinaryIO

    from campaigns.documents.letters import Sheet

LETTERS = {"small": 400, "full": 10_000}
BY_ENGINE = {"small": 50, "full": 250}
COMPARED = {"small": 20, "full": 500}
MEMORY = {"small": (100,), "full": (100, 50_000)}
CHUNK = 50
_AT_ONCE = 500
_ONE_IN = 200
_LINES = ("Corvane", "Tarn Cross", "Helix", "Morrow")
_YEARS = (2020, 2021, 2022)
_FIRST = "Ada Bram Cleo Dov Esme Finn Gita Hugo Iris Jonas Kaia Lars Mila Nils Otto Pia"
_LAST = "Ashdown Birkett Corrin Dunmore Elphick Fenwright Garrow Hespel Jorvik Kestle"
_ACCENTED = "Łukasz Nuñez-Žižek|Nguyễn Thị Ánh|Thérèse Œuvrard|Þórbjörg Ðalsgård"
_OTHER_SCRIPTS = "山田太郎|עברית|Иван Петров"
_STREETS = "Quarry Road|Harrow Lane|Elm Row|Mill Street|Kiln Close|Weir Avenue"
_DATE = "2026-03-09"


def run(size: str) -> Result:
    """Measure; ratios over 1 beat the yardstick."""
    count = LETTERS[size]
    with throw_away_house() as folder:
        row = furnish(count)
        make = SheetMaker(row)
        sheets = _Sheets(row, make)
        steps: dict[str, Watch] = {}
        made: list[Press] = []
        steps["press"] = watched(lambda: made.append(_press(row, make)))
        [press] = made
        sheets.keep(press)
        steps["filled"] = _filled(press, sheets, count, folder)
        weight = (folder / "filled.pdf").stat().st_size / count
        for letters in MEMORY[size]:
            steps[f"filled_{letters}"] = _in_a_worker(
                f"letters.tell_of_filling({row.pk}, {letters}, {str(folder)!r})",
                lambda number=letters: _fill_some(row, number, folder),  # type: ignore[misc]
            )
        steps["left_over"] = watched(lambda: _by_engine(row, sheets.left))
        steps["job"] = _in_a_worker(
            f"letters.tell_of_round({row.pk}, {str(folder / 'files')!r})",
            lambda: watched(lambda: set_round(row)),
        )
        row.refresh_from_db()
        few = sheets.some(BY_ENGINE[size])
        steps["engine"] = watched(lambda: _by_engine(row, few))
        unlike = _unlike(row, press, sheets.some(COMPARED[size]))
    by_engine = steps["engine"].cpu_seconds / BY_ENGINE[size] * count
    filled = steps["press"].cpu_seconds + steps["filled"].cpu_seconds
    all_in = filled + steps["left_over"].cpu_seconds
    return Result(
        name="letters",
        size=size,
        items=count,
        seconds=steps["job"].seconds,
        yardsticks={
            "weasyprint_chunks": steps["engine"].seconds / BY_ENGINE[size] * count
        },
        steps=steps,
        details={
            "cpu_ratios": {
                "filled": round(by_engine / filled, 1),
                "all_in": round(by_engine / all_in, 1),
                "job": round(by_engine / steps["job"].cpu_seconds, 1),
            },
            "letters_a_cpu_second": round(count / filled),
            "bytes_a_letter": round(weight),
            "set_whole": row.set_whole,
            "compared": COMPARED[size],
            "unlike": unlike,
        },
    )


class _Sheets:
    """Sheets to fill in again and again: those of the round that are exact."""

    def __init__(self, row: LetterRound, make: SheetMaker) -> None:
        self._row, self._make = row, make
        self._sheets: list[Sheet] = []
        self.left: list[Sheet] = []

    def keep(self, press: Press, most: int = 0) -> None:
        """Find the letters that can be filled in: all, or among the first ``most``."""
        total = most or self._row.letters.count()
        for first in range(1, total + 1, _AT_ONCE):
            for letter in letters_at(self._row, range(first, first + _AT_ONCE)):
                sheet = self._make.sheet(letter)
                try:
                    press.fill(sheet)
                except NotExact:
                    self.left.append(replace(sheet))
                else:
                    self._sheets.append(replace(sheet))

    def endless(self) -> Iterator[Sheet]:
        """Make sheet after sheet, anew each time."""
        while True:
            for sheet in self._sheets:
                yield replace(sheet)  # without what it has worked out already

    def some(self, count: int) -> list[Sheet]:
        """Give some sheets from all over the round."""
        step = max(1, len(self._sheets) // count)
        return [replace(one) for one in self._sheets[::step][:count]]


def _press(row: LetterRound, make: SheetMaker) -> Press:
    samples = [make.sheet(letter) for letter in sample_letters(row)]
    return make_press(
        sender_of(row.store),
        samples,
        characters=characters_of(row),
        date=_DATE,
        campaign=row.campaign.code,
    )


def _filled(press: Press, sheets: _Sheets, count: int, folder: Path) -> Watch:
    """Fill letters in and write them as one PDF."""

    def fill() -> None:
        with (folder / "filled.pdf").open("wb") as target:
            _bind(press, sheets.endless(), count, target)

    return watched(fill)


def _bind(
    press: Press, sheets: Iterator[Sheet], count: int, target: BinaryIO
) -> list[int]:
    """Write letters one after the other; gives the first page of each."""
    sheaf = Sheaf(target, press.pdf)
    starts = []
    for sheet, _number in zip(sheets, range(count), strict=False):
        starts.append(sheaf.count)
        for page in press.fill(sheet):
            sheaf.add(sheaf.pages[page.number], page.content)
    sheaf.close(title="Letters")
    return starts


def _in_a_worker(call: str, here: Callable[[], Watch]) -> Watch:
    """Do something in a process of its own, as a worker does, where that is possible.

    So its memory is that of a worker, without what making a database takes.
    """
    if connection.vendor != "sqlite":
        return here()
    database = connection.settings_dict["NAME"]
    begin = (
        "import django; django.setup();from campaigns.management.benches import letters"
    )
    done = subprocess.run(  # noqa: S603 (our own words)
        [sys.executable, "-c", f"{begin};{call}"],
        env={**os.environ, "MENDROLL_DATABASE_URL": f"sqlite:///{database}"},
        cwd=Path(__file__).parents[3],
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    return Watch(**json.loads(done.stdout.splitlines()[-1]))


def tell_of_round(pk: int, files: str) -> None:
    """Do the job of a round and print what it took."""
    load_handlers()  # what a worker has loaded long since is not measured
    with override_settings(MEDIA_ROOT=files):
        _tell(watched(lambda: set_round(LetterRound.objects.get(pk=pk))))


def tell_of_filling(pk: int, count: int, folder: str) -> None:
    """Fill in some letters of a round and print what it took."""
    load_handlers()
    _tell(_fill_some(LetterRound.objects.get(pk=pk), count, Path(folder)))


def _fill_some(row: LetterRound, count: int, folder: Path) -> Watch:
    """Make a press and fill in letters, with no more of them in memory than a chunk."""
    make = SheetMaker(row)
    press = _press(row, make)
    sheets = _Sheets(row, make)
    sheets.keep(press, most=_AT_ONCE)
    return _filled(press, sheets, count, folder)


def _tell(watch: Watch) -> None:
    told = watch.told() | {"peak_mb": _own_peak_mb() or watch.peak_mb}
    sys.stdout.write(f"{json.dumps(told)}\n")


def _own_peak_mb() -> int:
    """Give the most memory held since this program began, or 0 where Linux is not.

    The usual count goes on from that of the process that started this one.
    """
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii")
    except OSError:
        return 0
    held = next(line for line in status.splitlines() if line.startswith("VmHWM"))
    return int(held.split()[1]) // 1024


def set_round(row: LetterRound) -> None:
    """Do the job of the round, as a worker does."""
    job = enqueue(
        kind="campaigns.print_round",
        arguments={"round_id": row.pk},
        by=None,
        store=row.store,
        now=timezone.now(),
    )
    done = run_job(job_id=job.pk, clock=timezone.now)
    assert done is not None
    assert done.state == JobState.DONE, done.error_detail or done.error
    row.refresh_from_db()
    with pikepdf.open(row.pdf.path) as paper:
        pages = len(paper.pages)
    assert pages == row.sheets >= row.letters.count(), pages


def _by_engine(row: LetterRound, sheets: list[Sheet]) -> None:
    """Give letters to the layout engine, 50 at a time, and join them."""
    papers = [
        _whole(row, sheets[start : start + CHUNK])
        for start in range(0, len(sheets), CHUNK)
    ]
    with tempfile.TemporaryFile() as target:
        parts = [io.BytesIO(paper) for paper in papers]
        merge_pdfs(parts, target, title="Letters")


def _whole(row: LetterRound, sheets: list[Sheet]) -> bytes:
    sender, campaign = sender_of(row.store), row.campaign.code
    return lay_out_letters(sender, sheets, date=_DATE, campaign=campaign).pdf


def _unlike(row: LetterRound, press: Press, sheets: list[Sheet]) -> int:
    """Set letters both ways and count the pages that differ in a pixel or a word."""
    found = 0
    for start in range(0, len(sheets), CHUNK):
        some = sheets[start : start + CHUNK]
        target = io.BytesIO()
        _bind(press, iter(some), len(some), target)
        with pikepdf.open(io.BytesIO(target.getvalue())) as paper:
            pages = [(page, page) for page in range(len(paper.pages))]
        found += len(differences(_whole(row, some), target.getvalue(), pages))
    return found


# Furnishing ------------------------------------------------------------------------


def furnish(count: int) -> LetterRound:
    """Make a round of letters to invented people.

    4 of 100 have accented names, one of 200 a name in another script.
    """
    now, today = timezone.now(), timezone.localdate()
    store = Store.objects.create(
        code="BENCH",
        name="Harrow Lane Motors",
        street="1 Harrow Lane",
        city="Tannersby",
        region="IL",
        postal_code="60000",
        phone="+1 217 555 0100",
        email="service@harrow.example",
        letter_signed_by="Mira Soldan",
    )
    by = StaffMember.objects.create(username="bench")
    load_shipped_texts(at=now)
    campaign = Campaign.objects.create(
        code="SR-26-01",
        maker="Ostby Works",
        maker_number="OW26-1",
        regulator_number="26V-001",
        title="Seat rail bolts",
        risk="The seat may move in a crash, which raises the risk of injury.",
        campaign_class=CampaignClass.SAFETY,
        state="running",
        supplier=Supplier.objects.create(code="OW", name="Ostby Works"),
        earmark=Earmark.objects.create(code="SR-26-01"),
        announced_on=today,
        made_at=now,
    )
    row = LetterRound.objects.create(
        key="bench",
        campaign=campaign,
        store=store,
        kind=RoundKind.FIRST,
        number=1,
        text=LetterText.objects.get(
            campaign_class=CampaignClass.SAFETY,
            kind=RoundKind.FIRST,
            posted_by="store",
            language="en",
            number=1,
        ),
        state=RoundState.PRINTING,
        made_by=by,
        made_at=now,
    )
    chance = random.Random(11)  # noqa: S311 (the same people every time)
    for first in range(0, count, _AT_ONCE):
        _write_to(row, range(first, min(first + _AT_ONCE, count)), chance)
    return row


def _write_to(row: LetterRound, numbers: range, chance: random.Random) -> None:
    """Make vehicles, owners, addresses and letters."""
    today = timezone.localdate()
    vehicles = Vehicle.objects.bulk_create(
        Vehicle(
            vin=_vin(number),
            store=row.store,
            kind="light",
            model_year=chance.choice(_YEARS),
            line=chance.choice(_LINES),
            created_at=row.made_at,
            changed_at=row.made_at,
        )
        for number in numbers
    )
    names = [_name(number, chance) for number in numbers]
    parties = Party.objects.bulk_create(
        Party(store=row.store, name=name, name_folded=name.casefold()) for name in names
    )
    addresses = Address.objects.bulk_create(
        Address(
            party=party,
            street=f"{chance.randrange(9_999)} {chance.choice(_STREETS.split('|'))}",
            street2=chance.choice(("", "", "", f"Unit {chance.randrange(99)}")),
            city="Tannersby",
            region="IL",
            postal_code=f"{60000 + chance.randrange(999)}",
        )
        for party in parties
    )
    places = CampaignVehicle.objects.bulk_create(
        CampaignVehicle(
            campaign=row.campaign,
            vehicle=vehicle,
            store=row.store,
            work_state=WorkState.OPEN,
            outcome="in",
            added_on=today,
        )
        for vehicle in vehicles
    )
    Letter.objects.bulk_create(
        Letter(
            letter_round=row,
            campaign_vehicle=place,
            party=party,
            address=address,
            code=f"L{row.pk:05}{number + 1:05}",
            position=number + 1,
        )
        for number, place, party, address in zip(
            numbers, places, parties, addresses, strict=True
        )
    )


def _vin(number: int) -> str:
    head, tail = "1U0KTRA4", f"N1{number:06}"
    return f"{head}{check_digit(f'{head}0{tail}')}{tail}"


def _name(number: int, chance: random.Random) -> str:
    """Invent a name."""
    if number % _ONE_IN == _ONE_IN // 2:
        return chance.choice(_OTHER_SCRIPTS.split("|"))
    if number % 25 == 0:
        return chance.choice(_ACCENTED.split("|"))
    return f"{chance.choice(_FIRST.split())} {chance.choice(_LAST.split())}-{number}"
