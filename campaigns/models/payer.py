"""How a manufacturer pays: its rounding, and what a store has agreed with it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from campaigns.rules.holding import Base, End, Start
from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from dealership.rules.money import DayCount, RoundedOn, Rounding
from inventory.models import Supplier


ROUNDING_WORDS = {
    Rounding.HALF_UP: _("half a cent up"),
    Rounding.HALF_EVEN: _("half a cent to the even cent"),
}
ROUNDED_ON_WORDS = {
    RoundedOn.LINE: _("each line"),
    RoundedOn.TOTAL: _("the total, once"),
}
BASE_WORDS = {
    Base.SELLING_PRICE: _("the manufacturer's selling price"),
    Base.PRICE_PAID: _("the price paid for the vehicle"),
}
START_WORDS = {
    Start.NOTICE: _("the manufacturer's notice"),
    Start.STOP_SALE: _("the stop-sale"),
}
END_WORDS = {
    End.CORRECTED: _("the repair"),
    End.REMEDY_AVAILABLE: _("the day from which parts are there"),
    End.BOUGHT_BACK: _("the day the manufacturer buys it back"),
}
DAY_COUNT_WORDS = {
    DayCount.ANNIVERSARY_MONTHS: _("whole months, then days of the month they fall in"),
    DayCount.ACTUAL_30: _("days, 30 to a month"),
    DayCount.ACTUAL_365_12: _("days, 365 to twelve months"),
}


class PayerTerms(models.Model):
    """How one manufacturer rounds what it pays; for all stores of the house."""

    supplier = models.OneToOneField(
        Supplier, on_delete=models.PROTECT, related_name="payer_terms"
    )
    rounding = models.CharField(
        _("rounds"),
        max_length=10,
        choices=choices_of(ROUNDING_WORDS),
        default=Rounding.HALF_UP,
    )
    rounded_on = models.CharField(
        _("on"),
        max_length=5,
        choices=choices_of(ROUNDED_ON_WORDS),
        default=RoundedOn.LINE,
    )

    class Meta:
        ordering = ["supplier"]
        verbose_name_plural = "payer terms"
        constraints = [
            known("rounding", Rounding, "payer_rounding_is_known"),
            known("rounded_on", RoundedOn, "payer_rounded_on_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.supplier_id} {self.rounding} {self.rounded_on}"


class AgreementQuerySet(StoreScopedQuerySet["StockAgreement"]):
    """Agreements, by store."""


class StockAgreement(models.Model):
    """What a store and a manufacturer agreed on unsold new vehicles."""

    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="agreements"
    )
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="+")
    rate_basis_points = models.PositiveIntegerField(
        _("share a month, hundredths of a per cent"), default=100
    )
    base = models.CharField(
        _("of"),
        max_length=13,
        choices=choices_of(BASE_WORDS),
        default=Base.SELLING_PRICE,
    )
    start = models.CharField(
        _("from"), max_length=9, choices=choices_of(START_WORDS), default=Start.NOTICE
    )
    grace_days = models.PositiveSmallIntegerField(
        _("first days that do not count"), default=0
    )
    end = models.CharField(
        _("until"), max_length=16, choices=choices_of(END_WORDS), default=End.CORRECTED
    )
    day_count = models.CharField(
        _("months counted as"),
        max_length=18,
        choices=choices_of(DAY_COUNT_WORDS),
        default=DayCount.ANNIVERSARY_MONTHS,
    )

    objects = AgreementQuerySet.as_manager()

    class Meta:
        ordering = ["store", "supplier"]
        constraints = [
            models.UniqueConstraint(
                fields=["store", "supplier"], name="one_agreement_per_store_and_maker"
            ),
            models.CheckConstraint(
                condition=Q(rate_basis_points__lte=10_000),
                name="agreement_rate_at_most_all",
            ),
            known("base", Base, "agreement_base_is_known"),
            known("start", Start, "agreement_start_is_known"),
            known("end", End, "agreement_end_is_known"),
            known("day_count", DayCount, "agreement_day_count_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.store_id} {self.supplier_id}"
