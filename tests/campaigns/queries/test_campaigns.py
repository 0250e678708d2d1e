"""A campaign's row in the list: its last days and its sentence."""

import datetime as dt

import pytest

from campaigns.models import Campaign
from campaigns.queries.campaigns import (
    campaign_rows,
    deadline_words,
    deadlines,
    sentence_of,
    variants_of,
)
from campaigns.queries.completion import counts
from campaigns.rules.deadlines import DeadlineKind
from campaigns.rules.lifecycle import CampaignState, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    RemedyFactory,
    VariantFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory


pytestmark = pytest.mark.django_db


def say(campaign):
    told = counts(campaign=campaign, store_ids=None)
    return sentence_of(campaign, told, TODAY)


def test_last_days_come_nearest_first():
    campaign = CampaignFactory.create()

    kinds = [one.kind for one in deadlines(campaign, TODAY)]

    assert kinds == [DeadlineKind.RETURN, DeadlineKind.CLAIM]
    assert len({deadline_words(kind) for kind in DeadlineKind}) == len(DeadlineKind)


@pytest.mark.parametrize(
    ("vehicles", "sentence"),
    [
        ([], "No vehicle of this store is affected: nothing to do."),
        (
            [{}, {"work_state": WorkState.REMEDIED_HERE}],
            "1 of 2 vehicles still open; 1 has no visit booked.",
        ),
        (
            [{}, {"work_state": WorkState.TO_VERIFY}],
            "1 of 1 vehicle still open; 1 to be verified first.",
        ),
        (
            [{"work_state": WorkState.REMEDIED_HERE}],
            (
                "0 of 1 vehicle still open;"
                " close the campaign when parts and claims are settled."
            ),
        ),
    ],
)
def test_a_running_campaign_says_what_comes_next(vehicles, sentence):
    campaign = CampaignFactory.create()
    for facts in vehicles:
        CampaignVehicleFactory.create(campaign=campaign, **facts)

    assert say(campaign) == sentence


def test_a_last_day_that_is_near_comes_before_the_bookings():
    campaign = CampaignFactory.create(returns_until=TODAY + dt.timedelta(days=2))
    CampaignVehicleFactory.create(campaign=campaign)

    assert say(campaign) == (
        "1 of 1 vehicle still open; parts returnable until 2026-11-27."
    )


def test_all_booked_is_said():
    campaign = CampaignFactory.create()
    VisitJobFactory.create(
        campaign_vehicle=CampaignVehicleFactory.create(campaign=campaign)
    )

    assert say(campaign) == "1 of 1 vehicle still open; all of them are booked."


def test_before_and_after_it_runs():
    draft = CampaignFactory.create(state=CampaignState.DRAFT)
    closed = CampaignFactory.create(state=CampaignState.CLOSED)
    CampaignVehicleFactory.create(campaign=closed, work_state=WorkState.REMEDIED_HERE)

    assert say(draft) == "Being entered: write down criteria and remedy, then match."
    assert say(closed) == "Closed: 1 of 1 remedied or found in order."
    elsewhere = CampaignFactory.create(state=CampaignState.CLOSED)
    assert say(elsewhere) == "Closed; no vehicle of this store was in it."


@pytest.mark.parametrize("number", [1, 3])
def test_many_rows_take_two_statements(number, django_assert_num_queries):
    for campaign in CampaignFactory.create_batch(number):
        CampaignVehicleFactory.create(campaign=campaign)
    campaigns = list(Campaign.objects.order_by("pk"))

    with django_assert_num_queries(2):
        rows = campaign_rows(campaigns=campaigns, store_ids=None, today=TODAY)

    assert [row.campaign for row in rows] == campaigns
    assert {row.counts.involved for row in rows} == {1}
    assert {row.next_deadline.kind for row in rows} == {DeadlineKind.RETURN}


def test_counts_are_those_of_the_stores_asked_for():
    row = CampaignVehicleFactory.create()

    (told,) = campaign_rows(
        campaigns=[row.campaign], store_ids=[StoreFactory.create().pk], today=TODAY
    )

    assert told.counts.involved == 0


def test_variants_are_those_of_its_remedy():
    remedy = RemedyFactory.create()
    variant = VariantFactory.create(remedy=remedy)
    VariantFactory.create()

    assert variants_of(remedy.campaign) == [variant]
