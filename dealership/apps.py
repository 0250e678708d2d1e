"""The house itself: stores, staff, the trail, jobs and uploads."""

from django.apps import AppConfig


class DealershipConfig(AppConfig):
    """The lowest app."""

    name = "dealership"
