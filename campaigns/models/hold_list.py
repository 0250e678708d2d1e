"""The store's own vehicles against all campaigns, day by day."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import STAND_WORDS
from campaigns.rules.hold_list import Stand
from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.models import Vehicle


class StockCheckQuerySet(StoreScopedQuerySet["StockCheck"]):
    """Checks of stock, by store."""


class StockCheck(models.Model):
    """One look at all of a store's own vehicles (only added to)."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    on = models.DateField(_("day"))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    vehicles = models.PositiveIntegerField(_("vehicles looked at"))
    held = models.PositiveIntegerField(_("that must not go out"))

    objects = StockCheckQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["store", "-id"], name="stock_check_by_store")]

    def __str__(self) -> str:
        return f"{self.store_id} {self.on}"


class StockChange(models.Model):
    """How a vehicle stands otherwise than at the check before (only added to).

    The latest row of a vehicle says how it stood at the last check.
    """

    check_of = models.ForeignKey(
        StockCheck, on_delete=models.PROTECT, related_name="changes"
    )
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="+")
    before = models.CharField(
        max_length=10, choices=choices_of(STAND_WORDS), blank=True
    )
    after = models.CharField(max_length=10, choices=choices_of(STAND_WORDS))
    # the codes of the campaigns that were open on it, as they stood then
    campaigns = models.JSONField(default=list)

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("after", Stand, "stock_change_after_is_known"),
            models.CheckConstraint(
                condition=models.Q(before="")
                | models.Q(before__in=[one.value for one in Stand]),
                name="stock_change_before_is_known",
            ),
            models.UniqueConstraint(
                fields=["check_of", "vehicle"], name="one_stock_change_per_check"
            ),
        ]
        indexes = [
            models.Index(fields=["vehicle", "-id"], name="stock_change_by_vehicle")
        ]

    def __str__(self) -> str:
        return f"{self.vehicle_id} {self.after}"
