"""What everybody must see at the top of the page when part of the house is down."""

from __future__ import annotations

import ctypes
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from dealership.queries.jobs import queue_alive


if TYPE_CHECKING:
    import datetime as dt

# What the PDF engine loads when it is first used.
PDF_LIBRARIES = ("libpango-1.0.so.0", "libpangoft2-1.0.so.0")


@dataclass(frozen=True)
class Notice:
    """One sentence for the top of every page."""

    words: str


@cache
def pdf_engine_present() -> bool:
    """Tell whether letters and reports can be made as PDF; asked once a process."""
    if find_spec("weasyprint") is None:
        return False
    try:
        for library in PDF_LIBRARIES:
            ctypes.CDLL(library)
    except OSError:
        return False
    return True


def system_notices(*, now: dt.datetime) -> list[Notice]:
    """Give one sentence for each thing that is down; the rest works on."""
    notices = []
    if not queue_alive(now=now):
        words = _(
            "Work in the background is not running: lists, letters and reports "
            "wait. Start the worker; everything else works."
        )
        notices.append(Notice(words=words))
    if not pdf_engine_present():
        words = _(
            "Letters and reports cannot be made as PDF here. Install the packages"
            " libpango-1.0-0 and libpangoft2-1.0-0, then start again; everything else"
            " works."
        )
        notices.append(Notice(words=words))
    return notices
