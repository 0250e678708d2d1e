"""Handlers of the work's jobs; importing this package registers them all."""

from campaigns.tasks import letters, matching, offers, reconcile, reports


__all__ = ["letters", "matching", "offers", "reconcile", "reports"]
