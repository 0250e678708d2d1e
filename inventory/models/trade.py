"""Papers of the trade in parts: bills, shipments, orders, returns, credits."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from dealership.models import Store
from dealership.models.choices import choices_of, known, not_negative
from dealership.models.scope import StoreScopedQuerySet
from inventory.models.ledger import CostLayer
from inventory.models.part import BinLocation, Earmark, Part, Supplier
from inventory.models.shelf import QuarantineLot
from inventory.rules.accounts import (
    DisputeKind,
    DisputeState,
    OrderState,
    ReturnState,
)


DISPUTE_KIND_WORDS = {
    DisputeKind.SHORT: _("short"),
    DisputeKind.DAMAGED: _("damaged"),
}
DISPUTE_WORDS = {
    DisputeState.OPEN: _("open"),
    DisputeState.AWAITED: _("replacement on its way"),
    DisputeState.CREDITED: _("credited"),
    DisputeState.REPLACED: _("replaced"),
    DisputeState.WRITTEN_OFF: _("written off"),
}
ORDER_WORDS = {
    OrderState.DRAFT: _("draft"),
    OrderState.SENT: _("sent"),
    OrderState.CONFIRMED: _("confirmed"),
    OrderState.PART_RECEIVED: _("part received"),
    OrderState.BACK_ORDERED: _("back-ordered"),
    OrderState.RECEIVED: _("received"),
    OrderState.CLOSED: _("closed"),
    OrderState.CANCELLED: _("cancelled"),
}
RETURN_WORDS = {
    ReturnState.PREPARED: _("prepared"),
    ReturnState.SHIPPED: _("shipped"),
    ReturnState.CREDITED: _("credited"),
    ReturnState.CANCELLED: _("cancelled"),
}


class BillQuerySet(StoreScopedQuerySet["Bill"]):
    """Bills, by store."""


class Bill(models.Model):
    """What the supplier asks to be paid for parts."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="bills")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="+")
    number = models.CharField(_("bill number"), max_length=40)
    dated = models.DateField(_("dated"))
    earmark = models.ForeignKey(
        Earmark, null=True, blank=True, on_delete=models.PROTECT, related_name="bills"
    )
    # the order it is for, where it was entered against one
    order = models.ForeignKey(
        "inventory.PurchaseOrder",
        null=True,
        on_delete=models.PROTECT,
        related_name="bills",
    )
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    entered_at = models.DateTimeField()

    objects = BillQuerySet.as_manager()

    class Meta:
        ordering = ["-dated", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "supplier", "number"], name="one_bill_per_number"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class BillLine(models.Model):
    """One part on a bill, at the price billed."""

    bill = models.ForeignKey(Bill, on_delete=models.PROTECT, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(_("pieces"))
    unit_cost_cents = models.BigIntegerField(_("price, cents a piece"))
    line_cents = models.GeneratedField(
        expression=F("quantity") * F("unit_cost_cents"),
        output_field=models.BigIntegerField(),
        db_persist=True,
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="bill_line_of_at_least_one"
            ),
            not_negative("unit_cost_cents", "bill_line_cost_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.bill_id} {self.part_id}"


class OrderQuerySet(StoreScopedQuerySet["PurchaseOrder"]):
    """Orders, by store."""


class PurchaseOrder(models.Model):
    """An order of further parts."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="orders")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveIntegerField(_("order number"))
    key = models.CharField(max_length=100, unique=True)
    earmark = models.ForeignKey(
        Earmark, null=True, blank=True, on_delete=models.PROTECT, related_name="orders"
    )
    state = models.CharField(
        max_length=14, choices=choices_of(ORDER_WORDS), default=OrderState.DRAFT
    )
    placed_on = models.DateField(null=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    objects = OrderQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", OrderState, "order_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "number"], name="one_order_per_number"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class OrderLine(models.Model):
    """One part on an order."""

    order = models.ForeignKey(
        PurchaseOrder, on_delete=models.PROTECT, related_name="lines"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.PositiveIntegerField(_("pieces"))
    received = models.PositiveIntegerField(default=0)
    unit_cost_cents = models.BigIntegerField()
    expected_on = models.DateField(_("expected on"), null=True)
    back_ordered = models.BooleanField(
        _("the supplier has none and names no day"), default=False
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="order_line_of_at_least_one"
            ),
            not_negative("unit_cost_cents", "order_line_cost_not_negative"),
            models.CheckConstraint(
                condition=Q(back_ordered=False) | Q(expected_on__isnull=True),
                name="back_ordered_line_has_no_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order_id} {self.part_id}"


class ShipmentQuerySet(StoreScopedQuerySet["Shipment"]):
    """Shipments, by store."""


class Shipment(models.Model):
    """A delivery: announced, then received and counted once."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="shipments")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="+")
    number = models.CharField(_("packing slip"), max_length=40)
    bill = models.ForeignKey(
        Bill, null=True, blank=True, on_delete=models.PROTECT, related_name="shipments"
    )
    order = models.ForeignKey(
        PurchaseOrder,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="shipments",
    )
    earmark = models.ForeignKey(
        Earmark,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="shipments",
    )
    announced_on = models.DateField(_("announced on"))
    expected_on = models.DateField(_("expected on"), null=True, blank=True)
    received_at = models.DateTimeField(null=True)
    received_key = models.CharField(max_length=100, blank=True)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = ShipmentQuerySet.as_manager()

    class Meta:
        ordering = ["-announced_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "supplier", "number"],
                name="one_shipment_per_packing_slip",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ShipmentLine(models.Model):
    """One part in a delivery: sent = good + damaged + short, once counted."""

    shipment = models.ForeignKey(
        Shipment, on_delete=models.PROTECT, related_name="lines"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    bill_line = models.ForeignKey(
        BillLine, null=True, on_delete=models.PROTECT, related_name="shipment_lines"
    )
    order_line = models.ForeignKey(
        OrderLine, null=True, on_delete=models.PROTECT, related_name="shipment_lines"
    )
    replaces = models.OneToOneField(
        "inventory.Dispute",
        null=True,
        on_delete=models.PROTECT,
        related_name="replacement",
    )
    sent = models.PositiveIntegerField(_("pieces sent"))
    good = models.PositiveIntegerField(_("arrived in order"), null=True)
    damaged = models.PositiveIntegerField(_("arrived damaged"), null=True)
    short = models.PositiveIntegerField(_("did not arrive"), null=True)
    bin = models.ForeignKey(
        BinLocation, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sent__gte=1), name="shipment_line_of_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(good__isnull=True, damaged__isnull=True, short__isnull=True)
                | Q(sent=F("good") + F("damaged") + F("short")),
                name="shipment_line_adds_up",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shipment_id} {self.part_id}"


class DisputeQuerySet(StoreScopedQuerySet["Dispute"]):
    """Disputes, by store."""


class Dispute(models.Model):
    """Billed pieces that did not arrive, or not in order."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="disputes")
    shipment_line = models.ForeignKey(
        ShipmentLine, on_delete=models.PROTECT, related_name="disputes"
    )
    kind = models.CharField(max_length=8, choices=choices_of(DISPUTE_KIND_WORDS))
    quantity = models.PositiveIntegerField()
    unit_cost_cents = models.BigIntegerField()
    opened_on = models.DateField()
    last_date = models.DateField(_("to be settled by"))
    state = models.CharField(
        max_length=12, choices=choices_of(DISPUTE_WORDS), default=DisputeState.OPEN
    )
    closed_on = models.DateField(null=True)

    objects = DisputeQuerySet.as_manager()

    class Meta:
        ordering = ["last_date", "id"]
        constraints = [
            known("kind", DisputeKind, "dispute_kind_is_known"),
            known("state", DisputeState, "dispute_state_is_known"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="dispute_of_at_least_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity}"


class ReturnQuerySet(StoreScopedQuerySet["GoodsReturn"]):
    """Returns, by store."""


class GoodsReturn(models.Model):
    """Parts that go back to the supplier before a last date."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="returns")
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="+")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="returns"
    )
    number = models.PositiveIntegerField(_("return number"))
    key = models.CharField(max_length=100, unique=True)
    state = models.CharField(
        max_length=10, choices=choices_of(RETURN_WORDS), default=ReturnState.PREPARED
    )
    last_date = models.DateField(_("accepted until"), null=True)
    restocking_basis_points = models.PositiveIntegerField(default=0)
    shipped_on = models.DateField(null=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    objects = ReturnQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", ReturnState, "return_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "number"], name="one_return_per_number"
            ),
            models.CheckConstraint(
                condition=Q(restocking_basis_points__lte=10_000),
                name="restocking_at_most_all",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class ReturnLine(models.Model):
    """One cost layer's share of a return."""

    goods_return = models.ForeignKey(
        GoodsReturn, on_delete=models.PROTECT, related_name="lines"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    layer = models.ForeignKey(
        CostLayer, null=True, on_delete=models.PROTECT, related_name="+"
    )
    lot = models.ForeignKey(
        QuarantineLot,
        null=True,
        on_delete=models.PROTECT,
        related_name="return_lines",
    )
    quantity = models.PositiveIntegerField()
    unit_cost_cents = models.BigIntegerField()
    credited_on = models.DateField(null=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="return_line_of_at_least_one"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.goods_return_id} {self.part_id}"


class CreditQuerySet(StoreScopedQuerySet["Credit"]):
    """Credits, by store."""


class Credit(models.Model):
    """Cents that the supplier gives back (only added to).

    ``at_cost_cents`` is what the pieces cost (it settles exposure);
    ``amount_cents`` is what was paid, after restocking and freight.
    """

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="credits")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="credits"
    )
    dispute = models.OneToOneField(
        Dispute, null=True, on_delete=models.PROTECT, related_name="credit"
    )
    return_line = models.OneToOneField(
        ReturnLine, null=True, on_delete=models.PROTECT, related_name="credit"
    )
    number = models.CharField(_("credit note"), max_length=40, blank=True)
    dated = models.DateField()
    at_cost_cents = models.BigIntegerField()
    amount_cents = models.BigIntegerField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    objects = CreditQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            not_negative("at_cost_cents", "credit_cost_not_negative"),
            not_negative("amount_cents", "credit_amount_not_negative"),
            models.CheckConstraint(
                condition=Q(dispute__isnull=False, return_line__isnull=True)
                | Q(dispute__isnull=True, return_line__isnull=False),
                name="credit_settles_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.amount_cents}"


class WriteOffQuerySet(StoreScopedQuerySet["WriteOff"]):
    """Write-offs, by store."""


class WriteOff(models.Model):
    """Cents given up, with the reason (only added to)."""

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="write_offs"
    )
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="write_offs"
    )
    key = models.CharField(max_length=100, unique=True)
    of = models.CharField(max_length=80)
    cents = models.BigIntegerField()
    why = models.CharField(max_length=200)
    dated = models.DateField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()

    objects = WriteOffQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [not_negative("cents", "write_off_not_negative")]

    def __str__(self) -> str:
        return f"{self.of} {self.cents}"
