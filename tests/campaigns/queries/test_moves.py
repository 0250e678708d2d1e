"""Moves between the stores that one person sees."""

import pytest

from campaigns.queries.moves import moves_of
from campaigns.rules.lifecycle import ProposalKind, ProposalState
from dealership.rules.roles import Role
from tests.factories.campaigns import ReplenishmentFactory
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db

LIKELY = [0.95, 0.8, 0.58, 0.35, 0.18]


def proposal(store, part, *, have, free, tail, kind=ProposalKind.ORDER, **facts):
    window = {
        "have": have, "free": free, "tail": tail, "short_cents": 0, "order_cents": 0,
    }  # fmt: skip
    return ReplenishmentFactory.create(
        store=store, part=part, kind=kind, facts={"window": window | facts}
    )


@pytest.fixture
def group():
    here, there = StoreFactory.create_batch(2)
    part = PartFactory.create()
    proposal(here, part, have=0, free=0, tail=LIKELY)
    proposal(there, part, have=9, free=4, tail=[0.5], kind=ProposalKind.NOTHING)
    return here, there, part


def test_pieces_come_from_where_nobody_wants_them(group):
    here, there, part = group
    staff = make_staff(Role.PARTS_MANAGER, here, there)
    (found,) = moves_of(staff=staff, store=here)
    assert (found.part, found.giver, found.taker, found.pieces) == (
        part,
        there,
        here,
        4,
    )
    assert found.move.served == pytest.approx(0.95 + 0.8 + 0.58 + 0.35)
    assert moves_of(staff=staff, store=there) == [found]
    assert moves_of(staff=staff, store=here, part_ids=[part.pk]) == [found]
    assert moves_of(staff=staff, store=here, part_ids=[part.pk + 1]) == []


def test_stores_of_others_are_not_looked_into(group):
    here, _there, _part = group
    assert moves_of(staff=make_staff(Role.PARTS_MANAGER, here), store=here) == []


def test_a_dear_journey_must_serve_more(group):
    here, there, part = group
    staff = make_staff(Role.PARTS_MANAGER, here, there)
    third = StoreFactory.create()
    proposal(third, part, have=0, free=0, tail=[0.1], kind=ProposalKind.NOTHING,
             short_cents=1_000, order_cents=3_000)  # fmt: skip
    assert moves_of(staff=staff, store=here) != []
    everywhere = make_staff(Role.OWNER, in_all_stores=True)
    assert moves_of(staff=everywhere, store=here) == []  # 3 customers are wanted


def test_where_nobody_orders_nothing_moves():
    here, there = StoreFactory.create_batch(2)
    part = PartFactory.create()
    nothing = ProposalKind.NOTHING
    proposal(here, part, have=1, free=1, tail=[0.9, 0.7], kind=nothing)
    proposal(there, part, have=9, free=4, tail=[0.5], kind=nothing)
    ReplenishmentFactory.create(store=here, part=part, state=ProposalState.ACCEPTED)
    staff = make_staff(Role.PARTS_MANAGER, here, there)
    assert moves_of(staff=staff, store=here) == []
