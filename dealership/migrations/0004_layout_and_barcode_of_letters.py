"""A store chooses fold and form of its letters, and may print a postal barcode."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('dealership', '0003_costs_of_ordering'),
    ]

    operations = [
        migrations.AddField(
            model_name='store',
            name='letter_fold_thousandths',
            field=models.PositiveSmallIntegerField(choices=[(4000, '4.000 inches: four lines of address'), (4100, '4.100 inches: four lines below a postal barcode'), (3750, '3.750 inches: three lines'), (3667, '3.667 inches, an even third: two lines')], default=4000, help_text='Of a No. 10 envelope; measured from the top of the sheet.', verbose_name='first fold of letters on US Letter'),
        ),
        migrations.AddField(
            model_name='store',
            name='letter_form',
            field=models.CharField(blank=True, choices=[('', 'DIN 5008 form B'), ('din_a', 'DIN 5008 form A')], max_length=8, verbose_name='layout of letters on A4'),
        ),
        migrations.AddField(
            model_name='store',
            name='mail_service',
            field=models.CharField(blank=True, help_text='3 digits, as the postal service told you with the mailer id.', max_length=3, verbose_name='service type of the postal barcode'),
        ),
        migrations.AddField(
            model_name='store',
            name='mailer_id',
            field=models.CharField(blank=True, help_text='6 or 9 digits. Without it no postal barcode is printed.', max_length=9, verbose_name='mailer id of the postal service'),
        ),
        migrations.AddConstraint(
            model_name='store',
            constraint=models.CheckConstraint(condition=models.Q(('letter_fold_thousandths__in', [3667, 3750, 4000, 4100]), ('letter_form__in', ['', 'din_a'])), name='store_letter_layout_is_known'),
        ),
    ]
