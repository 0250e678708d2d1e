"""Prove the books, pieces and money: ``manage.py check_books``."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from campaigns.domain.proving import MOST_FAULTS, prove_books


class Command(BaseCommand):
    """Print each thing that does not balance, and fail when there is one."""

    help = "Work out every balance and account anew; exit 1 when one differs."

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's own)
        """Prove the books and keep the proof, as the nightly job does."""
        del args, options
        proof = prove_books(by=None, at=timezone.now())
        for one in proof.faults:
            self.stdout.write(
                f"{one['rule']}: {one['row']} is {one['stands']},"
                f" should be {one['should_be']}"
            )
        if proof.fault_count > MOST_FAULTS:
            self.stdout.write(f"and {proof.fault_count - MOST_FAULTS} more")
        if not proof.is_clean:
            raise CommandError(
                f"The books do not balance in {proof.fault_count} places."
            )
        self.stdout.write(
            f"The books balance: {proof.entries} entries and {proof.accounts}"
            " accounts proved."
        )
