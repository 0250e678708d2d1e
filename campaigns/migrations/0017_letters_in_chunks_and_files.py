"""A round is set in chunks by any worker, bound into files, and sheets printed again."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from campaigns.models.letter_days import keep_letter_days, lift_letter_days
from dealership.models.append_only import append_only


class Migration(migrations.Migration):

    dependencies = [
        ('campaigns', '0016_spanish_wording_of_a_campaign'),
        ("dealership", "0004_layout_and_barcode_of_letters"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        lift_letter_days(),
        migrations.AddField(
            model_name='letterround',
            name='compared',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='letterround',
            name='letters_per_file',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='letterround',
            name='printed_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='letterround',
            name='set_whole',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='letterround',
            name='taken_to_post_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.CreateModel(
            name='LetterChunk',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('first', models.PositiveIntegerField()),
                ('last', models.PositiveIntegerField()),
                ('whole', models.BooleanField(default=False)),
                ('positions', models.JSONField(default=list)),
                ('taken_at', models.DateTimeField(null=True)),
                ('done_at', models.DateTimeField(null=True)),
                ('file', models.CharField(blank=True, max_length=200)),
                ('job', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='dealership.job')),
                ('letter_round', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='chunks', to='campaigns.letterround')),
            ],
            options={
                'ordering': ['letter_round', 'number'],
                'constraints': [models.UniqueConstraint(fields=('letter_round', 'number'), name='one_letter_chunk_per_number'), models.CheckConstraint(condition=models.Q(('first__lte', models.F('last'))), name='letter_chunk_is_a_stretch'), models.CheckConstraint(condition=models.Q(models.Q(('done_at__isnull', True), ('file', '')), models.Q(('done_at__isnull', False), models.Q(('file', ''), _negated=True)), _connector='OR'), name='letter_chunk_done_with_its_file')],
            },
        ),
        migrations.CreateModel(
            name='LetterFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('pdf', models.FileField(upload_to='letters/%Y/%m')),
                ('first', models.PositiveIntegerField()),
                ('last', models.PositiveIntegerField()),
                ('sheets', models.PositiveIntegerField()),
                ('letter_round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='files', to='campaigns.letterround')),
            ],
            options={
                'ordering': ['letter_round', 'number'],
                'constraints': [models.UniqueConstraint(fields=('letter_round', 'number'), name='one_letter_file_per_number'), models.CheckConstraint(condition=models.Q(('first__lte', models.F('last'))), name='letter_file_is_a_stretch')],
            },
        ),
        migrations.CreateModel(
            name='LetterReprint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=100, unique=True)),
                ('codes', models.JSONField(verbose_name='letters')),
                ('why', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('letter_round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reprints', to='campaigns.letterround')),
            ],
            options={
                'ordering': ['-id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='letter_reprint_has_a_reason')],
            },
        ),
        append_only("campaigns_letterreprint"),
        keep_letter_days(),
    ]
