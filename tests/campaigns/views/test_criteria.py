"""The pages of the criteria: what one would do is shown while it is typed."""

import pytest
from django.urls import reverse

from campaigns.models import Criterion
from campaigns.rules.lifecycle import VersionState
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CriteriaVersionFactory,
    CriterionFactory,
)
from tests.factories.vehicles import VehicleFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

TYPED = {"include": "yes", "lines": "corvane", "model_years": "2022"}


def typed(client, url, **given):
    return client.post(url, TYPED | given).content.decode()


def test_a_new_criterion_is_looked_at_and_not_kept(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    VehicleFactory.create_batch(3, store=client.store)
    url = reverse("campaigns:look_at_new_criterion", args=[campaign.code])
    page = typed(client, url)
    assert "Takes in: model year 2022, and line corvane." in page
    assert "<dt>taken in by this criterion</dt><dd>3</dd>" in page
    assert not Criterion.objects.exists()


def test_a_criterion_is_looked_at_in_place_of_what_it_was(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    first = CriterionFactory.create(version=version)
    CriterionFactory.create(version=version, lines=["Tolmar"])
    for line, year in (("Corvane", 2022), ("Corvane", 2021), ("Tolmar", 2022)):
        VehicleFactory.create(store=client.store, line=line, model_year=year)
    url = reverse("campaigns:look_at_criterion", args=[campaign.code, first.pk])
    page = typed(client, url, model_years="2021")
    assert "<dt>in by all criteria together</dt><dd>2</dd>" in page
    first.refresh_from_db()
    assert first.model_years == [2022]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"lines": "", "model_years": ""}, "Fill in a field to see"),
        ({"model_years": "soon"}, "Mend what is marked in the form"),
        ({"serial_from": "9", "serial_to": "1"}, "9 lies after 1. Exchange the two."),
    ],
)
def test_what_cannot_be_looked_at_says_why(signed_in, given, said):
    client = signed_in(Role.SERVICE_MANAGER)
    url = reverse(
        "campaigns:look_at_new_criterion", args=[CampaignFactory.create().code]
    )
    assert said in typed(client, url, **given)


def test_without_scripts_a_press_shows_the_look_and_keeps_nothing(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    campaign = CampaignFactory.create()
    VehicleFactory.create(store=client.store)
    url = reverse("campaigns:new_criterion", args=[campaign.code])
    page = typed(client, url, look="yes")
    assert "<dt>taken in by this criterion</dt><dd>1</dd>" in page
    assert not Criterion.objects.exists()


def test_the_page_of_a_criterion_opens_with_what_it_does(signed_in):
    client = signed_in(Role.SERVICE_MANAGER)
    criterion = CriterionFactory.create()
    VehicleFactory.create(store=client.store, model_year=2021)
    url = reverse(
        "campaigns:edit_criterion",
        args=[criterion.version.campaign.code, criterion.pk],
    )
    page = client.get(url).content.decode()
    assert "<dt>taken in by this criterion</dt><dd>0</dd>" in page
    assert "2021: 1" in page
