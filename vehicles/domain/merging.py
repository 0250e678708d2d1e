"""Setting rows of a list against what is known: the same for review and for applying.

What a row does not state is left as it is. Nothing is overwritten without a line of
history: a fact leaves a change, an owner a closed tenure, an address a past address.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from itertools import chain
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from vehicles.domain.batch import Batch, Change, Facts
from vehicles.queries.known import Known, identity_of, known_of, place_of
from vehicles.rules.differences import FACTS, changed_facts, told
from vehicles.rules.names import folded_name
from vehicles.rules.records import Fault, Severity
from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    RowState,
    Standing,
    TenureRole,
)


if TYPE_CHECKING:
    from collections.abc import Iterable

    from vehicles.rules.records import VehicleRecord

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds for all rows of a list.

    ``day`` is the day of the list: what is changed without a day of its own changes
    then. ``only_for`` limits addresses from state records to one campaign (18 USC
    2721(b)(2)).
    """

    store_id: int
    day: dt.date
    kind_stated: bool = False
    source: AddressSource = AddressSource.OWN_CUSTOMER
    only_for: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What becomes of a row, and what was found in comparing it."""

    state: RowState
    faults: tuple[Fault, ...] = ()


@dataclass(slots=True)
class Merger:
    """Sets the rows of one chunk against what is known and collects the changes.

    For a review only the outcomes count: of a new vehicle the owner is not looked at,
    since it is new whoever has it.
    """

    terms: Terms
    known: Known
    review: bool = False
    batch: Batch = field(default_factory=Batch)

    @classmethod
    def over(
        cls, records: Iterable[VehicleRecord], terms: Terms, *, review: bool = False
    ) -> Merger:
        """Read what is known of these records, and be ready for them."""
        owners: dict[str, list[str]] = {}
        for record in records:
            told = owners.setdefault(record.vin, [])
            told.append(folded_name(record.owner_name))
        names = set() if review else {*chain.from_iterable(owners.values())} - {""}
        known = known_of(
            vins=list(owners), names=list(names), store_id=terms.store_id, owners=owners
        )
        return cls(terms, known, review)

    def take(self, row: int, record: VehicleRecord) -> Outcome:
        """Take one row: note what it changes and say what becomes of it."""
        vehicle = self.known.vehicles.get(record.vin)
        if vehicle is None:
            vehicle = self._new_vehicle(record)
            if not self.review:
                self._owner(row, record, vehicle)
            return Outcome(RowState.NEW)
        if vehicle["store_id"] != self.terms.store_id:
            return Outcome(RowState.REFUSED, (self._elsewhere(row, record, vehicle),))
        changed = changed_facts(record, vehicle, kind_stated=self.terms.kind_stated)
        self._note_facts(vehicle, changed)
        owner_changed, faults = self._owner(row, record, vehicle)
        state = RowState.CHANGED if changed or owner_changed else RowState.SAME
        return Outcome(state, faults)

    def _elsewhere(self, row: int, record: VehicleRecord, vehicle: Facts) -> Fault:
        name = self.known.store_names[vehicle["store_id"]]
        return Fault(
            row,
            "",
            "vin",
            record.vin,
            "vehicle_elsewhere",
            _(
                "This vehicle is looked after by another store of the group, %(store)s."
                " It stays there until that store hands it over."
            )
            % {"store": name},
            Severity.REFUSE,
        )

    def _new_vehicle(self, record: VehicleRecord) -> Facts:
        vehicle: Facts = {
            name: getattr(record, name) for name in FACTS if name != "odometer_on"
        }
        vehicle |= {
            "vin": record.vin,
            "store_id": self.terms.store_id,
            "kind": record.kind.value,
            "standing": (record.standing or Standing.CUSTOMER).value,
            "odometer_on": record.odometer_date
            if record.odometer is not None
            else None,
        }
        self.batch.vehicles.append(vehicle)
        self.known.vehicles[record.vin] = vehicle
        return vehicle

    def _note_facts(self, vehicle: Facts, changed: dict[str, Any]) -> None:
        for name, value in changed.items():
            self.batch.changes.append(
                Change(vehicle, name, told(vehicle[name]), told(value))
            )
            vehicle[name] = value
        if changed and "id" in vehicle:
            self.batch.changed_vehicles[vehicle["id"]] = vehicle

    # Owners ------------------------------------------------------------------------

    def _owner(
        self, row: int, record: VehicleRecord, vehicle: Facts
    ) -> tuple[bool, tuple[Fault, ...]]:
        """Take what a row says of the owner; tell whether that is news."""
        if not record.owner_name:
            return False, ()
        role = (record.role or TenureRole.OWNER).value
        tenure = self._tenure(vehicle, role)
        party = _party_of(record)
        if tenure is None:
            self._begin(vehicle, role, self._settle(party, record), record.tenure_from)
            if "id" in vehicle:
                self._note_owner(vehicle, role, "", self._tenure(vehicle, role))
            return True, ()
        if tenure["party"]["name_folded"] == party["name_folded"]:
            return self._same_owner(tenure, party, record), ()
        since = record.tenure_from or self.terms.day
        if tenure["since"] is not None and since < tenure["since"]:
            return False, (_older(row, record, tenure["since"]),)
        before = tenure["party"]
        self._end(tenure, since)
        self._begin(vehicle, role, self._settle(party, record), since)
        self._note_owner(vehicle, role, before, self._tenure(vehicle, role))
        return True, ()

    def _tenure(self, vehicle: Facts, role: str) -> Facts | None:
        """Give the open tenure; of a vehicle not stored yet it stands in the row."""
        if "id" in vehicle:
            return self.known.tenures.get((vehicle["id"], role))
        found: Facts | None = vehicle.get("tenures", {}).get(role)
        return found

    def _begin(
        self, vehicle: Facts, role: str, party: Facts, since: dt.date | None
    ) -> None:
        tenure = {"vehicle": vehicle, "party": party, "role": role, "since": since}
        self.batch.tenures.append(tenure)
        if "id" in vehicle:
            self.known.tenures[vehicle["id"], role] = tenure
        else:
            vehicle.setdefault("tenures", {})[role] = tenure

    def _end(self, tenure: Facts, since: dt.date) -> None:
        """Close a tenure on the day before the next one begins, or on its own day."""
        last = since - _DAY
        if tenure["since"] is not None:
            last = max(last, tenure["since"])
        tenure["until"] = last
        if "id" in tenure:
            self.batch.changed_tenures[tenure["id"]] = tenure
            self.known.holdings[tenure["party"]["id"]] -= 1
        else:
            _drop(self.batch.tenures, tenure)

    def _note_owner(
        self, vehicle: Facts, role: str, before: str | Facts, tenure: Facts | None
    ) -> None:
        assert tenure is not None
        self.batch.changes.append(Change(vehicle, role, before, tenure["party"]))

    def _same_owner(self, tenure: Facts, party: Facts, record: VehicleRecord) -> bool:
        """Keep the person; take news of how to reach them, and since when."""
        known = tenure["party"]
        news = {
            name: party[name]
            for name in ("phone", "email", "language")
            if getattr(record, name) and party[name] != known[name]
        }
        if record.owner_kind is not None and record.owner_kind != known["kind"]:
            news["kind"] = record.owner_kind.value
        moved = self._moved(known, record)
        began = tenure["since"] is None and record.tenure_from is not None
        if began:
            tenure["since"] = record.tenure_from
            if "id" in tenure:
                self.batch.changed_tenures[tenure["id"]] = tenure
        if not news and not moved:
            return began
        shared = "id" in known and self.known.holdings[known["id"]] > 1
        if shared and record.street and record.postal_code:
            self._split(tenure, known | news, record)
            return True
        known |= news
        if news and "id" in known:
            self.batch.changed_parties[known["id"]] = known
        if moved:
            self._move(known, record)
        return True

    def _split(self, tenure: Facts, told_now: Facts, record: VehicleRecord) -> None:
        """Give a vehicle its own record of a person who has other vehicles too.

        The list says something else of the owner of this vehicle than stands at the
        others; changing the shared row would change it for all of them.
        """
        party = {name: told_now[name] for name in told_now if name != "id"}
        known = tenure["party"]
        if "id" in tenure:
            self.known.holdings[known["id"]] -= 1
            self.batch.changed_tenures[tenure["id"]] = tenure
        tenure["party"] = self._settle(party, record)

    # People and addresses ------------------------------------------------------------

    def _settle(self, party: Facts, record: VehicleRecord) -> Facts:
        """Give the stored person of whom a list says the very same, or a new one."""
        if not (record.street and record.postal_code):
            self.batch.parties.append(party)
            self._move(party, record)
            return party
        place = place_of(_address_of(record))
        source, only_for = self._source(record)
        key = identity_of(party, place, source, only_for)
        known = self.known.identities.get(key)
        if known is None:
            self.batch.parties.append(party)
            self._move(party, record)
            self.known.identities[key] = known = party
        if "id" in known:
            self.known.holdings[known["id"]] += 1
        return known

    def _source(self, record: VehicleRecord) -> tuple[str, str]:
        source = record.address_source or self.terms.source
        limited = source is AddressSource.STATE_RECORDS
        return source.value, self.terms.only_for if limited else ""

    def _address(self, party: Facts, source: str, only_for: str) -> Facts | None:
        if "id" in party:
            return self.known.addresses.get((party["id"], source, only_for))
        found: Facts | None = party.get("addresses", {}).get((source, only_for))
        return found

    def _moved(self, party: Facts, record: VehicleRecord) -> bool:
        if not (record.street or record.city):
            return False
        address = self._address(party, *self._source(record))
        return address is None or place_of(address) != place_of(_address_of(record))

    def _move(self, party: Facts, record: VehicleRecord) -> None:
        """Add an address; the one from the same source becomes a past one."""
        if not (record.street or record.city):
            return
        source, only_for = self._source(record)
        past = self._address(party, source, only_for)
        if past is not None and "id" in past:
            self.batch.closed_addresses.append(past)
        elif past is not None:
            _drop(self.batch.addresses, past)
        address = _address_of(record) | {
            "party": party,
            "source": source,
            "only_for": only_for,
            "since": self.terms.day,
        }
        self.batch.addresses.append(address)
        if "id" in party:
            self.known.addresses[party["id"], source, only_for] = address
        else:
            party.setdefault("addresses", {})[source, only_for] = address


def _drop(rows: list[Facts], row: Facts) -> None:
    """Take out this very row; rows refer to one another and cannot be compared."""
    rows[:] = [one for one in rows if one is not row]


def _party_of(record: VehicleRecord) -> Facts:
    return {
        "kind": (record.owner_kind or PartyKind.PERSON).value,
        "name": record.owner_name,
        "name_folded": folded_name(record.owner_name)[:160],
        "phone": record.phone,
        "email": record.email,
        "language": record.language or "en",
    }


def _address_of(record: VehicleRecord) -> Facts:
    return {
        "street": record.street,
        "street2": record.street2,
        "city": record.city,
        "region": record.region,
        "postal_code": record.postal_code,
        "country": record.country or "US",
    }


def _older(row: int, record: VehicleRecord, since: dt.date) -> Fault:
    return Fault(
        row,
        "",
        "owner_name",
        "",
        "owner_older",
        _(
            "The list's owner has the vehicle from %(from)s; a later owner, from"
            " %(since)s, is known. The later owner stays."
        )
        % {"from": record.tenure_from, "since": since},
        Severity.WARN,
    )
