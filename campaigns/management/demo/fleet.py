"""The stores, their people, and some four thousand vehicles with their owners."""

from __future__ import annotations

import datetime as dt
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

from campaigns.management.demo import people, scenario
from dealership.models import Post, StaffMember, Store
from inventory.models import BinLocation, Part, Supplier
from vehicles.models import Address, Party, Tenure, Vehicle
from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
    VehicleKind,
)
from vehicles.rules.vin import check_digit


if TYPE_CHECKING:
    from random import Random

YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
FIRST_CODED_YEAR = 2010
OLDEST_DAYS = 3_600
MILES_A_DAY = (18, 44)
CHUNK = 800


@dataclass(frozen=True)
class Cast:
    """Who is on the stage."""

    stores: dict[str, Store]
    staff: dict[str, StaffMember]
    parts: dict[str, Part]
    supplier: Supplier


def make_cast() -> Cast:
    """Make stores, people with one post each, parts and bins."""
    stores = {
        shop.code: Store.objects.create(
            code=shop.code,
            name=shop.name,
            street=shop.street,
            city=shop.city,
            region=shop.region,
            postal_code=shop.postal_code,
            phone=shop.phone,
            email=f"service@{shop.city.lower().replace(' ', '')}.example",
            letter_signed_by=shop.signed_by,
            labour_rate_cents=14_250,
            second_visit_cents=9_000,
            labour_margin_cents=5_500,
            order_cost_cents=1_200,
            return_freight_cents=2_500,
        )
        for shop in scenario.SHOPS
    }
    supplier = Supplier.objects.create(code="VEXHOLM", name=scenario.MAKER)
    parts = {
        one.number: Part.objects.create(
            number=one.number,
            name=one.name,
            supplier=supplier,
            unit_cost_cents=one.cents,
            pack=one.pack,
            minimum_order=one.minimum,
            lead_days=one.lead_days,
        )
        for one in scenario.PARTS
    }
    BinLocation.objects.bulk_create(
        BinLocation(store=store, code=f"{row}-{shelf:02}")
        for store in stores.values()
        for row in "ABC"
        for shelf in range(1, 9)
    )
    return Cast(stores=stores, staff=_people(stores), parts=parts, supplier=supplier)


def _people(stores: dict[str, Store]) -> dict[str, StaffMember]:
    first = next(iter(stores.values()))
    found = {}
    for name, given, family, role in scenario.PEOPLE:
        everywhere = role in scenario.IN_ALL_STORES
        person = StaffMember(
            username=name,
            first_name=given,
            last_name=family,
            in_all_stores=everywhere,
            is_staff=name == "admin",
            is_superuser=name == "admin",
        )
        person.set_password(scenario.PASSWORD)
        person.save()
        for store in stores.values() if everywhere else [first]:
            Post.objects.create(staff=person, store=store, role=role)
        found[name] = person
    return found


def make_vehicles(
    *, random: Random, cast: Cast, count: int, today: dt.date, at: dt.datetime
) -> list[Vehicle]:
    """Make vehicles of all lines, spread over the stores, with owners and addresses.

    A few have facts missing (so that something is to be verified), a few stand in the
    stores' own stock, some belong to firms, some owners get no letters.
    """
    codes = [shop.code for shop in scenario.SHOPS]
    shares = [shop.share for shop in scenario.SHOPS]
    made = [
        _vehicle(random, cast.stores[random.choices(codes, shares)[0]], n, today, at)
        for n in range(1, count + 1)
    ]
    vehicles = Vehicle.objects.bulk_create(made, batch_size=CHUNK)
    _owners(random, vehicles, today)
    return vehicles


