"""Pages: find."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
