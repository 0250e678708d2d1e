"""The trail is only added to; the database refuses the rest."""

from django.db import migrations

from dealership.models.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("dealership", "0001_tables")]
    operations = [append_only("dealership_auditentry")]
