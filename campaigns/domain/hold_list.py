"""Checking the store's own vehicles against all campaigns, and keeping what changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from campaigns.domain.room import hold_room
from campaigns.models import StockChange, StockCheck
from campaigns.queries.hold_list import differences, in_stock, stock_lines
from dealership.domain.audit import record


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store


def check_stock(*, store: Store, by: StaffMember | None, at: dt.datetime) -> StockCheck:
    """Look at all of a store's own vehicles, and keep what stands otherwise now.

    One check at a time in a store, so that two of them do not tell a change twice.
    """
    with transaction.atomic():
        hold_room(store)
        lines, stock = stock_lines(store=store, now=at), in_stock(store)
        codes = {
            line.vehicle.pk: [one.campaign.code for one in line.open_here]
            for line in lines
        }
        found = differences(store=store, lines=lines, stock=stock)
        check = StockCheck.objects.create(
            store=store,
            made_at=at,
            on=timezone.localdate(at),
            by=by,
            vehicles=len(stock),
            held=sum(line.must_stay for line in lines),
        )
        StockChange.objects.bulk_create(
            StockChange(
                check_of=check,
                vehicle_id=vehicle,
                before=before or "",
                after=after,
                campaigns=codes.get(vehicle, []),
            )
            for vehicle, (before, after) in found.items()
        )
        record(
            act="stock.checked",
            subject=check,
            by=by,
            at=at,
            store=store,
            after={
                "vehicles": check.vehicles,
                "held": check.held,
                "changed": len(found),
            },
        )
    return check
