import pytest

from campaigns.domain.appointments import Wanted, hold_appointments
from campaigns.models import Visit
from dealership.rules.roles import Role
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def day():
    """Two vehicles of a campaign, and one piece on the shelf."""
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part)
    put_on_shelf(store, part, 1)
    rows = [open_vehicle(campaign, store) for _vehicle in range(2)]
    staff = make_staff(Role.SERVICE_ADVISOR, store)
    return store, rows, staff


def hold(day, key="one press"):
    store, rows, staff = day
    return hold_appointments(
        key=key,
        store=store,
        day=TODAY,
        wanted=[Wanted(vehicle=row.vehicle, rows=[row]) for row in rows],
        by=staff,
        at=NOW,
        today=TODAY,
    )


def test_one_without_parts_does_not_keep_the_others_from_theirs(day):
    _store, rows, _staff = day

    held = hold(day)

    assert [visit.vehicle for visit in held.visits] == [rows[0].vehicle]
    ((vehicle, sentence),) = held.refused
    assert vehicle == rows[1].vehicle
    assert "cannot be promised by then" in sentence


def test_the_same_press_again_gives_the_same_visits(day):
    first, again = hold(day), hold(day)

    assert again.visits == first.visits
    assert Visit.objects.count() == 1
