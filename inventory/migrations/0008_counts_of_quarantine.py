"""A count can look at quarantine too, lot by lot."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0007_indexes_of_entries'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='stockcountline',
            name='one_count_line_per_earmark',
        ),
        migrations.RemoveConstraint(
            model_name='stockcountline',
            name='one_count_line_without_earmark',
        ),
        migrations.AddField(
            model_name='stockcountline',
            name='lot',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='count_lines', to='inventory.quarantinelot'),
        ),
        migrations.AddConstraint(
            model_name='stockcountline',
            constraint=models.UniqueConstraint(condition=models.Q(('earmark__isnull', False), ('lot__isnull', True)), fields=('count', 'part', 'earmark'), name='one_count_line_per_earmark'),
        ),
        migrations.AddConstraint(
            model_name='stockcountline',
            constraint=models.UniqueConstraint(condition=models.Q(('earmark__isnull', True), ('lot__isnull', True)), fields=('count', 'part'), name='one_count_line_without_earmark'),
        ),
        migrations.AddConstraint(
            model_name='stockcountline',
            constraint=models.UniqueConstraint(condition=models.Q(('lot__isnull', False)), fields=('count', 'lot'), name='one_count_line_per_lot'),
        ),
    ]
