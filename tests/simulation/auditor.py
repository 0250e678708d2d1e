"""The auditor: works every figure out from the log alone, in plain Python.

It knows no module of the product. It reads rows as an auditor reads paper: in their
order, adding up piece by piece, and it is slow on purpose. What it finds wrong within
the log is a fault; what it finds otherwise than the product shows is a difference.
"""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


Spot = tuple[int | None, int, int]
Tables = Mapping[str, list[dict[str, Any]]]
ON_HAND = ("free", "held", "quarantine")
INSIDE = (*ON_HAND, "transit")
LEFT = (
    *("billed", "received_before_bill", "from_other_stock", "moved_in", "moved_out"),
    *("credited", "paid", "charged_to_customers", "charged_to_store"),
    *("charged_to_other_campaigns", "written_off"),
)
ADDED = ("billed", "received_before_bill", "from_other_stock", "moved_in")
RIGHT = (
    *("not_yet_arrived", "in_dispute", "on_hand", "used_not_claimed"),
    *("claimed_not_paid", "returned_not_credited", "in_transit", "lost"),
)
DEEDS = {
    "used": "fitted",
    "sold": "sold",
    "variance": "variance",
    "returned": "returned",
    "scrapped": "scrapped",
}
NOTHING: dict[str, Any] = {
    "id": 0,
    "kind": "",
    "subject": "",
    "effective_on": None,
}


