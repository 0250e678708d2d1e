"""Who is written to: by tenure on the day, by source of the address, by what was had."""

import datetime as dt

import pytest

from campaigns.models import LetterRound
from campaigns.queries.addressees import Addressee, decide_addressees
from campaigns.rules.lifecycle import (
    CampaignClass,
    OmissionReason,
    PostedBy,
    RoundKind,
    RoundScope,
    RoundState,
)
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    LetterFactory,
    LetterRoundFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.vehicles import AddressFactory, TenureFactory, VehicleFactory
from vehicles.rules.standing import TenureRole


pytestmark = pytest.mark.django_db

FIRST, REMINDER = RoundKind.FIRST, RoundKind.REMINDER
INTERIM, SECOND = RoundKind.INTERIM, RoundKind.SECOND
ALREADY, NOT_YET = OmissionReason.WRITTEN_ALREADY, OmissionReason.NOT_WRITTEN_YET


@pytest.fixture
def ground():
    return CampaignFactory.create(letters_on=None), StoreFactory.create()


def held(campaign, store, *roles):
    """Add an open vehicle with somebody in each role, named after it."""
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store)
    )
    for role in roles or (TenureRole.OWNER,):
        tenure = TenureFactory.create(
            vehicle=row.vehicle, role=role, party__name=role.value
        )
        AddressFactory.create(party=tenure.party)
    return row


def decided(campaign, store, **asked):
    [one] = decide_addressees(campaign=campaign, store=store, on=TODAY, **asked)
    return one.party.name if isinstance(one, Addressee) else one.reason


def had(row, kind, *, posted_by=PostedBy.STORE, returned=False, days=30):
    """Post a letter about a vehicle some days ago."""
    number = LetterRound.objects.count() + 1
    day = TODAY - dt.timedelta(days=days)
    return LetterFactory.create(
        letter_round=LetterRoundFactory.create(
            campaign=row.campaign,
            store=row.store,
            kind=kind,
            posted_by=posted_by,
            number=number,
            state=RoundState.POSTED,
        ),
        campaign_vehicle=row,
        posted_on=day,
        returned_on=TODAY if returned else None,
    )


def test_the_store_writes_to_who_drives_and_the_manufacturer_to_who_owns(ground):
    """49 USC 30119(d): registered owner; 30119(f): a lessor tells its lessee."""
    row = held(*ground, TenureRole.OWNER, TenureRole.LESSEE, TenureRole.LESSOR)

    assert decided(*ground) == "lessee"
    assert decided(*ground, posted_by=PostedBy.MANUFACTURER) == "lessor"
    row.vehicle.tenures.filter(role="lessor").delete()
    assert decided(*ground, posted_by=PostedBy.MANUFACTURER) == "owner"


@pytest.mark.parametrize("fault", ["deceased", "do_not_write"])
def test_where_the_first_cannot_be_written_to_the_next_is(ground, fault):
    row = held(*ground, TenureRole.OWNER, TenureRole.LESSEE)
    lessee = row.vehicle.tenures.get(role="lessee").party
    setattr(lessee, fault, True)
    lessee.save()

    assert decided(*ground) == "owner"
    row.vehicle.tenures.filter(role="owner").delete()
    assert decided(*ground) == OmissionReason(fault)


def test_a_safety_notice_goes_out_to_who_wants_no_letters(ground):
    """49 USC 30119(d): each registered owner is told."""
    campaign, _store = ground
    party = held(*ground).vehicle.tenures.get().party
    party.do_not_write = True
    party.save()

    assert decided(*ground) == OmissionReason.DO_NOT_WRITE
    assert decided(*ground, posted_by=PostedBy.MANUFACTURER) == "owner"
    campaign.campaign_class = CampaignClass.SATISFACTION
    campaign.save()
    assert (
        decided(*ground, posted_by=PostedBy.MANUFACTURER) == OmissionReason.DO_NOT_WRITE
    )


@pytest.mark.parametrize(
    ("before", "expected"),
    [
        ((), {FIRST: "owner", INTERIM: "owner", REMINDER: NOT_YET, SECOND: NOT_YET}),
        (
            (FIRST,),
            {FIRST: ALREADY, INTERIM: ALREADY, REMINDER: "owner", SECOND: ALREADY},
        ),
        (
            (INTERIM,),
            {FIRST: "owner", INTERIM: ALREADY, REMINDER: NOT_YET, SECOND: "owner"},
        ),
        (
            (INTERIM, SECOND, REMINDER),
            {FIRST: ALREADY, INTERIM: ALREADY, REMINDER: "owner", SECOND: ALREADY},
        ),
    ],
)
def test_each_letter_follows_those_before(ground, before, expected):
    row = held(*ground)
    for kind in before:
        had(row, kind)

    assert {kind: decided(*ground, kind=kind) for kind in expected} == expected


def test_a_letter_that_came_back_was_not_had(ground):
    had(held(*ground), FIRST, returned=True)

    assert decided(*ground, kind=FIRST) == "owner"
    assert decided(*ground, kind=REMINDER) == NOT_YET


def test_the_senders_letters_are_counted_apart(ground):
    had(held(*ground), FIRST, posted_by=PostedBy.MANUFACTURER)

    assert decided(*ground, kind=FIRST) == "owner"
    assert decided(*ground, kind=REMINDER) == "owner"
    assert decided(*ground, kind=FIRST, posted_by=PostedBy.MANUFACTURER) == ALREADY


def test_nobody_is_reminded_of_a_visit_that_is_booked(ground):
    row = held(*ground)
    had(row, FIRST)
    VisitJobFactory.create(campaign_vehicle=row, live=True)

    assert decided(*ground, kind=REMINDER) == OmissionReason.BOOKED


def test_a_round_of_those_that_came_back_takes_only_them(ground):
    campaign, store = ground
    back, arrived, again = (held(*ground) for _number in range(3))
    had(back, FIRST, returned=True)
    had(arrived, FIRST)
    had(again, FIRST, returned=True)
    had(again, FIRST, days=3)

    found = decide_addressees(
        campaign=campaign, store=store, on=TODAY, scope=RoundScope.RETURNED
    )

    assert [one.row.pk for one in found] == [back.pk]
