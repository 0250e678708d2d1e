"""Migrations say what the models say."""

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_nothing_is_missing():
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)
