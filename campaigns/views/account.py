"""Pages: account."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
