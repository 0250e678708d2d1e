"""Stores, people and what they leave behind."""

import datetime as dt
import hashlib

import factory
from django.core.files.base import ContentFile
from factory.django import DjangoModelFactory

from dealership.models import (
    AuditEntry,
    Job,
    Post,
    Series,
    StaffMember,
    Store,
    Upload,
    WorkerBeat,
)
from dealership.rules.roles import Role
from dealership.rules.uploads import ContentKind


NOW = dt.datetime(2026, 11, 25, 15, 0, tzinfo=dt.UTC)
"""Nine in the morning of Wednesday in the stores' time zone."""
TODAY = dt.date(2026, 11, 25)


class StoreFactory(DjangoModelFactory[Store]):
    class Meta:
        model = Store

    code = factory.Sequence(lambda n: f"S{n + 1}")
    name = factory.Sequence(lambda n: f"Harrow Lane Motors {n + 1}")
    street = factory.Sequence(lambda n: f"{n + 1} Harrow Lane")
    city = "Tannersby"
    region = "IL"
    postal_code = "60000"
    phone = "+1 217 555 0100"
    letter_signed_by = "Mira Soldan"


class StaffFactory(DjangoModelFactory[StaffMember]):
    """Somebody without a post; see ``make_staff``."""

    class Meta:
        model = StaffMember
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n + 1}")
    first_name = "Ottilie"
    last_name = factory.Sequence(lambda n: f"Brandt-{n + 1}")


class PostFactory(DjangoModelFactory[Post]):
    class Meta:
        model = Post

    staff = factory.SubFactory(StaffFactory)
    store = factory.SubFactory(StoreFactory)
    role = Role.SERVICE_ADVISOR


class AuditEntryFactory(DjangoModelFactory[AuditEntry]):
    class Meta:
        model = AuditEntry

    at = NOW
    by = factory.SubFactory(StaffFactory)
    store = factory.SubFactory(StoreFactory)
    act = "store.changed"
    subject = factory.LazyAttribute(lambda row: f"dealership.store:{row.store.pk}")


class SeriesFactory(DjangoModelFactory[Series]):
    class Meta:
        model = Series

    store = factory.SubFactory(StoreFactory)
    kind = "claim"


class JobFactory(DjangoModelFactory[Job]):
    """A job that waits and is due."""

    class Meta:
        model = Job

    kind = "campaigns.reconcile"
    due_at = NOW
    offer_after = NOW
    created_at = NOW
    store = factory.SubFactory(StoreFactory)
    asked_by = factory.SubFactory(StaffFactory)


class WorkerBeatFactory(DjangoModelFactory[WorkerBeat]):
    class Meta:
        model = WorkerBeat

    host = "workshop"
    pid = factory.Sequence(lambda n: n + 1)
    seen_at = NOW


class UploadFactory(DjangoModelFactory[Upload]):
    """A kept file; give ``content`` for other bytes."""

    class Meta:
        model = Upload

    class Params:
        content = b"VIN,Owner\n"

    store = factory.SubFactory(StoreFactory)
    file = factory.LazyAttribute(lambda row: ContentFile(row.content, "list.csv"))
    sha256 = factory.LazyAttribute(lambda row: hashlib.sha256(row.content).hexdigest())
    size_bytes = factory.LazyAttribute(lambda row: len(row.content))
    original_name = "list.csv"
    content_kind = ContentKind.TEXT
    by = factory.SubFactory(StaffFactory)
    at = NOW
    keep_until = TODAY + dt.timedelta(days=3650)


def make_staff(role: Role, *stores: Store, **facts: object) -> StaffMember:
    """Make somebody with this role in each of these stores (in a new one if none).

    Owners and administrators see every store only where ``in_all_stores=True`` says so.
    """
    staff = StaffFactory.create(**facts)
    for store in stores or (StoreFactory.create(),):
        PostFactory.create(staff=staff, store=store, role=role)
    return staff
