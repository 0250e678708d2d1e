"""Tables of vehicles and their people."""

from vehicles.models.party import Address, Party, Tenure
from vehicles.models.vehicle import Vehicle, VehicleChange
from vehicles.models.vehicle_list import StagedRow, VehicleList


__all__ = [
    "Address",
    "Party",
    "StagedRow",
    "Tenure",
    "Vehicle",
    "VehicleChange",
    "VehicleList",
]
