"""Index the entries for what sums them up, and for nothing twice."""

import django.db.models.deletion
from django.db import migrations, models


COLUMNS = ("layer_id", "movement_id", "store_id")


def drop_single(apps, schema_editor):
    """Drop the index of each of these columns alone.

    Not by altering the field: SQLite would write the table anew, without the triggers
    that refuse a change of it.
    """
    del apps
    connection = schema_editor.connection
    with connection.cursor() as cursor:
        found = connection.introspection.get_constraints(cursor, "inventory_entry")
    for name, one in found.items():
        plain = one["index"] and not one["unique"] and not one["primary_key"]
        if plain and len(one["columns"]) == 1 and one["columns"][0] in COLUMNS:
            schema_editor.execute(f"DROP INDEX {schema_editor.quote_name(name)}")


def make_single(apps, schema_editor):
    """Make them again."""
    entry = apps.get_model("inventory", "Entry")
    for column in COLUMNS:
        schema_editor.execute(
            f"CREATE INDEX inventory_entry_{column} ON {entry._meta.db_table} ({column})"
        )


class Migration(migrations.Migration):

    dependencies = [
        ('dealership', '0002_only_added_to'),
        ('inventory', '0006_key_of_a_delivery'),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name='entry',
            name='entry_by_pocket',
        ),
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.RunPython(drop_single, make_single)],
            state_operations=[
                migrations.AlterField(
                    model_name='entry',
                    name='layer',
                    field=models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='inventory.costlayer'),
                ),
                migrations.AlterField(
                    model_name='entry',
                    name='movement',
                    field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='inventory.movement'),
                ),
                migrations.AlterField(
                    model_name='entry',
                    name='store',
                    field=models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='dealership.store'),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name='entry',
            index=models.Index(fields=['store', 'part', 'earmark', 'account', 'quantity'], name='entry_by_pocket'),
        ),
        migrations.AddIndex(
            model_name='entry',
            index=models.Index(fields=['movement', 'quantity'], name='entry_by_movement'),
        ),
        migrations.AddIndex(
            model_name='entry',
            index=models.Index(condition=models.Q(('layer__isnull', False)), fields=['layer', 'account', 'quantity'], name='entry_by_layer'),
        ),
    ]
