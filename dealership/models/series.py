"""Running numbers without gaps, one series a store and kind."""

from django.db import models

from dealership.models.store import Store


class Series(models.Model):
    """The last number given out in one series."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20)
    last = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "series"
        constraints = [
            models.UniqueConstraint(
                fields=["store", "kind"], name="one_series_per_store_and_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.last}"
