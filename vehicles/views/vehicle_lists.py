"""Pages: vehicle_lists."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
