"""The log as plain data: movements, lines, layers, bills, claims, payments, papers.

Tables that are only added to are read from where the last reading ended; those whose
rows move on (a dispute that ends, a reservation that is resolved) are read anew.
"""

from dataclasses import dataclass, field
from typing import Any

from django.db.models import F

from campaigns.models import (
    Campaign,
    Claim,
    ClaimAct,
    ClaimLine,
    PartFitted,
    Payment,
)
from dealership.models import Store
from inventory.models import (
    BillLine,
    CostLayer,
    Credit,
    Dispute,
    Entry,
    Movement,
    Reservation,
    ReturnLine,
    ShipmentLine,
    TransferLine,
    WriteOff,
)


Rows = list[dict[str, Any]]

# name -> model, plain columns, columns of other tables by their path
_ADDED: dict[str, tuple[Any, str, dict[str, str]]] = {
    "movements": (
        Movement,
        "id key kind store_id subject effective_on reverses_id",
        {},
    ),
    "entries": (
        Entry,
        "id movement_id store_id part_id earmark_id account quantity layer_id",
        {},
    ),
    "layers": (
        CostLayer,
        "id store_id part_id earmark_id source unit_cost_cents quantity received_on",
        {
            "bill_dated": "bill_line__bill__dated",
            "billed": "bill_line_id",
        },
    ),
    "bill_lines": (
        BillLine,
        "id part_id quantity unit_cost_cents",
        {
            "store_id": "bill__store_id",
            "earmark_id": "bill__earmark_id",
            "dated": "bill__dated",
        },
    ),
    "credits": (
        Credit,
        "id store_id earmark_id dispute_id return_line_id at_cost_cents amount_cents",
        {},
    ),
    "write_offs": (WriteOff, "id store_id earmark_id of cents dated", {}),
    "payments": (Payment, "id line_id cents at_cost_cents dated", {}),
    "claim_acts": (ClaimAct, "id claim_id state dated cents", {}),
    "fitted": (
        PartFitted,
        "id part_id layer_id movement_id quantity unit_cost_cents payer",
        {
            "store_id": "repair__store_id",
            "campaign_id": "repair__campaign_vehicle__campaign_id",
            "done_on": "repair__done_on",
        },
    ),
}
_MOVING: dict[str, tuple[Any, str, dict[str, str]]] = {
    "stores": (Store, "id code parts_handling_basis_points", {}),
    "campaigns": (Campaign, "id code earmark_id", {}),
    "reservations": (
        Reservation,
        "id store_id part_id earmark_id quantity used state subject",
        {},
    ),
    "shipment_lines": (
        ShipmentLine,
        "id part_id sent good damaged short bill_line_id shipment_id replaces_id",
        {
            "store_id": "shipment__store_id",
            "earmark_id": "shipment__earmark_id",
        },
    ),
    "disputes": (
        Dispute,
        "id store_id kind quantity unit_cost_cents opened_on state shipment_line_id",
        {
            "part_id": "shipment_line__part_id",
            "earmark_id": "shipment_line__shipment__earmark_id",
        },
    ),
    "return_lines": (
        ReturnLine,
        "id part_id layer_id quantity unit_cost_cents",
        {
            "state": "goods_return__state",
            "shipped_on": "goods_return__shipped_on",
            "store_id": "goods_return__store_id",
            "earmark_id": "goods_return__earmark_id",
            "return_id": "goods_return_id",
            "restocking": "goods_return__restocking_basis_points",
        },
    ),
    "transfer_lines": (
        TransferLine,
        "id transfer_id part_id quantity good damaged lost",
        {
            "state": "transfer__state",
            "store_id": "transfer__store_id",
            "to_store_id": "transfer__to_store_id",
        },
    ),
    "claims": (Claim, "id store_id campaign_id submitted_on made_on", {}),
    "claim_lines": (
        ClaimLine,
        "id claim_id kind part_fitted_id quantity cost_cents claimed_cents",
        {},
    ),
}


def _read(name: str, *, beyond: int = 0) -> Rows:
    model, columns, paths = {**_ADDED, **_MOVING}[name]
    found = {alias: F(path) for alias, path in paths.items()}
    rows = model.objects.filter(pk__gt=beyond).order_by("pk")
    return list(rows.values(*columns.split(), **found))


@dataclass
class Log:
    """All rows by table, in the order in which they were written."""

    tables: dict[str, Rows] = field(default_factory=dict)

    def read(self) -> bool:
        """Take in what is new; tell whether anything is."""
        grown = False
        for name in _ADDED:
            rows = self.tables.setdefault(name, [])
            new = _read(name, beyond=rows[-1]["id"] if rows else 0)
            rows += new
            grown = grown or bool(new)
        for name in _MOVING:
            rows = _read(name)
            grown = grown or rows != self.tables.get(name)
            self.tables[name] = rows
        return grown

    def check_unchanged(self) -> None:
        """Hold every row of long ago to what stands there now: the log only grows."""
        for name in _ADDED:
            assert self.tables[name] == _read(name), f"{name}: an earlier row changed"
