"""The days of its letters stand beside each vehicle; triggers on the letters keep them."""

from django.db import migrations

from campaigns.models.letter_days import keep_letter_days


class Migration(migrations.Migration):
    dependencies = [("campaigns", "0011_days_of_letters")]
    operations = [keep_letter_days()]
