"""A version of a letter's text is only added to; the database refuses the rest."""

from django.db import migrations

from dealership.models.append_only import append_only


class Migration(migrations.Migration):
    dependencies = [("campaigns", "0014_notices_given_at_the_counter")]
    operations = [append_only("campaigns_lettertext")]
