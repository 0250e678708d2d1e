"""A campaign, its criteria in versions, and the manufacturer's VIN list."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import (
    CAMPAIGN_STATE_WORDS,
    CHANGE_WORDS,
    CLASS_WORDS,
    VERSION_WORDS,
)
from campaigns.rules.lifecycle import (
    CampaignClass,
    CampaignState,
    Change,
    VersionState,
)
from dealership.models import Job, Store, Upload
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from inventory.models import Bill, Earmark, Part, Shipment, Supplier
from vehicles.models import Vehicle


class Campaign(models.Model):
    """What a manufacturer announced. Shared by all stores of the group."""

    code = models.CharField(
        _("our number"),
        max_length=20,
        unique=True,
        help_text=_("Short; it stands on letters, shelves and reports."),
    )
    maker = models.CharField(_("manufacturer"), max_length=80)
    maker_number = models.CharField(_("manufacturer's number"), max_length=40)
    regulator_number = models.CharField(
        _("regulator's number"), max_length=40, blank=True
    )
    title = models.CharField(_("title"), max_length=160)
    campaign_class = models.CharField(
        _("class"), max_length=16, choices=choices_of(CLASS_WORDS)
    )
    bulletin = models.TextField(_("bulletin, in the manufacturer's words"), blank=True)
    risk = models.TextField(
        _("what may happen if it is not done"),
        blank=True,
        help_text=_("One or two plain sentences. They stand in the letters."),
    )
    # the same in the other language of the letters; without it they go in English
    title_es = models.CharField(_("title in Spanish"), max_length=160, blank=True)
    risk_es = models.TextField(
        _("what may happen, in Spanish"),
        blank=True,
        help_text=_(
            "With title and risk in Spanish, owners who speak it get a Spanish letter."
        ),
    )
    bulletin_es = models.TextField(_("bulletin in Spanish"), blank=True)
    state = models.CharField(
        max_length=8,
        choices=choices_of(CAMPAIGN_STATE_WORDS),
        default=CampaignState.DRAFT,
    )
    supplier = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, related_name="+", verbose_name=_("supplier")
    )
    earmark = models.OneToOneField(
        Earmark, on_delete=models.PROTECT, related_name="campaign"
    )
    announced_on = models.DateField(_("announced on"))
    parts_available_on = models.DateField(_("parts available from"), null=True)
    letters_on = models.DateField(_("owner letters from"), null=True, blank=True)
    reminder_on = models.DateField(
        _("next reminder planned for"), null=True, blank=True
    )
    claims_until = models.DateField(_("claims until"), null=True, blank=True)
    returns_until = models.DateField(_("parts returnable until"), null=True, blank=True)
    restocking_basis_points = models.PositiveIntegerField(
        _("restocking charge, hundredths of a per cent"), default=1_500
    )
    stop_sale = models.BooleanField(
        _("new stock must not be handed over before the remedy"), default=False
    )
    eligible_until = models.DateField(_("remedy offered until"), null=True, blank=True)
    odometer_limit = models.PositiveIntegerField(
        _("odometer limit, miles"), null=True, blank=True
    )
    years_since_first_use = models.PositiveSmallIntegerField(
        _("years since first use"), null=True, blank=True
    )
    closed_at = models.DateTimeField(null=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["-announced_on", "code"]
        constraints = [
            known("campaign_class", CampaignClass, "campaign_class_is_known"),
            known("state", CampaignState, "campaign_state_is_known"),
            models.UniqueConstraint(
                fields=["maker", "maker_number"], name="one_campaign_per_makers_number"
            ),
            models.CheckConstraint(
                condition=~Q(campaign_class=CampaignClass.SAFETY)
                | Q(eligible_until__isnull=True, odometer_limit__isnull=True),
                name="safety_recall_has_no_last_date_or_odometer_limit",
            ),
            models.CheckConstraint(
                condition=Q(restocking_basis_points__lte=10_000),
                name="campaign_restocking_at_most_all",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"

    def speaks(self, language: str) -> bool:
        """Tell whether its title and risk are written down in a language."""
        return language != "es" or bool(
            self.title_es and (self.risk_es or not self.risk)
        )


class CriteriaVersion(models.Model):
    """The criteria as of one amendment. The applied one with the highest number rules."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="versions"
    )
    number = models.PositiveIntegerField()
    state = models.CharField(
        max_length=10, choices=choices_of(VERSION_WORDS), default=VersionState.DRAFT
    )
    why = models.CharField(_("reason"), max_length=300, blank=True)
    # dates and limits of the campaign as they stood when it was applied
    facts = models.JSONField(default=dict)
    counts = models.JSONField(default=dict)
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="+")
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    applied_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    applied_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            known("state", VersionState, "criteria_version_state_is_known"),
            models.UniqueConstraint(
                fields=["campaign", "number"], name="one_criteria_version_per_number"
            ),
            models.UniqueConstraint(
                fields=["campaign"],
                condition=Q(state__in=["draft", "matching", "matched", "applying"]),
                name="one_criteria_version_in_work",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} v{self.number}"


