"""What owners say is kept once, and followed by vehicle, owner and address."""

import datetime as dt

import pytest

from campaigns.domain.contacts import NobodyKnown, Told, record_contact
from campaigns.domain.lifecycle import DayAhead, MoveNotAllowed
from campaigns.models import Contact
from campaigns.rules.lifecycle import ContactChannel, OwnerAnswer, Reach, WorkState
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory
from tests.factories.vehicles import AddressFactory, TenureFactory
from vehicles.domain.people import AddressIncomplete, Place


pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - dt.timedelta(days=1)
NEW = Place(street="9 Larch Row", city="Tannersby", region="IL", postal_code="60004")


@pytest.fixture
def row():
    """Give an open vehicle whose owner has had it for a year."""
    made = CampaignVehicleFactory.create()
    tenure = TenureFactory.create(
        vehicle=made.vehicle,
        since=TODAY - dt.timedelta(days=365),
        party__store=made.store,
    )
    AddressFactory.create(party=tenure.party)
    return made


def party_of(row):
    return row.vehicle.tenures.order_by("pk").first().party


def say(row, answer, *, key="k", on=YESTERDAY, party="owner", **more):
    return record_contact(
        key=key,
        campaign_vehicle=row,
        party=party_of(row) if party == "owner" else party,
        told=Told(channel=ContactChannel.SLIP, answer=answer, on=on, **more),
        by=StaffFactory.create(),
        at=NOW,
    )


def test_the_same_key_is_the_same_contact(row):
    first = say(row, OwnerAnswer.TOLD, note="Calls on Monday.")

    assert say(row, OwnerAnswer.DECLINED) == first
    assert Contact.objects.get().note == "Calls on Monday."


@pytest.mark.parametrize(
    ("answer", "reach"),
    [
        (OwnerAnswer.SCRAPPED, Reach.SCRAPPED),
        (OwnerAnswer.EXPORTED, Reach.EXPORTED),
        (OwnerAnswer.STOLEN, Reach.STOLEN),
    ],
)
def test_a_vehicle_that_is_gone(row, answer, reach):
    say(row, answer)

    row.refresh_from_db()
    fact = row.reach_facts.get()
    assert (row.reach, fact.effective_on) == (reach, YESTERDAY)
    assert fact.source == "the owner, slip from the letter"


def test_done_elsewhere(row):
    say(row, OwnerAnswer.DONE_ELSEWHERE)

    row.refresh_from_db()
    assert row.work_state == WorkState.REMEDIED_ELSEWHERE
    with pytest.raises(MoveNotAllowed):
        say(row, OwnerAnswer.DONE_ELSEWHERE, key="again")
    assert Contact.objects.count() == 1


def test_sold_to_somebody_unknown_ends_the_tenure(row):
    say(row, OwnerAnswer.SOLD)

    assert row.vehicle.tenures.get().until == YESTERDAY


def test_sold_to_somebody_named_begins_a_tenure(row):
    seller = party_of(row)
    say(row, OwnerAnswer.SOLD, new_owner="Ilse Varga", place=NEW)

    buyer = row.vehicle.tenures.get(until=None)
    assert (buyer.party.name, buyer.since) == ("Ilse Varga", YESTERDAY)
    assert buyer.party.addresses.get().street == "9 Larch Row"
    assert row.vehicle.tenures.get(party=seller).until is not None


def test_moved_and_no_letters_go_to_the_person(row):
    with pytest.raises(AddressIncomplete):
        say(row, OwnerAnswer.MOVED)
    say(row, OwnerAnswer.MOVED, place=NEW)
    say(row, OwnerAnswer.NO_LETTERS, key="quiet")

    party = party_of(row)
    assert party.addresses.get(current=True).street == "9 Larch Row"
    assert party.do_not_write


def test_what_is_about_a_person_wants_one(row):
    with pytest.raises(NobodyKnown):
        say(row, OwnerAnswer.SOLD, party=None)
    say(row, OwnerAnswer.SCRAPPED, party=None)
    assert Contact.objects.get().party is None


def test_a_day_ahead_is_refused(row):
    with pytest.raises(DayAhead):
        say(row, OwnerAnswer.SOLD, on=TODAY + dt.timedelta(days=1))
