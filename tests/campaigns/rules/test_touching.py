"""Every act that the house writes down is known, or is held to move all proposals."""

import pytest

from campaigns.rules.touching import Touch, touch_of


@pytest.mark.parametrize(
    ("act", "touch"),
    [
        ("visit.booked", Touch.ITS_STORE),
        ("shipment.received", Touch.ITS_STORE),
        ("transfer.sent", Touch.ALL),
        ("part.superseded", Touch.ALL),
        ("campaign.amendment_applied", Touch.ALL),
        ("vehicle_list.applied", Touch.ALL),
        ("store.changed", Touch.ALL),
        ("staff.let_in", Touch.NOBODY),
        ("", Touch.ALL),
    ],
)
def test_whose_proposals_an_act_may_move(act, touch):
    assert touch_of(act) is touch
