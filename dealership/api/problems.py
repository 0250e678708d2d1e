"""Errors of the API in the shape of RFC 9457, "Problem Details for HTTP APIs"."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from rest_framework import serializers
from rest_framework.response import Response
from rest_framework.views import exception_handler

from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    from collections.abc import Iterator

MEDIA_TYPE = "application/problem+json"


class ProblemSerializer(serializers.Serializer[object]):
    """What went wrong: RFC 9457, section 3.1."""

    type = serializers.CharField(help_text="about:blank: the title says it all.")
    title = serializers.CharField(help_text="The words of the status code.")
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="What is wrong, and what to do.")


def problem_of(error: Exception, context: dict[str, Any]) -> Response | None:
    """Shape what went wrong as a problem; None for a fault of ours (500).

    A named refusal is a conflict (409) in its own words.
    """
    if isinstance(error, Refusal):
        return _problem(HTTPStatus.CONFLICT, error.sentence)
    answer = exception_handler(error, context)
    if answer is None:
        return None
    problem = _problem(HTTPStatus(answer.status_code), " ".join(_words(answer.data)))
    for name in ("WWW-Authenticate", "Retry-After", "Allow"):
        if name in answer.headers:
            problem.headers[name] = answer.headers[name]
    return problem


def _problem(status: HTTPStatus, detail: str) -> Response:
    data = {
        "type": "about:blank",
        "title": status.phrase,
        "status": status.value,
        "detail": detail,
    }
    return Response(data, status=status, content_type=MEDIA_TYPE)


def _words(data: object) -> Iterator[str]:
    """Give the sentences of an error, however deep they lie."""
    if isinstance(data, dict):
        for value in data.values():
            yield from _words(value)
    elif isinstance(data, list):
        for value in data:
            yield from _words(value)
    else:
        yield str(data)
