import datetime as dt

import pytest

from dealership.queries.audit import acts_known, trail
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, AuditEntryFactory, make_staff


pytestmark = pytest.mark.django_db


@pytest.fixture
def me():
    return make_staff(Role.SERVICE_MANAGER)


def line(me, **facts):
    return AuditEntryFactory.create(store=me.posts.get().store, **facts)


def test_the_last_act_comes_first_and_others_stores_do_not_come(me):
    first, second = line(me), line(me)
    AuditEntryFactory.create()

    assert list(trail(staff=me)) == [second, first]


def test_it_is_looked_through_by_act_row_and_day(me):
    old = line(me, at=NOW - dt.timedelta(days=3), act="staff.let_in", subject="a:1")
    new = line(me, act="staff.taken_on", subject="a:12")
    line(me, act="upload.kept", subject="b:1")

    assert list(trail(staff=me, act="staff")) == [new, old]
    assert list(trail(staff=me, act="staff.taken_on")) == [new]
    assert list(trail(staff=me, subject="a:1")) == [new, old]
    assert list(trail(staff=me, act="staff", since=NOW.date())) == [new]


def test_only_acts_that_happened_are_offered(me):
    line(me, act="upload.kept")
    line(me, act="upload.kept")
    line(me, act="staff.let_in")
    AuditEntryFactory.create(act="elsewhere.done")

    assert acts_known(me) == ["staff.let_in", "upload.kept"]
