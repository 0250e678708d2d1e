"""Pages: visits."""

from django.urls import URLPattern


patterns: list[URLPattern] = []
