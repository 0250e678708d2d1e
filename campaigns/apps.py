"""The work: from the bulletin to the closed account."""

from django.apps import AppConfig


class CampaignsConfig(AppConfig):
    """The app campaigns."""

    name = "campaigns"
