"""States, readings and payments are only added to; the database refuses the rest."""

from django.db import migrations

from dealership.models.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("campaigns", "0001_tables")]
    operations = [
        append_only("campaigns_statechange"),
        append_only("campaigns_reachfact"),
        append_only("campaigns_checkreading"),
        append_only("campaigns_payment"),
    ]
