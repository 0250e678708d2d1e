"""Triggers that keep the days of its letters beside each vehicle of a campaign.

Used from a migration. Those letters count that were posted, did not come back, and say
that there are parts (an interim letter does not). PostgreSQL and SQLite keep the same.
"""

from collections.abc import Callable

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps


_LETTERS = """campaigns_letter l
    JOIN campaigns_letterround r ON r.id = l.letter_round_id
    WHERE l.posted_on IS NOT NULL AND l.returned_on IS NULL AND r.kind <> 'interim'"""

_EVENTS = ("INSERT", "UPDATE OF posted_on, returned_on", "DELETE")


def _keep(row: str) -> str:
    """Write the statement that counts the letters of one vehicle anew."""
    mine = f"{_LETTERS} AND l.campaign_vehicle_id = {row}.campaign_vehicle_id"
    return f"""UPDATE campaigns_campaignvehicle SET
    first_letter_on = (SELECT min(l.posted_on) FROM {mine}),
    latest_letter_on = (SELECT max(l.posted_on) FROM {mine})
    WHERE id = {row}.campaign_vehicle_id"""  # noqa: S608 (own words)


def _touches(event: str) -> str:
    """Leave letters alone that are only being drawn up."""
    match event.split(maxsplit=1)[0]:
        case "INSERT":
            return "NEW.posted_on IS NOT NULL"
        case "DELETE":
            return "OLD.posted_on IS NOT NULL"
        case _:
            return "NEW.posted_on IS NOT NULL OR OLD.posted_on IS NOT NULL"


def trigger_sql(vendor: str) -> list[str]:
    """Write the statements that set the triggers."""
    if vendor == "postgresql":
        made = [
            f"""CREATE OR REPLACE FUNCTION campaigns_letter_days_{row.lower()}()
            RETURNS trigger AS $$ BEGIN {_keep(row)}; RETURN NULL; END
            $$ LANGUAGE plpgsql"""
            for row in ("NEW", "OLD")
        ]
        return made + [
            f"""CREATE TRIGGER campaigns_letter_days_{event.split()[0].lower()}
            AFTER {event} ON campaigns_letter FOR EACH ROW WHEN ({_touches(event)})
            EXECUTE FUNCTION campaigns_letter_days_{_row(event).lower()}()"""
            for event in _EVENTS
        ]
    return [
        f"""CREATE TRIGGER campaigns_letter_days_{event.split()[0].lower()}
        AFTER {event} ON campaigns_letter FOR EACH ROW WHEN {_touches(event)}
        BEGIN {_keep(_row(event))}; END"""
        for event in _EVENTS
    ]


def drop_sql(vendor: str) -> list[str]:
    """Write the statements that take the triggers away again."""
    table = " ON campaigns_letter" if vendor == "postgresql" else ""
    gone = [
        f"DROP TRIGGER IF EXISTS campaigns_letter_days_{event.split()[0].lower()}{table}"
        for event in _EVENTS
    ]
    if vendor == "postgresql":
        gone += [
            f"DROP FUNCTION IF EXISTS campaigns_letter_days_{row}()"
            for row in ("new", "old")
        ]
    return gone


def count_sql() -> str:
    """Write the statement that counts the letters of all vehicles."""
    return f"""UPDATE campaigns_campaignvehicle
    SET first_letter_on = told.earliest, latest_letter_on = told.latest
    FROM (SELECT l.campaign_vehicle_id AS row_id, min(l.posted_on) AS earliest,
          max(l.posted_on) AS latest FROM {_LETTERS} GROUP BY 1) AS told
    WHERE told.row_id = campaigns_campaignvehicle.id"""  # noqa: S608 (own words)


def _row(event: str) -> str:
    return "OLD" if event == "DELETE" else "NEW"


def keep_letter_days() -> migrations.RunPython:
    """Give the migration step that counts what there is and sets the triggers."""
    keep, leave = _steps()
    return migrations.RunPython(keep, leave)


def lift_letter_days() -> migrations.RunPython:
    """Give the step that takes the triggers away; ``keep_letter_days`` must follow.

    SQLite changes a table by making it anew, which a trigger that reads it forbids.
    """
    keep, leave = _steps()
    return migrations.RunPython(leave, keep)


Step = Callable[[StateApps, BaseDatabaseSchemaEditor], None]


def _steps() -> tuple[Step, Step]:
    """Give what sets the triggers, and what takes them away."""

    def keep(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
        del apps
        schema_editor.execute(count_sql())
        for statement in trigger_sql(schema_editor.connection.vendor):
            schema_editor.execute(statement)

    def leave(apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
        del apps
        for statement in drop_sql(schema_editor.connection.vendor):
            schema_editor.execute(statement)

    return keep, leave
