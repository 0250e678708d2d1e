"""Reading the trail."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dealership.models import AuditEntry


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember
    from dealership.models.audit import AuditQuerySet


def trail(
    *,
    staff: StaffMember,
    act: str = "",
    subject: str = "",
    since: dt.date | None = None,
) -> AuditQuerySet:
    """Give the acts in the stores of this person, the last one first.

    ``act`` is the beginning of an act (``staff`` gives all about staff), ``subject``
    the whole name of a row or the beginning of it.
    """
    entries = AuditEntry.objects.for_staff(staff).select_related("by", "store")
    if act:
        entries = entries.filter(act__startswith=act)
    if subject:
        entries = entries.filter(subject__startswith=subject)
    if since:
        entries = entries.filter(at__date__gte=since)
    return entries.order_by("-id")


def acts_known(staff: StaffMember) -> list[str]:
    """Give the kinds of act that the trail of this person's stores holds."""
    acts = AuditEntry.objects.for_staff(staff).order_by("act").distinct()
    return list(acts.values_list("act", flat=True))