class Criterion(models.Model):
    """One test of a vehicle; its filled fields must all be met."""

    version = models.ForeignKey(
        CriteriaVersion, on_delete=models.CASCADE, related_name="criteria"
    )
    include = models.BooleanField(_("takes vehicles in"), default=True)
    model_years = models.JSONField(_("model years"), default=list, blank=True)
    lines = models.JSONField(_("model lines"), default=list, blank=True)
    engines = models.JSONField(_("engines"), default=list, blank=True)
    plants = models.JSONField(_("plants"), default=list, blank=True)
    build_from = models.DateField(_("built from"), null=True, blank=True)
    build_to = models.DateField(_("built to"), null=True, blank=True)
    serial_from = models.CharField(_("serial from"), max_length=20, blank=True)
    serial_to = models.CharField(_("serial to"), max_length=20, blank=True)

    class Meta:
        ordering = ["-include", "id"]
        verbose_name_plural = "criteria"
        constraints = [
            models.CheckConstraint(
                condition=Q(build_from__isnull=True)
                | Q(build_to__isnull=True)
                | Q(build_to__gte=models.F("build_from")),
                name="criterion_build_window_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version_id} {'+' if self.include else '-'}"


class ListedVin(models.Model):
    """One VIN on the manufacturer's list of a campaign."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.CASCADE, related_name="listed"
    )
    vin = models.CharField(max_length=17)
    store = models.ForeignKey(
        Store, null=True, on_delete=models.PROTECT, related_name="+"
    )
    upload = models.ForeignKey(
        Upload, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    row_number = models.PositiveIntegerField(default=0)
    listed_on = models.DateField()

    class Meta:
        ordering = ["vin"]
        constraints = [
            models.UniqueConstraint(
                fields=["campaign", "vin"], name="one_listed_vin_per_campaign"
            ),
        ]

    def __str__(self) -> str:
        return self.vin


class MatchedChange(models.Model):
    """What a version would change about one vehicle, before it is applied."""

    version = models.ForeignKey(
        CriteriaVersion, on_delete=models.CASCADE, related_name="changes"
    )
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+")
    change = models.CharField(max_length=10, choices=choices_of(CHANGE_WORDS))
    outcome = models.CharField(max_length=16)
    reasons = models.JSONField(default=list)
    on_list = models.BooleanField(default=False)
    applied = models.BooleanField(default=False)

    class Meta:
        ordering = ["id"]
        constraints = [
            known("change", Change, "matched_change_is_known"),
            models.UniqueConstraint(
                fields=["version", "vehicle"], name="one_matched_change_per_vehicle"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.version_id} {self.vehicle_id} {self.change}"


class AllocationQuerySet(StoreScopedQuerySet["Allocation"]):
    """First batches, by store."""


class Allocation(models.Model):
    """The first batch that the manufacturer sends and bills to one store."""

    campaign = models.ForeignKey(
        Campaign, on_delete=models.PROTECT, related_name="allocations"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(_("pieces announced"))
    unit_cost_cents = models.BigIntegerField(_("price, cents a piece"))
    announced_on = models.DateField(_("announced on"))
    bill = models.ForeignKey(
        Bill, null=True, on_delete=models.PROTECT, related_name="allocations"
    )
    shipment = models.ForeignKey(
        Shipment, null=True, on_delete=models.PROTECT, related_name="allocations"
    )
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    objects = AllocationQuerySet.as_manager()

    class Meta:
        ordering = ["-announced_on", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["campaign", "store", "part"],
                name="one_first_batch_per_campaign_store_part",
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="allocation_of_at_least_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.campaign_id} {self.store_id} {self.part_id}"
