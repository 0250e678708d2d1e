"""What the manufacturer is asked to pay, line by line, and what it paid."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.extra import RepairExtra
from campaigns.models.words import CLAIM_LINE_WORDS, CLAIM_WORDS
from campaigns.models.workshop import PartFitted, Repair
from campaigns.rules.lifecycle import ClaimLineKind, ClaimState
from dealership.models import Store
from dealership.models.choices import choices_of, known, not_negative
from dealership.models.scope import StoreScopedQuerySet


class ClaimQuerySet(StoreScopedQuerySet["Claim"]):
    """Claims, by store."""


class Claim(models.Model):
    """The claim of one repair."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="claims")
    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="claims"
    )
    repair = models.OneToOneField(
        Repair, on_delete=models.PROTECT, related_name="claim"
    )
    number = models.PositiveIntegerField(_("claim number"))
    state = models.CharField(
        max_length=12, choices=choices_of(CLAIM_WORDS), default=ClaimState.READY
    )
    made_on = models.DateField()
    submitted_on = models.DateField(null=True)
    settled_on = models.DateField(null=True)
    rejected_why = models.CharField(max_length=200, blank=True)

    objects = ClaimQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", ClaimState, "claim_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "number"], name="one_claim_per_number"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class ClaimLine(models.Model):
    """One line. ``cost_cents`` is the pieces at cost; labour costs nothing here."""

    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="lines")
    kind = models.CharField(max_length=8, choices=choices_of(CLAIM_LINE_WORDS))
    title = models.CharField(max_length=160)
    part_fitted = models.OneToOneField(
        PartFitted, null=True, on_delete=models.PROTECT, related_name="claim_line"
    )
    extra = models.OneToOneField(
        RepairExtra, null=True, on_delete=models.PROTECT, related_name="claim_line"
    )
    quantity = models.PositiveIntegerField()
    cost_cents = models.BigIntegerField(default=0)
    claimed_cents = models.BigIntegerField()
    paid_cents = models.BigIntegerField(default=0)
    written_off_cents = models.BigIntegerField(default=0)

    class Meta:
        ordering = ["id"]
        constraints = [
            known("kind", ClaimLineKind, "claim_line_kind_is_known"),
            not_negative("cost_cents", "claim_line_cost_not_negative"),
            not_negative("claimed_cents", "claim_line_amount_not_negative"),
            not_negative("written_off_cents", "claim_line_write_off_not_negative"),
            models.CheckConstraint(
                condition=Q(paid_cents__gte=0, paid_cents__lte=F("claimed_cents")),
                name="claim_line_not_overpaid",
            ),
            models.CheckConstraint(
                condition=~Q(kind="part") | Q(part_fitted__isnull=False),
                name="part_line_names_its_pieces",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.claim_id} {self.title}"


class Payment(models.Model):
    """Cents paid on one claim line (only added to)."""

    key = models.CharField(max_length=100, unique=True)
    line = models.ForeignKey(
        ClaimLine, on_delete=models.PROTECT, related_name="payments"
    )
    advice = models.CharField(_("payment advice"), max_length=40, blank=True)
    dated = models.DateField()
    cents = models.BigIntegerField()
    # how much of it settles the pieces at cost; cost is covered first
    at_cost_cents = models.BigIntegerField(default=0)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            not_negative("cents", "payment_not_negative"),
            models.CheckConstraint(
                condition=Q(at_cost_cents__gte=0, at_cost_cents__lte=F("cents")),
                name="payment_cost_within_amount",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line_id} {self.cents}"


class ClaimAct(models.Model):
    """One step in the life of a claim (only added to)."""

    key = models.CharField(max_length=100, unique=True)
    claim = models.ForeignKey(Claim, on_delete=models.PROTECT, related_name="acts")
    # the state that the claim took by this step
    state = models.CharField(max_length=12, choices=choices_of(CLAIM_WORDS))
    dated = models.DateField()
    cents = models.BigIntegerField(default=0)
    reference = models.CharField(_("their reference"), max_length=40, blank=True)
    why = models.CharField(_("reason"), max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("state", ClaimState, "claim_act_state_is_known"),
            not_negative("cents", "claim_act_amount_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.claim_id} {self.state}"
