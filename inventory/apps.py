"""What parts there are, where, and the books of them."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """The app inventory."""

    name = "inventory"
