"""Tables of parts and their books."""

from inventory.models.ledger import Balance, CostLayer, Entry, Movement, Reservation
from inventory.models.part import BinLocation, Earmark, Part, Supplier
from inventory.models.shelf import (
    QuarantineLot,
    StockCount,
    StockCountLine,
    Transfer,
    TransferLine,
)
from inventory.models.trade import (
    Bill,
    BillLine,
    Credit,
    Dispute,
    GoodsReturn,
    OrderLine,
    PurchaseOrder,
    ReturnLine,
    Shipment,
    ShipmentLine,
    WriteOff,
)


__all__ = [
    "Balance",
    "Bill",
    "BillLine",
    "BinLocation",
    "CostLayer",
    "Credit",
    "Dispute",
    "Earmark",
    "Entry",
    "GoodsReturn",
    "Movement",
    "OrderLine",
    "Part",
    "PurchaseOrder",
    "QuarantineLot",
    "Reservation",
    "ReturnLine",
    "Shipment",
    "ShipmentLine",
    "StockCount",
    "StockCountLine",
    "Supplier",
    "Transfer",
    "TransferLine",
    "WriteOff",
]
