"""What is open about the vehicles of a campaign."""

import datetime as dt

import pytest

from campaigns.domain.deciding import decide_many, find_out
from campaigns.queries.open_questions import (
    Question,
    count_questions,
    missing_fields,
    open_questions,
    settled,
)
from campaigns.rules.lifecycle import VersionState, WorkState
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
)
from tests.factories.dealership import NOW, StaffFactory, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

REASONS = {
    Question.FACT: [{"code": "build_date_missing", "sentence": "Not known."}],
    Question.UNLISTED: [{"code": "criteria_met_not_on_list", "sentence": "Off."}],
    Question.DISAGREE: [{"code": "criteria_disagree", "sentence": "Out."}],
}


def row_of(campaign, store, question, **facts):
    waits = question is not Question.DISAGREE
    return CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=VehicleFactory.create(store=store, build_date=None),
        work_state=WorkState.TO_VERIFY if waits else WorkState.OPEN,
        outcome="to_be_verified" if waits else "affected",
        reasons=REASONS[question],
        **facts,
    )


@pytest.mark.parametrize("question", list(Question))
def test_each_question_lists_its_own_vehicles(question):
    campaign, store = CampaignFactory.create(), StoreFactory()
    rows = {one: row_of(campaign, store, one) for one in Question}
    row_of(campaign, StoreFactory(), question)
    row_of(CampaignFactory.create(), store, question)
    CampaignVehicleFactory.create(campaign=campaign, vehicle__store=store)
    found = open_questions(campaign=campaign, store=store, question=question)
    assert list(found) == [rows[question]]
    assert count_questions(campaign=campaign, store=store) == dict.fromkeys(Question, 1)


@pytest.mark.parametrize(
    ("codes", "fields"),
    [
        (["build_date_missing", "plant_missing"], ("build_date", "plant")),
        (["serial_not_comparable", "serial_missing"], ("serial",)),
        (["model_year_missing", "exclusion_open"], ("model_year",)),
        (["criteria_met_not_on_list", "line_inside"], ()),
    ],
)
def test_the_fields_that_a_verdict_waits_for(codes, fields):
    assert missing_fields([{"code": code} for code in codes]) == fields


def test_what_was_found_out_and_decided_is_told_with_who_and_from_where():
    campaign, store, staff = CampaignFactory.create(), StoreFactory(), StaffFactory()
    version = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(version=version, build_from=dt.date(2021, 1, 1))
    fact = row_of(campaign, store, Question.FACT)
    other = row_of(campaign, store, Question.UNLISTED)
    find_out(
        row=fact,
        facts={"build_date": dt.date(2021, 9, 2)},
        source="door plate",
        by=staff,
        at=NOW,
    )
    decide_many(
        campaign=campaign,
        store=store,
        row_ids=[other.pk],
        belongs=False,
        why="maker says no",
        by=staff,
        at=NOW,
    )
    first, second = settled(campaign=campaign, store=store)
    assert (first.row, first.found, first.entry.why) == (other, (), "maker says no")
    assert (second.row, second.found) == (fact, (("built on", "2021-09-02"),))
    assert (second.entry.why, second.entry.by) == ("door plate", staff)
    assert settled(campaign=campaign, store=StoreFactory()) == []
