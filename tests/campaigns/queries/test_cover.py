"""The cover of a repair, as of the day it was opened."""

import datetime as dt

import pytest

from campaigns.models import Repair
from campaigns.queries.cover import SCHEDULED, repair_cover
from campaigns.rules.eligibility import Cover
from campaigns.rules.lifecycle import CampaignClass, Payer
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import ScheduledItemFactory
from tests.factories.dealership import TODAY


pytestmark = pytest.mark.django_db


def test_the_odometer_of_the_repair_decides():
    shop = Shop()
    shop.campaign.campaign_class = CampaignClass.SATISFACTION
    shop.campaign.odometer_limit = 50_000
    shop.campaign.eligible_until = TODAY + dt.timedelta(days=9)
    shop.campaign.save()
    repair = shop.open()
    assert repair_cover(repair, odometer_miles=50_000).payer is Payer.MANUFACTURER
    assert repair_cover(repair, odometer_miles=50_001).cover is Cover.PAST_LIMIT


def test_a_scheduled_item_is_the_customers():
    repair = Repair(scheduled_item=ScheduledItemFactory.build())
    assert repair_cover(repair) is SCHEDULED
    assert SCHEDULED.payer is Payer.CUSTOMER
