"""Parts, who supplies them, where they lie, and for what stock is set apart."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from dealership.models import Store
from dealership.models.choices import not_negative
from dealership.models.scope import StoreScopedQuerySet


class Supplier(models.Model):
    """Who ships and bills parts: the manufacturer, a warehouse."""

    code = models.CharField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=120)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Part(models.Model):
    """One part number."""

    number = models.CharField(_("part number"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=120)
    supplier = models.ForeignKey(
        Supplier, on_delete=models.PROTECT, related_name="parts"
    )
    superseded_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )
    superseded_on = models.DateField(_("replaced since"), null=True, blank=True)
    old_stock_serves = models.BooleanField(
        _("what is left of this number still serves"), default=True
    )
    unit_cost_cents = models.BigIntegerField(_("cost, cents a piece"))
    pack = models.PositiveIntegerField(_("pieces in a pack"), default=1)
    minimum_order = models.PositiveIntegerField(_("smallest order"), default=1)
    order_limit = models.PositiveIntegerField(
        _("most pieces in one order, while the supplier allots them"),
        null=True,
        blank=True,
    )
    lead_days = models.PositiveIntegerField(
        _("days from order to delivery"), default=10
    )
    annual_holding_basis_points = models.PositiveIntegerField(
        _("cost of holding, hundredths of a per cent a year"), default=2_400
    )
    recalled = models.BooleanField(
        _("under a recall itself: not to be sold or fitted"), default=False
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            not_negative("unit_cost_cents", "part_cost_not_negative"),
            models.CheckConstraint(
                condition=models.Q(pack__gte=1), name="part_pack_at_least_one"
            ),
            models.CheckConstraint(
                condition=~models.Q(superseded_by=models.F("id")),
                name="part_not_superseded_by_itself",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class Earmark(models.Model):
    """A named portion of the stock, kept for one purpose."""

    code = models.CharField(_("code"), max_length=40, unique=True)
    words = models.CharField(_("purpose"), max_length=160)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class BinQuerySet(StoreScopedQuerySet["BinLocation"]):
    """Bins, by store."""


class BinLocation(models.Model):
    """A place on the shelves of a store."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="bins")
    code = models.CharField(_("bin"), max_length=20)

    objects = BinQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["store", "code"], name="one_bin_per_code"),
        ]

    def __str__(self) -> str:
        return self.code
