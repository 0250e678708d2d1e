"""The group: three stores, their people, parts, vehicles and campaigns, all invented."""

import datetime as dt
import random
from dataclasses import dataclass, field

from campaigns.domain.amending import save_criterion
from campaigns.domain.announcing import CampaignFacts, enter_campaign
from campaigns.domain.applying import ask_apply
from campaigns.domain.matching import ask_match
from campaigns.domain.remedies_entry import save_line, save_variant
from campaigns.models import Campaign, Criterion, Variant, VariantLabour, VariantPart
from campaigns.rules.lifecycle import CampaignClass, Payer
from dealership.domain.jobs import run_waiting
from dealership.models import StaffMember, Store
from dealership.rules.roles import Role
from inventory.models import Part, Supplier
from tests.factories.dealership import StoreFactory, make_staff
from tests.factories.inventory import PartFactory, SupplierFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.models import Vehicle


FIRST_DAY = dt.date(2025, 6, 2)
HANDLING_BASIS_POINTS = 3_000


@dataclass(frozen=True)
class Size:
    """How long it goes, and how many vehicles of each line a store knows."""

    days: int
    vehicles: int
    campaigns: int
    asks_within: int
    """Days after a campaign begins in which its owners ask."""


SIZES = {
    "small": Size(days=30, vehicles=4, campaigns=3, asks_within=14),
    "full": Size(days=548, vehicles=25, campaigns=6, asks_within=240),
}


@dataclass(frozen=True)
class Design:
    """One campaign: when it begins (share of all days), of which line, with which parts.

    ``parts``: number, pieces a vehicle, who pays. ``batch``: pieces sent for each piece
    that the vehicles want.
    """

    code: str
    title: str
    begins: float
    line: str
    kind: CampaignClass
    parts: tuple[tuple[str, int, Payer], ...]
    batch: float
    odometer_limit: int | None = None


MAKER, STORE, CUSTOMER = Payer.MANUFACTURER, Payer.STORE, Payer.CUSTOMER
PARTS = {
    "OW-70101": ("Seat rail bracket", 6_410),
    "OW-70102": ("Bolt set", 333),
    "OW-70201": ("Door seal", 1_825),
    "OW-70202": ("Washer hose", 4_107),
    "OW-70301": ("Level sensor", 12_099),
    "OW-70302": ("Level sensor, second form", 12_450),
}
SUPERSEDED = ("OW-70301", "OW-70302")
DESIGNS = (
    Design(
        code="SR1",
        title="Seat rail bracket",
        begins=0.0,
        line="Corvane",
        kind=CampaignClass.SAFETY,
        parts=(("OW-70101", 1, MAKER), ("OW-70102", 2, MAKER)),
        batch=0.5,
    ),
    Design(
        code="DS2",
        title="Door seal",
        begins=0.02,
        line="Pellan",
        kind=CampaignClass.SATISFACTION,
        parts=(("OW-70201", 1, MAKER), ("OW-70102", 1, STORE)),
        batch=1.2,
        odometer_limit=60_000,
    ),
    Design(
        code="WH3",
        title="Washer hose and seal",
        begins=0.08,
        line="Corvane",
        kind=CampaignClass.SERVICE_ACTION,
        parts=(("OW-70201", 2, MAKER), ("OW-70202", 1, CUSTOMER)),
        batch=0.4,
    ),
    Design(
        code="LS4",
        title="Level sensor",
        begins=0.2,
        line="Tresk",
        kind=CampaignClass.EMISSIONS,
        parts=(("OW-70301", 1, MAKER),),
        batch=0.6,
    ),
    Design(
        code="WH5",
        title="Washer hose",
        begins=0.4,
        line="Pellan",
        kind=CampaignClass.SAFETY,
        parts=(("OW-70202", 1, MAKER),),
        batch=0.3,
    ),
    Design(
        code="SR6",
        title="Seat rail bracket, second series",
        begins=0.6,
        line="Tresk",
        kind=CampaignClass.SAFETY,
        parts=(("OW-70101", 2, MAKER),),
        batch=0.8,
    ),
)


