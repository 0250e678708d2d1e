"""New vehicles that a campaign holds in the store, and what is claimed for them."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.population import CampaignVehicle
from dealership.models import Store
from dealership.models.choices import not_negative
from dealership.models.scope import StoreScopedQuerySet


class UnsoldQuerySet(StoreScopedQuerySet["UnsoldVehicle"]):
    """Unsold vehicles, by store."""

    store_path = "campaign_vehicle__store"


class UnsoldVehicle(models.Model):
    """A new vehicle that stood in the store when the campaign's notice came."""

    campaign_vehicle = models.OneToOneField(
        CampaignVehicle, on_delete=models.PROTECT, related_name="unsold"
    )
    selling_price_cents = models.BigIntegerField(
        _("manufacturer's selling price"), null=True
    )
    price_paid_cents = models.BigIntegerField(_("price paid"), null=True)
    notice_on = models.DateField(_("notice received on"))
    stop_sale_on = models.DateField(_("stop-sale since"), null=True)
    bought_back_on = models.DateField(_("bought back on"), null=True)

    objects = UnsoldQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            not_negative("selling_price_cents", "unsold_selling_price_not_negative"),
            not_negative("price_paid_cents", "unsold_price_paid_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id}"


class HoldingClaimQuerySet(StoreScopedQuerySet["HoldingClaim"]):
    """Claims for unsold vehicles, by store."""


class HoldingClaim(models.Model):
    """One claim for unsold vehicles, as it was drawn up; then what was paid.

    ``terms`` are those of the day it was drawn up.
    """

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="holding_claims"
    )
    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="holding_claims"
    )
    number = models.PositiveIntegerField(_("claim number"))
    key = models.CharField(max_length=100, unique=True)
    dated = models.DateField()
    terms = models.JSONField(default=dict)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    settled_on = models.DateField(_("settled on"), null=True)
    paid_cents = models.BigIntegerField(_("paid"), null=True)
    advice = models.CharField(_("payment advice"), max_length=40, blank=True)

    objects = HoldingClaimQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "number"], name="one_holding_claim_per_number"
            ),
            models.CheckConstraint(
                condition=Q(settled_on__isnull=True, paid_cents__isnull=True)
                | Q(
                    settled_on__isnull=False,
                    paid_cents__isnull=False,
                    paid_cents__gte=0,
                ),
                name="holding_claim_paid_when_settled",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class HoldingClaimLine(models.Model):
    """One vehicle on a claim, as it was worked out (only added to)."""

    claim = models.ForeignKey(
        HoldingClaim, on_delete=models.PROTECT, related_name="lines"
    )
    unsold = models.OneToOneField(
        UnsoldVehicle, on_delete=models.PROTECT, related_name="claim_line"
    )
    start = models.DateField()
    until = models.DateField()
    months = models.CharField(max_length=24)
    base_cents = models.BigIntegerField()
    cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            not_negative("cents", "holding_line_amount_not_negative"),
            models.CheckConstraint(
                condition=Q(until__gte=models.F("start")),
                name="holding_line_runs_forwards",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.claim_id} {self.cents}"
