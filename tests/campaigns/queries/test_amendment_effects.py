"""What an amendment would touch, said before it is applied."""

import pytest

from campaigns.queries.amendment_effects import Pieces, effects_of
from campaigns.rules.lifecycle import Change, RoundState
from dealership.models import Store
from inventory.rules.accounts import ReservationState
from tests.factories.campaigns import (
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    LetterFactory,
    LetterRoundFactory,
    MatchedChangeFactory,
    RepairFactory,
    VariantFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory, ReservationFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.rules.standing import Standing


pytestmark = pytest.mark.django_db


@pytest.fixture
def version():
    return CriteriaVersionFactory.create()


def standing(version, change):
    """Give a vehicle of the campaign about which a match would change something."""
    row = CampaignVehicleFactory.create(campaign=version.campaign)
    MatchedChangeFactory.create(version=version, vehicle=row.vehicle, change=change)
    return row


def held(job, part, quantity, state=ReservationState.PROMISED):
    ReservationFactory.create(
        subject=job.subject, part=part, quantity=quantity, state=state
    )


def test_visits_with_their_pieces_repairs_and_letters_are_counted(version):
    part = PartFactory.create(number="7-440", name="Clamp")
    variant = VariantFactory.create(remedy__campaign=version.campaign)
    for _n in range(2):
        job = VisitJobFactory.create(
            campaign_vehicle=standing(version, Change.REMOVE), variant=variant
        )
        held(job, part, 2)
        held(job, part, 3, ReservationState.LAPSED)
    missed = VisitJobFactory.create(
        campaign_vehicle=standing(version, Change.REMOVE), variant=variant, live=False
    )
    held(missed, part, 5)
    for done in (False, True):
        RepairFactory.create(
            campaign_vehicle=standing(version, Change.REMOVE),
            variant=variant,
            done=done,
        )
    for state, posted in ((RoundState.PRINTED, None), (RoundState.POSTED, TODAY)):
        LetterFactory.create(
            letter_round=LetterRoundFactory.create(
                campaign=version.campaign, state=state, store=StoreFactory.create()
            ),
            campaign_vehicle=standing(version, Change.REMOVE),
            posted_on=posted,
        )
    other = VisitJobFactory.create(
        campaign_vehicle=standing(version, Change.CONFIRM), variant=variant
    )
    held(other, part, 7)
    (effects,) = effects_of(version).values()
    assert effects.change is Change.REMOVE
    assert (effects.vehicles, effects.visits, effects.repairs) == (7, 2, 1)
    assert effects.pieces == (Pieces("7-440", "Clamp", 4),)
    assert (effects.unposted, effects.posted, effects.own) == (1, 1, 0)
    assert effects.touches


def test_own_stock_that_comes_in_is_told_apart(version):
    store = Store.objects.first() or StoreFactory.create()
    for where in (Standing.CUSTOMER, Standing.NEW):
        MatchedChangeFactory.create(
            version=version,
            vehicle=VehicleFactory.create(store=store, standing=where),
            change=Change.ADD,
        )
    found = effects_of(version)
    assert list(found) == ["add"]
    assert (found["add"].vehicles, found["add"].own) == (2, 1)


def test_where_nothing_hangs_on_the_vehicles_nothing_is_said(version):
    standing(version, Change.TO_VERIFY)
    assert not effects_of(version)["to_verify"].touches
    assert effects_of(CriteriaVersionFactory.create()) == {}
