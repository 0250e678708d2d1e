"""Whether the house is well, for machines that watch it."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import JsonResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from dealership.queries.jobs import queue_alive
from dealership.queries.notices import pdf_engine_present


if TYPE_CHECKING:
    from django.http import HttpRequest


def _database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


@require_safe
@never_cache
@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """Say ok or not ok of each part, and nothing more: nobody has signed in.

    503 when the pages cannot be served. Without a worker or the PDF engine they can,
    so a machine that spreads the load must not take this one out for that.
    """
    del request
    database = _database_answers()
    parts = {
        "database": database,
        "queue": database and queue_alive(timezone.now()),
        "pdf": pdf_engine_present(),
    }
    words = {name: "ok" if well else "not ok" for name, well in parts.items()}
    status = HTTPStatus.OK if database else HTTPStatus.SERVICE_UNAVAILABLE
    return JsonResponse(words, status=status)


patterns = [path("health/", health, name="health")]
