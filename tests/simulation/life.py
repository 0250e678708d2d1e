"""The days of the group, one after the other, audited each evening."""

import datetime as dt
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from dealership.domain.jobs import run_job
from dealership.models import Job, Store
from dealership.rules.roles import Role
from inventory.domain.superseding import supersede
from tests.simulation.acting import Doer
from tests.simulation.auditor import Audited, audit
from tests.simulation.log import Log
from tests.simulation.shelves import Shelves
from tests.simulation.shown import Shown, exposure_of, show
from tests.simulation.stage import (
    DESIGNS,
    FIRST_DAY,
    SIZES,
    SUPERSEDED,
    Size,
    furnish,
    moment,
    open_campaign,
)
from tests.simulation.supply import Supply
from tests.simulation.workshop import Workshop


SEED = 20_250_602
SUPERSEDED_AFTER = 0.4
GIVING_OUT = ("inventory.received", "inventory.freed")
EACH_DAY = {"sell": 0.10, "aside": 0.06, "removed": 0.05, "send": 0.14}


@dataclass
class Played:
    """What came of it."""

    days: int
    doer: Doer
    log: Log
    differences: list[str] = field(default_factory=list)
    compared: Counter[str] = field(default_factory=Counter)
    last_shown: Shown = field(default_factory=Shown)
    last_audited: Audited = field(default_factory=Audited)
    sabotaged: dict[str, list[str]] = field(default_factory=dict)

    @property
    def days_played(self) -> dt.timedelta:
        """Give the days from the first to the last."""
        return dt.timedelta(days=self.days - 1)

    def told(self) -> dict[str, object]:
        """Give the figures as they are printed."""
        doer = self.doer
        return {
            "days": self.days,
            "acts": sum(doer.done.values()),
            "acts_by_kind": dict(sorted(doer.done.items())),
            "refused": dict(sorted(doer.refused.items())),
            "faults": dict(sorted(doer.faults.items())),
            "rows": {name: len(rows) for name, rows in self.log.tables.items()},
            "compared": dict(sorted(self.compared.items())),
            "differences": self.differences[:20],
        }


class Life:
    """The stage, and what its people do each day."""

    def __init__(self, size: Size, seed: int) -> None:
        self.size = size
        self.chance = random.Random(seed)
        self.stage = furnish(size, self.chance)
        self.doer = Doer(chance=self.chance, today=FIRST_DAY)
        self.supply = Supply(self.stage, self.doer)
        self.shelves = Shelves(self.stage, self.doer)
        self.workshop = Workshop(self.stage, self.doer, self.supply)

    def live(self, number: int) -> dt.date:
        """Live one day, from the first letter of the morning to the evening's jobs."""
        day = FIRST_DAY + dt.timedelta(days=number)
        self.doer.begin(day)
        for design in DESIGNS[: self.size.campaigns]:
            if int(design.begins * self.size.days) == number:
                campaign = open_campaign(
                    self.stage, design, day=day, days=self.size.days
                )
                self.supply.send_batches(design, campaign)
                self.workshop.let_owners_ask(campaign, within=self.size.asks_within)
        if number == int(SUPERSEDED_AFTER * self.size.days):
            self._supersede(day)
        for store in self.stage.stores:
            self.workshop.close_the_day_before(store)
            if day.weekday() < 5:
                self._working_day(store, day.weekday())
        work(moment(day, 19))
        return day

    def _supersede(self, day: dt.date) -> None:
        old, new = (self.stage.parts[one] for one in SUPERSEDED)
        self.doer.do(
            supersede,
            old=old,
            new=new,
            since=day,
            old_stock_serves=True,
            by=self.stage.staff[self.stage.stores[0].pk][Role.PARTS_MANAGER],
        )
        for part in (old, new):
            part.refresh_from_db()

    def _working_day(self, store: Store, weekday: int) -> None:
        """Do what is done by chance, and what has its day of the week."""
        for name, share in EACH_DAY.items():
            if self.doer.maybe(share):
                getattr(self.shelves, name)(store)
        fixed = {
            1: self.shelves.count,
            2: self.supply.give_back,
            3: self.workshop.take_bills,
            4: self.workshop.take_advice,
        }
        if weekday in fixed:
            fixed[weekday](store)


def play(
    size_name: str, *, seed: int = SEED, tell: Callable[[str], None] | None = None
) -> Played:
    """Live all days on an empty database; every evening the auditor comes.

    Ends with the first evening on which he finds a difference.
    """
    size = SIZES[size_name]
    life = Life(size, seed)
    played = Played(days=size.days, doer=life.doer, log=Log())
    for number in range(size.days):
        day = life.live(number)
        evening(played, day, closely=number % 28 == 6 or number == size.days - 1)
        if played.differences:
            played.days = number + 1
            break  # the days after it would only repeat it
        if tell and (number + 1) % 30 == 0:
            tell(f"day {number + 1}: {len(played.log.tables['movements'])} movements")
    played.log.check_unchanged()
    return played


def work(now: dt.datetime) -> None:
    """Do the jobs that give out parts; proposals are no matter of the books."""
    waiting = Job.objects.claimable(now).filter(kind__in=GIVING_OUT).order_by("due_at")
    while job_id := waiting.values_list("pk", flat=True).first():
        run_job(job_id=job_id, clock=lambda: now)


def evening(played: Played, day: dt.date, *, closely: bool) -> None:
    """Let the auditor work everything out anew and compare it with what is shown.

    Of an evening on which nothing was written since the one before, only what ages is
    asked again.
    """
    grown = played.log.read()
    audited = audit(played.log.tables, day)
    if grown or closely or not played.last_shown.figures:
        shown = show(day, closely=closely)
    else:
        shown = Shown({**played.last_shown.figures, "exposure": exposure_of(day)})
    audited.compare_deeds(played.doer.did)
    found = [*audited.faults, *audited.differences(shown.figures)]
    played.differences += [f"{day}: {one}" for one in found]
    played.compared.update({name: len(of) for name, of in audited.figures.items()})
    played.last_shown, played.last_audited = shown, audited