def _vehicle(
    random: Random, store: Store, number: int, today: dt.date, at: dt.datetime
) -> Vehicle:
    line = random.choices(scenario.LINES, [one.weight for one in scenario.LINES])[0]
    plant, plant_code = random.choice(line.plants)
    age = int(random.triangular(20, OLDEST_DAYS, 900))
    built = today - dt.timedelta(days=age)
    year = built.year + (1 if built.month >= 8 else 0)  # noqa: PLR2004 (August)
    head = f"{scenario.MAKER_CODE}{line.attributes}"
    tail = f"{YEAR_CODES[(year - FIRST_CODED_YEAR) % 30]}{plant_code}{number + 100_000}"
    vin = f"{head}{check_digit(f'{head}0{tail}')}{tail}"
    new = age < 90 and random.random() < 0.7  # noqa: PLR2004 (stock turns in 90 days)
    first_use = None if new else built + dt.timedelta(days=random.randrange(15, 90))
    if first_use and first_use >= today:
        first_use = today - dt.timedelta(days=1)
    unclear = random.random() < 0.015  # noqa: PLR2004 (a rare gap in the file)
    return Vehicle(
        vin=vin,
        store=store,
        kind=VehicleKind.LIGHT,
        model_year=year,
        line=line.name,
        engine=random.choice(line.engines),
        plant="" if unclear else plant,
        serial=tail[2:],
        build_date=None if unclear and random.random() < 0.5 else built,  # noqa: PLR2004
        first_use_date=first_use,
        odometer=_miles(random, first_use, today),
        odometer_on=None if new else today - dt.timedelta(days=random.randrange(300)),
        plate=""
        if new
        else f"{random.choice('HJKLMNPRST')}{_letters(random)} {number:04}",
        standing=_standing(random, new=new),
        created_at=at,
        changed_at=at,
    )


def _letters(random: Random) -> str:
    return "".join(random.choice("ABCDEFGHJKLMNPRSTUVWXYZ") for _ in range(2))


def _miles(random: Random, first_use: dt.date | None, today: dt.date) -> int:
    if first_use is None:
        return random.randrange(4, 60)
    return (today - first_use).days * random.randint(*MILES_A_DAY) + 40


def _standing(random: Random, *, new: bool) -> Standing:
    if new:
        return Standing.NEW
    others = [Standing.CUSTOMER, Standing.USED, Standing.LOANER, Standing.RENTAL]
    return random.choices(others, [960, 25, 8, 7])[0]


def _owners(random: Random, vehicles: list[Vehicle], today: dt.date) -> None:
    parties: list[Party] = []
    owned: list[Vehicle] = []
    for vehicle in vehicles:
        if vehicle.standing != Standing.CUSTOMER or random.random() < 0.006:  # noqa: PLR2004
            continue
        owned.append(vehicle)
        parties.append(_party(random, vehicle.store))
    Party.objects.bulk_create(parties, batch_size=CHUNK)
    Address.objects.bulk_create(
        [
            _address(random, party, vehicle, today)
            for party, vehicle in zip(parties, owned, strict=True)
            if random.random() > 0.012  # noqa: PLR2004 (a few have no address)
        ],
        batch_size=CHUNK,
    )
    Tenure.objects.bulk_create(
        [
            Tenure(
                vehicle=vehicle,
                party=party,
                role=TenureRole.OWNER,
                since=vehicle.first_use_date,
            )
            for party, vehicle in zip(parties, owned, strict=True)
        ],
        batch_size=CHUNK,
    )


def _party(random: Random, store: Store) -> Party:
    firm = random.randrange(people.FIRM_EVERY) == 0
    name = random.choice(people.FIRMS) if firm else people.person_name(random)
    return Party(
        store=store,
        kind=PartyKind.FIRM if firm else PartyKind.PERSON,
        name=name,
        name_folded=folded(name),
        phone=people.phone_of(random),
        do_not_write=random.random() < 0.01,  # noqa: PLR2004
        deceased=random.random() < 0.004,  # noqa: PLR2004
    )


def folded(name: str) -> str:
    """Fold a name for searching: no accents, small letters."""
    plain = unicodedata.normalize("NFKD", name)
    return "".join(c for c in plain if not unicodedata.combining(c)).casefold()


def _address(random: Random, party: Party, vehicle: Vehicle, today: dt.date) -> Address:
    city, code = people.town_of(random, vehicle.store.code)
    gone = random.random() < 0.01  # noqa: PLR2004
    second = random.randrange(people.SECOND_LINE_EVERY) == 0
    return Address(
        party=party,
        street=people.street_of(random),
        street2=f"Apt {random.randrange(1, 60)}" if second else "",
        city=city,
        region="OH",
        postal_code=code,
        source=AddressSource.OWN_CUSTOMER,
        since=vehicle.first_use_date,
        undeliverable_on=today - dt.timedelta(days=70) if gone else None,
        undeliverable_why="moved" if gone else "",
    )
