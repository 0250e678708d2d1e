"""Play the closed campaigns of the stores again: ``manage.py replay``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from campaigns.documents.replay import replay_csv
from campaigns.domain.replaying import replay_store
from dealership.models import Store


if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    """Keep the result for the page, and print it."""

    help = "Hold past proposals against what came, and against two simple rules."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the store; without one, all."""
        parser.add_argument("--store", help="the store's code")

    def handle(self, **options: Any) -> None:  # noqa: ANN401 (Django's own)
        """Replay each store, and print a row per campaign and one for all."""
        stores = Store.objects.order_by("code")
        if options["store"]:
            stores = stores.filter(code=options["store"])
            if not stores:
                raise CommandError(f"There is no store {options['store']}.")
        for store in stores:
            found = replay_store(store=store, by=None, at=timezone.now())
            self.stdout.write(f"{store.code} {store.name}")
            self.stdout.write(replay_csv(found.result).decode("utf-8-sig"))
