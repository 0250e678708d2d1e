"""The hours of the workshop: said, refused, booked over."""

import datetime as dt

import pytest

from campaigns.domain.booking import (
    book_visit,
    cancel_visit,
    lapse_missed,
    mark_missed,
    move_visit,
)
from campaigns.domain.room import HoursUsedUp, forget_day, set_day, set_week
from campaigns.models import DifferingDay, Visit, WorkshopHours
from campaigns.queries.room import loads, usual_week
from campaigns.rules.room import Skill
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import KEYS, Shop
from tests.factories.campaigns import VariantLabourFactory, WorkshopHoursFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff


pytestmark = pytest.mark.django_db

FRIDAY = TODAY + dt.timedelta(days=2)


@pytest.fixture
def shop():
    """A workshop with three quarters of an hour on Wednesdays and Fridays."""
    made = Shop()  # its remedy takes 0.70 h
    for weekday in (3, 5):
        WorkshopHoursFactory.create(
            store=made.store, weekday=weekday, hundredths_of_hour=75
        )
    made.shelf(8)
    return made


def book(shop, on=TODAY, key=None, **facts):
    row = shop.row()
    return book_visit(
        key=key or next(KEYS),
        vehicle=row.vehicle,
        store=shop.store,
        on=on,
        jobs=[row],
        by=shop.staff,
        at=NOW,
        today=TODAY,
        **facts,
    )


def planned(shop, day=TODAY):
    (load,) = loads(store=shop.store, first=day, days=1, today=TODAY)
    return load.booked


def test_a_day_whose_hours_are_used_up_is_refused_by_name(shop):
    book(shop)

    with pytest.raises(HoursUsedUp) as refused:
        book(shop)

    assert refused.value.skills == (Skill.MECHANICAL,)
    assert refused.value.sentence == (
        "The hours of 2026-11-25 do not suffice: 0.70 of 0.75 h mechanical are"
        " planned, and this work takes 0.70 h. Choose another day, or book it although"
        " the hours are used up."
    )
    assert Visit.objects.count() == 1


def test_who_knows_better_books_all_the_same_and_the_trail_says_so(shop):
    book(shop)

    book(shop, over_hours=True)

    assert planned(shop) == 140
    entry = AuditEntry.objects.filter(act="visit.booked").latest("pk")
    assert entry.after["over_hours"] is True


def test_a_skill_nobody_has_is_refused(shop):
    VariantLabourFactory.create(
        variant=shop.variant, skill=Skill.BODY, hundredths_of_hour=5
    )

    with pytest.raises(HoursUsedUp) as refused:
        book(shop)

    assert refused.value.skills == (Skill.BODY,)


def test_the_pool_of_a_store_without_skills_is_used_up_too():
    shop = Shop(store=StoreFactory.create(workshop_hours_per_day=1))
    shop.shelf(4)
    book(shop)

    with pytest.raises(HoursUsedUp, match=r"0\.70 of 1\.00 h are planned"):
        book(shop)


def test_the_same_press_twice_needs_no_second_hour(shop):
    row = shop.row()
    asked = {
        "key": "one-press",
        "vehicle": row.vehicle,
        "store": shop.store,
        "on": TODAY,
        "jobs": [row],
        "by": None,
        "at": NOW,
        "today": TODAY,
    }

    assert book_visit(**asked) == book_visit(**asked)
    assert planned(shop) == 70


@pytest.mark.parametrize("how", ["missed", "cancelled", "lapsed"])
def test_who_does_not_come_frees_the_hours(shop, how):
    visit = book(shop)
    if how == "missed":
        mark_missed(visit=visit, by=None, at=NOW, today=TODAY)
    elif how == "cancelled":
        cancel_visit(visit=visit, by=None, at=NOW, today=TODAY)
    else:
        late = NOW + dt.timedelta(days=shop.store.no_show_grace_days + 1)
        assert lapse_missed(store=shop.store, by=None, at=late) == [visit]

    assert planned(shop) == 0
    assert book(shop).pk


def test_a_visit_moves_only_to_a_day_with_hours(shop):
    visit, other = book(shop), book(shop, on=FRIDAY)

    def move(**facts):
        return move_visit(
            key=next(KEYS),
            visit=visit,
            to=FRIDAY,
            by=None,
            at=NOW,
            today=TODAY,
            **facts,
        )

    with pytest.raises(HoursUsedUp):
        move()
    visit.refresh_from_db()
    assert visit.on == TODAY
    cancel_visit(visit=other, by=None, at=NOW, today=TODAY)
    assert move().on == FRIDAY
    assert (planned(shop), planned(shop, FRIDAY)) == (0, 70)


def test_another_hour_of_the_same_full_day_needs_no_room(shop):
    visit = book(shop)

    moved = move_visit(
        key=next(KEYS),
        visit=visit,
        to=TODAY,
        hour=dt.time(15),
        by=None,
        at=NOW,
        today=TODAY,
    )

    assert moved.at == dt.time(15)


def test_a_week_is_kept_by_skill_and_a_skill_without_hours_is_left_out():
    store = StoreFactory.create()
    staff = make_staff(Role.SERVICE_MANAGER, store)
    week = {(Skill.MECHANICAL, 1): 800, (Skill.MECHANICAL, 2): 0, (Skill.BODY, 1): 0}

    assert set_week(store=store, week=week, by=staff, at=NOW) is True
    assert usual_week(store) == {(Skill.MECHANICAL, 1): 800, (Skill.MECHANICAL, 2): 0}
    assert set_week(store=store, week=week, by=staff, at=NOW) is False
    assert set_week(store=store, week={}, by=staff, at=NOW) is True
    assert not WorkshopHours.objects.exists()
    assert AuditEntry.objects.filter(act="workshop.week_set").count() == 2


def test_a_day_may_differ_and_have_its_week_again(shop):
    def set_to(hundredths):
        return set_day(
            store=shop.store,
            day=TODAY,
            skill=Skill.MECHANICAL,
            hundredths=hundredths,
            why="Training",
            by=shop.staff,
            at=NOW,
        )

    def there():
        (load,) = loads(store=shop.store, first=TODAY, days=1, today=TODAY)
        return load.capacity

    set_to(0)
    with pytest.raises(HoursUsedUp):
        book(shop)
    differing = set_to(300)
    assert (there(), DifferingDay.objects.count()) == (300, 1)
    for _twice in range(2):
        forget_day(differing=differing, by=shop.staff, at=NOW)
    assert there() == 75
    assert AuditEntry.objects.filter(act="workshop.day_forgotten").count() == 1
