"""Addresses of parts and their papers."""

from inventory.views import orders, parts, receiving, returns


app_name = "inventory"
urlpatterns = [
    *receiving.patterns,
    *orders.patterns,
    *returns.patterns,
    *parts.patterns,
]
