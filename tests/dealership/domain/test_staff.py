import pytest
from rest_framework.authtoken.models import Token

from dealership.domain.staff import (
    NotOneself,
    NotYourStore,
    UsernameTaken,
    WorksElsewhereToo,
    drop_token,
    give_post,
    let_in,
    lock_out,
    make_token,
    may_change_account,
    renew_password,
    take_on,
    take_post,
)
from dealership.models import AuditEntry, StaffMember
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, PostFactory, StoreFactory, make_staff


pytestmark = pytest.mark.django_db


@pytest.fixture
def here():
    return StoreFactory.create()


@pytest.fixture
def boss(here):
    return make_staff(Role.ADMINISTRATOR, here)


def acts():
    return list(AuditEntry.objects.order_by("id").values_list("act", flat=True))


def hanne(store, by):
    return take_on(
        username="hanne",
        first_name="Hanne",
        last_name="Virk",
        password="willow-path-17",
        store=store,
        role=Role.OFFICE,
        by=by,
        at=NOW,
    )


def test_somebody_is_taken_on_with_a_first_post(here, boss):
    person = hanne(here, boss)

    assert person.check_password("willow-path-17")
    assert person.posts_by_store == {here.pk: frozenset({Role.OFFICE})}
    assert acts() == ["staff.taken_on", "staff.post_given"]


def test_a_taken_name_leaves_nothing_behind(here, boss):
    hanne(here, boss)

    with pytest.raises(UsernameTaken) as refused:
        hanne(here, boss)

    assert refused.value.username == "hanne"
    assert StaffMember.objects.filter(username="hanne").count() == 1
    assert acts() == ["staff.taken_on", "staff.post_given"]


def test_only_who_keeps_the_staff_list_of_a_store_takes_on_for_it(here, boss):
    elsewhere = StoreFactory.create()
    clerk = make_staff(Role.OFFICE, here)

    with pytest.raises(NotYourStore):
        hanne(elsewhere, boss)
    with pytest.raises(NotYourStore):
        hanne(here, clerk)

    assert not StaffMember.objects.filter(username="hanne").exists()


def test_an_administrator_here_who_is_a_clerk_there_gives_no_post_there(here):
    there = StoreFactory.create()
    boss = make_staff(Role.ADMINISTRATOR, here)
    PostFactory.create(staff=boss, store=there, role=Role.OFFICE)

    with pytest.raises(NotYourStore):
        give_post(person=boss, store=there, role=Role.ADMINISTRATOR, by=boss, at=NOW)


def test_a_post_given_twice_is_one_post_and_one_line(here, boss):
    person = make_staff(Role.OFFICE, here)

    first = give_post(person=person, store=here, role=Role.TECHNICIAN, by=boss, at=NOW)
    again = give_post(person=person, store=here, role=Role.TECHNICIAN, by=boss, at=NOW)

    assert first == again
    assert acts() == ["staff.post_given"]


def test_a_post_taken_twice_is_one_line(here, boss):
    post = make_staff(Role.OFFICE, here).posts.select_related("store", "staff").get()

    take_post(post=post, by=boss, at=NOW)
    take_post(post=post, by=boss, at=NOW)

    assert acts() == ["staff.post_taken"]
    assert AuditEntry.objects.get().before == {"role": "office"}


def test_nobody_takes_the_own_post_as_administrator(here, boss):
    with pytest.raises(NotOneself):
        take_post(post=boss.posts.get(), by=boss, at=NOW)


def test_lock_out_ends_the_key_and_is_kept(here, boss):
    person = make_staff(Role.OFFICE, here)
    make_token(person=person, at=NOW)

    lock_out(person=person, by=boss, at=NOW, why="left the firm")
    lock_out(person=person, by=boss, at=NOW, why="left the firm")

    person.refresh_from_db()
    assert not person.is_active
    assert not Token.objects.exists()
    assert acts() == ["staff.token_made", "staff.locked_out"]
    let_in(person=person, by=boss, at=NOW)
    person.refresh_from_db()
    assert person.is_active


@pytest.mark.parametrize("act", [lock_out, renew_password, let_in])
def test_nobody_does_it_to_themselves(boss, act):
    facts = {
        lock_out: {"why": "tired"},
        renew_password: {"password": "willow-path-17"},
        let_in: {},
    }[act]

    with pytest.raises(NotOneself):
        act(person=boss, by=boss, at=NOW, **facts)


def test_accounts_that_open_more_than_one_s_own_are_left_alone(here, boss):
    clerk = make_staff(Role.OFFICE, here)
    both = make_staff(Role.OFFICE, here, StoreFactory.create())
    everywhere = make_staff(Role.OWNER, here, in_all_stores=True)
    root = make_staff(Role.OFFICE, here, is_superuser=True)

    assert may_change_account(boss, clerk)
    for person in (both, everywhere, root):
        assert not may_change_account(boss, person)
        with pytest.raises(WorksElsewhereToo):
            lock_out(person=person, by=boss, at=NOW, why="left")


def test_another_password_replaces_the_old_one(here, boss):
    person = make_staff(Role.OFFICE, here)

    renew_password(person=person, password="harbour-22-stone", by=boss, at=NOW)

    person.refresh_from_db()
    assert person.check_password("harbour-22-stone")
    assert AuditEntry.objects.get().after == {}


def test_there_is_one_key_a_person(here, boss):
    first = make_token(person=boss, at=NOW)
    second = make_token(person=boss, at=NOW)

    assert first != second
    assert Token.objects.get(user=boss).key == second
    drop_token(person=boss, at=NOW)
    drop_token(person=boss, at=NOW)
    assert acts() == ["staff.token_made", "staff.token_made", "staff.token_dropped"]
