"""Which app answers which address."""

from django.contrib import admin
from django.urls import include, path


urlpatterns = [
    path("accounts/", include("allauth.urls")),
    path("admin/", admin.site.urls),
    path("api/", include("config.api")),
    path("", include("dealership.urls")),
    path("vehicles/", include("vehicles.urls")),
    path("parts/", include("inventory.urls")),
    path("", include("campaigns.urls")),
]
