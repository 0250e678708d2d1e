"""A store: one dealership with its own shelves, staff and customers."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from dealership.models.scope import StoreScopedQuerySet


class StoreQuerySet(StoreScopedQuerySet["Store"]):
    """Stores, and which of them a person works in."""

    store_path = "pk"


class Store(models.Model):
    """One store of the group."""

    code = models.CharField(_("code"), max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=120)
    street = models.CharField(_("street"), max_length=120, blank=True)
    city = models.CharField(_("city"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=40, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=16, blank=True)
    country = models.CharField(_("country"), max_length=2, default="US")
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    letter_signed_by = models.CharField(
        _("name under letters"), max_length=120, blank=True
    )
    time_zone = models.CharField(
        _("time zone"), max_length=60, default="America/Chicago"
    )
    currency = models.CharField(_("currency"), max_length=3, default="USD")
    market = models.CharField(
        _("market of its vehicles"),
        max_length=2,
        default="US",
        help_text=_("US: a wrong VIN check digit is refused. Others: it is warned of."),
    )
    paper = models.CharField(
        _("paper in the printer"),
        max_length=8,
        choices=[("letter", "US Letter"), ("a4", "A4")],
        default="letter",
    )
    letter_form = models.CharField(
        _("layout of letters on A4"),
        max_length=8,
        blank=True,
        choices=[("", _("DIN 5008 form B")), ("din_a", _("DIN 5008 form A"))],
    )
    letter_fold_thousandths = models.PositiveSmallIntegerField(
        _("first fold of letters on US Letter"),
        default=4_000,
        choices=[
            (4_000, _("4.000 inches: four lines of address")),
            (4_100, _("4.100 inches: four lines below a postal barcode")),
            (3_750, _("3.750 inches: three lines")),
            (3_667, _("3.667 inches, an even third: two lines")),
        ],
        help_text=_("Of a No. 10 envelope; measured from the top of the sheet."),
    )
    mailer_id = models.CharField(
        _("mailer id of the postal service"),
        max_length=9,
        blank=True,
        help_text=_("6 or 9 digits. Without it no postal barcode is printed."),
    )
    mail_service = models.CharField(
        _("service type of the postal barcode"),
        max_length=3,
        blank=True,
        help_text=_("3 digits, as the postal service told you with the mailer id."),
    )
    labour_rate_cents = models.BigIntegerField(
        _("labour rate, cents an hour"), default=14_000
    )
    parts_handling_basis_points = models.PositiveIntegerField(
        _("handling on parts, hundredths of a per cent"), default=3_000
    )
    bays = models.PositiveSmallIntegerField(_("bays"), default=6)
    workshop_hours_per_day = models.PositiveSmallIntegerField(
        _("workshop hours a day"), default=40
    )
    loan_cars = models.PositiveSmallIntegerField(
        _("loan cars"),
        null=True,
        blank=True,
        help_text=_("Empty: as many as are registered as loan cars."),
    )
    review_days = models.PositiveSmallIntegerField(
        _("days between two orders"), default=7
    )
    no_show_grace_days = models.PositiveSmallIntegerField(
        _("days until a missed visit frees its parts"), default=2
    )

    # what ordering costs; both sums empty: the usual shares of outcomes are covered
    second_visit_cents = models.BigIntegerField(
        _("cost of a second visit, cents"),
        null=True,
        blank=True,
    )
    labour_margin_cents = models.BigIntegerField(
        _("margin on the labour of a repair, cents"),
        null=True,
        blank=True,
    )
    lost_share_basis_points = models.PositiveIntegerField(
        _("customers without a part who go elsewhere, hundredths of a per cent"),
        default=2_500,
    )
    order_cost_cents = models.BigIntegerField(
        _("cost of placing an order, cents"), default=0
    )
    return_freight_cents = models.BigIntegerField(
        _("freight of a return, cents"), default=0
    )
    service_limit_basis_points = models.PositiveIntegerField(
        _("outcomes covered at the most, hundredths of a per cent"), default=9_800
    )
    show_rate_basis_points = models.PositiveIntegerField(
        _("booked visits that happen, hundredths of a per cent"), default=9_000
    )
    # sheet, envelope, postage and work: a guess, to be replaced by the store's own
    letter_cost_cents = models.BigIntegerField(
        _("cost of one owner letter, cents"), default=120
    )

    objects = StoreQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(labour_rate_cents__gte=0),
                name="store_labour_rate_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    models.Q(second_visit_cents__isnull=True)
                    | models.Q(second_visit_cents__gte=0),
                    models.Q(labour_margin_cents__isnull=True)
                    | models.Q(labour_margin_cents__gte=0),
                    order_cost_cents__gte=0,
                    return_freight_cents__gte=0,
                    letter_cost_cents__gte=0,
                ),
                name="store_costs_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    lost_share_basis_points__lte=10_000,
                    show_rate_basis_points__lte=10_000,
                    service_limit_basis_points__gte=5_000,
                    service_limit_basis_points__lte=9_900,
                ),
                name="store_shares_in_range",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    letter_form__in=["", "din_a"],
                    letter_fold_thousandths__in=[3_667, 3_750, 4_000, 4_100],
                ),
                name="store_letter_layout_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    def address_lines(self) -> list[str]:
        """Give the lines of the letterhead, street first."""
        place = f"{self.city}, {self.region} {self.postal_code}".strip(" ,")
        return [line for line in (self.street, place) if line]
