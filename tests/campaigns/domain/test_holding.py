"""Unsold new vehicles: facts, claim, payment; the figures of 49 USC 30116."""

import datetime as dt

import pytest

from campaigns.domain.holding import (
    AlreadyClaimed,
    AlreadySettled,
    NothingToClaim,
    draw_holding_claim,
    keep_unsold,
    settle_holding_claim,
)
from campaigns.domain.payers import set_payer
from campaigns.models import HoldingClaim, UnsoldVehicle
from campaigns.queries.holding import unsold_of
from campaigns.rules.holding import EndsBeforeItStarts
from campaigns.rules.lifecycle import WorkState
from dealership.models import AuditEntry
from dealership.rules.money import DayCount
from dealership.rules.roles import Role
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    StateChangeFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}
AGREED = {
    "rounding": "half_up",
    "rounded_on": "line",
    "rate_basis_points": 100,
    "base": "selling_price",
    "start": "notice",
    "grace_days": 0,
    "end": "corrected",
    "day_count": "anniversary_months",
}


def new_vehicle(store, campaign, *, done_on=None):
    row = CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=VehicleFactory.create(store=store, standing=Standing.NEW),
        store=store,
        work_state=WorkState.REMEDIED_HERE if done_on else WorkState.OPEN,
    )
    if done_on:
        StateChangeFactory.create(
            campaign_vehicle=row, after=WorkState.REMEDIED_HERE, effective_on=done_on
        )
    return row


def keep(row, **facts):
    whole = {
        "selling_price_cents": 3_000_000,
        "price_paid_cents": None,
        "notice_on": dt.date(2026, 1, 10),
        "stop_sale_on": None,
        "bought_back_on": None,
    }
    return keep_unsold(row=row, facts=whole | facts, **BY)


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def campaign():
    return CampaignFactory.create(announced_on=dt.date(2026, 1, 10))


def found(store, campaign):
    return unsold_of(campaign=campaign, store=store, today=TODAY)[1]


def draw(store, campaign, key="k", dated=TODAY):
    return draw_holding_claim(
        key=key, campaign=campaign, store=store, dated=dated, **BY
    )


@pytest.mark.parametrize(
    ("day_count", "cents"),
    [
        (DayCount.ANNIVERSARY_MONTHS, 75_484),
        (DayCount.ACTUAL_30, 75_000),
        (DayCount.ACTUAL_365_12, 73_973),
    ],
)
def test_the_agreement_decides_how_months_are_counted(
    store, campaign, day_count, cents
):
    """49 USC 30116(b): 30,000.00 from 10 January to 26 March 2026, by hand."""
    row = new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26))
    keep(row)
    staff = make_staff(Role.ADMINISTRATOR, store)
    set_payer(
        supplier=campaign.supplier,
        store=store,
        facts=AGREED | {"day_count": day_count},
        by=staff,
        at=NOW,
    )
    claim = draw(store, campaign)
    line = claim.lines.get()
    assert (line.cents, line.base_cents) == (cents, 3_000_000)
    assert claim.terms["day_count"] == day_count


def test_it_runs_until_it_is_done_and_needs_its_price(store, campaign):
    open_one = new_vehicle(store, campaign)
    new_vehicle(StoreFactory.create(), campaign)
    (held,) = found(store, campaign)
    assert (held.wants_price, held.can_be_claimed) == (True, False)
    open_one.planned_on = TODAY + dt.timedelta(days=15)
    open_one.save()
    keep(open_one, notice_on=TODAY - dt.timedelta(days=30))
    (held,) = found(store, campaign)
    assert held.amount.ended_on is None
    assert held.planned.cents > held.amount.cents > 0
    with pytest.raises(NothingToClaim):
        draw(store, campaign)


def test_a_vehicle_is_claimed_once_and_the_key_answers_again(store, campaign):
    row = new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26))
    keep(row)
    claim = draw(store, campaign)
    assert draw(store, campaign) == claim
    with pytest.raises(NothingToClaim):
        draw(store, campaign, key="other")
    with pytest.raises(AlreadyClaimed, match=f"claim {claim.number}"):
        keep(row, selling_price_cents=1)
    assert UnsoldVehicle.objects.get().selling_price_cents == 3_000_000
    assert HoldingClaim.objects.count() == 1
    assert AuditEntry.objects.filter(act="holding_claim.made").count() == 1


def test_days_that_contradict_each_other_are_refused(store, campaign):
    row = new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26))
    with pytest.raises(EndsBeforeItStarts):
        keep(row, notice_on=dt.date(2026, 4, 1))
    assert not UnsoldVehicle.objects.exists()


def test_a_vehicle_that_was_sold_since_still_stands_here(store, campaign):
    row = new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26))
    keep(row)
    row.vehicle.standing = Standing.CUSTOMER
    row.vehicle.save()
    assert [one.row for one in found(store, campaign)] == [row]


def test_what_was_paid_is_noted_once(store, campaign):
    keep(new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26)))
    claim = draw(store, campaign)
    facts = {"claim": claim, "dated": TODAY, "advice": "PA-1", **BY}
    settle_holding_claim(paid_cents=70_000, **facts)
    claim = settle_holding_claim(paid_cents=70_000, **facts)
    assert (claim.paid_cents, claim.advice) == (70_000, "PA-1")
    with pytest.raises(AlreadySettled):
        settle_holding_claim(paid_cents=1, **facts)


def test_amounts_of_many_take_the_queries_of_one(
    store, campaign, django_assert_num_queries
):
    for vehicles in (1, 3):
        for _each in range(vehicles):
            keep(new_vehicle(store, campaign, done_on=dt.date(2026, 3, 26)))
        with django_assert_num_queries(2):
            found(store, campaign)
