"""Taking many new vehicles with their people in at once, column by column.

For rows about which there is nothing to decide: the vehicle is new, nothing is wrong
in the row. The result is that of `vehicles.domain.merging`, row by row.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from vehicles.domain.sets import insert_columns, ready, take_ids
from vehicles.models import Address, Party, Tenure, Vehicle
from vehicles.queries.known import known_people
from vehicles.rules.blocks import Column, record_of
from vehicles.rules.names import folded_name
from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
)


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from vehicles.domain.merging import Terms
    from vehicles.models import StagedPack, VehicleList
    from vehicles.rules.records import VehicleRecord

_TEXTS = ("line", "engine", "plant", "serial", "plate")
_PLACE = ("street", "street2", "city", "region", "postal_code")
_LONGEST_NAME = 160
ROW = "row"


def pack_of(
    vehicle_list: VehicleList, numbers: Sequence[int], columns: dict[str, Column]
) -> StagedPack:
    """Make the pack of some rows; it is not yet stored."""
    content = json.dumps(
        {ROW: numbers, **columns}, ensure_ascii=False, separators=(",", ":")
    )
    return vehicle_list.packs.model(
        vehicle_list=vehicle_list,
        first_row=numbers[0],
        last_row=numbers[-1],
        rows=len(numbers),
        content=content.encode(),
    )


@dataclass(slots=True)
class Pack:
    """The rows of a pack: their numbers, and their cells column by column."""

    numbers: list[int]
    columns: dict[str, Column]

    @classmethod
    def read(cls, stored: StagedPack) -> Pack:
        """Read a stored pack."""
        columns = json.loads(bytes(stored.content))
        return cls(columns.pop(ROW), columns)

    def split(self) -> tuple[Pack, list[tuple[int, VehicleRecord]]]:
        """Part the rows about vehicles that are new from those known meanwhile."""
        vins = self.columns["vin"]
        held = set(
            Vehicle.objects.filter(vin__in=vins)
            .order_by()
            .values_list("vin", flat=True)
        )
        if not held:
            return self, []
        new = [n for n, vin in enumerate(vins) if vin not in held]
        known = [n for n, vin in enumerate(vins) if vin in held]
        records = [(self.numbers[n], record_of(self.columns, n)) for n in known]
        rest = {name: [col[n] for n in new] for name, col in self.columns.items()}
        return Pack([self.numbers[n] for n in new], rest), records

    def column(self, name: str, empty: object = "") -> Column:
        """Give the cells of a field; ``empty`` stands where the list says nothing."""
        there = self.columns.get(name)
        if there is None:
            return [empty] * len(self.numbers)
        return there if empty == "" else [value or empty for value in there]

    def days(self, name: str) -> Column:
        """Give the days of a field, None where there is none."""
        return [day or None for day in self.column(name)]


def take_new(*, pack: Pack, terms: Terms, at: dt.datetime, upload_id: object) -> None:
    """Write new vehicles, their people, addresses and tenures."""
    count = len(pack.numbers)
    if not count:
        return
    ids = take_ids(Vehicle, count)
    now = ready(Vehicle, "created_at", at)
    source = ready(Vehicle, "from_upload_id", upload_id)
    miles = [None if value == "" else value for value in pack.column("odometer")]
    read_on = zip(miles, pack.days("odometer_date"), strict=True)
    insert_columns(
        Vehicle,
        {
            "id": ids,
            "vin": pack.columns["vin"],
            "store_id": [terms.store_id] * count,
            "kind": pack.columns["kind"],
            "model_year": pack.days("model_year"),
            **{name: pack.column(name) for name in _TEXTS},
            "build_date": pack.days("build_date"),
            "first_use_date": pack.days("first_use_date"),
            "odometer": miles,
            "odometer_on": [None if m is None else day for m, day in read_on],
            "standing": pack.column("standing", Standing.CUSTOMER.value),
            "from_upload_id": [source] * count,
            "created_at": [now] * count,
            "changed_at": [now] * count,
        },
    )
    if "owner_name" in pack.columns:
        _People(pack, terms, ids).write()


@dataclass(slots=True)
class _People:
    """The people of some new vehicles; one person may have several of them."""

    pack: Pack
    terms: Terms
    vehicle_ids: list[int]
    fresh: list[int] = field(default_factory=list)

    def write(self) -> None:
        """Write people who are not known yet, their addresses, and all tenures."""
        names = self.pack.columns["owner_name"]
        named = [n for n, name in enumerate(names) if name]
        folded = [folded_name(name)[:_LONGEST_NAME] for name in names]
        holders = self._settle(named, folded)
        parties = take_ids(Party, len(self.fresh))
        keys = dict(zip(self.fresh, parties, strict=True))
        self._write_parties(parties, folded)
        self._write_addresses(parties)
        since = self.pack.days("tenure_from")
        roles = self.pack.column("role", TenureRole.OWNER.value)
        insert_columns(
            Tenure,
            {
                "id": take_ids(Tenure, len(named)),
                "vehicle_id": [self.vehicle_ids[n] for n in named],
                # a holder is a known person's id, or minus one less the row's place
                "party_id": [who if who >= 0 else keys[-1 - who] for who in holders],
                "role": [roles[n] for n in named],
                "since": [since[n] for n in named],
                "until": [None] * len(named),
            },
        )

    def _settle(self, named: list[int], folded: list[str]) -> list[int]:
        """Say of each named row who it is: a known person, or one of this pack."""
        streets = self.pack.column("street")
        codes = self.pack.column("postal_code")
        identities = self._identities(folded)
        known = known_people(
            streets={streets[n] for n in named if streets[n] and codes[n]},
            names={folded[n] for n in named},
            store_id=self.terms.store_id,
        )
        holders = []
        for n in named:
            whole = streets[n] and codes[n]
            who = known.get(identities[n]) if whole else None
            if who is None:
                who = -1 - n
                self.fresh.append(n)
                if whole:
                    known[identities[n]] = who
            holders.append(who)
        return holders

    def _identities(self, folded: list[str]) -> list[tuple[str, ...]]:
        """Give all by which a list tells one person from another, for each row."""
        sources, limits = self._sources()
        column = self.pack.column
        places = [column(name) for name in _PLACE] + [column("country", "US")]
        return list(
            zip(
                folded,
                column("phone"),
                [email.casefold() for email in column("email")],
                sources,
                limits,
                *([text.casefold() for text in place] for place in places),
                strict=True,
            )
        )

    def _sources(self) -> tuple[Column, Column]:
        """Give from whom each address is, and the campaign it is limited to."""
        sources = self.pack.column("address_source", self.terms.source.value)
        only, limited = self.terms.only_for, AddressSource.STATE_RECORDS.value
        return sources, [only if source == limited else "" for source in sources]

    def _write_parties(self, ids: list[int], folded: list[str]) -> None:
        pick, column = self._picked, self.pack.column
        count = len(ids)
        if not count:
            return
        insert_columns(
            Party,
            {
                "id": ids,
                "store_id": [self.terms.store_id] * count,
                "kind": pick(column("owner_kind", PartyKind.PERSON.value)),
                "name": pick(column("owner_name")),
                "name_folded": pick(folded),
                "phone": pick(column("phone")),
                "email": pick(column("email")),
                "language": pick(column("language", "en")),
                "do_not_write": [False] * count,
                "deceased": [False] * count,
            },
        )

    def _picked(self, column: Column) -> Column:
        return [column[n] for n in self.fresh]

    def _write_addresses(self, parties: list[int]) -> None:
        column = self.pack.column
        streets, cities = column("street"), column("city")
        lived = [
            (n, party)
            for n, party in zip(self.fresh, parties, strict=True)
            if streets[n] or cities[n]
        ]
        if not lived:
            return
        sources, limits = self._sources()
        country = column("country", "US")
        told: dict[str, Sequence[Any]] = {
            "id": take_ids(Address, len(lived)),
            "party_id": [party for _n, party in lived],
        }
        for name, values in (
            *((name, column(name)) for name in _PLACE),
            ("country", country), ("source", sources), ("only_for", limits),
        ):  # fmt: skip
            told[name] = [values[n] for n, _party in lived]
        told |= {
            "current": [True] * len(lived),
            "since": [self.terms.day.isoformat()] * len(lived),
            "undeliverable_why": [""] * len(lived),
        }
        insert_columns(Address, told)
