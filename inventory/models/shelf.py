"""What happens on the shelves: transfers between stores, counts, quarantine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from inventory.models.part import BinLocation, Earmark, Part
from inventory.rules.accounts import CountState, LotKind, TransferState


if TYPE_CHECKING:
    from typing import Self

TRANSFER_WORDS = {
    TransferState.SENT: _("on the way"),
    TransferState.ARRIVED: _("arrived"),
    TransferState.CALLED_BACK: _("called back"),
}
COUNT_WORDS = {
    CountState.PREPARED: _("to be counted"),
    CountState.ENTERED: _("counted, to be approved"),
    CountState.BOOKED: _("in the books"),
    CountState.DROPPED: _("dropped"),
}
LOT_WORDS = {
    LotKind.RECALLED: _("recalled stock"),
    LotKind.REMOVED: _("taken out of a vehicle"),
    LotKind.DAMAGED: _("damaged"),
    LotKind.DOUBTFUL: _("to be looked at"),
}


class TransferQuerySet(StoreScopedQuerySet["Transfer"]):
    """Transfers; both stores see theirs."""

    def for_staff(self, staff: Any) -> Self:  # noqa: ANN401 (request.user)
        """Keep those that leave or reach a store in which this person has a role."""
        if not getattr(staff, "is_authenticated", False):
            return self.none()
        if staff.in_all_stores:
            return self
        mine = staff.store_ids()
        return self.filter(Q(store__in=mine) | Q(to_store__in=mine))

    def touching(self, store: Store) -> Self:
        """Keep those that leave or reach one store."""
        return self.filter(Q(store=store) | Q(to_store=store))


class Transfer(models.Model):
    """Pieces that one store sends to another; theirs until they have arrived."""

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="transfers_out"
    )
    to_store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="transfers_in"
    )
    number = models.PositiveIntegerField(_("transfer number"))
    key = models.CharField(max_length=100, unique=True)
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="transfers"
    )
    state = models.CharField(
        max_length=12, choices=choices_of(TRANSFER_WORDS), default=TransferState.SENT
    )
    why = models.CharField(max_length=200, blank=True)
    expected_on = models.DateField(_("expected on"))
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    sent_at = models.DateTimeField()
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)

    objects = TransferQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", TransferState, "transfer_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "number"], name="one_transfer_per_number"
            ),
            models.CheckConstraint(
                condition=~Q(store=F("to_store")), name="transfer_goes_elsewhere"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class TransferLine(models.Model):
    """One part of a transfer: sent = good + damaged + lost, once it has arrived."""

    transfer = models.ForeignKey(
        Transfer, on_delete=models.PROTECT, related_name="lines"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    quantity = models.PositiveIntegerField(_("pieces sent"))
    good = models.PositiveIntegerField(_("arrived in order"), null=True)
    damaged = models.PositiveIntegerField(_("arrived damaged"), null=True)
    lost = models.PositiveIntegerField(_("did not arrive"), null=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="transfer_line_of_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(good__isnull=True, damaged__isnull=True, lost__isnull=True)
                | Q(quantity=F("good") + F("damaged") + F("lost")),
                name="transfer_line_adds_up",
            ),
            models.UniqueConstraint(
                fields=["transfer", "part"], name="one_transfer_line_per_part"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.transfer_id} {self.part_id}"


class CountQuerySet(StoreScopedQuerySet["StockCount"]):
    """Counts, by store."""


class StockCount(models.Model):
    """A count of some shelves: prepared, counted blind, approved, in the books."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="counts")
    number = models.PositiveIntegerField(_("count number"))
    key = models.CharField(max_length=100, unique=True)
    state = models.CharField(
        max_length=10, choices=choices_of(COUNT_WORDS), default=CountState.PREPARED
    )
    about = models.CharField(_("what is counted"), max_length=80)
    prepared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    prepared_at = models.DateTimeField()
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    counted_at = models.DateTimeField(null=True)
    approved_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    approved_at = models.DateTimeField(null=True)

    objects = CountQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("state", CountState, "count_state_is_known"),
            models.UniqueConstraint(
                fields=["store", "number"], name="one_count_per_number"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}"


class StockCountLine(models.Model):
    """One pocket or one lot in a count: what the books said and what was found.

    In pieces, both noted in the same moment; what moves later does not change what is
    missing. With ``lot`` it is what lies in quarantine, else what lies on the shelf.
    """

    count = models.ForeignKey(
        StockCount, on_delete=models.PROTECT, related_name="lines"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="+")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="+"
    )
    bin = models.ForeignKey(
        BinLocation, null=True, on_delete=models.PROTECT, related_name="+"
    )
    lot = models.ForeignKey(
        "inventory.QuarantineLot",
        null=True,
        on_delete=models.PROTECT,
        related_name="count_lines",
    )
    in_books = models.PositiveIntegerField(_("in the books"), null=True)
    found = models.PositiveIntegerField(_("found"), null=True)
    why = models.CharField(_("reason"), max_length=200, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(in_books__isnull=True, found__isnull=True)
                | Q(in_books__isnull=False, found__isnull=False),
                name="count_line_has_both_figures",
            ),
            models.UniqueConstraint(
                fields=["count", "part", "earmark"],
                condition=Q(earmark__isnull=False, lot__isnull=True),
                name="one_count_line_per_earmark",
            ),
            models.UniqueConstraint(
                fields=["count", "part"],
                condition=Q(earmark__isnull=True, lot__isnull=True),
                name="one_count_line_without_earmark",
            ),
            models.UniqueConstraint(
                fields=["count", "lot"],
                condition=Q(lot__isnull=False),
                name="one_count_line_per_lot",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count_id} {self.part_id}"

    @property
    def difference(self) -> int:
        """Give the pieces found beyond the books; below zero when some are missing."""
        return (self.found or 0) - (self.in_books or 0)


class LotQuerySet(StoreScopedQuerySet["QuarantineLot"]):
    """Lots in quarantine, by store."""


class QuarantineLot(models.Model):
    """Pieces put aside together for one reason, and how many of them are still there."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="lots")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="lots")
    earmark = models.ForeignKey(
        Earmark, null=True, on_delete=models.PROTECT, related_name="+"
    )
    key = models.CharField(max_length=100, unique=True)
    kind = models.CharField(max_length=10, choices=choices_of(LOT_WORDS))
    quantity = models.PositiveIntegerField()
    left = models.PositiveIntegerField()
    why = models.CharField(_("reason"), max_length=200)
    opened_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    opened_at = models.DateTimeField()

    objects = LotQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            known("kind", LotKind, "lot_kind_is_known"),
            models.CheckConstraint(
                condition=Q(quantity__gte=1), name="lot_of_at_least_one"
            ),
            models.CheckConstraint(
                condition=Q(left__lte=F("quantity")), name="lot_not_overdrawn"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.left} of {self.quantity} x {self.part_id}"

    @property
    def subject(self) -> str:
        """Give the name under which its movements stand in the books."""
        return f"lot:{self.pk}"
