"""How the owners of each store kept their bookings, counted from visits."""

import datetime as dt

import pytest

from campaigns.domain.reckoning import reconcile
from campaigns.models import Replenishment
from campaigns.queries.habits import NO_HABITS, habits_of
from campaigns.queries.outlook import position_of
from campaigns.rules.lifecycle import VisitState
from inventory.forecasting.habits import unbooked_ahead
from tests.factories.campaigns import RepairFactory, VisitJobFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


pytestmark = pytest.mark.django_db

DAY = dt.timedelta(days=1)


@pytest.fixture
def store():
    return StoreFactory.create(show_rate_basis_points=9_000)


def visit(store, state=VisitState.DONE, *, ago=10, ahead=3, **facts):
    on = TODAY - ago * DAY
    return VisitJobFactory.create(
        visit__vehicle__store=store,
        visit__store=store,
        visit__on=on,
        visit__booked_at=NOW - (ago + ahead) * DAY,
        visit__state=state,
        live=False,
        **facts,
    )


def test_visits_are_counted_by_the_days_from_booking(store):
    other = StoreFactory.create()
    for _number in range(20):
        visit(store, ahead=3)
    for _number in range(9):
        visit(store, ahead=12)
    visit(store, VisitState.MISSED)
    visit(store, VisitState.CANCELLED)  # neither kept nor missed
    visit(store, ago=365)  # long ago
    visit(store, VisitState.BOOKED, ago=-3)  # still to come
    for _number in range(2):
        RepairFactory.create(
            store=store, done=True, opened_at=NOW - 5 * DAY, visit_job=None
        )
    RepairFactory.create(store=store, opened_at=NOW - 5 * DAY)  # still open
    visit(other, VisitState.MISSED)

    found = habits_of([store.pk, other.pk], today=TODAY)
    mine = found[store.pk]
    assert (mine.kept, mine.missed) == (29, 1)
    assert mine.unbooked_ahead == unbooked_ahead({3: 20, 12: 9, -1: 2})
    assert mine.show_rate(0.9) == round(47 / 50, 6)
    assert (found[other.pk].kept, found[other.pk].missed) == (0, 1)
    assert found[other.pk].unbooked_ahead == ()
    assert set(habits_of([store.pk], today=TODAY)) == {store.pk}


def test_without_visits_the_store_s_own_rate_stands():
    assert habits_of([], today=TODAY) == {}
    assert NO_HABITS.show_rate(0.87) == 0.87
    assert NO_HABITS.unbooked_ahead == ()


def test_a_forecast_uses_them_and_says_so(store):
    part = PartFactory.create()
    campaign = campaign_with_remedy(part)
    for _number in range(30):
        open_vehicle(campaign, store)
    for number in range(40):
        state = VisitState.DONE if number % 4 else VisitState.MISSED
        visit(store, state, ahead=9)
    use = position_of(part=part, store=store, today=TODAY).campaigns[0]
    assert use.show_rate == round((18 + 30) / 60, 6)
    assert use.unbooked_ahead == unbooked_ahead({9: 30})

    reconcile(today=TODAY, at=NOW, store_id=store.pk)
    facts = {one.code: one.value for one in Replenishment.objects.get().told()}
    assert facts["show_rate"] == "0.80"
    assert facts["unbooked_ahead"] == "0.00"


def test_a_planned_reminder_is_in_the_forecast(store):
    part = PartFactory.create()
    campaign = campaign_with_remedy(part, reminder_on=TODAY + 14 * DAY)
    for _number in range(30):
        open_vehicle(campaign, store)

    def use(today=TODAY):
        return position_of(part=part, store=store, today=today).campaigns[0]

    assert use().reminder_in == 2.0
    assert use(TODAY + 15 * DAY).reminder_in is None  # posted, or let go
    reconcile(today=TODAY, at=NOW, store_id=store.pk)
    told = Replenishment.objects.get()
    assert [one.value for one in told.told() if one.code == "reminder_in"] == ["2.0"]
    assert told.facts["inputs"]["reminder"] == (TODAY + 14 * DAY).isoformat()
