"""What is to be done: variants of the remedy, their parts, labour and checks."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.campaign import Campaign
from campaigns.models.tool import SpecialTool
from campaigns.models.words import PAYER_WORDS, READING_WORDS, SKILL_WORDS
from campaigns.rules.lifecycle import Payer, ReadingResult
from campaigns.rules.room import Skill
from dealership.models.choices import choices_of, known, not_negative
from inventory.models import Part


class ScheduledItem(models.Model):
    """A remedy due by age or odometer on the wider population; the customer pays."""

    code = models.CharField(_("code"), max_length=20, unique=True)
    title = models.CharField(_("title"), max_length=160)
    lines = models.JSONField(_("model lines"), default=list, blank=True)
    engines = models.JSONField(_("engines"), default=list, blank=True)
    due_after_months = models.PositiveIntegerField(_("due after, months"), null=True)
    due_after_miles = models.PositiveIntegerField(_("due after, miles"), null=True)
    share_done_here_basis_points = models.PositiveIntegerField(
        _("share that comes to us, hundredths of a per cent"), default=4_000
    )
    active = models.BooleanField(_("in force"), default=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(due_after_months__isnull=False)
                | Q(due_after_miles__isnull=False),
                name="scheduled_item_is_due_by_something",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class Remedy(models.Model):
    """The work of one campaign or of one scheduled item."""

    campaign = models.OneToOneField(
        Campaign, null=True, on_delete=models.PROTECT, related_name="remedy"
    )
    scheduled_item = models.OneToOneField(
        ScheduledItem, null=True, on_delete=models.PROTECT, related_name="remedy"
    )
    tools = models.TextField(_("tools and materials"), blank=True)
    special_tools = models.ManyToManyField(
        SpecialTool,
        blank=True,
        related_name="remedies",
        verbose_name=_("special tools"),
    )
    cautions = models.TextField(_("cautions"), blank=True)

    class Meta:
        verbose_name_plural = "remedies"
        constraints = [
            models.CheckConstraint(
                condition=Q(campaign__isnull=False, scheduled_item__isnull=True)
                | Q(campaign__isnull=True, scheduled_item__isnull=False),
                name="remedy_belongs_to_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"remedy {self.pk}"


class Variant(models.Model):
    """One form of the remedy, chosen by facts about the vehicle."""

    remedy = models.ForeignKey(
        Remedy, on_delete=models.CASCADE, related_name="variants"
    )
    code = models.CharField(_("code"), max_length=20)
    title = models.CharField(_("title"), max_length=160)
    position = models.PositiveSmallIntegerField(default=1)
    # conditions as campaigns.rules.remedy_choice reads them; empty fits every vehicle
    conditions = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["remedy", "code"], name="one_variant_per_code"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class VariantPart(models.Model):
    """A part that a variant takes. Each line has one payer."""

    variant = models.ForeignKey(Variant, on_delete=models.CASCADE, related_name="parts")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(_("pieces a vehicle"), default=1)
    share_basis_points = models.PositiveIntegerField(
        _("share of vehicles that need it, hundredths of a per cent"), default=10_000
    )
    old_numbers_serve = models.BooleanField(
        _("what is left of an older number serves too"), default=True
    )
    payer = models.CharField(
        _("paid by"),
        max_length=14,
        choices=choices_of(PAYER_WORDS),
        default=Payer.MANUFACTURER,
    )

    # the numbers that serve for the part, the oldest first; no column: whoever reads
    # remedies to plan with (campaigns.queries.remedies) fills it in
    numbers: tuple[Part, ...] = ()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("payer", Payer, "variant_part_payer_is_known"),
            models.UniqueConstraint(
                fields=["variant", "part"], name="one_variant_part_per_part"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="variant_part_of_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(share_basis_points__lte=10_000, share_basis_points__gte=1),
                name="variant_part_share_is_a_share",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.variant_id} {self.part_id}"

    @property
    def other_numbers(self) -> tuple[Part, ...]:
        """Give the numbers that serve beside the one named here."""
        return tuple(one for one in self.numbers if one.pk != self.part_id)


class VariantLabour(models.Model):
    """A labour line: the published time of one operation."""

    variant = models.ForeignKey(
        Variant, on_delete=models.CASCADE, related_name="labour"
    )
    operation = models.CharField(_("operation"), max_length=20)
    title = models.CharField(_("title"), max_length=160)
    hundredths_of_hour = models.PositiveIntegerField(_("time, hundredths of an hour"))
    includes = models.JSONField(_("elementary operations"), default=list, blank=True)
    # what the bulletin says of single operations, hundredths of an hour by their name
    times = models.JSONField(
        _("times of elementary operations"), default=dict, blank=True
    )
    skill = models.CharField(
        _("skill"),
        max_length=12,
        choices=choices_of(SKILL_WORDS),
        default=Skill.MECHANICAL,
    )
    payer = models.CharField(
        _("paid by"),
        max_length=14,
        choices=choices_of(PAYER_WORDS),
        default=Payer.MANUFACTURER,
    )

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "variant labour"
        constraints = [
            known("payer", Payer, "variant_labour_payer_is_known"),
            known("skill", Skill, "variant_labour_skill_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.variant_id} {self.operation}"


class VariantStep(models.Model):
    """One step of the work, in the words of the bulletin, with its own caution."""

    variant = models.ForeignKey(Variant, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField(_("place in the order"), default=1)
    text = models.TextField(_("what is done"), max_length=600)
    caution = models.CharField(_("caution before it"), max_length=300, blank=True)

    class Meta:
        ordering = ["position", "id"]

    def __str__(self) -> str:
        return f"{self.position}. {self.text[:60]}"


class VariantCheck(models.Model):
    """Something to measure, its limits, and what to do outside them."""

    variant = models.ForeignKey(
        Variant, on_delete=models.CASCADE, related_name="checks"
    )
    position = models.PositiveSmallIntegerField(default=1)
    after_step = models.ForeignKey(
        VariantStep,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="checks",
        verbose_name=_("measured after the step"),
    )
    title = models.CharField(_("what to measure"), max_length=160)
    instruction = models.CharField(_("how"), max_length=300, blank=True)
    unit = models.CharField(_("unit"), max_length=12)
    low = models.DecimalField(
        _("at least"), max_digits=10, decimal_places=3, null=True, blank=True
    )
    high = models.DecimalField(
        _("at most"), max_digits=10, decimal_places=3, null=True, blank=True
    )
    outside = models.CharField(
        _("outside the limits"),
        max_length=8,
        choices=choices_of(READING_WORDS),
        default=ReadingResult.REPEAT,
    )
    attempts = models.PositiveSmallIntegerField(_("attempts before asking"), default=3)
    replace_part = models.ForeignKey(
        Part,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        verbose_name=_("part replaced outside the limits"),
    )

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            known("outside", ReadingResult, "check_outside_is_known"),
            models.CheckConstraint(
                condition=Q(low__isnull=False) | Q(high__isnull=False),
                name="check_has_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.variant_id} {self.title}"


class RemedyPrice(models.Model):
    """What a campaign pays beside its parts: allowances with a fixed price."""

    variant = models.ForeignKey(
        Variant, on_delete=models.CASCADE, related_name="allowances"
    )
    title = models.CharField(_("title"), max_length=120)
    cents = models.BigIntegerField(_("cents"))
    payer = models.CharField(
        _("paid by"),
        max_length=14,
        choices=choices_of(PAYER_WORDS),
        default=Payer.MANUFACTURER,
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            known("payer", Payer, "remedy_price_payer_is_known"),
            not_negative("cents", "remedy_price_not_negative"),
        ]

    def __str__(self) -> str:
        return self.title
