"""Addresses of the API, its schema, and its page for programmers."""

from csp.decorators import csp_update
from django.contrib.auth.decorators import login_required
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from campaigns.api import vehicles


# The page for programmers writes style attributes, no other page may.
docs = csp_update({"style-src": ["'unsafe-inline'"]})(
    login_required(SpectacularSwaggerSplitView.as_view(url_name="api_schema"))
)

urlpatterns = [
    path("v1/", include(vehicles.patterns)),
    path("schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("docs/", docs, name="api_docs"),
]
