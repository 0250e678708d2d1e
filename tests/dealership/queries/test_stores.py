import pytest

from dealership.models import StaffMember
from dealership.queries.stores import people_in_reach, stores_kept_by
from dealership.rules.roles import Role
from tests.factories.dealership import (
    PostFactory,
    StaffFactory,
    StoreFactory,
    make_staff,
)


pytestmark = pytest.mark.django_db


def test_one_sees_the_people_of_one_s_stores():
    here, there = StoreFactory.create_batch(2)
    me = make_staff(Role.OFFICE, here)
    colleague = make_staff(Role.OFFICE, here, there)
    make_staff(Role.OFFICE, there)
    StaffFactory.create()

    assert set(people_in_reach(me)) == {me, colleague}


def test_who_sees_every_store_sees_everybody():
    me = make_staff(Role.OWNER, in_all_stores=True)
    make_staff(Role.OFFICE)
    StaffFactory.create()

    assert set(people_in_reach(me)) == set(StaffMember.objects.all())


def test_people_with_three_posts_come_once():
    here = StoreFactory.create()
    me = make_staff(Role.OFFICE, here)
    for role in (Role.OWNER, Role.TECHNICIAN):
        PostFactory.create(staff=me, store=here, role=role)

    assert list(people_in_reach(me)) == [me]


def test_one_keeps_the_stores_where_one_is_administrator():
    here, there = StoreFactory.create_batch(2)
    me = make_staff(Role.ADMINISTRATOR, here)
    PostFactory.create(staff=me, store=there, role=Role.OFFICE)

    assert stores_kept_by(me) == [here]
    assert stores_kept_by(make_staff(Role.OFFICE, here)) == []


def test_an_administrator_of_all_stores_keeps_them_all():
    here, there = StoreFactory.create_batch(2)
    me = make_staff(Role.ADMINISTRATOR, here, in_all_stores=True)

    assert stores_kept_by(me) == [here, there]
