"""A file that somebody handed in, kept as it came."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from dealership.models.scope import StoreScopedQuerySet
from dealership.models.store import Store
from dealership.rules.uploads import ContentKind


class UploadQuerySet(StoreScopedQuerySet["Upload"]):
    """Uploads, by store and by content."""


def place_of(upload: Upload, filename: str) -> str:
    """Name the place of a file in the storage; nothing the sender wrote is in it."""
    del filename
    return f"uploads/{upload.at:%Y-%m}/{upload.id}"


class Upload(models.Model):
    """One kept source file. The register outlives the file."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    file = models.FileField(upload_to=place_of, max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, db_index=True)
    size_bytes = models.BigIntegerField()
    original_name = models.CharField(max_length=255)
    content_kind = models.CharField(
        max_length=12, choices=[(kind.value, kind.value) for kind in ContentKind]
    )
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()
    keep_until = models.DateField()
    erased_at = models.DateTimeField(null=True, blank=True)

    objects = UploadQuerySet.as_manager()

    class Meta:
        ordering = ["-at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(size_bytes__gt=0), name="upload_is_not_empty"
            ),
            models.CheckConstraint(
                condition=Q(content_kind__in=[kind.value for kind in ContentKind]),
                name="upload_kind_is_known",
            ),
            models.CheckConstraint(
                condition=Q(erased_at__isnull=True) & ~Q(file="")
                | Q(erased_at__isnull=False, file=""),
                name="upload_has_file_until_erased",
            ),
        ]
        indexes = [
            models.Index(
                fields=["keep_until"],
                name="upload_by_keep_until",
                condition=Q(erased_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.original_name} {self.at:%Y-%m-%d}"
