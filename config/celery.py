"""The queue: a Celery app whose broker is only a bell.

With ``MENDROLL_REDIS_URL`` the bell is Redis. Without it the worker is its own bell:
it looks into the table of jobs twice a second and puts what it finds into a broker in
its own memory. Either way the table is the truth, so nothing is lost with a broker.
"""

from __future__ import annotations

import datetime as dt
import os
from typing import Any

from celery import Celery
from django.conf import settings

from dealership.rules.jobs import Timed


# Hours are those of settings.TIME_ZONE.
TIMETABLE = (
    Timed("campaigns.missed_visits", hour=1),
    Timed("campaigns.reconcile", hour=2),
    Timed("campaigns.prove_books", hour=3),
    Timed("dealership.erase_uploads", hour=4),
    Timed("campaigns.check_stock", hour=5),
    Timed("inventory.lapse", every=dt.timedelta(hours=1)),
)
TIMETABLE_EVERY_SECONDS = 10.0
# Above the longest chunk. A message that comes back while its job still runs finds
# the job held and is dropped.
VISIBILITY_SECONDS = 180


def options() -> dict[str, Any]:
    """Give the settings of the queue; read late, when Django's settings are there."""
    return {
        "broker_url": settings.MENDROLL_REDIS_URL or "memory://",
        "broker_transport_options": {
            "visibility_timeout": VISIBILITY_SECONDS,
            "unacked_restore_interval": 2,
            "unacked_restore_throttle": 1,
            "socket_connect_timeout": 2,
        }
        if settings.MENDROLL_REDIS_URL
        else {"polling_interval": 0.02},
        "broker_connection_retry_on_startup": True,
        "task_acks_late": True,
        "task_reject_on_worker_lost": True,
        "task_ignore_result": True,
        "task_default_queue": "mendroll",
        "worker_prefetch_multiplier": 1,
        # A job is cut into chunks and its row says who holds it; the broker has no say.
        "worker_cancel_long_running_tasks_on_connection_loss": False,
        "worker_hijack_root_logger": False,
        "timezone": settings.TIME_ZONE,
        "mendroll_timetable": TIMETABLE,
        "mendroll_timetable_seconds": TIMETABLE_EVERY_SECONDS,
        "beat_schedule": {
            "timetable": {
                "task": "dealership.keep_timetable",
                "schedule": TIMETABLE_EVERY_SECONDS,
                "options": {"expires": 60},
            }
        },
    }


os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
app = Celery("mendroll")
app.add_defaults(options)
app.autodiscover_tasks()
# Named, not imported: it needs Django's tables, which a worker sets up first.
app.steps["worker"].add("config.sweeper:Sweeper")
