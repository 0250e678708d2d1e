"""The back room of the work: tables as they are, to look into.

Campaigns, vehicles and claims are changed by acts of the house, never here.
"""

from __future__ import annotations

from django.contrib import admin

from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Claim,
    CriteriaVersion,
    ListedVin,
    PartRequest,
    ReachFact,
    Remedy,
    Repair,
    ScheduledItem,
    StateChange,
    Variant,
    Visit,
)
from dealership.admin import ReadOnly


@admin.register(Campaign)
class CampaignAdmin(ReadOnly):
    """Campaigns."""

    list_display = ("code", "title", "campaign_class", "state", "announced_on")
    list_filter = ("campaign_class", "state")
    search_fields = ("code", "title", "maker_number", "regulator_number")


@admin.register(CriteriaVersion)
class CriteriaVersionAdmin(ReadOnly):
    """Versions of criteria."""

    list_display = ("campaign", "number", "state", "why", "applied_at")
    list_select_related = ("campaign",)


@admin.register(ListedVin)
class ListedVinAdmin(ReadOnly):
    """VINs on manufacturers' lists."""

    list_display = ("vin", "campaign", "store", "listed_on", "row_number")
    list_select_related = ("campaign", "store")
    search_fields = ("vin",)


@admin.register(CampaignVehicle)
class CampaignVehicleAdmin(ReadOnly):
    """The population."""

    list_display = ("vehicle", "campaign", "store", "work_state", "reach")
    list_select_related = ("vehicle", "campaign", "store")
    list_filter = ("work_state", "reach")
    search_fields = ("vehicle__vin",)


@admin.register(StateChange)
class StateChangeAdmin(ReadOnly):
    """Moves of vehicles; only added to."""

    list_display = ("campaign_vehicle", "before", "after", "effective_on", "why")
    list_select_related = ("campaign_vehicle",)


@admin.register(ReachFact)
class ReachFactAdmin(ReadOnly):
    """Facts on reach; only added to."""

    list_display = ("campaign_vehicle", "reach", "effective_on", "source")
    list_select_related = ("campaign_vehicle",)


@admin.register(Remedy)
class RemedyAdmin(ReadOnly):
    """Remedies."""

    list_display = ("campaign", "scheduled_item")
    list_select_related = ("campaign", "scheduled_item")


@admin.register(Variant)
class VariantAdmin(ReadOnly):
    """Variants of remedies."""

    list_display = ("code", "title", "remedy", "position")
    list_select_related = ("remedy",)


@admin.register(ScheduledItem)
class ScheduledItemAdmin(ReadOnly):
    """Work due by age or odometer."""

    list_display = ("code", "title", "due_after_months", "due_after_miles", "active")


@admin.register(PartRequest)
class PartRequestAdmin(ReadOnly):
    """Requests for a remedy."""

    list_display = ("campaign_vehicle", "asked_on", "state", "met_at_once")
    list_select_related = ("campaign_vehicle",)


@admin.register(Visit)
class VisitAdmin(ReadOnly):
    """Visits."""

    list_display = ("vehicle", "store", "on", "state")
    list_select_related = ("vehicle", "store")


@admin.register(Repair)
class RepairAdmin(ReadOnly):
    """Repairs."""

    list_display = ("repair_order", "vehicle", "store", "state", "outcome", "done_on")
    list_select_related = ("vehicle", "store")


@admin.register(Claim)
class ClaimAdmin(ReadOnly):
    """Claims."""

    list_display = ("number", "store", "campaign", "state", "made_on")
    list_select_related = ("store", "campaign")
