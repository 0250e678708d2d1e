"""The proof of the books, night by night."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from dealership.models.choices import not_negative


class BookProof(models.Model):
    """One proof of all books, pieces and money (only added to).

    ``faults`` holds the first of what did not balance: rule, row, and both figures.
    """

    made_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    entries = models.BigIntegerField(_("entries proved"))
    accounts = models.BigIntegerField(_("accounts proved"))
    fault_count = models.PositiveIntegerField(_("places that do not balance"))
    faults = models.JSONField(default=list)

    class Meta:
        ordering = ["-id"]
        constraints = [
            not_negative("entries", "book_proof_entries_not_negative"),
            not_negative("accounts", "book_proof_accounts_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.made_at:%Y-%m-%d} {self.fault_count}"

    @property
    def is_clean(self) -> bool:
        """Tell whether everything balanced."""
        return self.fault_count == 0
