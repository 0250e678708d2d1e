"""Handlers of the work's jobs; importing this package registers them all."""

from campaigns.tasks import (
    hold_list,
    lapsing,
    letters,
    matching,
    offers,
    proving,
    reconcile,
    replaying,
    reports,
)


__all__ = [
    "hold_list",
    "lapsing",
    "letters",
    "matching",
    "offers",
    "proving",
    "reconcile",
    "replaying",
    "reports",
]
