"""Tables of the house."""

from dealership.models.audit import AuditEntry
from dealership.models.job import Job, WorkerBeat
from dealership.models.series import Series
from dealership.models.staff import Post, StaffMember
from dealership.models.store import Store
from dealership.models.upload import Upload


__all__ = [
    "AuditEntry",
    "Job",
    "Post",
    "Series",
    "StaffMember",
    "Store",
    "Upload",
    "WorkerBeat",
]
