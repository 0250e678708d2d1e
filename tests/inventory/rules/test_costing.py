import datetime as dt

import pytest

from inventory.rules.accounts import Account
from inventory.rules.costing import LayerLeft, LayersDoNotCover, share_out


def layer(number, *, earmark=None, day=1, shelf=5, quarantine=0):
    return LayerLeft(
        layer=number,
        earmark=earmark,
        received_on=dt.date(2026, 11, day),
        shelf=shelf,
        quarantine=quarantine,
    )


def test_own_earmark_first_then_oldest():
    layers = [layer(1, day=3), layer(2, day=1), layer(3, earmark=7, day=9, shelf=2)]
    shares = share_out(layers, earmark=7, account=Account.HELD, quantity=8)
    assert shares == [(3, 2), (2, 5), (1, 1)]


def test_common_stock_takes_common_layers_first():
    layers = [layer(1, earmark=7, day=1), layer(2, day=2)]
    shares = share_out(layers, earmark=None, account=Account.FREE, quantity=6)
    assert shares == [(2, 5), (1, 1)]


def test_quarantine_is_drawn_from_what_stands_there():
    layers = [layer(1, day=1, quarantine=0), layer(2, day=2, quarantine=3)]
    shares = share_out(layers, earmark=None, account=Account.QUARANTINE, quantity=2)
    assert shares == [(2, 2)]


def test_pieces_without_a_layer_are_a_fault_of_the_books():
    with pytest.raises(LayersDoNotCover):
        share_out([layer(1)], earmark=None, account=Account.FREE, quantity=6)


def test_a_move_changes_its_own_place():
    one = layer(1, shelf=5)
    one.move(Account.FREE, Account.QUARANTINE, 2)
    assert (one.shelf, one.quarantine) == (3, 2)
    one.move(Account.QUARANTINE, Account.RETURNED, 1)
    one.move(Account.FREE, Account.HELD, 3)
    assert (one.shelf, one.quarantine) == (3, 1)