@dataclass
class Stage:
    """Who is there."""

    stores: list[Store]
    supplier: Supplier
    parts: dict[str, Part]
    vehicles: list[Vehicle]
    staff: dict[int, dict[Role, StaffMember]]
    campaigns: dict[str, Campaign] = field(default_factory=dict)


def moment(day: dt.date, hour: int = 9, minute: int = 0) -> dt.datetime:
    """Give an hour of a day, as the stores' clocks show it in winter."""
    return dt.datetime.combine(
        day, dt.time(hour, minute), tzinfo=dt.timezone(dt.timedelta(hours=-6))
    )


def furnish(size: Size, chance: random.Random) -> Stage:
    """Make stores, people, parts and vehicles; no campaign yet."""
    stores = [
        StoreFactory.create(
            code=code,
            name=f"{name} Motors",
            labour_rate_cents=14_250,
            parts_handling_basis_points=HANDLING_BASIS_POINTS,
        )
        for code, name in (
            ("HAR", "Harrow Lane"),
            ("TAN", "Tannersby"),
            ("OST", "Ostby"),
        )
    ]
    supplier = SupplierFactory.create(code="OSTBY", name="Ostby Works")
    parts = {
        number: PartFactory.create(
            number=number,
            name=name,
            supplier=supplier,
            unit_cost_cents=cents,
            lead_days=chance.randint(4, 12),
        )
        for number, (name, cents) in PARTS.items()
    }
    vehicles = [
        VehicleFactory.create(
            store=store, line=line, odometer=chance.randrange(20_000, 75_000)
        )
        for store in stores
        for line in ("Corvane", "Pellan", "Tresk")
        for _each in range(size.vehicles)
    ]
    roles = (Role.PARTS_MANAGER, Role.SERVICE_MANAGER, Role.TECHNICIAN, Role.OFFICE)
    staff = {
        store.pk: {role: make_staff(role, store) for role in roles} for store in stores
    }
    return Stage(stores, supplier, parts, vehicles, staff)


def open_campaign(stage: Stage, design: Design, *, day: dt.date, days: int) -> Campaign:
    """Enter a campaign, its remedy and criteria, and match it, as people do."""
    store = stage.stores[0]
    by, at = stage.staff[store.pk][Role.SERVICE_MANAGER], moment(day, 7)
    campaign = enter_campaign(
        code=design.code,
        facts=CampaignFacts(
            maker="Ostby Works",
            maker_number=f"OW25-{design.code}",
            title=design.title,
            campaign_class=design.kind,
            announced_on=day,
            claims_until=day + dt.timedelta(days=days),
            returns_until=day + dt.timedelta(days=days // 2 + 1),
            restocking_basis_points=1_500,
            odometer_limit=design.odometer_limit,
        ),
        supplier=stage.supplier,
        by=by,
        at=at,
    )
    variant = save_variant(
        campaign=campaign,
        variant=Variant(code="A", title=design.title, position=1),
        conditions=[],
        by=by,
        at=at,
    )
    lines: list[VariantPart | VariantLabour] = [
        VariantPart(part=stage.parts[number], quantity=pieces, payer=payer)
        for number, pieces, payer in design.parts
    ]
    lines.append(
        VariantLabour(
            operation=f"{design.code}-01", title=design.title, hundredths_of_hour=70
        )
    )
    for line in lines:
        save_line(variant=variant, line=line, by=by, at=at)
    save_criterion(
        campaign=campaign,
        criterion=Criterion(include=True, lines=[design.line]),
        by=by,
        at=at,
    )
    version = ask_match(campaign=campaign, store=store, by=by, at=at)
    run_waiting(clock=lambda: at)
    version.refresh_from_db()
    ask_apply(version=version, why="First match", store=store, by=by, at=at)
    run_waiting(clock=lambda: at)
    campaign.refresh_from_db()
    stage.campaigns[design.code] = campaign
    return campaign
