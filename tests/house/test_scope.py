"""Every table that belongs to a store has the one door, and the door holds."""

import pytest
from django.contrib.auth.models import AnonymousUser

from dealership.models import Store
from dealership.queries.tables import own_models
from dealership.rules.roles import Role
from tests.factories.dealership import make_staff
from tests.house.test_factories import FACTORIES


pytestmark = pytest.mark.django_db


def has_store(model):
    return any(field.related_model is Store for field in model._meta.concrete_fields)


STORE_BOUND = [model for model in own_models() if has_store(model)]
SCOPED = [
    model
    for model in own_models()
    if hasattr(model._default_manager.all(), "for_staff")
]
# Asked for by who asks about themselves, or by nobody.
WITHOUT_DOOR = {
    "dealership.Post": "read through its person: queries.stores.people_in_reach",
    "dealership.Series": "numbers, given out by one function",
    "campaigns.ListedVin": "read through its campaign, which all stores share",
}


def label(model):
    return model._meta.label


def test_each_table_with_a_store_has_the_door():
    assert {label(m) for m in STORE_BOUND} - {label(m) for m in SCOPED} == set(
        WITHOUT_DOOR
    )


@pytest.mark.parametrize("model", SCOPED, ids=label)
def test_one_sees_the_rows_of_one_s_store_and_no_others(model):
    row = FACTORIES[model].create()
    path = model._default_manager.all().store_path
    store = row
    for step in path.split("__"):
        store = row if step == "pk" else getattr(store, step)
    FACTORIES[model].create()

    mine = make_staff(Role.OFFICE, store)
    others = make_staff(Role.OFFICE)
    rows = model._default_manager

    assert list(rows.for_staff(mine)) == [row]
    assert not rows.for_staff(others).filter(pk=row.pk).exists()
    assert not rows.for_staff(AnonymousUser()).exists()
    assert rows.for_staff(make_staff(Role.OWNER, in_all_stores=True)).count() == (
        rows.count()
    )
