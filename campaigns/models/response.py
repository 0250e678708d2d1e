"""What closed campaigns taught: how owners came, kept for the forecasts to come."""

from django.db import models
from django.db.models import Q

from campaigns.models.campaign import Campaign
from dealership.models import Store
from dealership.models.scope import StoreScopedQuerySet


class ClosedResponseQuerySet(StoreScopedQuerySet["ClosedResponse"]):
    """Courses of closed campaigns, by store."""


class ClosedResponse(models.Model):
    """How one campaign ran at one store, in groups of vehicles alike; no vehicle."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.CASCADE, related_name="responses"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    # rows of [vehicles, days of the letters, day until, whether asked then]
    seen = models.JSONField(default=list)
    made_at = models.DateTimeField()

    objects = ClosedResponseQuerySet.as_manager()

    class Meta:
        ordering = ["campaign", "store"]
        constraints = [
            models.UniqueConstraint(
                fields=["campaign", "store"],
                name="one_closed_response_per_campaign_and_store",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.store_id}"


class LearnedResponseQuerySet(StoreScopedQuerySet["LearnedResponse"]):
    """Curves and pace, by store."""


class LearnedResponse(models.Model):
    """Curves, pace, errors and exits, fitted once to a set of closed campaigns.

    Without a store: to those of the whole group. Without a class: to all classes.
    """

    store = models.ForeignKey(
        Store, null=True, on_delete=models.CASCADE, related_name="+"
    )
    campaign_class = models.CharField(max_length=16, blank=True)
    fingerprint = models.CharField(max_length=64)
    learned = models.JSONField(default=dict)
    made_at = models.DateTimeField()

    objects = LearnedResponseQuerySet.as_manager()

    class Meta:
        ordering = ["store", "campaign_class"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "campaign_class"],
                name="one_learned_response_per_store_and_class",
            ),
            models.UniqueConstraint(
                fields=["campaign_class"],
                condition=Q(store__isnull=True),
                name="one_learned_response_of_the_group_per_class",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id or 'group'} {self.campaign_class}"
