"""The run that works proposals out: what it leaves, and when it does nothing."""

import datetime as dt
from contextlib import contextmanager

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from campaigns.domain import reckoning
from campaigns.domain.reckoning import KEPT_DAYS, ask_reconcile, reconcile
from campaigns.domain.replenishment import (
    accept,
    decline,
)
from campaigns.models import Reckoning, Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.models import Store
from dealership.rules.roles import Role
from tests.campaigns.domain.proposals import forty_open, the_open_one, work_out
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import (
    NOW,
    TODAY,
    AuditEntryFactory,
    StoreFactory,
    make_staff,
)
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    announce,
    campaign_with_remedy,
    open_vehicle,
    put_on_shelf,
)


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create(pack=5)


@pytest.fixture
def campaign(store, part):
    return forty_open(store, part)


@pytest.fixture
def manager(store):
    return make_staff(Role.PARTS_MANAGER, store)


def test_leaves_one_open_proposal_with_its_reason(store, part, campaign):
    assert work_out() == {
        "order": 1, "send_back": 0, "nothing": 0, "unchanged": 0, "ended": 0,
        "passed_over": 0,
    }  # fmt: skip
    proposal = the_open_one()
    assert (proposal.store, proposal.part) == (store, part)
    assert proposal.kind == ProposalKind.ORDER
    assert proposal.quantity % 5 == 0
    assert proposal.act_by == TODAY
    assert proposal.sentence.startswith(f"Order {proposal.quantity} today. That covers")
    assert f"{campaign.code}: 40 vehicles open" in proposal.sentence
    assert proposal.earmark == campaign.earmark


def test_same_facts_on_the_same_day_change_nothing(campaign):
    work_out()
    first = list(Replenishment.objects.values())
    later = NOW + dt.timedelta(hours=5)
    assert work_out(at=later)["unchanged"] == 1
    assert list(Replenishment.objects.values()) == first


def test_two_databases_with_the_same_rows_give_the_same_bytes(campaign):
    work_out()
    first = Replenishment.objects.get()
    Replenishment.objects.all().delete()
    work_out()
    second = Replenishment.objects.get()
    for name in ("fingerprint", "facts", "choices", "sentence", "quantity", "kind"):
        assert getattr(first, name) == getattr(second, name)


@pytest.mark.parametrize(
    ("happens", "mover"),
    [
        (lambda c, _s, _p: PartRequestFactory.create(
            campaign_vehicle=c.vehicles.first()), "requests"),
        (lambda _c, s, p: announce(s, p, 5, on=TODAY + dt.timedelta(days=4)),
            "receipt"),
        (lambda c, s, p: put_on_shelf(s, p, 5, c.earmark), "stock"),
        (lambda c, s, _p: open_vehicle(c, s), "population"),
        (lambda _c, _s, p: type(p).objects.update(unit_cost_cents=9_900), "price"),
        (lambda _c, _s, p: type(p).objects.update(lead_days=21), "terms"),
    ],
)  # fmt: skip
def test_a_changed_fact_supersedes_and_is_named(store, part, campaign, happens, mover):
    work_out()
    old = the_open_one()
    happens(campaign, store, part)
    work_out()
    old.refresh_from_db()
    new = the_open_one()
    assert old.state == ProposalState.SUPERSEDED
    assert mover in {entry["mover"] for entry in new.moved_by}
    assert "day" not in {entry["mover"] for entry in new.moved_by}


def test_the_passing_of_a_day_is_a_fact(campaign):
    work_out()
    work_out(today=TODAY + dt.timedelta(days=1))
    assert the_open_one().moved_by == [
        {
            "mover": "day",
            "fact": "day",
            "before": TODAY.isoformat(),
            "after": (TODAY + dt.timedelta(days=1)).isoformat(),
        }
    ]


def test_the_price_of_a_return_is_proposed_before_its_last_day(store, part):
    """Five vehicles open, 30 pieces there, returnable for ten more days."""
    campaign = campaign_with_remedy(part, returns_until=TODAY + dt.timedelta(days=10))
    for _number in range(5):
        open_vehicle(campaign, store)
    put_on_shelf(store, part, 30, campaign.earmark)
    work_out()
    proposal = the_open_one()
    assert proposal.kind == ProposalKind.RETURN
    assert 25 <= proposal.quantity <= 30
    assert proposal.act_by == campaign.returns_until
    assert proposal.sentence.startswith(f"Return {proposal.quantity} by ")


def test_enough_on_the_shelf_needs_nothing(store, part, campaign):
    put_on_shelf(store, part, 60, campaign.earmark)
    work_out()
    proposal = the_open_one()
    assert (proposal.kind, proposal.quantity) == (ProposalKind.NOTHING, 0)
    assert proposal.sentence.startswith("Nothing to order. ")


def test_other_runs_and_decisions_win_over_an_older_reading(
    campaign, manager, monkeypatch
):
    """Between the reading and the writing somebody accepts: nothing is added."""
    work_out()
    real = reckoning.cases_of

    def slow(**given):
        cases = real(**given)
        accept(key="k", proposal=the_open_one(), by=manager, at=NOW)
        return cases

    type(campaign.remedy.variants.get().parts.get().part).objects.update(lead_days=30)
    monkeypatch.setattr(reckoning, "cases_of", slow)
    work_out()
    assert not Replenishment.objects.filter(state=ProposalState.OPEN).exists()


