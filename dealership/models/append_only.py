"""Triggers that make the database itself refuse to change what is written.

Used from migrations: ``append_only("inventory_movement")``. Both databases get the
same promise; the words of the refusal reach the caller as an IntegrityError.
"""

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps


def trigger_sql(table: str, vendor: str) -> list[str]:
    """Write the statements that guard a table against update and delete."""
    if vendor == "postgresql":
        return [
            f"""CREATE OR REPLACE FUNCTION {table}_only_added_to() RETURNS trigger AS $$
            BEGIN RAISE EXCEPTION '{table} is only added to'
            USING ERRCODE = 'integrity_constraint_violation'; END
            $$ LANGUAGE plpgsql""",
            f"""CREATE TRIGGER {table}_only_added_to BEFORE UPDATE OR DELETE ON {table}
            FOR EACH ROW EXECUTE FUNCTION {table}_only_added_to()""",
        ]
    return [
        f"""CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table}
        BEGIN SELECT RAISE(ABORT, '{table} is only added to'); END"""
        for verb in ("UPDATE", "DELETE")
    ]


def drop_sql(table: str, vendor: str) -> list[str]:
    """Write the statements that take the guard away again."""
    if vendor == "postgresql":
        return [
            f"DROP TRIGGER IF EXISTS {table}_only_added_to ON {table}",
            f"DROP FUNCTION IF EXISTS {table}_only_added_to()",
        ]
    return [
        f"DROP TRIGGER IF EXISTS {table}_no_{verb}" for verb in ("update", "delete")
    ]


def append_only(table: str) -> migrations.RunPython:
    """Give the migration step that guards one table."""

    def guard(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
        del apps
        for statement in trigger_sql(table, schema_editor.connection.vendor):
            schema_editor.execute(statement)

    def unguard(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
        del apps
        for statement in drop_sql(table, schema_editor.connection.vendor):
            schema_editor.execute(statement)

    return migrations.RunPython(guard, unguard)
