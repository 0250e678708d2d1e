"""Special tools: what a remedy needs, and where the store has it from."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.models.words import TOOL_WORDS
from campaigns.rules.lifecycle import ToolStanding
from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet


class SpecialTool(models.Model):
    """A tool that the ordinary bay does not have."""

    number = models.CharField(_("tool number"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class ToolAtStoreQuerySet(StoreScopedQuerySet["ToolAtStore"]):
    """Tools in the stores, by store."""


class ToolAtStore(models.Model):
    """A special tool that a store owns, or has borrowed until a day."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="tools")
    tool = models.ForeignKey(
        SpecialTool, on_delete=models.PROTECT, related_name="places"
    )
    standing = models.CharField(
        _("whose it is"),
        max_length=8,
        choices=choices_of(TOOL_WORDS),
        default=ToolStanding.OWNED,
    )
    place = models.CharField(_("where it is kept"), max_length=60)
    lender = models.CharField(_("from whom"), max_length=80, blank=True)
    back_by = models.DateField(_("back by"), null=True, blank=True)

    objects = ToolAtStoreQuerySet.as_manager()

    class Meta:
        ordering = ["tool__number"]
        verbose_name_plural = "tools at store"
        constraints = [
            known("standing", ToolStanding, "tool_standing_is_known"),
            models.UniqueConstraint(
                fields=["store", "tool"], name="one_place_per_store_and_tool"
            ),
            models.CheckConstraint(
                condition=Q(standing="owned", lender="", back_by=None)
                | (Q(standing="borrowed", back_by__isnull=False) & ~Q(lender="")),
                name="borrowed_tool_names_lender_and_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.tool_id}"
