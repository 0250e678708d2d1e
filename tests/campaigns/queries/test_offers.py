"""What is offered is spoken for, whatever door a piece would leave by."""

import pytest

from campaigns.domain.requests import offer_waiting
from campaigns.queries.offers import offered_pieces
from inventory.domain.givingback import prepare_return
from inventory.domain.selling import sell_pieces
from inventory.domain.spare import OfferedToOthers
from inventory.domain.transferring import send_pieces
from inventory.models import Balance
from tests.factories.campaigns import PartRequestFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


def wait_for(campaign, store):
    return PartRequestFactory.create(campaign_vehicle=open_vehicle(campaign, store))


def offer(store):
    return offer_waiting(store=store, by=None, at=NOW, today=TODAY)


def test_own_pocket_first_then_the_common_stock_old_before_new(store):
    new = PartFactory.create()
    old = PartFactory.create(superseded_by=new)
    campaign = campaign_with_remedy(new)
    own = campaign.earmark
    put_on_shelf(store, new, 1, own)
    put_on_shelf(store, old, 1)
    put_on_shelf(store, new, 5)
    for _number in range(3):
        wait_for(campaign, store)
    assert offered_pieces(store, [old.pk, new.pk], TODAY) == {}, "nothing offered yet"
    assert len(offer(store)) == 3

    assert offered_pieces(store, [old.pk, new.pk], TODAY) == {
        (new.pk, own.pk): 1,
        (old.pk, None): 1,
        (new.pk, None): 1,
    }
    assert offered_pieces(store, [PartFactory.create().pk], TODAY) == {}


def sell(store, part, pieces):
    return sell_pieces(
        key="s", store=store, part=part, earmark=None, quantity=pieces, ticket="T-7",
        by=None, at=NOW,
    )  # fmt: skip


def send(store, part, pieces):
    return send_pieces(
        key="t", store=store, to_store=StoreFactory.create(), earmark=None,
        lines={part: pieces}, expected_on=TODAY, by=None, at=NOW,
    )  # fmt: skip


def give_back(store, part, pieces):
    return prepare_return(
        key="r", store=store, supplier=part.supplier, earmark=None,
        lines={part: pieces}, last_date=None, restocking_basis_points=0,
        by=None, at=NOW,
    )  # fmt: skip


@pytest.mark.parametrize("leave", [sell, send, give_back])
def test_what_is_offered_stays(store, leave):
    part = PartFactory.create()
    wait_for(campaign_with_remedy(part), store)
    put_on_shelf(store, part, 3)
    offer(store)

    with pytest.raises(OfferedToOthers) as refused:
        leave(store, part, 3)
    assert (refused.value.spare, refused.value.kept) == (2, 1)
    assert Balance.objects.get(store=store).free == 3

    leave(store, part, 2)
    assert Balance.objects.get(store=store).free == 1
