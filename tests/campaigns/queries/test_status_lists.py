"""A status list held against what stands here, by sets."""

import datetime as dt

import pytest

from campaigns.queries.status_lists import compare, count_follows
from campaigns.rules.status_rows import ListedStatus, Meets, StatusRead, StatusRow
from tests.factories.campaigns import CampaignVehicleFactory, StatusListFactory


pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("rows", [1, 4])
def test_many_rows_take_as_many_statements_as_one(rows, django_assert_num_queries):
    first = CampaignVehicleFactory.create()
    status_list = StatusListFactory.create(store=first.store, campaign=first.campaign)
    mine = [first] + [
        CampaignVehicleFactory.create(
            campaign=first.campaign, vehicle__store=first.store
        )
        for _n in range(rows - 1)
    ]
    said = tuple(
        StatusRow(
            row=n,
            vin=row.vehicle.vin,
            campaign="",
            status=ListedStatus.OPEN,
            dated=None,
        )
        for n, row in enumerate(mine, start=2)
    )
    read = StatusRead(rows=said, faults=(), columns={})
    with django_assert_num_queries(4):
        found = compare(status_list, read)
    assert [one.mine for one in found] == mine
    assert count_follows(found)["agrees"] == rows


def test_the_last_of_several_rows_about_one_vehicle_counts():
    row = CampaignVehicleFactory.create()
    status_list = StatusListFactory.create(
        store=row.store,
        campaign=row.campaign,
        listed_on=row.added_on + dt.timedelta(days=30),
    )
    told = [ListedStatus.DONE, ListedStatus.OPEN]
    said = tuple(
        StatusRow(row=n, vin=row.vehicle.vin, campaign="", status=one, dated=None)
        for n, one in enumerate(told, start=2)
    )
    (one,) = compare(status_list, StatusRead(rows=said, faults=(), columns={}))
    assert (one.said.row, one.follows) == (3, Meets.AGREES)