@dataclass
class Audited:
    """Figures by name and key, as the log gives them, and what is wrong in the log."""

    figures: dict[str, dict[tuple, int]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    deeds: Counter = field(default_factory=Counter)

    def differences(self, shown: Mapping[str, Mapping[tuple, int]]) -> list[str]:
        """Name each figure that is shown otherwise; nothing and zero are the same."""
        return [
            f"{name} {key}: shown {theirs.get(key, 0)}, by the log {ours.get(key, 0)}"
            for name in sorted({*self.figures, *shown})
            for ours, theirs in [(self.figures.get(name, {}), shown.get(name, {}))]
            for key in sorted({*ours, *theirs}, key=str)
            if ours.get(key, 0) != theirs.get(key, 0)
        ]

    def compare_deeds(self, did: Mapping[tuple[int, str], int]) -> None:
        """Hold the log to what people say they did."""
        for key in sorted({*self.deeds, *did}):
            if key[1] == "bills by file":
                continue
            if self.deeds.get(key, 0) != did.get(key, 0):
                self.faults.append(
                    f"{key}: {did.get(key, 0)} done, {self.deeds.get(key, 0)} in the log"
                )


def audit(tables: Tables, today: dt.date) -> Audited:
    """Work everything out as of an evening."""
    return _Auditor(tables, today).whole()


def _pocket(row: Mapping[str, Any]) -> tuple[int, int, int]:
    return row["store_id"], row["part_id"], row["earmark_id"] or 0


def _cents(row: Mapping[str, Any]) -> int:
    cents: int = row["quantity"] * row["unit_cost_cents"]
    return cents


class _Auditor:
    def __init__(self, tables: Tables, today: dt.date) -> None:
        self.of = tables
        self.today = today
        self.faults: list[str] = []
        self.deeds: Counter = Counter()
        self.movements = {row["id"]: row for row in tables["movements"]}
        self.layers = {row["id"]: row for row in tables["layers"]}
        self.fitted = {row["id"]: row for row in tables["fitted"]}
        self.campaign_of = {row["earmark_id"]: row["id"] for row in tables["campaigns"]}
        self.claims = {row["id"]: row for row in tables["claims"]}
        self.state: dict[int, str] = {}
        self.sent_on: dict[int, dt.date] = {}
        self.of_layer: dict[int, list[dict]] = defaultdict(list)
        for row in tables["entries"]:
            if row["layer_id"]:
                self.of_layer[row["layer_id"]].append(row)
        self.terms: Counter = Counter()
        self.exposure: Counter = Counter()
        self.at: Counter = Counter()
        """Pieces by layer and account."""

    def whole(self) -> Audited:
        """Read the log once from its beginning, then the papers."""
        pockets = self._books()
        layers = self._layers()
        self._prices()
        promised = self._reservations(pockets)
        self._shipments()
        self._transfers()
        paid = self._claims()
        self._left()
        self._bills()
        self._right(layers, paid)
        self._deeds()
        accounts, closing = self._accounts()
        return Audited(
            figures={
                "pocket": dict(pockets),
                "promised": promised,
                "layer": {(pk,): left for pk, left in layers.items()},
                "claim line paid": {(pk,): sum(of) for pk, of in paid.items()},
                "account": accounts,
                "statement closes at": closing,
                "exposure": {key: n for key, n in self.exposure.items() if n},
            },
            faults=self.faults,
            deeds=self.deeds,
        )

    def _wrong(self, what: str) -> None:
        self.faults.append(what)

    def _movement(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """Give the movement of a line; one that is lost has said nothing."""
        return self.movements.get(row["movement_id"], NOTHING)

    # Pieces -------------------------------------------------------------------

    def _books(self) -> Counter:
        """Walk the lines in their order; after each movement nothing is below zero."""
        pockets: Counter = Counter()
        keys = Counter(row["key"] for row in self.of["movements"])
        for key, times in keys.items():
            if times > 1:
                self._wrong(f"movement {key} stands {times} times")
        lines: dict[int, list[dict]] = defaultdict(list)
        for row in self.of["entries"]:
            lines[row["movement_id"]].append(row)
        for pk in self.movements:
            self._post(pk, lines.pop(pk, []), pockets)
        for pk in lines:
            self._wrong(f"lines of movement {pk}, which is not there")
        return pockets

    def _post(self, pk: int, lines: list[dict], pockets: Counter) -> None:
        """Post one movement; then look at what it leaves behind."""
        if not lines:
            self._wrong(f"movement {pk} has no lines")
        if sum(row["quantity"] for row in lines) != 0:
            self._wrong(f"movement {pk} does not sum to zero")
        for row in lines:
            if row["store_id"] != self.movements[pk]["store_id"]:
                self._wrong(f"line {row['id']} is of another store")
            pockets[*_pocket(row), row["account"]] += row["quantity"]
            if row["layer_id"]:
                self.at[row["layer_id"], row["account"]] += row["quantity"]
        for row in lines:
            spot = *_pocket(row), row["account"]
            if row["account"] in INSIDE and pockets[spot] < 0:
                self._wrong(f"movement {pk} leaves {spot} below 0")

    def _layers(self) -> dict[int, int]:
        """Give what is left of each layer; all layers together are what is on hand."""
        left, on_hand = {}, Counter()
        for pk, layer in self.layers.items():
            left[pk] = sum(self.at[pk, account] for account in ON_HAND)
            if not 0 <= left[pk] <= layer["quantity"]:
                self._wrong(f"layer {pk} holds {left[pk]} of {layer['quantity']}")
            if -self.at[pk, "supplier"] > layer["quantity"]:
                self._wrong(f"more came into layer {pk} than it says")
            on_hand[layer["store_id"], layer["part_id"]] += left[pk]
        for row in self.of["entries"]:
            layer = self.layers.get(row["layer_id"] or 0)
            if layer and (layer["store_id"], layer["part_id"]) != (
                row["store_id"],
                row["part_id"],
            ):
                self._wrong(f"line {row['id']} names a layer of another part")
            if layer and self._movement(row)["kind"] == "receive":
                self._same(row, layer, "earmark_id")
            if row["account"] in ON_HAND:
                on_hand[row["store_id"], row["part_id"]] -= row["quantity"]
        for spot, off in on_hand.items():
            if off:
                self._wrong(f"layers of {spot} hold {off} more than stands on hand")
        return left

    def _prices(self) -> None:
        """Follow a price from its bill to the layer and to each paper about it."""
        bills = {row["id"]: row for row in self.of["bill_lines"]}
        for layer in self.layers.values():
            if layer["billed"]:
                self._same(layer, bills.get(layer["billed"], {}), "unit_cost_cents")
        for table in ("fitted", "return_lines"):
            for row in self.of[table]:
                layer = self.layers.get(row["layer_id"] or 0)
                if layer:
                    self._same(row, layer, "unit_cost_cents", "part_id", "store_id")

    def _same(
        self, one: Mapping[str, Any], other: Mapping[str, Any], *names: str
    ) -> None:
        for name in names:
            if one[name] != other.get(name):
                self._wrong(f"{one['id']} says {one[name]}, not {other.get(name)}")

    def _reservations(self, pockets: Mapping[tuple, int]) -> dict[tuple, int]:
        """Hold what is held to the live holds of each pocket; give what is promised."""
        held, promised = Counter(), Counter()
        for row in self.of["reservations"]:
            if row["used"] > row["quantity"]:
                self._wrong(f"reservation {row['id']} is overused")
            if row["state"] in ("held", "promised"):
                kept = held if row["state"] == "held" else promised
                kept[_pocket(row)] += row["quantity"]
        for (*key, account), pieces in pockets.items():
            if account == "held" and pieces != held[tuple(key)]:
                self._wrong(f"pocket {key} holds {pieces}, promised {held[tuple(key)]}")
        self._holds()
        return dict(promised)

    def _holds(self) -> None:
        """Hold each purpose's holds to the lines posted under that purpose."""
        open_: Counter = Counter()
        for row in self.of["reservations"]:
            if row["state"] == "held":
                open_[*_pocket(row), row["subject"]] += row["quantity"]
        for row in self.of["entries"]:
            if row["account"] == "held":
                subject = self._movement(row)["subject"]
                open_[*_pocket(row), subject] -= row["quantity"]
        for key, off in open_.items():
            if off:
                self._wrong(f"hold {key} differs from its lines by {off}")

    def _shipments(self) -> None:
        """Hold each counted delivery to the lines that it put into the books."""
        came: Counter = Counter()
        for row in self.of["entries"]:
            movement = self._movement(row)
            if movement["kind"] == "receive" and row["account"] == "supplier":
                came[movement["subject"], row["part_id"]] -= row["quantity"]
        for row in self.of["shipment_lines"]:
            if row["good"] is None:
                continue
            if row["sent"] != row["good"] + row["damaged"] + row["short"]:
                self._wrong(f"delivery line {row['id']} does not add up")
            key = f"shipment:{row['shipment_id']}", row["part_id"]
            came[key] -= row["good"] + row["damaged"]
        for key, off in came.items():
            if off and key[0].startswith("shipment:"):
                self._wrong(f"{key}: {off} more in the books than counted")

    def _transfers(self) -> None:
        """Hold what was sent to what arrived, is lost, or is still on its way."""
        on_way, arrived = Counter(), Counter()
        for row in self.of["entries"]:
            movement = self._movement(row)
            if row["account"] == "transit":
                on_way[movement["subject"]] += row["quantity"]
            if movement["kind"] == "arrive" and row["account"] == "supplier":
                arrived[row["part_id"]] += row["quantity"]
        for row in self.of["transfer_lines"]:
            if row["state"] == "sent":
                on_way[f"transfer:{row['transfer_id']}"] -= row["quantity"]
            ends = (row["good"] or 0) + (row["damaged"] or 0) + (row["lost"] or 0)
            if row["state"] == "arrived" and row["quantity"] != ends:
                self._wrong(f"transfer line {row['id']} does not add up")
        for what, off in [*on_way.items(), *arrived.items()]:
            if off:
                self._wrong(f"{what}: {off} pieces between the stores on no paper")

    # Money --------------------------------------------------------------------

    def _claims(self) -> dict[int, list[int]]:
        """Read claims from their acts and payments; give the payments of each line."""
        for act in self.of["claim_acts"]:
            self.state[act["claim_id"]] = act["state"]
            if act["state"] == "submitted":
                self.sent_on[act["claim_id"]] = act["dated"]
        lines = {row["id"]: row for row in self.of["claim_lines"]}
        paid: dict[int, list[int]] = defaultdict(list)
        for row in self.of["payments"]:
            line = lines[row["line_id"]]
            covered = min(sum(paid[line["id"]]), line["cost_cents"])
            at_cost = min(row["cents"], line["cost_cents"] - covered)
            paid[line["id"]].append(row["cents"])
            if at_cost != row["at_cost_cents"]:
                self._wrong(f"payment {row['id']}: {at_cost} should be at cost")
            claim = self.claims[line["claim_id"]]
            self._term(claim["store_id"], claim["campaign_id"], "paid", at_cost)
        for row in lines.values():
            if sum(paid[row["id"]]) > row["claimed_cents"]:
                self._wrong(f"claim line {row['id']} is paid more than it asks")
        self._asked()
        return paid

    def _asked(self) -> None:
        """Hold each line to its pieces: claimed once, at cost plus handling."""
        handling = {
            row["id"]: row["parts_handling_basis_points"] for row in self.of["stores"]
        }
        seen: set[int] = set()
        for row in self.of["claim_lines"]:
            fitted = self.fitted.get(row["part_fitted_id"] or 0)
            if fitted is None:
                continue
            if fitted["id"] in seen:
                self._wrong(f"pieces {fitted['id']} are claimed twice")
            seen.add(fitted["id"])
            cost = _cents(fitted)
            if row["cost_cents"] != cost:
                self._wrong(f"claim line {row['id']} has another cost than its pieces")
            share = 10_000 + handling[self.claims[row["claim_id"]]["store_id"]]
            asked = (2 * cost * share + 10_000) // 20_000  # half a cent goes up
            if row["claimed_cents"] != asked:
                self._wrong(f"claim line {row['id']} should ask for {asked}")

    def _term(self, store: int, campaign: int | None, name: str, cents: int) -> None:
        if campaign is not None:
            self.terms[store, campaign, name] += cents

    def _home(self, layer: Mapping[str, Any]) -> int | None:
        return self.campaign_of.get(layer["earmark_id"])

    def _left(self) -> None:
        """Add up the papers: what is owed, and what settled it."""
        for row in self.of["credits"]:
            home = self.campaign_of.get(row["earmark_id"])
            self._term(row["store_id"], home, "credited", row["at_cost_cents"])
        for row in self.of["write_offs"]:
            home = self.campaign_of.get(row["earmark_id"])
            self._term(row["store_id"], home, "written_off", row["cents"])
        for row in self.of["entries"]:
            layer = self.layers.get(row["layer_id"] or 0)
            if layer is None:
                continue
            cents = row["quantity"] * layer["unit_cost_cents"]
            store, home = row["store_id"], self._home(layer)
            kind = self._movement(row)["kind"]
            if row["account"] == "sold":
                self._term(store, home, "charged_to_customers", cents)
            elif row["account"] == "supplier" and kind == "arrive":
                name = "moved_out" if cents > 0 else "moved_in"
                self._term(store, home, name, abs(cents))
        for row in self.of["fitted"]:
            self._charge(row)

    def _charge(self, row: Mapping[str, Any]) -> None:
        """Charge pieces in a vehicle to their payer, in the campaign they came from."""
        cents = _cents(row)
        home, worked = self._home(self.layers[row["layer_id"]]), row["campaign_id"]
        if row["payer"] == "manufacturer" and worked is not None:
            if worked != home:
                self._term(row["store_id"], worked, "from_other_stock", cents)
                self._term(row["store_id"], home, "charged_to_other_campaigns", cents)
            return
        name = {
            "customer": "charged_to_customers",
            "store": "charged_to_store",
            "manufacturer": "charged_to_other_campaigns",
        }[row["payer"]]
        self._term(row["store_id"], home, name, cents)

    def _bills(self) -> None:
        """Lay bills and deliveries side by side, piece by piece."""
        counted: Counter = Counter()
        for row in self.of["shipment_lines"]:
            if row["good"] is not None and row["bill_line_id"]:
                counted[row["bill_line_id"]] += row["sent"]
        early: dict[tuple, list[int]] = defaultdict(list)
        layers = sorted(
            self.layers.values(), key=lambda one: (one["received_on"], one["id"])
        )
        for layer in layers:
            if layer["billed"] or layer["source"].startswith("transfer_line:"):
                continue
            spot = layer["store_id"], layer["part_id"], layer["earmark_id"]
            came = -sum(
                row["quantity"]
                for row in self.of_layer[layer["id"]]
                if row["account"] == "supplier"
                and self._movement(row)["kind"] != "arrive"
            )
            early[spot] += [layer["id"]] * came
        bills = sorted(self.of["bill_lines"], key=lambda one: (one["dated"], one["id"]))
        for row in bills:
            home = self.campaign_of.get(row["earmark_id"])
            store, part, unit = row["store_id"], row["part_id"], row["unit_cost_cents"]
            self._term(store, home, "billed", row["quantity"] * unit)
            waiting = early[store, part, row["earmark_id"]]
            for _piece in range(row["quantity"] - counted[row["id"]]):
                if waiting:
                    layer = self.layers[waiting.pop(0)]
                    off = unit - layer["unit_cost_cents"]
                    self._tied((home, store, part), "in_dispute", row["dated"], off)
                else:
                    self._tied(
                        (home, store, part), "not_yet_arrived", row["dated"], unit
                    )
        for (store, _part, earmark), waiting in early.items():
            home = self.campaign_of.get(earmark)
            for pk in waiting:
                cents = self.layers[pk]["unit_cost_cents"]
                self._term(store, home, "received_before_bill", cents)

    def _tied(self, spot: Spot, state: str, since: dt.date | None, cents: int) -> None:
        """Tie cents of a campaign, store and part up in a state since a day."""
        home, store, part = spot
        if home is None or not cents:
            return
        self.terms[store, home, state] += cents
        days = (self.today - (since or self.today)).days
        band = "0-30" if days <= 30 else "31-60" if days <= 60 else "61-90"
        if days > 90:
            band = "over 90"
        self.exposure[home, store, part, state, band] += cents

    def _right(self, left: Mapping[int, int], paid: Mapping[int, list[int]]) -> None:
        """Find where the unsettled pieces are."""
        aside: Counter = Counter()
        for row in self.of["disputes"]:
            if row["state"] not in ("open", "awaited"):
                continue
            home = self.campaign_of.get(row["earmark_id"])
            cents = _cents(row)
            spot = home, row["store_id"], row["part_id"]
            self._tied(spot, "in_dispute", row["opened_on"], cents)
            if row["kind"] == "damaged":
                aside[f"shipment_line:{row['shipment_line_id']}"] += row["quantity"]
        for pk, layer in self.layers.items():
            spot = self._home(layer), layer["store_id"], layer["part_id"]
            since, unit = (
                layer["bill_dated"] or layer["received_on"],
                layer["unit_cost_cents"],
            )
            here = left[pk] - aside[layer["source"]]
            self._tied(spot, "on_hand", since, here * unit)
            self._tied(spot, "in_transit", since, self.at[pk, "transit"] * unit)
        self._in_vehicles(paid)
        self._returned()
        self._lost()

    def _in_vehicles(self, paid: Mapping[int, list[int]]) -> None:
        """Split pieces in vehicles: not asked for yet, asked for and not paid."""
        asked: set[int] = set()
        for row in self.of["claim_lines"]:
            claim = self.claims[row["claim_id"]]
            state = self.state.get(claim["id"])
            if state is None:
                continue
            asked.add(row["part_fitted_id"] or 0)
            open_cents = row["cost_cents"] - min(
                sum(paid[row["id"]]), row["cost_cents"]
            )
            fitted = self.fitted.get(row["part_fitted_id"] or 0)
            if state != "written_off" and fitted:
                part = self.layers[fitted["layer_id"]]["part_id"]
                since = self.sent_on.get(claim["id"]) or claim["made_on"]
                spot = claim["campaign_id"], claim["store_id"], part
                self._tied(spot, "claimed_not_paid", since, open_cents)
        used: Counter = Counter()
        for row in self.fitted.values():
            used[row["layer_id"]] += row["quantity"]
            if row["payer"] == "manufacturer" and row["id"] not in asked:
                part = self.layers[row["layer_id"]]["part_id"]
                cents = _cents(row)
                spot = row["campaign_id"], row["store_id"], part
                self._tied(spot, "used_not_claimed", row["done_on"], cents)
        for pk in self.layers:
            if self.at[pk, "used"] != used[pk]:
                self._wrong(
                    f"layer {pk}: {self.at[pk, 'used']} used, {used[pk]} fitted"
                )

    def _returned(self) -> None:
        """Find what went back and is not credited."""
        credited = {row["return_line_id"]: row for row in self.of["credits"]}
        returned: Counter = Counter()
        for row in self.of["return_lines"]:
            if row["state"] not in ("shipped", "credited"):
                continue
            returned[row["layer_id"]] += row["quantity"]
            cents = _cents(row)
            if row["id"] not in credited:
                home = self.campaign_of.get(row["earmark_id"])
                spot = home, row["store_id"], row["part_id"]
                self._tied(spot, "returned_not_credited", row["shipped_on"], cents)
                continue
            exact = 2 * cents * (10_000 - row["restocking"])
            if credited[row["id"]]["amount_cents"] > (exact + 10_000) // 20_000:
                self._wrong(f"return line {row['id']} is credited too much")
        for row in self.of["entries"]:
            movement = self._movement(row)
            if row["account"] == "returned" and not movement["subject"].startswith(
                "dispute:"
            ):
                returned[row["layer_id"]] -= row["quantity"]
        for pk, off in returned.items():
            if off:
                self._wrong(f"layer {pk}: {off} returned on paper, not in the books")

    def _lost(self) -> None:
        """Find what is scrapped or missing and not given up, act by act."""
        gone = {(row["of"], row["earmark_id"]) for row in self.of["write_offs"]}
        for row in self.of["entries"]:
            layer = self.layers.get(row["layer_id"] or 0)
            if row["account"] not in ("scrapped", "variance") or layer is None:
                continue
            movement = self._movement(row)
            given_up = f"inventory.movement:{movement['id']}", layer["earmark_id"]
            if movement["subject"].startswith("dispute:") or given_up in gone:
                continue
            cents = row["quantity"] * layer["unit_cost_cents"]
            spot = self._home(layer), layer["store_id"], layer["part_id"]
            self._tied(spot, "lost", movement["effective_on"], cents)

    def _accounts(self) -> tuple[dict[tuple, int], dict[tuple, int]]:
        """Put both sides together, by store and campaign; 0 stands for all of them.

        All campaigns together are told for all stores together only.
        """
        sums: Counter = Counter()
        for (store, campaign, name), cents in self.terms.items():
            for spot in ((store, campaign), (0, campaign), (0, 0)):
                sums[*spot, name] += cents
        closing = {}
        for spot in sorted({key[:2] for key in sums}):
            owed = sum(sums[*spot, name] for name in ADDED) - sum(
                sums[*spot, name] for name in LEFT if name not in ADDED
            )
            held = sum(sums[*spot, name] for name in RIGHT)
            if owed != held:
                self._wrong(f"account {spot}: {owed} owed, {held} found")
            if spot[0] == 0 and spot[1]:
                closing[spot] = held
        return {key: cents for key, cents in sums.items() if cents}, closing

    # Deeds --------------------------------------------------------------------

    def _deeds(self) -> None:
        """Count what the log says people did, to be held against what they say."""
        for row in self.of["entries"]:
            movement = self._movement(row)
            if row["account"] == "supplier":
                self._came_or_went(row, movement)
            elif row["account"] in DEEDS and not movement["subject"].startswith(
                "dispute:"
            ):
                self.deeds[row["store_id"], DEEDS[row["account"]]] += row["quantity"]
        lines = {row["id"]: row for row in self.of["claim_lines"]}
        for row in self.of["payments"]:
            store = self.claims[lines[row["line_id"]]["claim_id"]]["store_id"]
            self.deeds[store, "paid cents"] += row["cents"]
        for row in self.of["credits"]:
            self.deeds[row["store_id"], "credited cents"] += row["at_cost_cents"]
        for row in self.of["write_offs"]:
            if not row["of"].startswith("campaigns.claimline:"):
                self.deeds[row["store_id"], "written off cents"] += row["cents"]

    def _came_or_went(self, row: dict[str, Any], movement: dict[str, Any]) -> None:
        """Name a line with the supplier, or with another store."""
        store, pieces = row["store_id"], row["quantity"]
        if movement["kind"] == "receive":
            removed = movement["subject"].startswith("lot:")
            self.deeds[store, "removed" if removed else "received"] -= pieces
        elif movement["kind"] == "arrive":
            self.deeds[store, "moved out" if pieces > 0 else "moved in"] += abs(pieces)
        elif movement["kind"] == "replace" and pieces < 0:
            self.deeds[store, "replaced"] -= pieces
