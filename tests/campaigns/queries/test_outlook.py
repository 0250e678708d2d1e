"""The position of one part now, and the fan of a campaign, against single forecasts."""

import datetime as dt
import itertools

import pytest

from campaigns.models import Campaign
from campaigns.queries.outlook import FAN_WEEKS, fan_of, position_of
from campaigns.rules.lifecycle import CampaignState
from inventory.forecasting.response import built_in
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


def test_the_facts_of_one_part_under_its_newest_number(store):
    new = PartFactory.create()
    old = PartFactory.create(superseded_by=new)
    put_on_shelf(store, old, 4)
    for part in (old, new):
        found = position_of(part=part, store=store, today=TODAY)
        assert found is not None
        assert found.on_hand == 4
    assert position_of(part=PartFactory.create(), store=store, today=TODAY) is None


def test_the_fan_goes_on_from_where_the_curve_stands(store):
    campaign = campaign_with_remedy(letters_on=TODAY - dt.timedelta(weeks=4))
    for _number in range(60):
        row = open_vehicle(campaign, store)
    PartRequestFactory.create(campaign_vehicle=row)
    fan = fan_of(campaign, store=store, today=TODAY, week=4.0, completed=0.4)

    assert [point["x"] for point in fan] == [4.0, *(4.0 + w for w in FAN_WEEKS)]
    assert set(fan[0].values()) == {4.0, 0.4}
    names = ("lowest", "low", "y", "high", "highest")
    for before, after in itertools.pairwise(fan):
        assert [after[n] for n in names] == sorted(after[n] for n in names)
        assert before["y"] <= after["y"] <= 1
    # the middle of the fan is near what the curve itself says for vehicles alike
    curve = built_in(TODAY.year - 2021).curve
    comes = 1 - 2.718281828 ** -curve.hazard((0.0,), 4, 30)
    assert fan[-1]["y"] == pytest.approx(0.4 + 0.6 * comes, abs=0.12)


def test_no_fan_for_what_has_ended_or_has_nobody(store):
    campaign = campaign_with_remedy()
    facts = {"store": store, "today": TODAY, "week": 4.0, "completed": 0.4}
    assert fan_of(campaign, **facts) == []
    open_vehicle(campaign, store)
    assert fan_of(campaign, **facts) != []
    Campaign.objects.update(state=CampaignState.CLOSED)
    assert fan_of(campaign, **facts) == []
