"""What the house says: proposals for parts, and reports of completion."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.words import PROPOSAL_KIND_WORDS, PROPOSAL_WORDS, REPORT_WORDS
from campaigns.rules.lifecycle import ProposalKind, ProposalState, ReportState
from dealership.models import Job, Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from inventory.forecasting.proposal import Fact
from inventory.models import Earmark, GoodsReturn, Part, PurchaseOrder


class ReplenishmentQuerySet(StoreScopedQuerySet["Replenishment"]):
    """Proposals, by store."""


class Replenishment(models.Model):
    """A proposal for one part in one store, with its numbers and reasons."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="proposals")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_on = models.DateField()
    made_at = models.DateTimeField()
    kind = models.CharField(max_length=8, choices=choices_of(PROPOSAL_KIND_WORDS))
    quantity = models.PositiveIntegerField(default=0)
    act_by = models.DateField(null=True)
    sentence = models.TextField()
    # every number it was worked out from, and the table of choices
    facts = models.JSONField(default=dict)
    choices = models.JSONField(default=list)
    moved_by = models.JSONField(default=list)
    fingerprint = models.CharField(max_length=64)
    state = models.CharField(
        max_length=10, choices=choices_of(PROPOSAL_WORDS), default=ProposalState.OPEN
    )
    done_quantity = models.PositiveIntegerField(null=True)
    done_why = models.CharField(_("reason"), max_length=200, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    done_at = models.DateTimeField(null=True)
    order = models.ForeignKey(
        PurchaseOrder, null=True, on_delete=models.PROTECT, related_name="proposals"
    )
    goods_return = models.ForeignKey(
        GoodsReturn, null=True, on_delete=models.PROTECT, related_name="proposals"
    )

    objects = ReplenishmentQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("kind", ProposalKind, "proposal_kind_is_known"),
            known("state", ProposalState, "proposal_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "part"],
                condition=Q(state="open"),
                name="one_open_proposal_per_store_and_part",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.part_id} {self.kind} {self.quantity}"

    def told(self) -> list[Fact]:
        """Give every figure that it was worked out from.

        Each is kept as code, value, unit and label; in older rows under their names.
        """
        rows = self.facts.get("rows", [])
        return [Fact(**row) if isinstance(row, dict) else Fact(*row) for row in rows]


class ReckoningQuerySet(StoreScopedQuerySet["Reckoning"]):
    """Marks of runs, by store."""


class Reckoning(models.Model):
    """On which day the proposals of a store were worked out last, and what was seen.

    ``seen_until``: acts recorded before it had been seen by that run.
    """

    store = models.OneToOneField(Store, on_delete=models.PROTECT, related_name="+")
    worked_on = models.DateField()
    seen_until = models.DateTimeField()

    objects = ReckoningQuerySet.as_manager()

    class Meta:
        ordering = ["store"]

    def __str__(self) -> str:
        return f"{self.store_id} {self.worked_on}"


class ReportQuerySet(StoreScopedQuerySet["Report"]):
    """Reports, by store."""


class Report(models.Model):
    """A store's completion report as of a day, kept as it was made."""

    key = models.CharField(max_length=100, unique=True)
    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="reports"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="reports")
    as_of = models.DateField(_("as of"))
    state = models.CharField(
        max_length=8, choices=choices_of(REPORT_WORDS), default=ReportState.WAITING
    )
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    figures = models.JSONField(default=dict)
    curve = models.JSONField(default=list)
    curve_svg = models.TextField(blank=True)
    digest = models.CharField(max_length=64, blank=True)
    pdf = models.FileField(upload_to="reports/%Y/%m", blank=True)
    csv = models.FileField(upload_to="reports/%Y/%m", blank=True)
    xlsx = models.FileField(upload_to="reports/%Y/%m", blank=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True)

    objects = ReportQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [known("state", ReportState, "report_state_is_known")]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.store_id} {self.as_of}"
