"""Sentences that tests of the books share."""

import datetime as dt

from inventory.domain.receiving import (
    Counted,
    SentLine,
    announce_shipment,
    receive_shipment,
)
from inventory.models import Balance
from tests.factories.dealership import NOW, TODAY


def deliver(
    store, part, pieces, *, earmark=None, damaged=0, at=NOW, number=None, **more
):
    """Announce and receive one delivery; give the shipment."""
    shipment = announce_shipment(
        store=store,
        supplier=part.supplier,
        number=number
        or f"PS-{store.pk}-{part.pk}-{Balance.objects.count()}-{pieces}-{at:%s}",
        lines=[SentLine(part=part, quantity=pieces, **more)],
        announced_on=TODAY,
        expected_on=TODAY,
        earmark=earmark,
        by=None,
        at=at,
    )
    line = shipment.lines.get()
    return receive_shipment(
        key=f"receive {shipment.pk}",
        shipment=shipment,
        counts={line.pk: Counted(good=pieces - damaged, damaged=damaged)},
        by=None,
        at=at,
    )


def expect(store, part, pieces, *, on, earmark=None, number="PS-COMING"):
    """Announce a delivery that has not come."""
    return announce_shipment(
        store=store,
        supplier=part.supplier,
        number=number,
        lines=[SentLine(part=part, quantity=pieces)],
        announced_on=TODAY,
        expected_on=on,
        earmark=earmark,
        by=None,
        at=NOW,
    )


def stand(store, part, earmark=None):
    """Give (free, held, quarantine, used) of one pocket."""
    row = Balance.objects.filter(store=store, part=part, earmark=earmark).first()
    return (row.free, row.held, row.quarantine, row.used) if row else (0, 0, 0, 0)


def later(days):
    """Give a day from today."""
    return TODAY + dt.timedelta(days=days)
