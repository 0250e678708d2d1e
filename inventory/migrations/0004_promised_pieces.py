"""Count in each pocket what is promised from its coming deliveries."""

from django.db import migrations, models
from django.db.models import OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce


def count_promises(apps, schema_editor):
    """Put in each pocket the sum of its live promises."""
    del schema_editor
    balance = apps.get_model("inventory", "Balance")
    reservation = apps.get_model("inventory", "Reservation")
    live = reservation.objects.filter(state="promised", quantity__gte=1)
    same = live.filter(store=OuterRef("store"), part=OuterRef("part")).order_by()
    for pocket, of_pocket in (
        (balance.objects.filter(earmark=None), same.filter(earmark=None)),
        (
            balance.objects.exclude(earmark=None),
            same.filter(earmark=OuterRef("earmark")),
        ),
    ):
        total = of_pocket.values("store", "part").annotate(total=Sum("quantity"))
        pocket.update(promised=Coalesce(Subquery(total.values("total")), 0))


class Migration(migrations.Migration):
    dependencies = [("inventory", "0003_transfers_counts_quarantine")]
    operations = [
        migrations.AddField(
            model_name="balance",
            name="promised",
            field=models.IntegerField(default=0),
        ),
        migrations.RunPython(count_promises, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="balance",
            constraint=models.CheckConstraint(
                condition=models.Q(("promised__gte", 0)),
                name="balance_promised_not_negative",
            ),
        ),
    ]
