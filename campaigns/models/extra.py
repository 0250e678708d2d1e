"""What a campaign may pay beside the work: loan car, towing, the owner repaid."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.words import EXTRA_WORDS
from campaigns.models.workshop import Repair
from dealership.models.choices import choices_of, not_negative


_KINDS = [kind.value for kind in EXTRA_WORDS]


class ExtraLimit(models.Model):
    """How much a campaign pays of one kind of extra; without a row it pays none."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="extra_limits"
    )
    kind = models.CharField(max_length=8, choices=choices_of(EXTRA_WORDS))
    most_cents = models.BigIntegerField(_("at most for a repair"), null=True)
    day_cents = models.BigIntegerField(_("at most a day"), null=True)
    most_days = models.PositiveSmallIntegerField(_("days at most"), null=True)

    class Meta:
        ordering = ["kind"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=_KINDS), name="extra_limit_kind_is_known"
            ),
            models.UniqueConstraint(
                fields=["campaign", "kind"], name="one_extra_limit_per_kind"
            ),
            not_negative("most_cents", "extra_limit_not_negative"),
            not_negative("day_cents", "extra_limit_a_day_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.kind}"


class RepairExtra(models.Model):
    """One bill beside the work of a repair, and the paper that proves it."""

    key = models.CharField(max_length=100, unique=True)
    repair = models.ForeignKey(Repair, on_delete=models.PROTECT, related_name="extras")
    kind = models.CharField(max_length=8, choices=choices_of(EXTRA_WORDS))
    title = models.CharField(_("what"), max_length=120)
    cents = models.BigIntegerField(_("amount of the bill"))
    days = models.PositiveSmallIntegerField(_("days"), null=True)
    evidence = models.CharField(
        _("number of the bill, agreement or receipt"), max_length=60, blank=True
    )
    dated = models.DateField(_("date of that paper"), null=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=_KINDS), name="repair_extra_kind_is_known"
            ),
            models.CheckConstraint(
                condition=Q(cents__gte=1), name="repair_extra_of_some_amount"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.repair_id} {self.title}"
