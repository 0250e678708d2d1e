"""Answers that are files: a paper to look at, a list to save."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.http import content_disposition_header


PDF = "application/pdf"
CSV = "text/csv; charset=utf-8"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def file_answer(
    content: bytes, name: str, *, kind: str = PDF, shown: bool = False
) -> HttpResponse:
    """Answer with a file, to be saved or, where ``shown``, looked at in the browser.

    ``name`` may hold what people typed, such as a repair order: it is quoted.
    """
    said = content_disposition_header(as_attachment=not shown, filename=name)
    headers = {
        "Content-Disposition": said or "",
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(content, content_type=kind, headers=headers)
