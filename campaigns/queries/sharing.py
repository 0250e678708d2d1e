"""What the stores of a group want of one part, for sharing a supply over them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db.models import Count
from django.utils.translation import gettext as _

from campaigns.models import Replenishment
from campaigns.rules.lifecycle import ProposalState
from inventory.forecasting.sharing import Claimant, ShareReason
from inventory.models import Part


if TYPE_CHECKING:
    from collections.abc import Sequence

    from campaigns.models.outcome import ReplenishmentQuerySet
    from dealership.models import StaffMember, Store
    from inventory.forecasting.proposal import Fact
    from inventory.forecasting.sharing import Share


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreShare:
    """One store's share with the words that explain it."""

    store: Store
    share: Share
    words: str


def open_proposals(staff: StaffMember) -> ReplenishmentQuerySet:
    """Give the proposals that stand in the stores that this person sees."""
    rows = Replenishment.objects.for_staff(staff)
    return rows.filter(state=ProposalState.OPEN)


def shared_parts(staff: StaffMember) -> list[Part]:
    """Give the parts that campaigns want at two stores or more."""
    wanted = (
        open_proposals(staff)
        .exclude(facts__campaigns=[])
        .values("part")
        .annotate(stores=Count("store", distinct=True))
        .filter(stores__gte=2)
    )
    return list(
        Part.objects.filter(pk__in=[row["part"] for row in wanted]).order_by("number")
    )


def claimants_of(staff: StaffMember, part: Part) -> list[tuple[Store, Claimant]]:
    """Give what each store wants and has of a part, by the last night's proposals."""
    rows = open_proposals(staff).filter(part=part).select_related("store")
    return [
        (row.store, _claimant(row.store, row.told()))
        for row in rows.order_by("store__code")
    ]


def _claimant(store: Store, rows: Sequence[Fact]) -> Claimant:
    """Add up vehicles and pieces over the campaigns that take the part.

    A need counts every open vehicle, waiting customers and planned work; what is
    there counts pieces on the shelf and on their way.
    """
    by_label: dict[str, dict[str, Decimal]] = {}
    for row in rows:
        if row.unit != "day":
            figures = by_label.setdefault(row.label, {})
            figures[row.code] = Decimal(row.value)
    whole = by_label.pop("", {})
    vehicles, need = 0, Decimal(0)
    for facts in by_label.values():
        number = facts.get("open_vehicles", Decimal(0))
        vehicles += int(number)
        share = facts.get("share_needing_it", Decimal(1))
        need += number * share * facts.get("pieces_a_vehicle", Decimal(1))
        need += facts.get("certain_pieces", Decimal(0))
    waiting = int(whole.get("waiting", 0))
    return Claimant(
        code=store.code,
        vehicles=vehicles + waiting,
        need=math.ceil(need) + waiting,
        have=int(whole.get("have_in_all", 0)) + waiting,
    )


def explained(
    claimants: Sequence[tuple[Store, Claimant]], shares: Sequence[Share]
) -> list[StoreShare]:
    """Put each share beside its store, with the reason in words."""
    return [
        StoreShare(store=store, share=share, words=_words(share))
        for (store, _claimant), share in zip(claimants, shares, strict=True)
    ]


def _words(share: Share) -> str:
    one = share.claimant
    figures = {
        "vehicles": one.vehicles,
        "exact": f"{share.exact:.1f}",
        "have": one.have,
        "need": one.need,
        "short": share.short,
    }
    match share.reason:
        case ShareReason.NOTHING_WANTED:
            return _("has the %(need)d pieces that it needs") % figures
        case ShareReason.NEED_MET:
            return _("gets all that it needs for %(vehicles)d vehicles") % figures
        case ShareReason.LEAST:
            return _("has none yet, so one pack comes first") % figures
        case ShareReason.HAS_ITS_SHARE:
            return (
                _(
                    "its %(have)d pieces are its share already (%(exact)s by its vehicles)"
                )
                % figures
            )
        case ShareReason.SHARE:
            return (
                _(
                    "%(exact)s of all pieces by its vehicles, what it has included;"
                    " whole packs come nearest so; %(short)d short"
                )
                % figures
            )
