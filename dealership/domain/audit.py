"""Writing the trail."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dealership.models import AuditEntry


if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import Model

    from dealership.models import StaffMember, Store


def subject_of(row: Model) -> str:
    """Name a row in the trail: ``vehicles.vehicle:17``."""
    return f"{row._meta.label_lower}:{row.pk}"  # noqa: SLF001 (Django's public _meta)


def record(
    *,
    act: str,
    subject: Model,
    by: StaffMember | None,
    at: dt.datetime,
    store: Store | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    why: str = "",
) -> AuditEntry:
    """Add one line to the trail, in the caller's transaction.

    ``before`` and ``after`` hold ids, states and figures, never names or addresses.
    ``by`` is None where a job acted on its own.
    """
    return AuditEntry.objects.create(
        act=act,
        subject=subject_of(subject),
        by=by,
        at=at,
        store=store,
        before=before or {},
        after=after or {},
        why=why[:300],
    )
