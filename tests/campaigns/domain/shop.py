"""A store with parts on its shelves and one campaign, for tests of the workshop."""

import datetime as dt
import itertools
from dataclasses import dataclass, field
from decimal import Decimal

from campaigns.domain.repairs import complete_repair, open_repair, record_reading
from campaigns.models import Campaign, CampaignVehicle, Repair, Variant
from campaigns.rules.lifecycle import Outcome, Payer
from dealership.models import StaffMember, Store
from dealership.rules.roles import Role
from inventory.domain.billing import BilledLine, enter_bill
from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.models import CostLayer, Part
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    RemedyFactory,
    VariantCheckFactory,
    VariantFactory,
    VariantLabourFactory,
    VariantPartFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.vehicles import VehicleFactory


KEYS = (f"key-{number}" for number in itertools.count(1))


def put_on_shelf(
    *,
    store: Store,
    part: Part,
    pieces: int,
    cents: int,
    campaign: Campaign | None = None,
    on: dt.date = TODAY,
) -> CostLayer:
    """Bill pieces and put them on the free shelf, through the books."""
    earmark = campaign.earmark if campaign else None
    bill = enter_bill(
        store=store,
        supplier=part.supplier,
        number=next(KEYS),
        dated=on,
        lines=[BilledLine(part=part, quantity=pieces, unit_cost_cents=cents)],
        by=None,
        at=NOW,
        earmark=earmark,
    )
    slip = announce_shipment(
        store=store,
        supplier=part.supplier,
        number=next(KEYS),
        lines=[SentLine(part=part, quantity=pieces, bill_line=bill.lines.get())],
        announced_on=on,
        expected_on=on,
        bill=bill,
        earmark=earmark,
        by=None,
        at=NOW,
    )
    receive_shipment(
        key=next(KEYS),
        shipment=slip,
        counts={slip.lines.get().pk: Counted(good=pieces, damaged=0, bin_code="A-1")},
        by=None,
        at=NOW,
    )
    return CostLayer.objects.filter(store=store, part=part).latest("pk")


@dataclass
class Shop:
    """One store, one campaign with a remedy of one part and one hour of labour."""

    store: Store = field(
        default_factory=lambda: StoreFactory.create(
            labour_rate_cents=14_250, parts_handling_basis_points=3_000
        )
    )
    pieces_each: int = 2
    hundredths: int = 70
    cents: int = 1_825
    payer: Payer = Payer.MANUFACTURER

    def __post_init__(self) -> None:
        self.staff: StaffMember = make_staff(Role.TECHNICIAN, self.store)
        self.campaign: Campaign = CampaignFactory.create()
        self.part: Part = PartFactory.create(unit_cost_cents=self.cents)
        remedy = RemedyFactory.create(campaign=self.campaign)
        self.variant: Variant = VariantFactory.create(remedy=remedy)
        VariantPartFactory.create(
            variant=self.variant,
            part=self.part,
            quantity=self.pieces_each,
            payer=self.payer,
        )
        VariantLabourFactory.create(
            variant=self.variant, hundredths_of_hour=self.hundredths, payer=self.payer
        )

    def shelf(self, pieces: int, **facts: object) -> CostLayer:
        """Put pieces of the campaign's part on the shelf, set apart for it."""
        wanted = {"campaign": self.campaign, "cents": self.cents, **facts}
        return put_on_shelf(store=self.store, part=self.part, pieces=pieces, **wanted)

    def check(self, **facts: object):
        """Add a check to the variant: torque from 42 to 48 Nm."""
        return VariantCheckFactory.create(variant=self.variant, **facts)

    def row(self, **facts: object) -> CampaignVehicle:
        """Add an open vehicle to the campaign."""
        vehicle = VehicleFactory.create(store=self.store)
        return CampaignVehicleFactory.create(
            campaign=self.campaign, vehicle=vehicle, **facts
        )

    def open(self, row: CampaignVehicle | None = None, **facts: object) -> Repair:
        """Open a walk-in."""
        wanted = {"key": next(KEYS), "variant": self.variant, **facts}
        return open_repair(
            store=self.store,
            campaign_vehicle=row or self.row(),
            technician=self.staff,
            by=self.staff,
            at=NOW,
            **wanted,
        )

    def measure(self, repair: Repair, check, value: str, **facts: object):
        """Record one attempt at a check."""
        wanted = {"unit": check.unit, **facts}
        return record_reading(
            repair=repair,
            check=check,
            value=Decimal(value),
            by=self.staff,
            at=NOW,
            **wanted,
        )

    def complete(self, repair: Repair | None = None, **facts: object) -> Repair:
        """Sign a repair off as remedied, with the planned pieces."""
        wanted = {
            "key": next(KEYS),
            "outcome": Outcome.REMEDIED,
            "used": {self.part: self.pieces_each},
            "odometer": 41_500,
            "done_on": TODAY,
            **facts,
        }
        return complete_repair(
            repair=repair or self.open(), by=self.staff, at=NOW, **wanted
        )
