import datetime as dt

import pytest

from campaigns.models import Claim
from campaigns.queries.claims import ClaimCounts, claim_counts, claims_for
from campaigns.rules.lifecycle import ClaimState
from dealership.rules.roles import Role
from tests.factories.campaigns import ClaimFactory, ClaimLineFactory
from tests.factories.dealership import StoreFactory, make_staff


pytestmark = pytest.mark.django_db


def claim(store, state, until=None, **line):
    made = ClaimFactory.create(store=store, state=state)
    made.campaign.claims_until = until
    made.campaign.save()
    ClaimLineFactory.create(claim=made, claimed_cents=1_000, **line)
    ClaimLineFactory.create(claim=made, claimed_cents=500)
    return made


def test_counts_by_state_and_the_nearest_last_day():
    store = StoreFactory.create()
    near, far = dt.date(2026, 12, 3), dt.date(2027, 1, 1)
    claim(store, ClaimState.READY, far)
    claim(store, ClaimState.REJECTED, near)
    claim(store, ClaimState.SUBMITTED, dt.date(2026, 1, 1))
    claim(store, ClaimState.SHORT_PAID, paid_cents=400)
    claim(store, ClaimState.PAID, paid_cents=1_000)
    claim(StoreFactory.create(), ClaimState.READY)
    staff = make_staff(Role.SERVICE_MANAGER, store)
    assert claim_counts(staff, store) == ClaimCounts(
        ready=1,
        submitted=1,
        short_paid=1,
        rejected=1,
        open_cents=4 * 1_500 - 400,
        next_deadline=near,
    )


def test_the_nearest_last_day_comes_first_and_none_last():
    store = StoreFactory.create()
    never = claim(store, ClaimState.READY)
    later = claim(store, ClaimState.READY, dt.date(2027, 1, 1))
    sooner = claim(store, ClaimState.READY, dt.date(2026, 12, 3))
    staff = make_staff(Role.SERVICE_MANAGER, store)
    assert list(claims_for(staff, store)) == [sooner, later, never]
    assert {one.claimed_cents for one in claims_for(staff, store)} == {1_500}
    stranger = make_staff(Role.SERVICE_MANAGER)
    assert not claims_for(stranger, store)
    assert Claim.objects.count() == 3
