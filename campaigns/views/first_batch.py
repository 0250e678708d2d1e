"""Pages: first_batch."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
