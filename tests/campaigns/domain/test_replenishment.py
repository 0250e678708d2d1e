"""Proposals from rows to rows, and the decisions on them."""

import datetime as dt

import pytest

from campaigns.domain.replenishment import (
    NothingProposed,
    NotWholePacks,
    ProposalOver,
    ReasonWanted,
    accept,
    change,
    decline,
)
from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.models import AuditEntry
from dealership.rules.roles import Role
from inventory.models import GoodsReturn, PurchaseOrder
from tests.campaigns.domain.proposals import forty_open, the_open_one, work_out
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import (
    campaign_with_remedy,
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
