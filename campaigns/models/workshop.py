"""Visits and repairs: booked, checked, fitted, done."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.population import CampaignVehicle
from campaigns.models.remedy import (
    ScheduledItem,
    Variant,
    VariantCheck,
    VariantLabour,
)
from campaigns.models.words import (
    OUTCOME_WORDS,
    PAYER_WORDS,
    READING_WORDS,
    REPAIR_WORDS,
    TOLD_WORDS,
    VISIT_WORDS,
)
from campaigns.rules.lifecycle import (
    Outcome,
    Payer,
    ReadingResult,
    RepairState,
    ToldHow,
    VisitState,
)
from dealership.models import Store
from dealership.models.choices import choices_of, known, not_negative
from dealership.models.scope import StoreScopedQuerySet
from inventory.models import CostLayer, Movement, Part
from vehicles.models import Vehicle


class VisitQuerySet(StoreScopedQuerySet["Visit"]):
    """Visits, by store."""


class Visit(models.Model):
    """A vehicle expected on a day."""

    key = models.CharField(max_length=100, unique=True)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="visits")
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, related_name="visits"
    )
    on = models.DateField(_("day"))
    at = models.TimeField(_("time"), null=True, blank=True)
    state = models.CharField(
        max_length=10, choices=choices_of(VISIT_WORDS), default=VisitState.BOOKED
    )
    who = models.CharField(_("who comes"), max_length=120, blank=True)
    contact = models.CharField(_("telephone or e-mail"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    booked_at = models.DateTimeField()

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["on", "at", "id"]
        constraints = [known("state", VisitState, "visit_state_is_known")]
        indexes = [models.Index(fields=["store", "on"], name="visit_by_day")]

    def __str__(self) -> str:
        return f"{self.vehicle_id} {self.on}"


class VisitJob(models.Model):
    """One job of a visit: a campaign's remedy or a scheduled item.

    Its parts are the inventory's reservations with ``subject = "visit_job:<id>"``.
    """

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="jobs")
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, null=True, on_delete=models.PROTECT, related_name="visit_jobs"
    )
    scheduled_item = models.ForeignKey(
        ScheduledItem, null=True, on_delete=models.PROTECT, related_name="visit_jobs"
    )
    variant = models.ForeignKey(Variant, on_delete=models.PROTECT, related_name="+")
    # copied from the visit so that the database can keep one open booking a vehicle
    live = models.BooleanField(default=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(campaign_vehicle__isnull=False, scheduled_item__isnull=True)
                | Q(campaign_vehicle__isnull=True, scheduled_item__isnull=False),
                name="visit_job_is_one_thing",
            ),
            models.UniqueConstraint(
                fields=["campaign_vehicle"],
                condition=Q(live=True, campaign_vehicle__isnull=False),
                name="one_live_booking_per_campaign_vehicle",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.variant_id}"

    @property
    def subject(self) -> str:
        """Give the name under which inventory holds the parts."""
        return f"visit_job:{self.pk}"


class RepairQuerySet(StoreScopedQuerySet["Repair"]):
    """Repairs, by store."""


class Repair(models.Model):
    """Work on one vehicle for one job, on one repair order."""

    key = models.CharField(max_length=100, unique=True)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="repairs")
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, related_name="repairs"
    )
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, null=True, on_delete=models.PROTECT, related_name="repairs"
    )
    scheduled_item = models.ForeignKey(
        ScheduledItem, null=True, on_delete=models.PROTECT, related_name="repairs"
    )
    visit_job = models.OneToOneField(
        VisitJob, null=True, on_delete=models.PROTECT, related_name="repair"
    )
    variant = models.ForeignKey(Variant, on_delete=models.PROTECT, related_name="+")
    repair_order = models.CharField(_("repair order"), max_length=20)
    state = models.CharField(
        max_length=10, choices=choices_of(REPAIR_WORDS), default=RepairState.OPEN
    )
    outcome = models.CharField(
        max_length=16, choices=choices_of(OUTCOME_WORDS), blank=True
    )
    opened_at = models.DateTimeField()
    done_on = models.DateField(_("done on"), null=True)
    odometer = models.PositiveIntegerField(_("odometer, miles"), null=True)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    completed_at = models.DateTimeField(null=True)
    # the caller's key of the sign-off, so that a repeat changes nothing
    completion_key = models.CharField(  # noqa: DJ001 (many have none, so null)
        max_length=100, null=True, unique=True
    )
    note = models.CharField(_("note"), max_length=300, blank=True)
    # since when the remedy does not count any more, because the vehicle was opened again
    undone_at = models.DateTimeField(null=True)

    objects = RepairQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", RepairState, "repair_state_is_known"),
            models.CheckConstraint(
                condition=Q(outcome="") | Q(outcome__in=[o.value for o in Outcome]),
                name="repair_outcome_is_known",
            ),
            models.UniqueConstraint(
                fields=["campaign_vehicle"],
                condition=Q(state="completed", outcome="remedied", undone_at=None),
                name="one_completed_remedy_per_campaign_vehicle",
            ),
            models.UniqueConstraint(
                fields=["campaign_vehicle"],
                condition=Q(state="open"),
                name="one_open_repair_per_campaign_vehicle",
            ),
            models.CheckConstraint(
                condition=~Q(state="completed")
                | (Q(odometer__isnull=False, done_on__isnull=False) & ~Q(outcome="")),
                name="completed_repair_has_its_facts",
            ),
        ]

    def __str__(self) -> str:
        return self.repair_order


class CheckReading(models.Model):
    """One measured value (only added to; a repeat is a further row)."""

    repair = models.ForeignKey(
        Repair, on_delete=models.PROTECT, related_name="readings"
    )
    check_of = models.ForeignKey(
        VariantCheck, on_delete=models.PROTECT, related_name="+"
    )
    attempt = models.PositiveSmallIntegerField()
    value = models.DecimalField(max_digits=10, decimal_places=3)
    unit = models.CharField(max_length=12)
    result = models.CharField(max_length=8, choices=choices_of(READING_WORDS))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["check_of", "attempt"]
        constraints = [
            known("result", ReadingResult, "reading_result_is_known"),
            models.UniqueConstraint(
                fields=["repair", "check_of", "attempt"], name="one_reading_per_attempt"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.repair_id} {self.value} {self.unit}"


class LabourDone(models.Model):
    """A labour line that was done at the sign-off, and its one payer (only added to).

    Operation, times and payer are copied, so that a later change of the remedy takes
    nothing away. What is paid on it follows from the union of the visit's operations
    (campaigns.rules.labour_union).
    """

    repair = models.ForeignKey(
        Repair, on_delete=models.PROTECT, related_name="labour_done"
    )
    labour = models.ForeignKey(
        VariantLabour, on_delete=models.PROTECT, related_name="+"
    )
    operation = models.CharField(_("operation"), max_length=20)
    title = models.CharField(_("title"), max_length=160)
    hundredths_of_hour = models.PositiveIntegerField(_("time, hundredths of an hour"))
    includes = models.JSONField(_("elementary operations"), default=list)
    times = models.JSONField(_("times of elementary operations"), default=dict)
    payer = models.CharField(max_length=14, choices=choices_of(PAYER_WORDS))

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "labour done"
        constraints = [
            known("payer", Payer, "labour_done_payer_is_known"),
            models.UniqueConstraint(
                fields=["repair", "labour"], name="one_labour_done_per_line"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.repair_id} {self.operation}"


class PartFitted(models.Model):
    """Pieces of one cost layer that went into a vehicle, and who pays."""

    repair = models.ForeignKey(Repair, on_delete=models.PROTECT, related_name="parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    layer = models.ForeignKey(CostLayer, on_delete=models.PROTECT, related_name="+")
    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField()
    unit_cost_cents = models.BigIntegerField()
    payer = models.CharField(max_length=14, choices=choices_of(PAYER_WORDS))

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "parts fitted"
        constraints = [
            known("payer", Payer, "part_fitted_payer_is_known"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="part_fitted_at_least_one"
            ),
            not_negative("unit_cost_cents", "part_fitted_cost_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.repair_id} {self.quantity} x {self.part_id}"


class NoticeGivenQuerySet(StoreScopedQuerySet["NoticeGiven"]):
    """Notices given, by store."""


class NoticeGiven(models.Model):
    """Whoever brought a vehicle was told what is open on it (only added to).

    49 USC 30120(f): where the franchise agreement says so, the store's fair pay for
    the remedy depends on telling of open recalls at every service.
    """

    key = models.CharField(max_length=100, unique=True)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, related_name="notices_given"
    )
    # the codes as they stood open, so that a later change takes nothing away
    campaigns = models.JSONField(_("campaigns"), default=list)
    how = models.CharField(max_length=8, choices=choices_of(TOLD_WORDS))
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    objects = NoticeGivenQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "notices given"
        constraints = [known("how", ToldHow, "notice_given_how_is_known")]

    def __str__(self) -> str:
        return f"{self.vehicle_id} {self.at:%Y-%m-%d}"
