"""Pages: repairs."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
