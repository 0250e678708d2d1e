"""What the shelves and the office have to show: transfers, a count, files to try."""

from __future__ import annotations

import csv
import datetime as dt
import io
from typing import TYPE_CHECKING, Any

from django.core.files.base import ContentFile
from django.db.models import Sum

from campaigns.domain.holding import keep_unsold
from campaigns.domain.money_files import keep_money_file
from campaigns.management.demo.opening import moment
from campaigns.models import CampaignVehicle, Claim
from campaigns.rules.lifecycle import ClaimState
from campaigns.rules.money_rows import FileKind
from dealership.rules.money import plain_money
from dealership.rules.refusals import Refusal
from inventory.domain.counting import enter_count, prepare_count
from inventory.domain.ordering import OrderedLine, place_order
from inventory.domain.receiving import Counted, receive_shipment
from inventory.domain.sending import announce_for_order
from inventory.domain.superseding import supersede
from inventory.domain.transferring import Arrived, receive_transfer, send_pieces
from inventory.models import Balance, Part
from inventory.queries.shelves import lots_left
from vehicles.rules.standing import Standing


if TYPE_CHECKING:
    from collections.abc import Sequence

    from campaigns.management.demo.history import Play
    from campaigns.models import Campaign
    from dealership.models import Store
    from inventory.models import Earmark, Shipment, Transfer

REPLACED, NEW_NUMBER, NEW_CENTS = "VX-60412", "VX-60412-B", 3_340
PRICES = ((3_148_000, 2_992_500), (2_765_000, 2_630_000), (3_590_000, 3_411_000))
"""Manufacturer's selling price and price paid of unsold vehicles, in cents."""


def stock_the_shelves(play: Play, campaigns: dict[str, Campaign]) -> None:
    """Leave something to look at for everybody who moves pieces or money."""
    home = play.cast.stores["EMR"]
    straps = _replace_a_number(play, home, campaigns["CS-26-01"].earmark)
    clamps = _receive_unbilled(
        play, home, play.cast.parts["VX-30900"], None, pieces=20, days=3
    )
    _between_stores(play, home)
    _count_some(play, home)
    _hold_new_vehicles(play, home, campaigns["SR-26-03"])
    _bill_file(play, home, straps, clamps)
    _payment_advice(play, home)


def _by(play: Play, days: int = 0) -> dict[str, Any]:
    """Say who did it, the parts manager, so many days ago before the doors opened."""
    day = play.today - dt.timedelta(days=days)
    return {"by": play.cast.staff["parts"], "at": moment(day, 6)}


def _replace_a_number(play: Play, home: Store, earmark: Earmark) -> Shipment:
    """Let a strap be replaced by a newer one; what is left of the old one serves."""
    old = play.cast.parts[REPLACED]
    new = Part.objects.create(
        number=NEW_NUMBER,
        name=old.name,
        supplier=old.supplier,
        unit_cost_cents=NEW_CENTS,
        pack=old.pack,
        minimum_order=old.minimum_order,
        lead_days=old.lead_days,
    )
    since = play.today - dt.timedelta(days=15)
    supersede(old=old, new=new, since=since, old_stock_serves=True, **_by(play, 15))
    return _receive_unbilled(play, home, new, earmark, pieces=10, days=2)


def _receive_unbilled(
    play: Play,
    home: Store,
    part: Part,
    earmark: Earmark | None,
    *,
    pieces: int,
    days: int,
) -> Shipment:
    """Order pieces and count them in so many days ago; the bill is still to come."""
    order = place_order(
        key=play.key("order"),
        store=home,
        supplier=part.supplier,
        earmark=earmark,
        lines=[OrderedLine(part=part, quantity=pieces)],
        **_by(play, days + part.lead_days),
    )
    shipment = announce_for_order(
        order=order,
        number=f"L{order.pk:05}-{home.code}",
        sent={order.lines.get().pk: pieces},
        expected_on=play.today - dt.timedelta(days=days),
        bill_number="",
        bill_dated=None,
        **_by(play, days),
    )
    return receive_shipment(
        key=play.key("delivery"),
        shipment=shipment,
        counts={shipment.lines.get().pk: Counted(good=pieces, bin_code="A-02")},
        **_by(play, days),
    )


def _between_stores(play: Play, home: Store) -> None:
    """Let one transfer arrive, a piece of it damaged, and another be on its way."""
    arrived = _send(play, play.cast.stores["LHB"], home, days=4)
    if arrived:
        line = arrived.lines.get()
        counts = {line.pk: Arrived(good=line.quantity - 1, damaged=1)}
        receive_transfer(transfer=arrived, counts=counts, **_by(play, 2))
    _send(play, home, play.cast.stores["PNC"], days=1)


