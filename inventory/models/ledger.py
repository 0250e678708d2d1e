"""The books of pieces. Only inventory.domain.ledger writes these rows.

A movement is a set of entries that sum to zero; a balance is kept in the same
transaction and equals the sum of its entries. Movements and entries are only added
to (triggers). A balance row is a *pocket*: one store, one part, one earmark or none.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from dealership.models import Store
from dealership.models.choices import choices_of, known, not_negative
from dealership.models.scope import StoreScopedQuerySet
from inventory.models.part import BinLocation, Earmark, Part
from inventory.rules.accounts import Account, MovementKind, ReservationState


KIND_WORDS = {
    MovementKind.RECEIVE: _("received"),
    MovementKind.RESERVE: _("held"),
    MovementKind.SETTLE: _("hold resolved"),
    MovementKind.RELEASE: _("hold released"),
    MovementKind.USE: _("fitted"),
    MovementKind.SELL: _("sold over the counter"),
    MovementKind.RETURN: _("returned"),
    MovementKind.SCRAP: _("scrapped"),
    MovementKind.QUARANTINE: _("quarantine"),
    MovementKind.REPLACE: _("replaced by the supplier"),
    MovementKind.EARMARK: _("set apart"),
    MovementKind.SEND: _("sent to another store"),
    MovementKind.ARRIVE: _("arrived from another store"),
    MovementKind.COUNT: _("counted"),
    MovementKind.CORRECT: _("corrected"),
}
ACCOUNT_WORDS = {
    Account.FREE: _("free"),
    Account.HELD: _("held"),
    Account.QUARANTINE: _("in quarantine"),
    Account.TRANSIT: _("on the way"),
    Account.SUPPLIER: _("supplier"),
    Account.USED: _("fitted"),
    Account.SOLD: _("sold"),
    Account.RETURNED: _("returned"),
    Account.SCRAPPED: _("scrapped"),
    Account.VARIANCE: _("count difference"),
}
RESERVATION_WORDS = {
    ReservationState.PROMISED: _("promised from a coming delivery"),
    ReservationState.HELD: _("held on the shelf"),
    ReservationState.SETTLED: _("resolved"),
    ReservationState.RELEASED: _("released"),
    ReservationState.LAPSED: _("lapsed"),
}


class BalanceQuerySet(StoreScopedQuerySet["Balance"]):
    """Pockets, by store."""


class Balance(models.Model):
    """How many pieces of one pocket stand on each account.

    ``promised`` is no account: it counts the pieces that live promises want from a
    coming delivery to this pocket, kept beside them so that one look at the row tells
    whether what is free may be given away without a thought.
    """

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="balances")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="balances")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="balances"
    )
    bin = models.ForeignKey(
        BinLocation, null=True, on_delete=models.PROTECT, related_name="balances"
    )
    free = models.IntegerField(default=0)
    held = models.IntegerField(default=0)
    quarantine = models.IntegerField(default=0)
    transit = models.IntegerField(default=0)
    supplier = models.IntegerField(default=0)
    used = models.IntegerField(default=0)
    sold = models.IntegerField(default=0)
    returned = models.IntegerField(default=0)
    scrapped = models.IntegerField(default=0)
    variance = models.IntegerField(default=0)
    promised = models.IntegerField(default=0)
    on_hand = models.GeneratedField(
        expression=F("free") + F("held") + F("quarantine"),
        output_field=models.IntegerField(),
        db_persist=True,
    )

    objects = BalanceQuerySet.as_manager()

    class Meta:
        ordering = ["part__number", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "part", "earmark"],
                condition=Q(earmark__isnull=False),
                name="one_pocket_per_earmark",
            ),
            models.UniqueConstraint(
                fields=["store", "part"],
                condition=Q(earmark__isnull=True),
                name="one_pocket_without_earmark",
            ),
            not_negative("free", "balance_free_not_negative"),
            not_negative("held", "balance_held_not_negative"),
            not_negative("quarantine", "balance_quarantine_not_negative"),
            not_negative("transit", "balance_transit_not_negative"),
            not_negative("promised", "balance_promised_not_negative"),
            models.CheckConstraint(
                condition=Q(held__lte=F("on_hand")), name="balance_held_within_on_hand"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.part_id} {self.earmark_id or '-'}"


class CostLayerQuerySet(StoreScopedQuerySet["CostLayer"]):
    """Cost layers, by store."""


class CostLayer(models.Model):
    """Pieces that came in together at one price; what goes out names its layer."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="layers")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="layers"
    )
    bill_line = models.ForeignKey(
        "inventory.BillLine",
        null=True,
        on_delete=models.PROTECT,
        related_name="layers",
    )
    source = models.CharField(max_length=80)
    unit_cost_cents = models.BigIntegerField()
    quantity = models.PositiveIntegerField()
    taken = models.PositiveIntegerField(default=0)
    received_on = models.DateField()

    objects = CostLayerQuerySet.as_manager()

    class Meta:
        ordering = ["received_on", "id"]
        constraints = [
            not_negative("unit_cost_cents", "layer_cost_not_negative"),
            models.CheckConstraint(
                condition=Q(taken__lte=F("quantity")), name="layer_not_overdrawn"
            ),
        ]
        indexes = [
            models.Index(fields=["store", "part", "earmark"], name="layer_by_pocket")
        ]

    def __str__(self) -> str:
        return f"{self.part_id} {self.quantity} at {self.unit_cost_cents}"


