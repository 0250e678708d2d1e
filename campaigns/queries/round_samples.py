"""What has to be known of a round before its letters are filled in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Min
from django.db.models.functions import Length

from campaigns.documents.letter_press import MOST_SAMPLES
from campaigns.queries.letters import letters_at
from campaigns.rules.letter_pace import COMPARED_EVENLY, COMPARED_LONGEST
from campaigns.rules.letter_text import OWNER_FIELDS, clean


if TYPE_CHECKING:
    from campaigns.models import Letter, LetterRound

_PARTICULAR = (
    "party__name",
    "address__street",
    "address__street2",
    "address__city",
    "address__region",
    "address__postal_code",
)


def characters_of(letter_round: LetterRound) -> set[str]:
    """Give all characters of names and addresses, in either case."""
    found: set[str] = set()
    rows = letter_round.letters.values_list(*_PARTICULAR)
    for row in rows.iterator(chunk_size=2_000):
        for value in row:
            found.update(value if value.isascii() else clean(value))
    return {one for char in found for one in (char, char.upper(), char.lower())}


def sample_letters(letter_round: LetterRound) -> list[Letter]:
    """Give one letter for each set of words that many share: text, year and line.

    A text that names the owner has no such set.
    """
    groups = letter_round.letters.values(
        "text",
        "campaign_vehicle__vehicle__model_year",
        "campaign_vehicle__vehicle__line",
    ).annotate(first=Min("position"))
    positions = sorted(groups.values_list("first", flat=True))[:MOST_SAMPLES]
    return [
        letter
        for letter in letters_at(letter_round, positions)
        if not _names_the_owner(letter, letter_round)
    ]


def _names_the_owner(letter: Letter, letter_round: LetterRound) -> bool:
    text = letter.text or letter_round.text
    said = f"{text.subject}{text.body}"
    return any(f"{{{field}}}" in said for field in OWNER_FIELDS)


def letters_to_compare(letter_round: LetterRound) -> list[Letter]:
    """Give letters from all over the round, and those with the longest names."""
    letters = letter_round.letters.count()
    step = max(1, letters // COMPARED_EVENLY)
    positions = set(range(1, letters + 1, step)[:COMPARED_EVENLY])
    longest = letter_round.letters.order_by(Length("party__name").desc(), "position")
    positions |= set(longest.values_list("position", flat=True)[:COMPARED_LONGEST])
    return letters_at(letter_round, sorted(positions))