def _send(play: Play, store: Store, to_store: Store, *, days: int) -> Transfer | None:
    """Send two pieces of what a store can spare most of."""
    pockets = Balance.objects.filter(store=store, free__gte=4, part__recalled=False)
    for pocket in pockets.select_related("part", "earmark").order_by("-free", "pk"):
        try:
            return send_pieces(
                key=play.key("transfer"),
                store=store,
                to_store=to_store,
                earmark=pocket.earmark,
                lines={pocket.part: 2},
                expected_on=play.today + dt.timedelta(days=2 - days),
                why="Asked for by telephone",
                **_by(play, days),
            )
        except Refusal:
            continue
    return None


def _count_some(play: Play, home: Store) -> None:
    """Have some shelves and the quarantine counted; one piece of one part is missing."""
    pockets = list(
        Balance.objects.filter(store=home, free__gte=2)
        .select_related("part", "bin")
        .order_by("bin__code", "pk")[:4]
    )
    count = prepare_count(
        key=play.key("count"),
        store=home,
        pockets=pockets,
        lots=list(lots_left(home)),
        about="some bins and quarantine",
        **_by(play, 1),
    )
    there = {(one.part_id, one.earmark_id): one.free + one.held for one in pockets}
    lines = list(count.lines.select_related("lot").order_by("pk"))
    found = {
        line.pk: line.lot.left if line.lot else there[line.part_id, line.earmark_id]
        for line in lines
    }
    found[lines[0].pk] -= 1
    enter_count(
        count=count,
        found=found,
        by=play.cast.staff["technician"],
        at=moment(play.today, 6),
    )


def _hold_new_vehicles(play: Play, home: Store, campaign: Campaign) -> None:
    """Keep the prices of new vehicles that the campaign holds on the yard."""
    rows = CampaignVehicle.objects.filter(
        campaign=campaign, store=home, vehicle__standing=Standing.NEW
    ).select_related("store", "vehicle")
    for row, (selling, paid) in zip(rows.order_by("pk"), PRICES, strict=False):
        keep_unsold(
            row=row,
            facts={
                "selling_price_cents": selling,
                "price_paid_cents": paid,
                "notice_on": campaign.announced_on,
                "stop_sale_on": campaign.announced_on,
                "bought_back_on": None,
            },
            by=play.cast.staff["service"],
            at=moment(play.today - dt.timedelta(days=1)),
        )


def _bill_file(play: Play, home: Store, straps: Shipment, clamps: Shipment) -> None:
    """Keep a bill file: one row that fits, one at another price, one unknown."""
    day = (play.today - dt.timedelta(days=1)).isoformat()
    clamp = clamps.lines.select_related("part").get()
    rows = [
        ("78-0412", day, NEW_NUMBER, 10, plain_money(NEW_CENTS), straps.number),
        ("78-0413", day, clamp.part.number, 20, "3.05", clamps.number),
        ("78-0414", day, "VX-99999", 4, "12.00", ""),
    ]
    heads = (
        "Bill number",
        "Bill date",
        "Part number",
        "Quantity",
        "Unit price",
        "Slip",
    )
    _keep(play, home, FileKind.BILLS, "bills.csv", [heads, *rows])


def _payment_advice(play: Play, home: Store) -> None:
    """Keep a payment advice: paid in full, paid short, and a claim nobody knows."""
    claims = (
        Claim.objects.filter(store=home, state=ClaimState.SUBMITTED)
        .annotate(cents=Sum("lines__claimed_cents"))
        .order_by("number")[:3]
    )
    day = (play.today - dt.timedelta(days=1)).isoformat()
    rows: list[tuple[object, ...]] = []
    for turn, claim in enumerate(claims):
        cents = vars(claim)["cents"] * (9 if turn == 1 else 10) // 10
        rows.append((claim.number, plain_money(cents, grouped=False), "R-5561", day))
    rows.append((990_001, "88.00", "R-5561", day))
    heads = ("Claim number", "Paid amount", "Advice", "Payment date")
    _keep(play, home, FileKind.PAYMENTS, "payment-advice.csv", [heads, *rows])


def _keep(
    play: Play,
    home: Store,
    kind: FileKind,
    name: str,
    rows: Sequence[Sequence[object]],
) -> None:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    keep_money_file(
        file=ContentFile(text.getvalue().encode()),
        name=name,
        kind=kind,
        store=home,
        by=play.cast.staff["service"],
        at=moment(play.today, 6),
    )
