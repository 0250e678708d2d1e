"""The trail: who did what, when, to which row. Only ever added to."""

from django.conf import settings
from django.db import models

from dealership.models.scope import StoreScopedQuerySet
from dealership.models.store import Store


class AuditQuerySet(StoreScopedQuerySet["AuditEntry"]):
    """The trail, by store."""


class AuditEntry(models.Model):
    """One act. Holds ids and figures, never a name or an address."""

    at = models.DateTimeField(db_index=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    store = models.ForeignKey(
        Store, null=True, on_delete=models.PROTECT, related_name="+"
    )
    act = models.CharField(max_length=60)
    subject = models.CharField(max_length=80)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    why = models.CharField(max_length=300, blank=True)

    objects = AuditQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "audit entries"
        indexes = [models.Index(fields=["subject", "id"], name="audit_by_subject")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.act} {self.subject}"
