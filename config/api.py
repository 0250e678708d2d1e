"""Addresses of the API and its schema."""

from django.urls import URLPattern


urlpatterns: list[URLPattern] = []
