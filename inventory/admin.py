"""The back room of parts: what may be put right by hand, and the books to read."""

from __future__ import annotations

from django.contrib import admin

from dealership.admin import ReadOnly
from inventory.models import (
    Balance,
    Bill,
    BinLocation,
    CostLayer,
    Credit,
    Dispute,
    Earmark,
    Entry,
    GoodsReturn,
    Movement,
    Part,
    PurchaseOrder,
    Reservation,
    Shipment,
    Supplier,
    WriteOff,
)


@admin.register(Supplier)
class SupplierAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Who ships and bills."""

    list_display = ("code", "name")
    search_fields = ("code", "name")


@admin.register(Part)
class PartAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Part numbers with price, pack and days of delivery."""

    list_display = ("number", "name", "supplier", "pack", "lead_days", "recalled")
    list_filter = ("supplier", "recalled")
    list_select_related = ("supplier",)
    search_fields = ("number", "name")
    raw_id_fields = ("superseded_by",)


@admin.register(BinLocation)
class BinLocationAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Places on the shelves."""

    list_display = ("code", "store")
    list_filter = ("store",)


for model in (
    Balance,
    Bill,
    CostLayer,
    Credit,
    Dispute,
    Earmark,
    Entry,
    GoodsReturn,
    Movement,
    PurchaseOrder,
    Reservation,
    Shipment,
    WriteOff,
):
    admin.site.register(model, ReadOnly)
