"""The settings of who pays, and how."""

import pytest
from django.urls import reverse

from campaigns.models import PayerTerms, StockAgreement
from dealership.rules.roles import Role
from tests.campaigns.domain.test_holding import AGREED
from tests.campaigns.views.test_account import text_of
from tests.factories.inventory import SupplierFactory


pytestmark = pytest.mark.django_db

LIST = "campaigns:payers"


def test_what_holds_while_nothing_is_entered(signed_in):
    desk = signed_in(Role.ADMINISTRATOR)
    assert "No manufacturer is known yet" in text_of(desk.get(reverse(LIST)))
    SupplierFactory.create(name="Ostby Works Parts")
    words = text_of(desk.get(reverse(LIST)))
    assert "unsold vehicles count 1 per cent a month" in words
    assert "half a cent up, each line" in words
    assert "a month of the manufacturer" in words


def test_it_is_set_and_stands(signed_in):
    desk = signed_in(Role.ADMINISTRATOR)
    supplier = SupplierFactory.create()
    page = reverse("campaigns:payer", args=[supplier.pk])
    assert desk.get(page).status_code == 200
    facts = AGREED | {"rate_basis_points": "1.25", "day_count": "actual_30"}
    assert desk.post(page, facts).url == reverse(LIST)
    assert StockAgreement.objects.get().rate_basis_points == 125
    assert PayerTerms.objects.get().rounding == "half_up"
    words = text_of(desk.get(reverse(LIST)))
    assert "The agreement with one manufacturer is kept" in words
    assert "days, 30 to a month" in words


def test_what_makes_no_sense_is_refused_in_the_form(signed_in):
    desk = signed_in(Role.ADMINISTRATOR)
    page = reverse("campaigns:payer", args=[SupplierFactory.create().pk])
    facts = AGREED | {"rate_basis_points": "101", "base": "gold"}
    shown = desk.post(page, facts)
    assert set(shown.context["form"].errors) == {"rate_basis_points", "base"}
    assert not StockAgreement.objects.exists()


def test_who_only_reads_settings_changes_nothing(signed_in):
    desk = signed_in(Role.SERVICE_MANAGER)
    page = reverse("campaigns:payer", args=[SupplierFactory.create().pk])
    assert desk.get(reverse(LIST)).status_code == 200
    assert desk.post(page, AGREED).status_code == 403


def test_the_list_takes_the_queries_of_one(signed_in, django_assert_num_queries):
    desk = signed_in(Role.ADMINISTRATOR)
    for more in (1, 2):
        SupplierFactory.create_batch(more)
        with django_assert_num_queries(8):
            desk.get(reverse(LIST))
