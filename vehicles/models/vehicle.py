"""A vehicle, and what has been changed about it."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Length, Substr
from django.db.models.lookups import Exact
from django.utils.translation import gettext_lazy as _

from dealership.models import Store, Upload
from dealership.models.choices import choices_of, known
from dealership.models.scope import StoreScopedQuerySet
from vehicles.rules.standing import Standing, VehicleKind


STANDING_WORDS = {
    Standing.CUSTOMER: _("with its owner"),
    Standing.NEW: _("new stock"),
    Standing.USED: _("used stock"),
    Standing.RENTAL: _("rental"),
    Standing.LOANER: _("loan car"),
}
KIND_WORDS = {
    VehicleKind.LIGHT: _("car or light truck"),
    VehicleKind.HEAVY: _("heavy vehicle"),
    VehicleKind.TRAILER: _("trailer"),
    VehicleKind.UNKNOWN: _("not known"),
}


class VehicleQuerySet(StoreScopedQuerySet["Vehicle"]):
    """Vehicles, by store."""


class Vehicle(models.Model):
    """One vehicle, known by its VIN, looked after by one store."""

    vin = models.CharField(_("VIN"), max_length=17)
    vin_tail = models.GeneratedField(
        expression=Substr("vin", 10, 8),
        output_field=models.CharField(max_length=8),
        db_persist=True,
    )
    # no index of its own: vehicle_by_store begins with it
    store = models.ForeignKey(
        Store, on_delete=models.PROTECT, related_name="vehicles", db_index=False
    )
    kind = models.CharField(
        _("kind"),
        max_length=8,
        choices=choices_of(KIND_WORDS),
        default=VehicleKind.UNKNOWN,
    )
    model_year = models.PositiveSmallIntegerField(_("model year"), null=True)
    line = models.CharField(_("model line"), max_length=60, blank=True)
    engine = models.CharField(_("engine"), max_length=40, blank=True)
    plant = models.CharField(_("plant"), max_length=40, blank=True)
    serial = models.CharField(_("serial number"), max_length=20, blank=True)
    build_date = models.DateField(_("built on"), null=True)
    first_use_date = models.DateField(_("first used on"), null=True)
    odometer = models.PositiveIntegerField(_("odometer, miles"), null=True)
    odometer_on = models.DateField(_("odometer read on"), null=True)
    plate = models.CharField(_("plate"), max_length=16, blank=True)
    standing = models.CharField(
        _("where it stands"),
        max_length=8,
        choices=choices_of(STANDING_WORDS),
        default=Standing.CUSTOMER,
    )
    from_upload = models.ForeignKey(
        Upload, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    objects = VehicleQuerySet.as_manager()

    class Meta:
        ordering = ["vin"]
        indexes = [
            models.Index(fields=["vin_tail"], name="vehicle_by_tail"),
            models.Index(
                fields=["line", "model_year", "build_date"],
                include=["engine", "plant", "serial"],
                name="vehicle_for_matching",
            ),
            models.Index(fields=["store", "vin"], name="vehicle_by_store"),
            models.Index(
                fields=["store"],
                condition=~models.Q(standing="customer"),
                name="vehicle_of_our_own",
            ),
            models.Index(fields=["first_use_date"], name="vehicle_by_first_use"),
            models.Index(fields=["plate"], name="vehicle_by_plate"),
        ]
        constraints = [
            # not "unique" of the field, which on PostgreSQL keeps a second index
            models.UniqueConstraint(fields=["vin"], name="one_vehicle_per_vin"),
            known("standing", Standing, "vehicle_standing_is_known"),
            known("kind", VehicleKind, "vehicle_kind_is_known"),
            models.CheckConstraint(
                condition=Exact(Length("vin"), 17),
                name="vehicle_vin_has_17_characters",
            ),
        ]

    def __str__(self) -> str:
        return self.vin


class VehicleChange(models.Model):
    """One field of a vehicle that took another value (only added to)."""

    vehicle = models.ForeignKey(
        Vehicle, on_delete=models.PROTECT, related_name="changes"
    )
    field = models.CharField(max_length=30)
    before = models.CharField(max_length=120, blank=True)
    after = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    upload = models.ForeignKey(
        Upload, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.vehicle_id} {self.field}"
