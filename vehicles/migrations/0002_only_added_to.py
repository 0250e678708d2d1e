"""The history of vehicles is only added to; the database refuses the rest."""

from django.db import migrations

from dealership.models.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("vehicles", "0001_tables")]
    operations = [append_only("vehicles_vehiclechange")]
