"""The key of a press, by which a second press changes nothing."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from django.http import HttpRequest


def key_of(request: HttpRequest) -> str:
    """Give the key that the form carried; a press without one is one of its own."""
    try:
        return str(uuid.UUID(request.POST.get("key", "")))
    except ValueError:
        return str(uuid.uuid4())
