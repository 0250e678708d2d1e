"""What vehicles there are, and whose."""

from django.apps import AppConfig


class VehiclesConfig(AppConfig):
    """What vehicles there are, and whose."""

    name = "vehicles"