class MovementQuerySet(StoreScopedQuerySet["Movement"]):
    """Movements, by store."""


class Movement(models.Model):
    """One act in the books. The caller's key makes a repeat harmless."""

    key = models.CharField(max_length=100, unique=True)
    kind = models.CharField(max_length=12, choices=choices_of(KIND_WORDS))
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="movements")
    subject = models.CharField(max_length=80, blank=True)
    why = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="reversed_by"
    )
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField()
    effective_on = models.DateField()

    objects = MovementQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [known("kind", MovementKind, "movement_kind_is_known")]
        indexes = [models.Index(fields=["subject"], name="movement_by_subject")]

    def __str__(self) -> str:
        return self.key


class EntryQuerySet(StoreScopedQuerySet["Entry"]):
    """Lines of movements, by store."""


class Entry(models.Model):
    """One line of a movement."""

    movement = models.ForeignKey(
        Movement, on_delete=models.PROTECT, related_name="entries", db_index=False
    )
    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="entries")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="entries"
    )
    account = models.CharField(max_length=12, choices=choices_of(ACCOUNT_WORDS))
    quantity = models.IntegerField()
    layer = models.ForeignKey(
        CostLayer,
        null=True,
        on_delete=models.PROTECT,
        related_name="entries",
        db_index=False,
    )

    objects = EntryQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "entries"
        constraints = [
            known("account", Account, "entry_account_is_known"),
            models.CheckConstraint(condition=~Q(quantity=0), name="entry_moves_pieces"),
        ]
        # Each holds all that a proof of the books sums up, in the order of the sum.
        indexes = [
            models.Index(
                fields=["store", "part", "earmark", "account", "quantity"],
                name="entry_by_pocket",
            ),
            models.Index(fields=["movement", "quantity"], name="entry_by_movement"),
            models.Index(
                fields=["layer", "account", "quantity"],
                condition=Q(layer__isnull=False),
                name="entry_by_layer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.account} {self.quantity:+d}"


class ReservationQuerySet(StoreScopedQuerySet["Reservation"]):
    """Reservations, by store."""

    def live(self) -> "ReservationQuerySet":
        """Keep those that still promise pieces."""
        return self.filter(state__in=[ReservationState.PROMISED, ReservationState.HELD])


class Reservation(models.Model):
    """Pieces promised to one purpose on one day.

    Promised: counted on a coming delivery. Held: the pieces stand on HELD. A
    resolved reservation never comes back; a further one is made.
    """

    key = models.CharField(max_length=100, unique=True)
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="+")
    part = models.ForeignKey(
        Part, on_delete=models.PROTECT, related_name="reservations"
    )
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="reservations"
    )
    quantity = models.PositiveIntegerField()
    used = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=8, choices=choices_of(RESERVATION_WORDS))
    subject = models.CharField(max_length=80)
    needed_on = models.DateField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()
    resolved_at = models.DateTimeField(null=True)

    objects = ReservationQuerySet.as_manager()

    class Meta:
        ordering = ["needed_on", "id"]
        constraints = [
            known("state", ReservationState, "reservation_state_is_known"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="reservation_of_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(used__lte=F("quantity")), name="reservation_not_overused"
            ),
        ]
        indexes = [
            models.Index(fields=["subject"], name="reservation_by_subject"),
            models.Index(
                fields=["store", "part", "needed_on"],
                condition=Q(state__in=["promised", "held"]),
                name="reservation_live",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} x {self.part_id} {self.state}"
