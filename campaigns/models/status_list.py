"""The manufacturer's status lists, and where they differ from what stands here."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.population import CampaignVehicle
from campaigns.models.words import WORK_WORDS
from campaigns.rules.lifecycle import WorkState
from campaigns.rules.status_rows import ListedStatus
from dealership.models import Store, Upload
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.rules.dates import DateOrder


LISTED_WORDS = {
    ListedStatus.DONE: _("done"),
    ListedStatus.OPEN: _("open"),
    ListedStatus.REFUSED: _("refused"),
    ListedStatus.OUT: _("not involved"),
}
ORDER_WORDS = {
    DateOrder.DAY_FIRST: _("day first"),
    DateOrder.MONTH_FIRST: _("month first"),
}


class StatusListQuerySet(StoreScopedQuerySet["StatusList"]):
    """Status lists, by store."""


class StatusList(models.Model):
    """One list; the same content is the same list, and it is applied once.

    ``listed_on`` is the list's own date: up to then it knows.
    """

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="status_lists"
    )
    # for a list without a column that names the campaign
    campaign = models.ForeignKey(
        Campaign, null=True, on_delete=models.PROTECT, related_name="status_lists"
    )
    upload = models.ForeignKey(Upload, on_delete=models.PROTECT, related_name="+")
    sha256 = models.CharField(max_length=64)
    listed_on = models.DateField(_("date of the list"))
    date_order = models.CharField(
        max_length=8, choices=choices_of(ORDER_WORDS), blank=True
    )
    counts = models.JSONField(default=dict)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    applied_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    applied_at = models.DateTimeField(null=True)

    objects = StatusListQuerySet.as_manager()

    class Meta:
        ordering = ["-listed_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "sha256"], name="one_status_list_per_content"
            ),
            models.CheckConstraint(
                condition=Q(date_order__in=["", *[one.value for one in DateOrder]]),
                name="status_list_date_order_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.listed_on}"


class StatusDifferenceQuerySet(StoreScopedQuerySet["StatusDifference"]):
    """Differences, by store."""

    store_path = "status_list__store"

    def unsettled(self) -> "StatusDifferenceQuerySet":
        """Keep those about which nobody has decided."""
        return self.filter(settled_at__isnull=True)


class StatusDifference(models.Model):
    """A vehicle of which the list says what nobody here may take over unasked."""

    status_list = models.ForeignKey(
        StatusList, on_delete=models.PROTECT, related_name="differences"
    )
    campaign_vehicle = models.ForeignKey(
        CampaignVehicle, on_delete=models.PROTECT, related_name="status_differences"
    )
    row_number = models.PositiveIntegerField()
    said = models.CharField(max_length=8, choices=choices_of(LISTED_WORDS))
    said_on = models.DateField(null=True)
    work_state = models.CharField(max_length=20, choices=choices_of(WORK_WORDS))
    ours_stands = models.BooleanField(null=True)
    why = models.CharField(max_length=200, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(null=True)

    objects = StatusDifferenceQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("said", ListedStatus, "status_difference_said_is_known"),
            known("work_state", WorkState, "status_difference_state_is_known"),
            models.UniqueConstraint(
                fields=["campaign_vehicle"],
                condition=Q(settled_at__isnull=True),
                name="one_unsettled_difference_per_vehicle",
            ),
            models.CheckConstraint(
                condition=Q(settled_at__isnull=True, ours_stands__isnull=True)
                | (Q(settled_at__isnull=False, ours_stands__isnull=False) & ~Q(why="")),
                name="settled_difference_says_how_and_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_vehicle_id} {self.said}"
