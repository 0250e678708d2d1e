"""The page of the share-out."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from campaigns.domain.reckoning import reconcile
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE = "campaigns:share_out"


def wanted_at(*vehicles, pack=5):
    """Give a part that as many stores want, for so many vehicles each."""
    stores = [StoreFactory.create(code=f"N{n}") for n in range(len(vehicles))]
    part = PartFactory.create(pack=pack)
    campaign = campaign_with_remedy(part)
    for store, number in zip(stores, vehicles, strict=True):
        for _one in range(number):
            open_vehicle(campaign, store)
    reconcile(today=TODAY, at=NOW)
    return part, stores


def given(response):
    return [row.share.pieces for row in response.context["rows"]]


def test_first_half_of_what_is_missing_is_shared(client):
    part, stores = wanted_at(20, 10)
    client.force_login(make_staff(Role.PARTS_MANAGER, *stores))
    response = client.get(reverse(PAGE))
    assert response.context["missing"] == 30
    assert response.context["supply"] == 15
    assert given(response) == [10, 5]
    page = response.content.decode()
    assert (
        f"15 of the 30 missing pieces of {part.number} go to 2 stores; 15 stay missing."
        in page
    )
    assert 'type="range"' in page
    assert 'step="5"' in page
    assert "15 of 30 that are missing." in page


def test_the_address_says_what_is_shared(client):
    part, stores = wanted_at(20, 10)
    client.force_login(make_staff(Role.PARTS_MANAGER, *stores))

    def asked(**facts):
        return client.get(reverse(PAGE), {"part": part.number, **facts})

    assert given(asked(supply="5")) == [5, 0]
    assert given(asked(supply="30")) == [20, 10]
    assert "are enough for every store" in asked(supply="30").content.decode()
    assert given(asked(supply="12", rule="hamilton")) == [5, 5]
    assert asked(supply="12").context["unshared"] == 2
    assert given(asked(supply="0")) == [0, 0]


def test_what_cannot_be_shared_is_said(client):
    part, stores = wanted_at(20, 10)
    client.force_login(make_staff(Role.PARTS_MANAGER, *stores))
    response = client.get(reverse(PAGE), {"part": part.number, "supply": "-3"})
    assert list(response.context["form"].errors) == ["supply"]
    assert response.context["rows"] == []
    response = client.get(reverse(PAGE), {"part": part.number, "rule": "lots"})
    assert list(response.context["form"].errors) == ["rule"]


def test_one_store_has_nothing_to_share(client):
    _part, stores = wanted_at(3, 3)
    client.force_login(make_staff(Role.PARTS_MANAGER, stores[0]))
    assert "nothing is to be shared" in client.get(reverse(PAGE)).content.decode()


def test_costs_the_same_for_two_and_for_four_stores(client):
    def queries(*vehicles):
        part, stores = wanted_at(*vehicles)
        client.force_login(make_staff(Role.PARTS_MANAGER, *stores))
        client.get(reverse(PAGE))
        with CaptureQueriesContext(connection) as caught:
            client.get(reverse(PAGE), {"part": part.number, "supply": "5"})
        for store in stores:
            store.code = f"X{store.pk}"
            store.save()
        return len(caught)

    assert queries(4, 4) == queries(4, 4, 4, 4)
