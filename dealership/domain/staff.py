"""The people of the house: taken on, given posts, locked out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from rest_framework.authtoken.models import Token

from dealership.domain.audit import record
from dealership.models import Post, StaffMember
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability, Role


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import Store


class UsernameTaken(Refusal):
    """Somebody signs in by this name already."""

    def __init__(self, username: str) -> None:
        super().__init__(
            _("Somebody signs in as “%(name)s” already. Choose another name.")
            % {"name": username}
        )
        self.username = username


class NotYourStore(Refusal):
    """Posts are given and taken by an administrator of that store."""

    def __init__(self, store: Store) -> None:
        super().__init__(
            _("You do not keep the staff list of %(store)s. Ask its administrator.")
            % {"store": store.name}
        )
        self.store = store


class WorksElsewhereToo(Refusal):
    """The account also opens stores that the person who acts does not keep."""

    def __init__(self, person: StaffMember) -> None:
        super().__init__(
            _(
                "%(person)s also works in a store whose staff list you do not keep,"
                " so you cannot change the account itself. Take the posts in your"
                " own stores instead, or ask an administrator of both."
            )
            % {"person": person}
        )
        self.person = person


class NotOneself(Refusal):
    """Nobody locks themselves out."""

    def __init__(self) -> None:
        super().__init__(
            _(
                "This would lock you out of the staff list. Let another administrator"
                " do it."
            )
        )


def _check_keeps(by: StaffMember, store: Store) -> None:
    if not by.may(Capability.EDIT_SETTINGS, store.pk) or not (
        by.in_all_stores or store.pk in by.store_ids()
    ):
        raise NotYourStore(store)


def may_change_account(by: StaffMember, person: StaffMember) -> bool:
    """Tell whether one person may lock, unlock or re-key another's account.

    That is so where the first keeps the staff list of every store that the account
    opens, and the account opens nothing more than the first person's own.
    """
    if person.pk == by.pk or (person.is_superuser and not by.is_superuser):
        return False
    if person.in_all_stores and not by.in_all_stores:
        return False
    return all(by.may(Capability.EDIT_SETTINGS, store) for store in person.store_ids())


def _check_account(by: StaffMember, person: StaffMember) -> None:
    if person.pk == by.pk:
        raise NotOneself
    if not may_change_account(by, person):
        raise WorksElsewhereToo(person)


def take_on(
    *,
    username: str,
    first_name: str,
    last_name: str,
    password: str,
    store: Store,
    role: Role,
    by: StaffMember,
    at: dt.datetime,
) -> StaffMember:
    """Make an account with its first post.

    Raises NotYourStore, UsernameTaken.
    """
    _check_keeps(by, store)
    try:
        with transaction.atomic():
            person = StaffMember.objects.create_user(
                username=username,
                password=password,
                first_name=first_name,
                last_name=last_name,
                date_joined=at,
            )
            record(act="staff.taken_on", subject=person, by=by, at=at, store=store)
            give_post(person=person, store=store, role=role, by=by, at=at)
    except IntegrityError:
        raise UsernameTaken(username) from None
    return person


def give_post(
    *, person: StaffMember, store: Store, role: Role, by: StaffMember, at: dt.datetime
) -> Post:
    """Give somebody a role in a store; a post that is there stays as it is.

    Raises NotYourStore.
    """
    _check_keeps(by, store)
    with transaction.atomic():
        post, new = Post.objects.get_or_create(staff=person, store=store, role=role)
        if new:
            record(
                act="staff.post_given",
                subject=person,
                by=by,
                at=at,
                store=store,
                after={"role": role.value},
            )
    return post


def take_post(*, post: Post, by: StaffMember, at: dt.datetime) -> None:
    """Take a role in a store from somebody.

    Raises NotYourStore, and NotOneself for one's own post as administrator.
    """
    _check_keeps(by, post.store)
    if post.staff_id == by.pk and post.role == Role.ADMINISTRATOR:
        raise NotOneself
    with transaction.atomic():
        gone = Post.objects.filter(pk=post.pk).delete()[0]
        if gone:
            record(
                act="staff.post_taken",
                subject=post.staff,
                by=by,
                at=at,
                store=post.store,
                before={"role": post.role},
            )


def lock_out(
    *, person: StaffMember, by: StaffMember, at: dt.datetime, why: str
) -> None:
    """Let somebody sign in no more, and end what they have open. Kept, not deleted.

    Raises NotOneself, WorksElsewhereToo.
    """
    _check_account(by, person)
    with transaction.atomic():
        changed = StaffMember.objects.filter(pk=person.pk, is_active=True).update(
            is_active=False
        )
        if not changed:
            return
        Token.objects.filter(user=person).delete()
        record(act="staff.locked_out", subject=person, by=by, at=at, why=why)


def let_in(*, person: StaffMember, by: StaffMember, at: dt.datetime) -> None:
    """Let somebody sign in again. Raises NotOneself, WorksElsewhereToo."""
    _check_account(by, person)
    with transaction.atomic():
        changed = StaffMember.objects.filter(pk=person.pk, is_active=False).update(
            is_active=True
        )
        if changed:
            record(act="staff.let_in", subject=person, by=by, at=at)


def renew_password(
    *, person: StaffMember, password: str, by: StaffMember, at: dt.datetime
) -> None:
    """Give somebody another password; what they have open ends with the old one.

    Raises NotOneself (the own password has a page of its own), WorksElsewhereToo.
    """
    _check_account(by, person)
    with transaction.atomic():
        person.set_password(password)
        person.save(update_fields=["password"])
        record(act="staff.password_renewed", subject=person, by=by, at=at)


def make_token(*, person: StaffMember, at: dt.datetime) -> str:
    """Make the key by which a program reads the API in somebody's name.

    There is one a person: the one before it ends. The key is given once.
    """
    with transaction.atomic():
        Token.objects.filter(user=person).delete()
        token = Token.objects.create(user=person)
        record(act="staff.token_made", subject=person, by=person, at=at)
    return str(token.key)


def drop_token(*, person: StaffMember, at: dt.datetime) -> None:
    """End the key. A second time does nothing."""
    with transaction.atomic():
        gone = Token.objects.filter(user=person).delete()[0]
        if gone:
            record(act="staff.token_dropped", subject=person, by=person, at=at)
