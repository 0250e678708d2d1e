"""Proposals as pages show them: which are to be decided, and every number in words."""

import datetime as dt

import pytest

from campaigns.models import Replenishment
from campaigns.queries.replenishment import (
    MOVER_WORDS,
    choices_of_sizes,
    decided,
    earlier,
    figures_of,
    moved,
    newer,
    nothing_to_do,
    proposals_of,
    runway_of,
    said,
    to_decide,
)
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from campaigns.rules.movers import Mover
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignFactory, ReplenishmentFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


def test_open_orders_and_returns_stand_by_their_last_day(store):
    late = ReplenishmentFactory.create(store=store, act_by=TODAY)
    soon = ReplenishmentFactory.create(store=store, act_by=TODAY - dt.timedelta(days=1))
    never = ReplenishmentFactory.create(
        store=store, act_by=None, kind=ProposalKind.RETURN
    )
    nothing = ReplenishmentFactory.create(store=store, kind=ProposalKind.NOTHING)
    ReplenishmentFactory.create(store=store, state=ProposalState.SUPERSEDED)
    ReplenishmentFactory.create()  # of another store
    rows = proposals_of(make_staff(Role.PARTS_MANAGER, store), store)

    assert list(to_decide(rows)) == [soon, late, never]
    assert list(nothing_to_do(rows)) == [nothing]


def test_decisions_on_the_same_part_and_what_is_open_now(store):
    first = ReplenishmentFactory.create(
        store=store, state=ProposalState.DECLINED, done_at=NOW
    )
    second = ReplenishmentFactory.create(
        store=store, part=first.part, state=ProposalState.ACCEPTED, done_at=NOW
    )
    now = ReplenishmentFactory.create(store=store, part=first.part)
    other = ReplenishmentFactory.create(
        store=store, state=ProposalState.CHANGED, done_at=NOW - dt.timedelta(days=1)
    )
    rows = Replenishment.objects.all()

    assert list(decided(rows)) == [second, first, other]
    assert earlier(now, rows) == [second, first]
    assert earlier(second, rows) == [first]
    assert newer(first, rows) == now
    assert newer(now, rows) is None


@pytest.mark.parametrize(
    ("sentence", "parts"),
    [
        (
            "Order 20 by Friday. The shelf lasts 9 days. Sure.",
            ("Order 20 by Friday.", "The shelf lasts 9 days. Sure."),
        ),
        ("Nothing to do", ("Nothing to do", "")),
    ],
)
def test_what_to_do_stands_apart_from_why(sentence, parts):
    assert said(Replenishment(sentence=sentence)) == parts


def test_numbers_are_grouped_by_campaign_and_money_is_written_as_money():
    rows = [
        {"label": "", "code": "unit_cost", "value": "4250", "unit": "cents"},
        {"label": "SR-1", "code": "unheard_of", "value": "7", "unit": "pieces"},
        {"label": "", "code": "unheard_of", "value": "0.9", "unit": "chance"},
    ]

    campaign, whole = figures_of(Replenishment(facts={"rows": rows}))

    assert (campaign.name, whole.name) == ("SR-1", "")
    assert [one.value for one in whole.figures] == ["42.50", "0.9"]
    assert campaign.figures[0].unit == "pieces"
    assert figures_of(Replenishment(facts={})) == []


def test_what_moved_is_said_with_both_values():
    entry = {"mover": "price", "fact": "unit_cost", "before": "4250", "after": "9900"}

    (one,) = moved(Replenishment(moved_by=[entry]))

    assert one.words.startswith("the price")
    assert (one.before, one.after) == ("42.50", "99.00")
    assert set(MOVER_WORDS) == set(Mover)


def test_the_size_proposed_is_marked():
    proposal = Replenishment(quantity=20, choices=[{"quantity": 0}, {"quantity": 20}])

    assert [row["chosen"] for row in choices_of_sizes(proposal)] == [False, True]


def test_the_runway_has_the_last_days_to_come(store):
    campaign = CampaignFactory.create(claims_until=TODAY - dt.timedelta(days=1))
    proposal = ReplenishmentFactory.create(
        store=store, facts={"campaigns": [campaign.code]}
    )

    picture = runway_of(proposal, store=store, today=TODAY)

    assert [(flag.day, flag.words) for flag in picture.flags] == [
        (campaign.returns_until, f"{campaign.code} returns until")
    ]
