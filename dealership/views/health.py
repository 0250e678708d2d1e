"""Pages: health."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
