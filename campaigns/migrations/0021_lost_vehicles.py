"""An index of vehicles that were lost before anybody asked for them."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("campaigns", "0020_labour_done_and_times_of_operations")]

    operations = [
        migrations.AddIndex(
            model_name="campaignvehicle",
            index=models.Index(
                condition=models.Q(
                    ("first_asked_on__isnull", True),
                    ("work_state__in", ["open", "needs_repair"]),
                    models.Q(("reach", "reachable"), _negated=True),
                ),
                fields=["store", "campaign"],
                name="population_lost_unasked",
            ),
        ),
    ]
