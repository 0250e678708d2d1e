"""A letter that came back is booked once, decided once, and written again."""

import datetime as dt

import pytest

from campaigns.domain import letter_returns, letters
from campaigns.domain.lifecycle import DayAhead
from campaigns.models import LetterRound, ReachFact
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.lifecycle import Reach, ReturnStep, RoundKind, RoundScope
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    LetterFactory,
    LetterRoundFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.vehicles import AddressFactory, TenureFactory, VehicleFactory
from vehicles.domain.people import AddressIncomplete, Place


pytestmark = pytest.mark.django_db
NEW = Place(street="9 Larch Row", city="Tannersby", region="IL", postal_code="60004")
POSTED = TODAY - dt.timedelta(days=20)


@pytest.fixture
def letter():
    """Give a posted letter to the owner of an open vehicle."""
    campaign, store = CampaignFactory.create(letters_on=None), StoreFactory.create()
    row = CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store)
    )
    party = TenureFactory.create(vehicle=row.vehicle).party
    return LetterFactory.create(
        letter_round=LetterRoundFactory.create(
            campaign=campaign, store=store, state="posted"
        ),
        campaign_vehicle=row,
        party=party,
        address=AddressFactory.create(party=party),
        posted_on=POSTED,
    )


def back(letter, why=ReturnReason.MOVED, on=TODAY):
    return letter_returns.book_return(
        letter=letter, why=why, on=on, by=StaffFactory.create(), at=NOW
    )


def settle(letter, step, place=None):
    return letter_returns.settle_return(
        letter=letter,
        step=step,
        place=place,
        on=TODAY,
        by=StaffFactory.create(),
        at=NOW,
    )


def again(letter, key="again"):
    return letters.draw_up_round(
        key=key,
        campaign=letter.letter_round.campaign,
        store=letter.letter_round.store,
        kind=RoundKind.FIRST,
        scope=RoundScope.RETURNED,
        today=TODAY,
        by=StaffFactory.create(),
        at=NOW,
    )


def test_is_booked_once_and_shuts_a_wrong_address(letter):
    booked = back(letter)

    assert (booked.returned_on, booked.returned_why) == (TODAY, "moved")
    assert back(letter, ReturnReason.REFUSED).returned_why == "moved"
    letter.address.refresh_from_db()
    assert letter.address.undeliverable_why == "moved"


def test_a_right_address_stays_open(letter):
    back(letter, ReturnReason.UNCLAIMED)

    letter.address.refresh_from_db()
    assert letter.address.undeliverable_on is None


def test_what_cannot_be_is_refused(letter):
    with pytest.raises(letter_returns.ReturnBeforePost):
        back(letter, on=POSTED - dt.timedelta(days=1))
    with pytest.raises(DayAhead):
        back(letter, on=TODAY + dt.timedelta(days=1))
    with pytest.raises(letter_returns.LetterNotBack):
        settle(letter, ReturnStep.SAME_ADDRESS)
    letter.posted_on = None
    letter.save()
    with pytest.raises(letter_returns.LetterNotOut):
        back(letter)


def test_is_written_again_to_the_new_address(letter):
    back(letter)
    made = again(letter)
    assert made.omissions.get().reason == "undeliverable"
    LetterRound.objects.filter(pk=made.pk).update(state="cancelled")

    with pytest.raises(AddressIncomplete):
        settle(letter, ReturnStep.NEW_ADDRESS)
    settle(letter, ReturnStep.NEW_ADDRESS, NEW)

    assert again(letter, "once more").letters.get().address.street == "9 Larch Row"


def test_the_same_address_after_all_is_written_to_again(letter):
    back(letter)
    settle(letter, ReturnStep.SAME_ADDRESS)

    assert again(letter).letters.get().address == letter.address


def test_not_reached_is_a_persons_decision_with_its_source(letter):
    back(letter)
    assert letter.campaign_vehicle.reach == Reach.REACHABLE

    settle(letter, ReturnStep.NOT_REACHED)

    fact = ReachFact.objects.get()
    assert (fact.reach, fact.effective_on) == (Reach.NOT_NOTIFIED, TODAY)
    assert letter.code in fact.source
    assert again(letter).omissions.get().reason == "out_of_reach"


@pytest.mark.parametrize(
    ("why", "field"),
    [(ReturnReason.DECEASED, "deceased"), (ReturnReason.REFUSED, "do_not_write")],
)
def test_no_more_post(letter, why, field):
    back(letter, why)

    settle(letter, ReturnStep.NO_MORE_POST)

    letter.party.refresh_from_db()
    assert getattr(letter.party, field)
    assert again(letter).omissions.get().reason == field


def test_is_decided_once(letter):
    back(letter)
    settle(letter, ReturnStep.SAME_ADDRESS)

    assert settle(letter, ReturnStep.SAME_ADDRESS).return_step == "same_address"
    with pytest.raises(letter_returns.ReturnSettled):
        settle(letter, ReturnStep.NOT_REACHED)
