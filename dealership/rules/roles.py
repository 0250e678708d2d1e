"""Who may do what: one table, read by pages, API and docs alike."""

from enum import StrEnum


class Role(StrEnum):
    """A person's work in one store."""

    PARTS_MANAGER = "parts_manager"
    SERVICE_MANAGER = "service_manager"
    SERVICE_ADVISOR = "service_advisor"
    TECHNICIAN = "technician"
    OFFICE = "office"
    OWNER = "owner"
    ADMINISTRATOR = "administrator"


class Capability(StrEnum):
    """One thing that somebody may do; each guarded address names one."""

    SEE_TODAY = "see_today"
    SEE_CAMPAIGNS = "see_campaigns"
    EDIT_CAMPAIGNS = "edit_campaigns"
    SEE_VEHICLES = "see_vehicles"
    EDIT_VEHICLES = "edit_vehicles"
    IMPORT_LISTS = "import_lists"
    SEE_PARTS = "see_parts"
    MOVE_PARTS = "move_parts"
    ORDER_PARTS = "order_parts"
    COUNT_PARTS = "count_parts"
    APPROVE_COUNTS = "approve_counts"
    SELL_PARTS = "sell_parts"
    SELL_SET_APART = "sell_set_apart"
    FREE_QUARANTINE = "free_quarantine"
    USE_COUNTER = "use_counter"
    BOOK_VISITS = "book_visits"
    PLAN_WORKSHOP = "plan_workshop"
    RECORD_REPAIRS = "record_repairs"
    SEE_LETTERS = "see_letters"
    PRINT_LETTERS = "print_letters"
    EXPORT_ADDRESSES = "export_addresses"
    SEE_MONEY = "see_money"
    EDIT_MONEY = "edit_money"
    SEE_REPORTS = "see_reports"
    MAKE_REPORTS = "make_reports"
    SEE_SETTINGS = "see_settings"
    EDIT_SETTINGS = "edit_settings"
    USE_API = "use_api"


_EVERYBODY = frozenset(
    {
        Capability.SEE_TODAY,
        Capability.SEE_CAMPAIGNS,
        Capability.SEE_VEHICLES,
        Capability.SEE_PARTS,
        Capability.USE_COUNTER,
        Capability.USE_API,
    }
)

ROLE_CAPABILITIES: dict[Role, frozenset[Capability]] = {
    Role.PARTS_MANAGER: _EVERYBODY
    | {
        Capability.EDIT_CAMPAIGNS,
        Capability.IMPORT_LISTS,
        Capability.MOVE_PARTS,
        Capability.ORDER_PARTS,
        Capability.COUNT_PARTS,
        Capability.APPROVE_COUNTS,
        Capability.SELL_PARTS,
        Capability.BOOK_VISITS,
        Capability.SEE_MONEY,
        Capability.EDIT_MONEY,
        Capability.SEE_REPORTS,
        Capability.MAKE_REPORTS,
    },
    Role.SERVICE_MANAGER: _EVERYBODY
    | {
        Capability.EDIT_CAMPAIGNS,
        Capability.EDIT_VEHICLES,
        Capability.IMPORT_LISTS,
        Capability.APPROVE_COUNTS,
        Capability.SELL_PARTS,
        Capability.SELL_SET_APART,
        Capability.FREE_QUARANTINE,
        Capability.BOOK_VISITS,
        Capability.PLAN_WORKSHOP,
        Capability.RECORD_REPAIRS,
        Capability.SEE_LETTERS,
        Capability.SEE_MONEY,
        Capability.EDIT_MONEY,
        Capability.SEE_REPORTS,
        Capability.MAKE_REPORTS,
        Capability.SEE_SETTINGS,
    },
    Role.SERVICE_ADVISOR: _EVERYBODY
    | {
        Capability.EDIT_VEHICLES,
        Capability.BOOK_VISITS,
        Capability.RECORD_REPAIRS,
    },
    Role.TECHNICIAN: _EVERYBODY | {Capability.RECORD_REPAIRS, Capability.COUNT_PARTS},
    Role.OFFICE: _EVERYBODY
    | {
        Capability.EDIT_VEHICLES,
        Capability.IMPORT_LISTS,
        Capability.BOOK_VISITS,
        Capability.SEE_LETTERS,
        Capability.PRINT_LETTERS,
        Capability.EXPORT_ADDRESSES,
        Capability.SEE_REPORTS,
        Capability.MAKE_REPORTS,
    },
    Role.OWNER: frozenset(
        {
            Capability.SEE_TODAY,
            Capability.SEE_CAMPAIGNS,
            Capability.SEE_VEHICLES,
            Capability.SEE_PARTS,
            Capability.SEE_LETTERS,
            Capability.SEE_MONEY,
            Capability.SEE_REPORTS,
            Capability.MAKE_REPORTS,
            Capability.SEE_SETTINGS,
            Capability.USE_API,
        }
    ),
    Role.ADMINISTRATOR: frozenset(Capability),
}


def may(roles: frozenset[Role], capability: Capability) -> bool:
    """Tell whether any of these roles carries the capability."""
    return any(capability in ROLE_CAPABILITIES[role] for role in roles)
