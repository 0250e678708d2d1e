"""Vehicles, their people, and lists of them."""

import datetime as dt
import json

import factory
from factory.django import DjangoModelFactory

from tests.factories.dealership import (
    NOW,
    JobFactory,
    StaffFactory,
    StoreFactory,
    UploadFactory,
)
from vehicles.models import (
    Address,
    Party,
    StagedPack,
    StagedRow,
    Tenure,
    Vehicle,
    VehicleChange,
    VehicleList,
)
from vehicles.rules.standing import RowState, VehicleKind
from vehicles.rules.vin import check_digit


# No maker is known to use this code. Position 7 a letter: 2010 to 2039, 49 CFR
# 565.15(d), table VII; position 10 is N: 2022.
PREFIX = "1U0KTRA4"
TAIL_OF_2022 = "N1"


def vin_with_check_digit(prefix8: str, tail8: str) -> str:
    """Put the right ninth character between the first eight and the last eight."""
    return f"{prefix8}{check_digit(f'{prefix8}0{tail8}')}{tail8}"


def invented_vin(serial: int, *, tail2: str = TAIL_OF_2022) -> str:
    """Make the VIN of an invented vehicle; ``tail2``: year code and plant code."""
    return vin_with_check_digit(PREFIX, f"{tail2}{serial:06}")


class VehicleFactory(DjangoModelFactory[Vehicle]):
    class Meta:
        model = Vehicle

    vin = factory.Sequence(lambda n: invented_vin(n + 1))
    store = factory.SubFactory(StoreFactory)
    kind = VehicleKind.LIGHT
    model_year = 2022
    line = "Corvane"
    engine = "T15"
    plant = "Ostby"
    serial = factory.LazyAttribute(lambda row: row.vin[-6:])
    build_date = dt.date(2021, 9, 14)
    first_use_date = dt.date(2022, 1, 20)
    odometer = 41_500
    odometer_on = dt.date(2026, 6, 2)
    plate = factory.Sequence(lambda n: f"KLR {n + 1:04}")
    created_at = NOW
    changed_at = NOW


class VehicleChangeFactory(DjangoModelFactory[VehicleChange]):
    class Meta:
        model = VehicleChange

    vehicle = factory.SubFactory(VehicleFactory)
    field = "odometer"
    before = "41400"
    after = "41500"
    at = NOW
    by = factory.SubFactory(StaffFactory)


class PartyFactory(DjangoModelFactory[Party]):
    class Meta:
        model = Party

    store = factory.SubFactory(StoreFactory)
    name = factory.Sequence(lambda n: f"Pernille Ashdown-{n + 1}")
    name_folded = factory.LazyAttribute(lambda row: row.name.casefold())
    phone = "+1 217 555 0134"


class AddressFactory(DjangoModelFactory[Address]):
    class Meta:
        model = Address

    party = factory.SubFactory(PartyFactory)
    street = factory.Sequence(lambda n: f"{n + 1} Quarry Road")
    city = "Tannersby"
    region = "IL"
    postal_code = "60000"
    since = dt.date(2022, 1, 20)


class TenureFactory(DjangoModelFactory[Tenure]):
    """An owner from the same store as the vehicle."""

    class Meta:
        model = Tenure

    vehicle = factory.SubFactory(VehicleFactory)
    party = factory.SubFactory(
        PartyFactory, store=factory.SelfAttribute("..vehicle.store")
    )
    since = dt.date(2022, 1, 20)


class VehicleListFactory(DjangoModelFactory[VehicleList]):
    class Meta:
        model = VehicleList

    store = factory.SubFactory(StoreFactory)
    upload = factory.SubFactory(UploadFactory, store=factory.SelfAttribute("..store"))
    job = factory.SubFactory(
        JobFactory, kind="vehicles.read_list", store=factory.SelfAttribute("..store")
    )
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class StagedRowFactory(DjangoModelFactory[StagedRow]):
    class Meta:
        model = StagedRow

    vehicle_list = factory.SubFactory(VehicleListFactory)
    row_number = factory.Sequence(lambda n: n + 2)
    state = RowState.NEW
    vin = factory.Sequence(lambda n: invented_vin(n + 500_001))


class StagedPackFactory(DjangoModelFactory[StagedPack]):
    """A pack of one row about a new vehicle."""

    class Meta:
        model = StagedPack

    vehicle_list = factory.SubFactory(VehicleListFactory)
    first_row = factory.Sequence(lambda n: n + 2)
    last_row = factory.SelfAttribute("first_row")
    rows = 1
    content = factory.LazyAttribute(
        lambda pack: json.dumps(
            {
                "row": [pack.first_row],
                "vin": [invented_vin(700_000 + pack.first_row)],
                "kind": ["light"],
                "model_year": [2022],
                "country": ["US"],
            }
        ).encode()
    )
