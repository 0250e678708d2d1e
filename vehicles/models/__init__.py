"""Tables of vehicles and their people."""

from vehicles.models.party import Address, Party, Tenure
from vehicles.models.vehicle import Vehicle, VehicleChange
from vehicles.models.vehicle_list import StagedPack, StagedRow, VehicleList


__all__ = [
    "Address",
    "Party",
    "StagedPack",
    "StagedRow",
    "Tenure",
    "Vehicle",
    "VehicleChange",
    "VehicleList",
]
