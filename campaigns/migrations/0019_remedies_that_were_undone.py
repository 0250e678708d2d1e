"""A remedy counts until its vehicle is opened again; then another may be completed."""

from django.db import migrations, models


def note_those_undone(apps, _schema_editor):
    """Date the remedies of vehicles that were opened again before this was noted."""
    repairs = apps.get_model("campaigns", "Repair")
    changes = apps.get_model("campaigns", "StateChange")
    undone = repairs.objects.filter(
        state="completed", outcome="remedied", campaign_vehicle__isnull=False
    ).exclude(campaign_vehicle__work_state="remedied_here")
    for repair in undone:
        last = (
            changes.objects.filter(
                campaign_vehicle_id=repair.campaign_vehicle_id, before="remedied_here"
            )
            .order_by("-pk")
            .first()
        )
        repair.undone_at = last.recorded_at if last else repair.completed_at
        repair.save(update_fields=["undone_at"])


class Migration(migrations.Migration):

    dependencies = [("campaigns", "0018_money_files")]

    operations = [
        migrations.RemoveConstraint(
            model_name="repair",
            name="one_completed_remedy_per_campaign_vehicle",
        ),
        migrations.AddField(
            model_name="repair",
            name="undone_at",
            field=models.DateTimeField(null=True),
        ),
        migrations.RunPython(note_those_undone, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="repair",
            constraint=models.UniqueConstraint(
                condition=models.Q(
                    ("outcome", "remedied"), ("state", "completed"), ("undone_at", None)
                ),
                fields=("campaign_vehicle",),
                name="one_completed_remedy_per_campaign_vehicle",
            ),
        ),
    ]
