"""Shelves with pieces on them, and vehicles that a campaign waits for."""

import datetime as dt
import itertools

from campaigns.models import Campaign, CampaignVehicle, Remedy, Variant
from dealership.models import Store
from inventory.domain.ledger import Line, post
from inventory.models import Earmark, Part, Shipment
from inventory.rules.accounts import Account, MovementKind
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    RemedyFactory,
    VariantFactory,
    VariantLabourFactory,
    VariantPartFactory,
)
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import (
    CostLayerFactory,
    PartFactory,
    ShipmentFactory,
    ShipmentLineFactory,
)
from tests.factories.vehicles import VehicleFactory


_KEYS = itertools.count(1)


def put_on_shelf(
    store: Store, part: Part, quantity: int, earmark: Earmark | None = None
) -> None:
    """Receive good pieces into one pocket, through the books."""
    layer = CostLayerFactory.create(
        store=store, part=part, earmark=earmark, quantity=quantity
    )
    post(
        key=f"shelf-{next(_KEYS)}",
        kind=MovementKind.RECEIVE,
        store=store,
        lines=[
            Line(
                part=part,
                earmark=earmark,
                source=Account.SUPPLIER,
                target=Account.FREE,
                quantity=quantity,
                layer=layer,
            )
        ],
        by=None,
        at=NOW,
        effective_on=TODAY,
    )


def announce(
    store: Store,
    part: Part,
    quantity: int,
    *,
    on: dt.date,
    earmark: Earmark | None = None,
) -> Shipment:
    """Let a delivery be on its way."""
    shipment = ShipmentFactory.create(store=store, earmark=earmark, expected_on=on)
    ShipmentLineFactory.create(shipment=shipment, part=part, sent=quantity)
    return shipment


def campaign_with_remedy(*parts: Part, pieces: int = 1, **facts: object) -> Campaign:
    """Make a running campaign whose one variant takes these parts."""
    campaign = CampaignFactory.create(**facts)
    remedy = RemedyFactory.create(campaign=campaign)
    variant_with_parts(remedy, *parts or (PartFactory.create(),), pieces=pieces)
    return campaign


def variant_with_parts(remedy: Remedy, *parts: Part, pieces: int = 1) -> Variant:
    """Add a variant that takes so many pieces of each part."""
    variant = VariantFactory.create(remedy=remedy)
    VariantLabourFactory.create(variant=variant)
    for part in parts:
        VariantPartFactory.create(variant=variant, part=part, quantity=pieces)
    return variant


def open_vehicle(campaign: Campaign, store: Store, **facts: object) -> CampaignVehicle:
    """Make a vehicle of the store that is open in the campaign."""
    return CampaignVehicleFactory.create(
        campaign=campaign, vehicle=VehicleFactory.create(store=store), **facts
    )
