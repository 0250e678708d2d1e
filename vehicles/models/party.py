"""Whose a vehicle is, where they live, and from whom we know it."""

from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from dealership.models import Store
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.models.vehicle import Vehicle
from vehicles.rules.standing import AddressSource, PartyKind, TenureRole


PARTY_KIND_WORDS = {PartyKind.PERSON: _("person"), PartyKind.FIRM: _("firm")}
ROLE_WORDS = {
    TenureRole.OWNER: _("owner"),
    TenureRole.LESSEE: _("lessee"),
    TenureRole.LESSOR: _("lessor"),
}
SOURCE_WORDS = {
    AddressSource.OWN_CUSTOMER: _("own customer file"),
    AddressSource.STATE_RECORDS: _("manufacturer's list from state records"),
    AddressSource.ADDRESS_SERVICE: _("address service"),
}


class PartyQuerySet(StoreScopedQuerySet["Party"]):
    """Persons and firms, by store."""


class Party(models.Model):
    """A person or a firm. These rows hold personal values and may be erased."""

    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="parties")
    kind = models.CharField(
        _("kind"),
        max_length=8,
        choices=choices_of(PARTY_KIND_WORDS),
        default=PartyKind.PERSON,
    )
    name = models.CharField(_("name"), max_length=160)
    name_folded = models.CharField(max_length=160, db_index=True, editable=False)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.CharField(_("e-mail"), max_length=254, blank=True)
    language = models.CharField(_("language"), max_length=8, default="en")
    do_not_write = models.BooleanField(_("wants no letters"), default=False)
    deceased = models.BooleanField(_("deceased"), default=False)
    erased_at = models.DateTimeField(null=True)

    objects = PartyQuerySet.as_manager()

    class Meta:
        ordering = ["name", "id"]
        verbose_name_plural = "parties"
        constraints = [known("kind", PartyKind, "party_kind_is_known")]

    def __str__(self) -> str:
        return self.name


class Address(models.Model):
    """Where somebody gets post, with the source that limits its use."""

    party = models.ForeignKey(Party, on_delete=models.CASCADE, related_name="addresses")
    street = models.CharField(_("street"), max_length=120, blank=True)
    street2 = models.CharField(_("second street line"), max_length=120, blank=True)
    city = models.CharField(_("city"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=40, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=16, blank=True)
    country = models.CharField(_("country"), max_length=2, default="US")
    source = models.CharField(
        _("source"),
        max_length=16,
        choices=choices_of(SOURCE_WORDS),
        default=AddressSource.OWN_CUSTOMER,
    )
    # 18 USC 2721(b)(2): records of a State may be used for the recall they came
    # with; the campaign's earmark code stands here, empty where use is free.
    only_for = models.CharField(_("only for"), max_length=40, blank=True)
    current = models.BooleanField(_("current"), default=True)
    since = models.DateField(_("since"), null=True)
    undeliverable_on = models.DateField(_("undeliverable since"), null=True)
    undeliverable_why = models.CharField(_("reason"), max_length=40, blank=True)

    class Meta:
        ordering = ["-current", "-id"]
        verbose_name_plural = "addresses"
        indexes = [models.Index(Lower("street"), name="address_by_street")]
        constraints = [known("source", AddressSource, "address_source_is_known")]

    def __str__(self) -> str:
        return f"{self.street}, {self.city}"


class TenureQuerySet(StoreScopedQuerySet["Tenure"]):
    """Tenures, by the vehicle's store."""

    store_path = "vehicle__store"


class Tenure(models.Model):
    """Who has a vehicle, as what, from when to when (both days inside)."""

    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.CASCADE, related_name="tenures"
    )
    party = models.ForeignKey(Party, on_delete=models.CASCADE, related_name="tenures")
    role = models.CharField(
        _("as"), max_length=8, choices=choices_of(ROLE_WORDS), default=TenureRole.OWNER
    )
    since = models.DateField(_("from"), null=True)
    until = models.DateField(_("to"), null=True)

    objects = TenureQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            known("role", TenureRole, "tenure_role_is_known"),
            models.UniqueConstraint(
                fields=["vehicle", "role"],
                condition=models.Q(until__isnull=True),
                name="one_open_tenure_per_vehicle_and_role",
            ),
            models.CheckConstraint(
                condition=models.Q(until__isnull=True)
                | models.Q(since__isnull=True)
                | models.Q(until__gte=models.F("since")),
                name="tenure_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.vehicle_id} {self.role} {self.party_id}"
