"""Prove the books of parts: ``manage.py check_books``."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from inventory.models import Entry
from inventory.queries.books import faults_of_the_books


class Command(BaseCommand):
    """Print each thing that does not balance, and fail when there is one."""

    help = "Work out every balance from its entries; exit 1 when one differs."

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's own)
        """Prove the books as they stand at one instant."""
        del args, options
        with transaction.atomic():
            faults = faults_of_the_books()
            entries = Entry.objects.count()
        for fault in faults:
            self.stdout.write(str(fault))
        if faults:
            raise CommandError(f"The books do not balance in {len(faults)} places.")
        self.stdout.write(f"The books balance: {entries} entries proved.")
