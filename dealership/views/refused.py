"""A refusal that no view caught becomes a page that says what is wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import JsonResponse
from django.shortcuts import render

from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse


class RefusalMiddleware:
    """Answer 409 with the refusal's own sentence."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(
        self, request: HttpRequest, exception: Exception
    ) -> HttpResponse | None:
        """Turn a refusal into its page; leave every other exception alone."""
        if not isinstance(exception, Refusal):
            return None
        if request.path.startswith("/api/"):
            return JsonResponse({"detail": exception.sentence}, status=409)
        return render(request, "409.html", {"sentence": exception.sentence}, status=409)
