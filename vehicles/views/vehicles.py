"""Pages: vehicles."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
