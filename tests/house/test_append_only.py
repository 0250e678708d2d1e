"""Tables that are only added to: the promise, its trigger, and both verbs broken."""

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from tests.conftest import append_only_tables
from tests.house.test_factories import FACTORIES


pytestmark = pytest.mark.django_db

# A docstring that promises it is held to it: see the second test.
PROMISE = "only added to"


def model_of(table):
    return next(m for m in apps.get_models() if m._meta.db_table == table)


def guarded_by_the_database():
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT DISTINCT event_object_table FROM information_schema.triggers"
                " WHERE trigger_name LIKE '%%_only_added_to'"
            )
        else:
            cursor.execute(
                "SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger'"
                " AND name LIKE tbl_name || '_no_%'"
            )
        return sorted(table for (table,) in cursor.fetchall())


def test_the_database_guards_what_the_migrations_say():
    assert guarded_by_the_database() == append_only_tables()


def test_each_model_that_promises_it_is_guarded():
    promised = sorted(
        model._meta.db_table
        for model in FACTORIES
        if PROMISE in (model.__doc__ or "").lower()
    )

    assert set(promised) <= set(append_only_tables())


@pytest.mark.parametrize("table", append_only_tables())
def test_neither_change_nor_removal_comes_through(table):
    model = model_of(table)
    row = FACTORIES[model].create()
    field = next(f for f in model._meta.concrete_fields if not f.primary_key)

    with pytest.raises(IntegrityError, match=PROMISE), transaction.atomic():
        model._base_manager.filter(pk=row.pk).update(
            **{field.attname: getattr(row, field.attname)}
        )
    # Past Django's own look at what hangs on the row: the database itself says no.
    sql = f'DELETE FROM "{table}" WHERE "{model._meta.pk.column}" = %s'  # noqa: S608 (our own names)
    with connection.cursor() as cursor, transaction.atomic():
        with pytest.raises(IntegrityError, match=PROMISE):
            cursor.execute(sql, [row.pk])
        transaction.set_rollback(True)

    assert model._base_manager.filter(pk=row.pk).exists()
