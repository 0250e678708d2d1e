"""The workshop's hours by day and skill, and the loan cars promised for visits."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import LOAN_WORDS, SKILL_WORDS
from campaigns.models.workshop import Visit
from campaigns.rules.room import LoanState, Skill
from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet


class WorkshopHoursQuerySet(StoreScopedQuerySet["WorkshopHours"]):
    """Hours of a usual week, by store."""


class WorkshopHours(models.Model):
    """The hours of one skill on one day of a usual week; Monday is 1."""

    store = models.ForeignKey(Store, on_delete=models.CASCADE, related_name="+")
    skill = models.CharField(_("skill"), max_length=12, choices=choices_of(SKILL_WORDS))
    weekday = models.PositiveSmallIntegerField(_("day of the week"))
    hundredths_of_hour = models.PositiveIntegerField(_("hours, in hundredths"))

    objects = WorkshopHoursQuerySet.as_manager()

    class Meta:
        ordering = ["store", "skill", "weekday"]
        verbose_name_plural = "workshop hours"
        constraints = [
            known("skill", Skill, "workshop_hours_skill_is_known"),
            models.UniqueConstraint(
                fields=["store", "skill", "weekday"],
                name="one_workshop_hours_per_skill_and_weekday",
            ),
            models.CheckConstraint(
                condition=Q(weekday__gte=1, weekday__lte=7),
                name="workshop_hours_weekday_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.skill} {self.weekday}"


class DifferingDayQuerySet(StoreScopedQuerySet["DifferingDay"]):
    """Days with hours of their own, by store."""


class DifferingDay(models.Model):
    """The hours of one skill on one day that is not like others of its week."""

    store = models.ForeignKey(Store, on_delete=models.CASCADE, related_name="+")
    skill = models.CharField(_("skill"), max_length=12, choices=choices_of(SKILL_WORDS))
    day = models.DateField(_("day"))
    hundredths_of_hour = models.PositiveIntegerField(_("hours, in hundredths"))
    why = models.CharField(_("reason"), max_length=120, blank=True)

    objects = DifferingDayQuerySet.as_manager()

    class Meta:
        ordering = ["day", "skill"]
        constraints = [
            known("skill", Skill, "differing_day_skill_is_known"),
            models.UniqueConstraint(
                fields=["store", "day", "skill"],
                name="one_differing_day_per_skill",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.skill} {self.day}"


class LoanQuerySet(StoreScopedQuerySet["Loan"]):
    """Loans, by store."""


class Loan(models.Model):
    """One of the store's loan cars, promised for a visit. Which one is not said."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="loan")
    first_day = models.DateField(_("from"))
    last_day = models.DateField(_("back on"))
    state = models.CharField(
        max_length=8, choices=choices_of(LOAN_WORDS), default=LoanState.BOOKED
    )
    out_at = models.DateTimeField(null=True)
    back_at = models.DateTimeField(null=True)
    booked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = LoanQuerySet.as_manager()

    class Meta:
        ordering = ["first_day", "id"]
        constraints = [
            known("state", LoanState, "loan_state_is_known"),
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="loan_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["booked", "dropped"], out_at__isnull=True)
                | Q(state="out", out_at__isnull=False, back_at__isnull=True)
                | Q(state="back", out_at__isnull=False, back_at__isnull=False),
                name="loan_is_out_since_and_back_since",
            ),
        ]
        indexes = [
            models.Index(
                fields=["store"],
                condition=Q(state__in=["booked", "out"]),
                name="loan_that_takes_a_car",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.first_day}"
