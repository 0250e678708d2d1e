"""One row a vehicle and campaign, and the facts that its state is made of."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from campaigns.models.campaign import Campaign
from campaigns.models.words import REACH_WORDS, REQUEST_WORDS, WORK_WORDS
from campaigns.rules.lifecycle import Reach, RequestState, WorkState
from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.models import Vehicle


class CampaignVehicleQuerySet(StoreScopedQuerySet["CampaignVehicle"]):
    """The population, by store."""

    def still_open(self) -> "CampaignVehicleQuerySet":
        """Keep those that want work."""
        return self.filter(work_state__in=["to_verify", "open", "needs_repair"])


class CampaignVehicle(models.Model):
    """A vehicle that a campaign concerns, or may concern."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="vehicles"
    )
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, related_name="campaigns"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    work_state = models.CharField(max_length=20, choices=choices_of(WORK_WORDS))
    reach = models.CharField(
        max_length=14, choices=choices_of(REACH_WORDS), default=Reach.REACHABLE
    )
    outcome = models.CharField(max_length=16)
    reasons = models.JSONField(default=list)
    on_list = models.BooleanField(default=False)
    # the event of the response curve: the first time somebody asked for the remedy
    first_asked_on = models.DateField(null=True)
    # days of the letters that arrived and that say there are parts; kept by triggers
    # on the letters, so that counting many vehicles need not look at each letter
    first_letter_on = models.DateField(null=True, editable=False)
    latest_letter_on = models.DateField(null=True, editable=False)
    # own stock is certain demand on a day that the service manager sets
    planned_on = models.DateField(null=True)
    added_on = models.DateField()

    objects = CampaignVehicleQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("work_state", WorkState, "work_state_is_known"),
            known("reach", Reach, "reach_is_known"),
            models.UniqueConstraint(
                fields=["campaign", "vehicle"], name="one_row_per_campaign_and_vehicle"
            ),
        ]
        indexes = [
            models.Index(
                fields=["campaign", "store", "work_state"], name="population_by_state"
            ),
            # these hold all that the nightly count of demand asks for
            models.Index(
                fields=[
                    "store",
                    "campaign",
                    "work_state",
                    "reach",
                    "on_list",
                    "latest_letter_on",
                    "first_letter_on",
                    "first_asked_on",
                ],
                condition=Q(work_state__in=["to_verify", "open", "needs_repair"]),
                name="population_open_by_letter",
            ),
            models.Index(
                fields=[
                    "store",
                    "campaign",
                    "work_state",
                    "first_letter_on",
                    "latest_letter_on",
                    "first_asked_on",
                ],
                condition=Q(first_asked_on__isnull=False),
                name="population_that_asked",
            ),
            models.Index(
                fields=["store", "campaign"],
                condition=Q(first_asked_on__isnull=True)
                & ~Q(work_state__in=["to_verify", "open", "needs_repair"]),
                name="population_gone_unasked",
            ),
            models.Index(
                fields=["store", "campaign"],
                condition=Q(first_asked_on__isnull=True)
                & Q(work_state__in=["open", "needs_repair"])
                & ~Q(reach="reachable"),
                name="population_lost_unasked",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.vehicle_id}"


class StateChange(models.Model):
    """One move of the work state (only added to)."""

    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="state_changes"
    )
    before = models.CharField(max_length=20, blank=True)
    after = models.CharField(max_length=20, choices=choices_of(WORK_WORDS))
    # whether it was on the manufacturer's list from then on; None: as the row says
    on_list = models.BooleanField(null=True)
    effective_on = models.DateField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.CharField(max_length=200)
    source = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["effective_on", "id"]
        constraints = [known("after", WorkState, "state_change_is_known")]
        indexes = [
            models.Index(
                fields=["campaign_vehicle", "effective_on", "id"],
                name="state_change_by_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id} {self.before}>{self.after}"


class ReachFact(models.Model):
    """One dated fact on whether the vehicle can be reached (only added to)."""

    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="reach_facts"
    )
    reach = models.CharField(max_length=14, choices=choices_of(REACH_WORDS))
    effective_on = models.DateField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    source = models.CharField(max_length=120)
    say_which = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["effective_on", "id"]
        constraints = [
            known("reach", Reach, "reach_fact_is_known"),
            models.CheckConstraint(
                condition=~Q(reach="other") | ~Q(say_which=""),
                name="other_reach_says_which",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id} {self.reach}"


class PartRequestQuerySet(StoreScopedQuerySet["PartRequest"]):
    """Requests, by store."""

    store_path = "campaign_vehicle__store"


class PartRequest(models.Model):
    """Somebody asked for the remedy, whether or not the parts were here."""

    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="requests"
    )
    asked_on = models.DateField()
    who = models.CharField(max_length=120, blank=True)
    contact = models.CharField(max_length=120, blank=True)
    met_at_once = models.BooleanField()
    state = models.CharField(max_length=10, choices=choices_of(REQUEST_WORDS))
    key = models.CharField(max_length=100, unique=True)
    offered_at = models.DateTimeField(null=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    objects = PartRequestQuerySet.as_manager()

    class Meta:
        ordering = ["asked_on", "id"]
        constraints = [
            known("state", RequestState, "request_state_is_known"),
            models.UniqueConstraint(
                fields=["campaign_vehicle"],
                condition=Q(state__in=["waiting", "offered"]),
                name="one_place_on_the_waiting_list",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id} {self.state}"
