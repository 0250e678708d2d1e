"""Proposals from rows to rows, and the decisions on them."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from campaigns.domain import replenishment
from campaigns.domain.replenishment import (
    NothingProposed,
    NotWholePacks,
    ProposalOver,
    ReasonWanted,
    accept,
    ask_reconcile,
    change,
    decline,
    reconcile,
)
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from inventory.models import GoodsReturn, PurchaseOrder
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
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
    """Letters went out 30 days ago; 40 vehicles are open."""
    campaign = campaign_with_remedy(part)
    for _number in range(40):
        open_vehicle(campaign, store)
    return campaign


@pytest.fixture
def manager(store):
    return make_staff(Role.PARTS_MANAGER, store)


def work_out(today=TODAY, at=NOW):
    return reconcile(today=today, at=at)


def the_open_one():
    return Replenishment.objects.get(state=ProposalState.OPEN)


def test_leaves_one_open_proposal_with_its_reason(store, part, campaign):
    assert work_out().told() == {
        "order": 1, "send_back": 0, "nothing": 0, "unchanged": 0, "ended": 0,
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
    assert work_out(at=later).told()["unchanged"] == 1
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
    real = replenishment.cases_of

    def slow(**given):
        cases = real(**given)
        accept(key="k", proposal=the_open_one(), by=manager, at=NOW)
        return cases

    type(campaign.remedy.variants.get().parts.get().part).objects.update(lead_days=30)
    monkeypatch.setattr(replenishment, "cases_of", slow)
    work_out()
    assert not Replenishment.objects.filter(state=ProposalState.OPEN).exists()


def test_accepting_places_the_order_once(store, campaign, manager):
    work_out()
    proposal = the_open_one()
    first = accept(key="k", proposal=proposal, by=manager, at=NOW)
    again = accept(key="k", proposal=proposal, by=manager, at=NOW)
    assert first.order == again.order == PurchaseOrder.objects.get()
    line = first.order.lines.get()
    assert (line.part, line.quantity) == (proposal.part, proposal.quantity)
    assert first.order.earmark == campaign.earmark
    assert first.done_quantity == first.quantity
    assert AuditEntry.objects.filter(act="proposal.accepted").count() == 1
    with pytest.raises(ProposalOver):
        accept(key="other", proposal=proposal, by=manager, at=NOW)


def test_what_was_ordered_is_counted_by_the_next_run(campaign, manager):
    work_out()
    accept(key="k", proposal=the_open_one(), by=manager, at=NOW)
    work_out()
    assert the_open_one().kind == ProposalKind.NOTHING


def test_accepting_a_return_boxes_the_pieces(store, part, manager):
    campaign = campaign_with_remedy(part, returns_until=TODAY + dt.timedelta(days=10))
    put_on_shelf(store, part, 30, campaign.earmark)
    work_out()
    done = accept(key="k", proposal=the_open_one(), by=manager, at=NOW)
    boxed = GoodsReturn.objects.get()
    assert done.goods_return == boxed
    assert boxed.last_date == campaign.returns_until
    assert boxed.restocking_basis_points == campaign.restocking_basis_points
    assert boxed.lines.get().quantity == 30


def test_another_number_needs_a_reason_and_whole_packs(campaign, manager):
    work_out()
    proposal = the_open_one()
    with pytest.raises(ReasonWanted):
        change(key="k", proposal=proposal, quantity=10, why=" ", by=manager, at=NOW)
    with pytest.raises(NotWholePacks):
        change(key="k", proposal=proposal, quantity=7, why="few", by=manager, at=NOW)
    done = change(
        key="k", proposal=proposal, quantity=10, why="Holiday week", by=manager, at=NOW
    )
    assert done.state == ProposalState.CHANGED
    assert (done.done_quantity, done.done_why) == (10, "Holiday week")
    assert done.quantity == proposal.quantity
    assert done.order.lines.get().quantity == 10


def test_declined_stays_declined_while_the_facts_stand(campaign, manager):
    work_out()
    with pytest.raises(ReasonWanted):
        decline(key="k", proposal=the_open_one(), why="", by=manager, at=NOW)
    decline(key="k", proposal=the_open_one(), why="Maker sends", by=manager, at=NOW)
    work_out()
    assert not Replenishment.objects.filter(state=ProposalState.OPEN).exists()
    assert not PurchaseOrder.objects.exists()
    work_out(today=TODAY + dt.timedelta(days=1))
    assert the_open_one().kind == ProposalKind.ORDER


def test_nothing_can_be_neither_accepted_nor_declined(store, part, campaign, manager):
    put_on_shelf(store, part, 60, campaign.earmark)
    work_out()
    proposal = the_open_one()
    with pytest.raises(NothingProposed):
        accept(key="k", proposal=proposal, by=manager, at=NOW)
    with pytest.raises(NothingProposed):
        decline(key="k", proposal=proposal, why="no", by=manager, at=NOW)
    done = change(key="k", proposal=proposal, quantity=5, why="x", by=manager, at=NOW)
    assert done.order.lines.get().quantity == 5


def test_queries_do_not_grow_with_vehicles_parts_or_stores(part, campaign):
    def queries():
        Replenishment.objects.all().delete()
        with CaptureQueriesContext(connection) as caught:
            work_out()
        return len(caught)

    few = queries()
    for _store in range(4):
        other = StoreFactory.create()
        for _number in range(12):
            open_vehicle(campaign, other)
        put_on_shelf(other, PartFactory.create(), 3)
    assert queries() == few


def test_a_run_tells_how_far_it_is(campaign, monkeypatch):
    monkeypatch.setattr(replenishment, "STORES_AT_ONCE", 1)
    StoreFactory.create()
    told = []
    reconcile(
        today=TODAY, at=NOW, progress=lambda done, total: told.append((done, total))
    )
    assert told == [(0, 2), (1, 2), (2, 2)]


def test_all_who_ask_within_a_minute_share_one_job_that_comes_after_it(store, manager):
    first = ask_reconcile(store=store, by=manager, now=NOW)
    second = ask_reconcile(store=store, by=None, now=NOW + dt.timedelta(seconds=59))
    third = ask_reconcile(store=store, by=None, now=NOW + dt.timedelta(seconds=60))
    assert first == second
    assert first != third
    assert first.due_at == NOW + dt.timedelta(minutes=1)
