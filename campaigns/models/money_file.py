"""A bill file or payment advice that somebody handed in."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.rules.money_rows import FileKind
from dealership.models import Store, Upload
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet


FILE_WORDS = {
    FileKind.PAYMENTS: _("payment advice"),
    FileKind.BILLS: _("bill file"),
}


class MoneyFileQuerySet(StoreScopedQuerySet["MoneyFile"]):
    """Money files, by store."""


class MoneyFile(models.Model):
    """One file; the same content is the same file, and it is applied once."""

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="money_files"
    )
    kind = models.CharField(max_length=8, choices=choices_of(FILE_WORDS))
    upload = models.ForeignKey(Upload, on_delete=models.PROTECT, related_name="+")
    sha256 = models.CharField(max_length=64)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    key = models.CharField(  # noqa: DJ001 (not applied yet, so null)
        max_length=100, null=True, unique=True
    )
    applied_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    applied_at = models.DateTimeField(null=True)
    # what became of each row that was applied: row number and sentence
    result = models.JSONField(default=list)

    objects = MoneyFileQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("kind", FileKind, "money_file_kind_is_known"),
            models.UniqueConstraint(
                fields=["store", "kind", "sha256"], name="one_money_file_per_content"
            ),
            models.CheckConstraint(
                condition=Q(applied_at__isnull=True, key__isnull=True)
                | Q(applied_at__isnull=False, key__isnull=False),
                name="money_file_has_key_when_applied",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.made_at:%Y-%m-%d}"
