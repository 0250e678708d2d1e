"""What replaying a store's closed campaigns came to."""

from django.conf import settings
from django.db import models

from dealership.models import Store
from dealership.models.scope import StoreScopedQuerySet


class StoreReplayQuerySet(StoreScopedQuerySet["StoreReplay"]):
    """Replays, by store."""


class StoreReplay(models.Model):
    """The latest replay of a store's closed campaigns; the next takes its place.

    ``result`` holds what ``campaigns.domain.replaying`` writes.
    """

    store = models.ForeignKey(Store, on_delete=models.CASCADE, related_name="+")
    made_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    result = models.JSONField(default=dict)

    objects = StoreReplayQuerySet.as_manager()

    class Meta:
        ordering = ["store"]
        constraints = [
            models.UniqueConstraint(fields=["store"], name="one_replay_per_store"),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.made_at:%Y-%m-%d}"
