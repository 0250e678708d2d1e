"""Addresses of parts and their papers."""

from inventory.views import (
    counts,
    orders,
    parts,
    quarantine,
    receiving,
    returns,
    sheets,
    transfers,
)


app_name = "inventory"
urlpatterns = [
    *receiving.patterns,
    *orders.patterns,
    *returns.patterns,
    *transfers.patterns,
    *counts.patterns,
    *quarantine.patterns,
    *sheets.patterns,
    *parts.patterns,
]
