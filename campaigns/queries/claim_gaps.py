"""What the claims on a page lack, read for all of them in the same few queries."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from campaigns.models import (
    CheckReading,
    PartFitted,
    RepairExtra,
    VariantCheck,
    VariantPart,
)
from campaigns.queries.remedies import ALL
from campaigns.queries.wording import GAP_WORDS
from campaigns.rules.claim_gaps import (
    ClaimFacts,
    ExtraClaimed,
    Gap,
    GapKind,
    PartWanted,
    gaps_of,
)
from campaigns.rules.lifecycle import ClaimState, Outcome, Payer, ReadingResult
from inventory.queries.numbers import read_chains


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Sequence

    from campaigns.models import Claim, Repair

TO_SEND = (ClaimState.READY, ClaimState.REJECTED)
"""A claim is looked at while it is still to be sent."""


def gaps_by_claim(claims: Sequence[Claim], *, today: dt.date) -> dict[int, list[Gap]]:
    """Give what each claim that is still to be sent lacks, by the claim's id.

    Claims come with their repair and campaign. Claims on their way are left out.
    """
    asked = [one for one in claims if one.state in TO_SEND]
    if not asked:
        return {}
    repairs = [one.repair for one in asked]
    parts = _parts(repairs)
    checks = _checks(repairs)
    extras = _extras(repairs)
    return {
        one.pk: gaps_of(
            ClaimFacts(
                outcome=Outcome(one.repair.outcome or Outcome.STOPPED),
                odometer=one.repair.odometer,
                done_on=one.repair.done_on,
                parts=parts[one.repair_id],
                checks=checks[one.repair_id],
                extras=extras[one.repair_id],
                claims_until=one.campaign.claims_until,
            ),
            today=today,
        )
        for one in asked
    }


def gap_words(gaps: Collection[Gap]) -> list[str]:
    """Say what is lacking."""
    return [str(GAP_WORDS[one.kind]) % {"about": one.about} for one in gaps]


def lacks_facts(gaps: Collection[Gap]) -> bool:
    """Tell whether more is lacking than time."""
    return any(one.kind is not GapKind.PAST_DATE for one in gaps)


def _parts(repairs: Sequence[Repair]) -> dict[int, list[PartWanted]]:
    """Give the planned parts that the manufacturer pays, with what was fitted."""
    lines: dict[int, list[VariantPart]] = defaultdict(list)
    planned = VariantPart.objects.filter(
        variant__in={one.variant_id for one in repairs},
        share_basis_points=ALL,
        payer=Payer.MANUFACTURER,
    ).select_related("part")
    for line in planned.order_by("pk"):
        lines[line.variant_id].append(line)
    fitted: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for repair_id, part_id, pieces in PartFitted.objects.filter(
        repair__in=repairs
    ).values_list("repair", "part", "quantity"):
        fitted[repair_id][part_id] += pieces
    chains = read_chains({one.part_id for some in lines.values() for one in some})
    return {
        one.pk: [
            PartWanted(
                number=line.part.number,
                wanted=line.quantity,
                fitted=sum(
                    fitted[one.pk][number.pk]
                    for number in {
                        line.part,
                        *chains.serving(line.part, older=line.old_numbers_serve),
                    }
                ),
            )
            for line in lines[one.variant_id]
        ]
        for one in repairs
    }


def _checks(repairs: Sequence[Repair]) -> dict[int, list[tuple[str, bool]]]:
    """Give each check of a repair's variant and whether its last value passed."""
    of_variant: dict[int, list[VariantCheck]] = defaultdict(list)
    for check in VariantCheck.objects.filter(
        variant__in={one.variant_id for one in repairs}
    ):
        of_variant[check.variant_id].append(check)
    last: dict[tuple[int, int], str] = {}
    for repair_id, check_id, result in (
        CheckReading.objects.filter(repair__in=repairs)
        .order_by("attempt")
        .values_list("repair", "check_of", "result")
    ):
        last[repair_id, check_id] = result
    return {
        one.pk: [
            (check.title, last.get((one.pk, check.pk)) == ReadingResult.PASS)
            for check in of_variant[one.variant_id]
        ]
        for one in repairs
    }


def _extras(repairs: Sequence[Repair]) -> dict[int, list[ExtraClaimed]]:
    found: dict[int, list[ExtraClaimed]] = defaultdict(list)
    for one in RepairExtra.objects.filter(repair__in=repairs):
        found[one.repair_id].append(
            ExtraClaimed(title=one.title, evidence=one.evidence, dated=one.dated)
        )
    return found
