"""The triggers that keep what is written; both databases run this."""

import pytest
from django.db import IntegrityError, connection, transaction

from dealership.models import AuditEntry
from dealership.models.append_only import drop_sql, trigger_sql
from tests.factories.dealership import AuditEntryFactory


pytestmark = pytest.mark.django_db


def test_a_line_of_the_trail_is_not_changed():
    entry = AuditEntryFactory.create()

    with pytest.raises(IntegrityError, match="only added to"), transaction.atomic():
        AuditEntry.objects.filter(pk=entry.pk).update(act="nothing.done")

    assert AuditEntry.objects.get(pk=entry.pk).act == entry.act


def test_a_line_of_the_trail_is_not_deleted():
    entry = AuditEntryFactory.create()

    with pytest.raises(IntegrityError, match="only added to"), transaction.atomic():
        AuditEntry.objects.filter(pk=entry.pk).delete()

    assert AuditEntry.objects.filter(pk=entry.pk).exists()


def test_the_guard_can_be_taken_away_and_put_back():
    entry = AuditEntryFactory.create()
    table = AuditEntry._meta.db_table

    with connection.cursor() as cursor:
        for statement in drop_sql(table, connection.vendor):
            cursor.execute(statement)
        AuditEntry.objects.filter(pk=entry.pk).update(act="test.changed")
        for statement in trigger_sql(table, connection.vendor):
            cursor.execute(statement)

    with pytest.raises(IntegrityError), transaction.atomic():
        AuditEntry.objects.filter(pk=entry.pk).delete()


@pytest.mark.parametrize("vendor", ["sqlite", "postgresql"])
def test_each_database_guards_against_both_verbs(vendor):
    statements = " ".join(trigger_sql("dealership_auditentry", vendor))

    assert "UPDATE" in statements
    assert "DELETE" in statements
    assert "dealership_auditentry is only added to" in statements
