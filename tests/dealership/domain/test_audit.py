import pytest

from dealership.domain.audit import record, subject_of
from dealership.models import AuditEntry
from tests.factories.dealership import NOW, StaffFactory, StoreFactory


pytestmark = pytest.mark.django_db


def test_a_line_says_who_did_what_when_to_which_row():
    store, by = StoreFactory.create(), StaffFactory.create()

    record(
        act="store.changed",
        subject=store,
        by=by,
        at=NOW,
        store=store,
        before={"bays": 6},
        after={"bays": 7},
        why="a bay more",
    )

    entry = AuditEntry.objects.get()
    assert (entry.at, entry.by, entry.store) == (NOW, by, store)
    assert (entry.act, entry.subject) == ("store.changed", subject_of(store))
    assert (entry.before, entry.after) == ({"bays": 6}, {"bays": 7})
    assert entry.why == "a bay more"


def test_a_row_is_named_by_its_table_and_key():
    store = StoreFactory.create()

    assert subject_of(store) == f"dealership.store:{store.pk}"


def test_a_reason_of_any_length_is_kept_as_far_as_there_is_room():
    store = StoreFactory.create()

    entry = record(act="store.changed", subject=store, by=None, at=NOW, why="x" * 999)

    assert entry.why == "x" * 300
