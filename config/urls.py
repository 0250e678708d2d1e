"""Which app answers which address."""

from django.contrib import admin
from django.urls import include, path

from dealership.views import account


urlpatterns = [
    path("accounts/", include(account.patterns)),
    path("admin/", admin.site.urls),
    path("api/", include("config.api")),
    path("", include("dealership.urls")),
    path("vehicles/", include("vehicles.urls")),
    path("parts/", include("inventory.urls")),
    path("", include("campaigns.urls")),
]
