import pytest
from django.core.exceptions import ValidationError

from dealership.domain.stores import change_store
from dealership.models import AuditEntry, Store
from tests.factories.dealership import NOW, StaffFactory, StoreFactory


pytestmark = pytest.mark.django_db


def test_only_what_changed_is_written_and_told():
    store = StoreFactory.create(review_days=7)

    changed = change_store(
        store=store,
        facts={"review_days": 5, "bays": store.bays},
        by=StaffFactory.create(),
        at=NOW,
    )

    assert changed == ["review_days"]
    assert Store.objects.get().review_days == 5
    entry = AuditEntry.objects.get()
    assert (entry.before, entry.after) == ({"review_days": 7}, {"review_days": 5})


def test_nothing_changed_leaves_no_line():
    store = StoreFactory.create()

    assert change_store(store=store, facts={"bays": store.bays}, by=None, at=NOW) == []
    assert not AuditEntry.objects.exists()


def test_a_form_that_has_touched_the_row_is_still_seen_as_a_change():
    store = StoreFactory.create(bays=6)
    store.bays = 9

    assert change_store(store=store, facts={"bays": 9}, by=None, at=NOW) == ["bays"]


def test_the_trail_holds_no_name_and_no_telephone():
    store = StoreFactory.create()

    change_store(
        store=store,
        facts={"letter_signed_by": "Hanne Virk", "phone": "+1 217 555 0177"},
        by=None,
        at=NOW,
    )

    entry = AuditEntry.objects.get()
    assert entry.after == {"letter_signed_by": "…", "phone": "…"}


def test_what_does_not_fit_changes_nothing():
    store = StoreFactory.create()

    with pytest.raises(ValidationError):
        change_store(
            store=store, facts={"bays": 4, "paper": "papyrus"}, by=None, at=NOW
        )

    assert Store.objects.get().bays == 6
    assert not AuditEntry.objects.exists()
