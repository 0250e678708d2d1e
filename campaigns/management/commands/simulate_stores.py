"""Try the replenishment rules at invented stores: ``manage.py simulate_stores``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from campaigns.management.simulation.trial import goals_missed, lines, try_all
from campaigns.management.simulation.truth import SEEDS, TRIED


if TYPE_CHECKING:
    from argparse import ArgumentParser

SIZES = {"small": (SEEDS[:1], 12), "full": (SEEDS, TRIED)}
"""Seeds of the random numbers, and campaigns tried at each store."""


class Command(BaseCommand):
    """Print what each store came to, and fail when a goal is missed."""

    help = "Hold the proposals against two simple rules at invented stores."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the size."""
        parser.add_argument("--size", choices=sorted(SIZES), default="small")

    def handle(self, **options: Any) -> None:  # noqa: ANN401 (Django's own)
        """Try all stores; nothing is read from or written to the database."""
        seeds, tried = SIZES[options["size"]]
        found = list(try_all(seeds=seeds, tried=tried))
        for line in lines(found):
            self.stdout.write(line)
        missed = goals_missed(found)
        if missed and options["size"] == "full":
            raise CommandError("Not reached: " + "; ".join(missed))
