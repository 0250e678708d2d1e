"""Pages: replenishment."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
