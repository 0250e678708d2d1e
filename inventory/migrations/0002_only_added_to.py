"""The books of pieces and cents are only added to; the database refuses the rest."""

from django.db import migrations

from dealership.models.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_tables")]
    operations = [
        append_only("inventory_movement"),
        append_only("inventory_entry"),
        append_only("inventory_credit"),
        append_only("inventory_writeoff"),
    ]
