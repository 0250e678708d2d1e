"""What is known of a person changes; what was known before stays in its row."""

import datetime as dt

import pytest

from tests.factories.dealership import NOW, TODAY, StaffFactory
from tests.factories.vehicles import AddressFactory, PartyFactory, TenureFactory
from vehicles.domain.people import (
    AddressIncomplete,
    Place,
    change_address,
    end_tenures,
    stop_letters,
    trust_address,
)
from vehicles.models import Address


pytestmark = pytest.mark.django_db
NEW = Place(street="9 Larch Row", city="Tannersby", region="IL", postal_code="60004")


def by():
    return {"by": StaffFactory.create(), "at": NOW}


def test_the_new_address_is_current_and_the_old_one_stays():
    old = AddressFactory.create()

    new = change_address(party=old.party, place=NEW, on=TODAY, **by())

    old.refresh_from_db()
    assert (old.current, new.current, new.since) == (False, True, TODAY)
    assert (new.source, new.only_for) == ("own_customer", "")


def test_the_same_place_again_is_the_same_row_and_may_be_written_to():
    old = AddressFactory.create()
    first = change_address(party=old.party, place=NEW, on=TODAY, **by())
    Address.objects.filter(pk=first.pk).update(undeliverable_on=TODAY)

    again = change_address(party=old.party, place=NEW, on=TODAY, **by())

    assert (again.pk, again.undeliverable_on) == (first.pk, None)
    assert old.party.addresses.filter(current=True).get() == again


@pytest.mark.parametrize("field", ["street", "city", "postal_code"])
def test_an_address_that_no_letter_can_go_to_is_refused(field):
    facts = {"street": "9 Larch Row", "city": "Tannersby", "postal_code": "60004"}
    old = AddressFactory.create()

    with pytest.raises(AddressIncomplete):
        change_address(
            party=old.party, place=Place(**facts | {field: " "}), on=TODAY, **by()
        )
    old.refresh_from_db()
    assert old.current


def test_a_shut_address_is_opened_again():
    address = AddressFactory.create(undeliverable_on=TODAY, undeliverable_why="away")

    trust_address(address=address, **by())

    address.refresh_from_db()
    assert (address.undeliverable_on, address.undeliverable_why) == (None, "")


def test_died_and_wants_no_letters_are_two_things():
    dead = stop_letters(party=PartyFactory.create(), deceased=True, **by())
    quiet = stop_letters(party=PartyFactory.create(), deceased=False, **by())

    assert (dead.deceased, dead.do_not_write) == (True, False)
    assert (quiet.deceased, quiet.do_not_write) == (False, True)


def test_tenures_end_on_the_day_and_not_before_they_began():
    tenure = TenureFactory.create(since=TODAY - dt.timedelta(days=9))
    late = TenureFactory.create(
        vehicle=tenure.vehicle, party=tenure.party, role="lessee", since=TODAY
    )
    day = TODAY - dt.timedelta(days=2)
    facts = {"vehicle": tenure.vehicle, "party": tenure.party, "on": day, **by()}

    assert end_tenures(**facts) == 2
    assert end_tenures(**facts) == 0
    tenure.refresh_from_db()
    late.refresh_from_db()
    assert (tenure.until, late.until) == (day, TODAY)
