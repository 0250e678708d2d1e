"""The letter check of a round: each text as it would be printed, and what was answered."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from campaigns.queries.letter_samples import draft_of
from campaigns.queries.remedies import needs_of
from campaigns.queries.waiting import (
    Availability,
    availability,
    before,
    kept_for,
    waiting_list,
)
from campaigns.rules.letter_check import Draft, Finding, Promise, check_letter
from campaigns.rules.letter_rules import Severity
from inventory.forecasting.takeup import cold_start_curve, usual_ultimate
from inventory.queries.numbers import Needs, part_ids_of
from inventory.queries.stock import stock_of


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence

    from campaigns.models import (
        Campaign,
        CampaignVehicle,
        LetterCheckAnswer,
        LetterRound,
        LetterText,
    )
    from dealership.models import Store
    from inventory.models import Part

FIRST_WEEKS = 4.0
"""Parts are called here when those last who are expected in these weeks."""

_LOOKED_AT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """One finding, and the reason for which it was let pass, if it was."""

    finding: Finding
    answer: LetterCheckAnswer | None

    @property
    def blocks(self) -> bool:
        """Tell whether it keeps the round from being printed for good."""
        return self.finding.severity is Severity.REFUSE

    @property
    def waits(self) -> bool:
        """Tell whether it waits for a reason."""
        return not self.blocks and self.answer is None


@dataclass(frozen=True, slots=True, kw_only=True)
class TextCheck:
    """What the check found in one text of a round, and how many letters have it."""

    text: LetterText
    draft: Draft
    letters: int
    found: tuple[Answered, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsInHand:
    """What the promise line says of those who are expected soon after the letters."""

    letters: int
    expected: int
    there: Availability

    @property
    def promise(self) -> Promise:
        """Give it as the check asks for it."""
        return Promise(ready=self.there.is_here, earliest=self.there.earliest)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundCheck:
    """The check of all texts of a round."""

    texts: tuple[TextCheck, ...]
    parts: PartsInHand

    @property
    def blocking(self) -> int:
        """Give how many findings block."""
        return sum(one.blocks for text in self.texts for one in text.found)

    @property
    def waiting(self) -> int:
        """Give how many findings wait for a reason."""
        return sum(one.waits for text in self.texts for one in text.found)

    @property
    def is_clean(self) -> bool:
        """Tell whether the round may be printed."""
        return not (self.blocking or self.waiting)


def check_round(letter_round: LetterRound, *, today: dt.date) -> RoundCheck:
    """Check each text of a round, filled in for the first letter that has it."""
    by_text = Counter(letter_round.letters.order_by().values_list("text", flat=True))
    parts = parts_in_hand(letter_round, today=today)
    answers = {
        (one.text_id, one.rule): one
        for one in letter_round.check_answers.select_related("by")
    }
    checked = []
    for text_id, count in sorted(by_text.items(), key=lambda one: -one[1]):
        first = (
            letter_round.letters.filter(text=text_id)
            .select_related("text", "party", "address", "campaign_vehicle__vehicle")
            .order_by("position")[0]
        )
        text = first.text or letter_round.text
        first.letter_round = letter_round
        draft = replace(draft_of(first), promise=parts.promise)
        found = tuple(
            Answered(finding=finding, answer=answers.get((text.pk, finding.rule.code)))
            for finding in check_letter(draft)
        )
        checked.append(TextCheck(text=text, draft=draft, letters=count, found=found))
    return RoundCheck(texts=tuple(checked), parts=parts)


def parts_in_hand(letter_round: LetterRound, *, today: dt.date) -> PartsInHand:
    """Ask the promise line whether those who are expected first can be served.

    Expected are those of the usual curve in the first weeks after a letter, at least
    one; each needs what its own vehicle needs.
    """
    count = letter_round.letters.count()
    rows = [
        letter.campaign_vehicle
        for letter in letter_round.letters.select_related(
            "campaign_vehicle__vehicle", "campaign_vehicle__campaign__earmark"
        ).order_by("position")[:_LOOKED_AT]
    ]
    return promised(
        campaign=letter_round.campaign,
        store=letter_round.store,
        rows=rows,
        letters=count,
        today=today,
    )


def promised(
    *,
    campaign: Campaign,
    store: Store,
    rows: Sequence[CampaignVehicle],
    letters: int,
    today: dt.date,
) -> PartsInHand:
    """Tell from when the parts for the first answers to so many letters are there.

    ``rows`` are some of the vehicles written about; what they need on average is asked
    for the number of owners expected.
    """
    share = cold_start_curve(usual_ultimate(None)).completed(FIRST_WEEKS)
    expected = min(letters, max(1, math.ceil(letters * share))) if letters else 0
    needed: Counter[Part] = Counter()
    numbers: dict[int, tuple[Part, ...]] = {}
    for needs in needs_of(rows, today=today).values():
        needed.update(needs)
        numbers |= needs.numbers
    wanted = Needs(
        {
            part: math.ceil(pieces * expected / len(rows))
            for part, pieces in needed.items()
            if pieces
        },
        numbers,
    )
    stock = stock_of(store=store, part_ids=part_ids_of(wanted))
    ahead = before(waiting_list(store=store, today=today), None)
    kept = kept_for(ahead, campaign=campaign, stock=stock)
    there = availability(wanted, campaign=campaign, stock=stock, kept=kept, today=today)
    return PartsInHand(letters=letters, expected=expected, there=there)
