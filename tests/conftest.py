"""What tests share: somebody signed in, a fixed moment, commits that are cleared."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import time_machine
from django.core.management.color import no_style
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations import RunPython
from django.test import Client
from hypothesis import HealthCheck, settings

from dealership.models import StaffMember, Store
from dealership.models.append_only import drop_sql, trigger_sql
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, StoreFactory, make_staff


# How long an example takes says more about who shares the machine than about us.
settings.register_profile(
    "house", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("repeatable", settings.get_profile("house"), derandomize=True)
settings.register_profile("long", settings.get_profile("house"), max_examples=2_000)
settings.load_profile("house")


# The floors that speak to the database; their tests run on each of the two.
DATABASE_FLOORS = {"domain", "queries", "models"}


@pytest.hookimpl(tryfirst=True)  # before pytest chooses by mark
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what runs on both databases, and keep real servers to one process.

    Workers of two processes would take each other's jobs out of the one Redis.
    """
    for item in items:
        if item.get_closest_marker("postgres"):
            item.add_marker(pytest.mark.xdist_group("servers"))
        elif item.path.parent.name in DATABASE_FLOORS:
            item.add_marker(pytest.mark.both)


class SignedIn(Client):
    """A browser in somebody's hands."""

    staff: StaffMember
    store: Store


@pytest.fixture
def signed_in(db: None) -> Callable[..., SignedIn]:
    """Give a function that signs somebody in: ``signed_in(role, store=None)``.

    The client it returns knows its ``staff`` and its ``store``.
    """

    def sign_in(role: Role, store: Store | None = None, **facts: object) -> SignedIn:
        client = SignedIn()
        client.store = store or StoreFactory.create()
        client.staff = make_staff(role, client.store, **facts)
        client.force_login(client.staff)
        return client

    return sign_in


@pytest.fixture
def frozen_now() -> Iterator[time_machine.Traveller]:
    """Stop the clock at ``NOW``, nine in the morning in the stores."""
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def append_only_tables() -> list[str]:
    """Name the tables that migrations guard against change.

    Read from the migrations themselves: the step is closed over its table's name.
    """
    tables = []
    for migration in MigrationLoader(None).disk_migrations.values():
        for step in migration.operations:
            if isinstance(step, RunPython) and "append_only" in step.code.__qualname__:
                tables += [cell.cell_contents for cell in step.code.__closure__ or ()]
    return sorted(tables)


@contextmanager
def without_guards() -> Iterator[None]:
    """Take the append-only triggers away for a while; the test database only."""
    tables = append_only_tables()
    with connection.cursor() as cursor:
        for table in tables:
            for statement in drop_sql(table, connection.vendor):
                cursor.execute(statement)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            for table in tables:
                for statement in trigger_sql(table, connection.vendor):
                    cursor.execute(statement)


@pytest.fixture
def committing_db(transactional_db: None) -> Iterator[None]:
    """Let a test commit for real; what it wrote is cleared after it.

    The append-only triggers would refuse the clearing, so they are gone while it
    happens, and only then. What migrations wrote comes back with pytest-django's own
    clearing, which follows.
    """
    yield
    names = connection.introspection.django_table_names(only_existing=True)
    statements = connection.ops.sql_flush(no_style(), names, allow_cascade=False)
    with without_guards():
        connection.ops.execute_sql_flush(statements)
