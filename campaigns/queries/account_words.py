"""The words of a campaign's account: each figure of both sides, in their order."""

from django.utils.translation import gettext_lazy as _


OWED_WORDS = {
    "billed": _("billed by the supplier"),
    "received_before_bill": _("received, bill still to come"),
    "from_other_stock": _("taken from other stock"),
    "moved_in": _("come from other stores"),
    "moved_out": _("less gone to other stores"),
    "credited": _("less credited"),
    "paid": _("less paid by the manufacturer"),
    "charged_to_customers": _("less charged to customers"),
    "charged_to_store": _("less borne by the store"),
    "charged_to_other_campaigns": _("less charged to other campaigns"),
    "written_off": _("less written off"),
}
"""The left side, from papers; "less" is taken away."""

ADDED = frozenset({"billed", "received_before_bill", "from_other_stock", "moved_in"})
"""Figures of the left side that add up; the others are taken away."""

HELD_WORDS = {
    "not_yet_arrived": _("billed, not yet arrived"),
    "in_dispute": _("in dispute with the supplier"),
    "on_hand": _("on hand"),
    "used_not_claimed": _("fitted, not yet claimed"),
    "claimed_not_paid": _("claimed, not paid"),
    "returned_not_credited": _("returned, not credited"),
    "in_transit": _("on the way between stores"),
    "lost": _("lost, not written off"),
}
"""The right side, from the books of pieces."""

STATEMENT_WORDS = {
    "billed": _("billed by the supplier"),
    "received_before_bill": _("received, bill still to come"),
    "from_other_stock": _("taken from other stock"),
    "moved_in": _("come from another store"),
    "moved_out": _("gone to another store"),
    "credited": _("credited by the supplier"),
    "paid": _("paid by the manufacturer"),
    "charged_to_customers": _("charged to a customer"),
    "charged_to_store": _("borne by the store"),
    "charged_to_other_campaigns": _("charged to another campaign"),
    "written_off": _("written off"),
}
"""The same figures, as one line of a statement says them."""
