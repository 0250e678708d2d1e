"""Handlers of the work's jobs; importing this package registers them all."""

from campaigns.tasks import (
    lapsing,
    letters,
    matching,
    offers,
    proving,
    reconcile,
    reports,
)


__all__ = [
    "lapsing",
    "letters",
    "matching",
    "offers",
    "proving",
    "reconcile",
    "reports",
]
