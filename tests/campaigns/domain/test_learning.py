"""What closed campaigns leave behind, and what is learned from it, once."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from campaigns.domain.closing import close_campaign, reopen_campaign
from campaigns.domain.learning import learn_responses
from campaigns.domain.reckoning import reconcile
from campaigns.models import ClosedResponse, LearnedResponse, Replenishment
from campaigns.queries.experience import read_experience
from campaigns.rules.lifecycle import CampaignClass, CampaignState, Reach, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    ClosedResponseFactory,
    LetterFactory,
    ReachFactFactory,
    StateChangeFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


pytestmark = pytest.mark.django_db

START = TODAY - dt.timedelta(days=300)


def expected(proposal):
    return [one.value for one in proposal.told() if one.code == "expected"]


def closed(store, **facts):
    return ClosedResponseFactory.create(
        store=store, **{"campaign__campaign_class": CampaignClass.SAFETY} | facts
    )


def test_closing_keeps_how_the_campaign_ran():
    """One asked on day 20 after a reminder, one was exported on day 50, one did not."""
    campaign = CampaignFactory.create(letters_on=START)
    store = StoreFactory.create()

    def vehicle(**facts):
        return CampaignVehicleFactory.create(
            campaign=campaign, store=store, added_on=START, **facts
        )

    came = vehicle(
        work_state=WorkState.REMEDIED_HERE,
        first_asked_on=START + dt.timedelta(days=20),
    )
    for days in (2, 14):
        LetterFactory.create(
            campaign_vehicle=came, posted_on=START + dt.timedelta(days=days)
        )
    gone = vehicle(reach=Reach.EXPORTED)
    ReachFactFactory.create(
        campaign_vehicle=gone,
        reach=Reach.EXPORTED,
        effective_on=START + dt.timedelta(days=50),
    )
    elsewhere = vehicle(work_state=WorkState.REMEDIED_ELSEWHERE)
    StateChangeFactory.create(
        campaign_vehicle=elsewhere,
        after=WorkState.REMEDIED_ELSEWHERE,
        effective_on=START + dt.timedelta(days=70),
    )
    vehicle(work_state=WorkState.REMOVED)

    close_campaign(campaign=campaign, why="done", by=StaffFactory.create(), at=NOW)

    row = ClosedResponse.objects.get()
    assert (row.campaign, row.store, row.made_at) == (campaign, store, NOW)
    assert row.seen == [
        [1, [0], 50, False],
        [1, [0], 70, False],
        [1, [2, 14], 20, True],
    ]


def test_closed_again_it_is_kept_anew():
    campaign = CampaignFactory.create(letters_on=START)
    CampaignVehicleFactory.create(
        campaign=campaign, work_state=WorkState.REMEDIED_HERE, first_asked_on=START
    )
    by = StaffFactory.create()
    close_campaign(campaign=campaign, why="done", by=by, at=NOW)
    reopen_campaign(campaign=campaign, why="one more", by=by, at=NOW)
    CampaignVehicleFactory.create(
        campaign=campaign, work_state=WorkState.REMEDIED_HERE, first_asked_on=START
    )
    close_campaign(campaign=campaign, why="done", by=by, at=NOW)
    assert ClosedResponse.objects.filter(campaign=campaign).count() == 2  # two stores


def test_a_campaign_closed_before_is_made_up_for():
    campaign = CampaignFactory.create(
        letters_on=START, state=CampaignState.CLOSED, closed_at=NOW
    )
    CampaignVehicleFactory.create(
        campaign=campaign, work_state=WorkState.REMEDIED_HERE, first_asked_on=START
    )
    learn_responses(at=NOW)
    learn_responses(at=NOW)
    row = ClosedResponse.objects.get()
    assert (row.campaign, row.seen) == (campaign, [[1, [0], 0, True]])


def test_learns_once_and_again_when_a_campaign_is_added():
    store = StoreFactory.create()
    for _number in range(2):
        closed(store)
    assert learn_responses(at=NOW) == 0  # three are the fewest

    closed(store)
    # the store, all classes and this one; the group likewise
    assert learn_responses(at=NOW) == 4
    assert learn_responses(at=NOW) == 0
    known = read_experience()
    assert set(known) == {
        (store.pk, ""),
        (store.pk, CampaignClass.SAFETY),
        (None, ""),
        (None, CampaignClass.SAFETY),
    }
    assert known[store.pk, ""].campaigns == 3

    closed(store, campaign__campaign_class=CampaignClass.SATISFACTION)
    assert learn_responses(at=NOW) == 2
    assert read_experience()[store.pk, ""].campaigns == 4


def test_only_the_courses_of_sets_that_differ_are_read():
    """Nothing new: no course is read; a new one of a class: those of its sets."""

    def read():
        with CaptureQueriesContext(connection) as caught:
            learn_responses(at=NOW)
        return [
            one["sql"]
            for one in caught
            if '"seen"' in one["sql"] and one["sql"].startswith("SELECT")
        ]

    stores = StoreFactory.create_batch(2)
    rows = [closed(store) for store in stores for _number in range(3)]
    assert len(read()) == 1
    assert read() == []

    row = closed(stores[0], campaign__campaign_class=CampaignClass.SATISFACTION)
    (sql,) = read()
    # the store's and the group's sets of all classes: not those of the second store's
    wanted = {one.pk for one in rows} | {row.pk}
    inside = sql[sql.rindex("IN (") + 4 : sql.rindex(")")]
    assert {int(pk) for pk in inside.split(",")} == wanted
    made = set(LearnedResponse.objects.values_list("store", "campaign_class"))
    assert (stores[1].pk, CampaignClass.SAFETY) in made


def test_what_too_few_are_left_for_is_forgotten():
    store = StoreFactory.create()
    rows = [closed(store) for _number in range(3)]
    learn_responses(at=NOW)
    rows[0].delete()
    learn_responses(at=NOW)
    assert not LearnedResponse.objects.exists()


def test_a_proposal_uses_what_was_learned_and_says_so():
    store = StoreFactory.create()
    part = PartFactory.create(pack=1)
    campaign = campaign_with_remedy(part)
    for _number in range(40):
        open_vehicle(campaign, store)
    reconcile(today=TODAY, at=NOW)
    before = Replenishment.objects.get()
    assert before.facts["built_in_curve"]

    for _number in range(3):
        closed(store, campaign__campaign_class=campaign.campaign_class)
    reconcile(today=TODAY, at=NOW, store_id=store.pk)

    after = Replenishment.objects.get(state="open")
    assert not after.facts["built_in_curve"]
    assert expected(after) != expected(before)
    assert {
        "mover": "learned",
        "fact": "learned_from",
        "before": "0",
        "after": "3",
    } in (after.moved_by)
