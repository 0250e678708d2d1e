"""Make the demo: an invented group, its vehicles, six campaigns, a year of history."""

from __future__ import annotations

import time
from random import Random
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from campaigns.management.demo import scenario
from campaigns.management.demo.earlier import replay_first_store, take_over
from campaigns.management.demo.ending import close_for_good, settle_old_disputes
from campaigns.management.demo.fleet import make_cast, make_vehicles
from campaigns.management.demo.history import Play, lose_some, play_campaign
from campaigns.management.demo.morning import set_today
from campaigns.management.demo.opening import moment, write_scheduled_item
from dealership.models import Store


if TYPE_CHECKING:
    from argparse import ArgumentParser

VEHICLES = {"small": 500, "full": 4_000}
LOST = 0.02


class Command(BaseCommand):
    """``manage.py make_demo --seed N``."""

    help = "Make the invented demo data, once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the seed and the size."""
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--size", choices=sorted(VEHICLES), default="full")

    def handle(self, **options: Any) -> None:  # noqa: ANN401 (Django's own)
        """Make it unless there is data already, then say how to sign in."""
        if Store.objects.exists():
            self.stdout.write("There is data already; nothing was changed.")
        else:
            begun = time.monotonic()
            # All or nothing: a start that is broken off leaves no half demo behind.
            with transaction.atomic():
                make(seed=options["seed"], vehicles=VEHICLES[options["size"]])
            self.stdout.write(f"Demo made in {time.monotonic() - begun:.0f} s.")
        names = ", ".join(name for name, *_ in scenario.PEOPLE)
        self.stdout.write(f"Sign in as {names}; password {scenario.PASSWORD}")


def make(*, seed: int, vehicles: int) -> None:
    """Play the scenario. The same seed on the same day gives the same demo."""
    random = Random(seed)  # noqa: S311 (a demo, no secret)
    today = timezone.localdate()
    cast = make_cast()
    make_vehicles(
        random=random, cast=cast, count=vehicles, today=today, at=moment(today, 6)
    )
    write_scheduled_item(cast=cast)
    take_over(random=Random(seed + 1), cast=cast, today=today)  # noqa: S311 (as above)
    play = Play(random=random, cast=cast, today=today)
    plots = scenario.plots(today)
    campaigns = {}
    for plot in sorted(plots, key=lambda one: -one.announced):
        campaigns[plot.code] = play_campaign(play, plot)
    play.run()
    settle_old_disputes(play)
    for plot in plots:
        if plot.closed:
            close_for_good(play, campaigns[plot.code])
        else:
            lose_some(play, campaigns[plot.code], LOST)
    replay_first_store(cast=cast, today=today)
    set_today(play, campaigns)
