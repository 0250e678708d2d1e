"""The back room: vehicles, their people and their lists, to look into."""

from django.contrib import admin

from dealership.admin import ReadOnly
from vehicles.models import Party, Tenure, Vehicle, VehicleChange, VehicleList


@admin.register(Vehicle)
class VehicleAdmin(ReadOnly):
    """Vehicles; they are changed on their cards, where history is kept."""

    list_display = ("vin", "store", "line", "model_year", "plate", "standing")
    list_filter = ("store", "standing", "kind")
    search_fields = ("vin", "plate")
    list_select_related = ("store",)


@admin.register(VehicleChange)
class VehicleChangeAdmin(ReadOnly):
    """What was changed about vehicles."""

    list_display = ("at", "vehicle", "field", "before", "after", "by")
    list_select_related = ("vehicle", "by")
    search_fields = ("vehicle__vin",)


@admin.register(Party)
class PartyAdmin(ReadOnly):
    """Persons and firms."""

    list_display = ("name", "store", "kind", "do_not_write")
    list_filter = ("store",)
    search_fields = ("name_folded",)
    list_select_related = ("store",)


@admin.register(Tenure)
class TenureAdmin(ReadOnly):
    """Who has and had which vehicle."""

    list_display = ("vehicle", "party", "role", "since", "until")
    list_select_related = ("vehicle", "party")
    search_fields = ("vehicle__vin",)


@admin.register(VehicleList)
class VehicleListAdmin(ReadOnly):
    """Lists of vehicles on their way in."""

    list_display = ("upload", "store", "state", "made_by", "made_at", "applied_at")
    list_filter = ("store", "state")
    list_select_related = ("upload", "store", "made_by")