def test_queries_do_not_grow_with_vehicles_parts_or_stores(part, campaign):
    def queries():
        Replenishment.objects.all().delete()
        Reckoning.objects.all().delete()
        with CaptureQueriesContext(connection) as caught:
            reconcile(today=TODAY, at=NOW)
        return len(caught)

    few = queries()
    for _store in range(4):
        other = StoreFactory.create()
        for _number in range(12):
            open_vehicle(campaign, other)
        put_on_shelf(other, PartFactory.create(), 3)
    assert queries() == few


def test_a_run_tells_how_far_it_is(campaign, monkeypatch):
    monkeypatch.setattr(reckoning, "READ_AT_ONCE", 1)
    StoreFactory.create()
    told = []
    reconcile(
        today=TODAY, at=NOW, progress=lambda done, total: told.append((done, total))
    )
    assert told == [(0, 2), (1, 2), (2, 2)]


def test_a_helper_takes_the_stores_from_the_other_end(part, campaign, monkeypatch):
    """It joins after the first store was done; the two meet, and none is done twice."""
    monkeypatch.setattr(reckoning, "READ_AT_ONCE", 1)
    first = [Store.objects.get(), *StoreFactory.create_batch(3)]
    for other in first[1:]:
        open_vehicle(campaign, other)
    helped = []

    def tell(done, _total):
        if done == 1:
            helped.append(reconcile(today=TODAY, at=NOW, helping=True).told())

    alone = reconcile(today=TODAY, at=NOW, progress=tell).told()
    assert alone["order"] == 1
    assert helped[0]["order"] == 3
    made = Replenishment.objects.order_by("pk").values_list("store", flat=True)
    assert list(made) == [first[place].pk for place in (0, 3, 2, 1)]


def test_stages_are_told_to_whoever_times_them(campaign):
    told = []

    @contextmanager
    def stage(name):
        told.append(name)
        yield

    reconcile(today=TODAY, at=NOW, stage=stage)
    assert told == ["reading", "reading", "maths", "writing"]


def test_all_who_ask_within_a_minute_share_one_job_that_comes_after_it(store, manager):
    first = ask_reconcile(store=store, by=manager, now=NOW)
    second = ask_reconcile(store=store, by=None, now=NOW + dt.timedelta(seconds=59))
    third = ask_reconcile(store=store, by=None, now=NOW + dt.timedelta(seconds=60))
    assert first == second
    assert first != third
    assert first.due_at == NOW + dt.timedelta(minutes=1)


def run_over_all(at=NOW, today=TODAY):
    return reconcile(today=today, at=at).told()


def an_hour_later(hours=1):
    return NOW + dt.timedelta(hours=hours)


def test_stores_without_an_act_since_are_passed_over_until_the_next_day(store):
    StoreFactory.create()
    assert run_over_all()["passed_over"] == 0
    assert run_over_all(an_hour_later())["passed_over"] == 2
    tomorrow = TODAY + dt.timedelta(days=1)
    assert run_over_all(an_hour_later(24), tomorrow)["passed_over"] == 0


@pytest.mark.parametrize(
    ("act", "passed_over"),
    [
        ("visit.booked", 1),
        ("campaign.amended", 0),
        ("staff.let_in", 2),
        ("word.nobody_knows", 0),
    ],
)
def test_an_act_has_its_store_looked_at_again_or_all(store, act, passed_over):
    StoreFactory.create()
    run_over_all()
    AuditEntryFactory.create(act=act, store=store, at=an_hour_later())
    assert run_over_all(an_hour_later(2))["passed_over"] == passed_over


def test_what_a_person_does_is_seen_by_the_next_run_over_all(campaign, manager):
    """Accepted through the domain, which leaves the line that the run looks for."""
    run_over_all()
    accept(key="k", proposal=the_open_one(), by=manager, at=an_hour_later())
    told = run_over_all(an_hour_later(2))
    assert (told["passed_over"], told["nothing"]) == (0, 1)


def test_a_run_with_older_facts_does_not_undo_a_newer_one(campaign, store):
    work_out(at=an_hour_later())
    newer = the_open_one()
    open_vehicle(campaign, store)
    assert work_out(at=NOW)["unchanged"] == 1
    assert the_open_one() == newer


def test_proposals_that_nobody_decided_are_dropped_in_the_end(campaign, manager):
    days = [TODAY + dt.timedelta(days=number) for number in range(3)]
    for day in days:
        work_out(today=day)
    decline(key="k", proposal=the_open_one(), why="Maker sends", by=manager, at=NOW)
    work_out(today=days[1] + dt.timedelta(days=KEPT_DAYS + 1))
    made = Replenishment.objects.order_by("made_on").values_list("made_on", "state")
    assert list(made) == [
        (days[2], ProposalState.DECLINED),
        (days[1] + dt.timedelta(days=KEPT_DAYS + 1), ProposalState.OPEN),
    ]
