"""What everybody must see at the top of the page when part of the house is down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from dealership.queries.jobs import queue_alive


if TYPE_CHECKING:
    import datetime as dt


@dataclass(frozen=True)
class Notice:
    """One sentence for the top of every page."""

    words: str


def system_notices(*, now: dt.datetime) -> list[Notice]:
    """Give one sentence for each thing that is down; the rest works on."""
    notices = []
    if not queue_alive(now=now):
        words = _(
            "Work in the background is not running: lists, letters and reports "
            "wait. Start the worker; everything else works."
        )
        notices.append(Notice(words=words))
    return notices
