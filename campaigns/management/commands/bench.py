"""Measure one heavy piece of work against a yardstick, on a throw-away database."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand


if TYPE_CHECKING:
    from argparse import ArgumentParser

BENCHES = {
    "import": "imports",
    "letters": "letters",
    "counter": "counter",
    "path": "path",
    "reserve": "reserving",
    "audit": "proving",
    "reconcile": "reconcile",
    "match": "matching",
}


class Command(BaseCommand):
    """Print, last, one line of JSON with the figures."""

    help = "Measure: " + ", ".join(BENCHES)

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the name of the bench and its size."""
        parser.add_argument("name", choices=sorted(BENCHES))
        parser.add_argument("--size", choices=("small", "full"), default="small")

    def handle(self, **options: Any) -> None:  # noqa: ANN401 (Django's)
        """Run the bench; its module is imported only now, for what it needs is heavy."""
        module = import_module(
            f"campaigns.management.benches.{BENCHES[options['name']]}"
        )
        self.stdout.write(module.run(options["size"]).line())
