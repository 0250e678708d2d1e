"""What is free of a part with old numbers: one statement against the chain itself.

The answer as a program gets it is tried in tests/campaigns/api/test_vehicles.py.
"""

import itertools

import pytest

from campaigns.queries.vehicle_answer import vehicle_answer
from inventory.models import Part
from inventory.queries.numbers import read_chains
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    RemedyFactory,
    VariantFactory,
    VariantPartFactory,
)
from tests.factories.dealership import TODAY, StaffFactory, StoreFactory
from tests.factories.inventory import BalanceFactory, PartFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db

FLAGS = list(itertools.product([True, False], repeat=4))


@pytest.mark.parametrize("named", [0, 1, 2])
def test_old_numbers_that_serve_are_in_what_is_free(named):
    store = StoreFactory.create()
    third = PartFactory.create()
    second = PartFactory.create(superseded_by=third)
    first = PartFactory.create(superseded_by=second)
    for pieces, part in zip((1, 10, 100), (first, second, third), strict=True):
        BalanceFactory.create(store=store, part=part, free=pieces)
    vehicle = VehicleFactory.create(store=store)
    row = CampaignVehicleFactory.create(vehicle=vehicle)
    variant = VariantFactory.create(remedy=RemedyFactory.create(campaign=row.campaign))
    line = VariantPartFactory.create(
        variant=variant, part=(first, second, third)[named]
    )
    boss = StaffFactory.create(in_all_stores=True)
    for first_serves, second_serves, older, recalled in FLAGS:
        Part.objects.filter(pk=first.pk).update(old_stock_serves=first_serves)
        Part.objects.filter(pk=second.pk).update(
            old_stock_serves=second_serves, recalled=recalled
        )
        line.old_numbers_serve = older
        line.save()

        answer = vehicle_answer(vin=vehicle.vin, staff=boss, today=TODAY)

        chain = read_chains([line.part_id])
        serving = chain.serving(chain.parts[line.part_id], older=older)
        told = {first.pk: 1, second.pk: 10, third.pk: 100}
        assert answer is not None
        (campaign,) = answer.open_campaigns
        assert campaign.parts is not None
        assert campaign.parts[0].free_now == sum(told[one.pk] for one in serving)
