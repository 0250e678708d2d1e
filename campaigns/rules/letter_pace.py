"""How letters are cut up to be set, and how long that takes."""

FILLED_AT_ONCE = 500
"""Letters filled in by one worker at a time: about a fifth of a second, half a MB."""

FILLED_FROM = 60
"""Fewer letters are laid out one by one sooner than their backgrounds are ready."""

WHOLE_AT_ONCE = 20
"""Letters that the layout engine sets together: about two seconds, 20 MB."""

WHOLE_FROM = 1_000_001
"""Numbers of chunks that the engine sets, after all that are filled in."""

COMPARED_EVENLY = 7
COMPARED_LONGEST = 5
"""Letters of each batch that are set both ways and compared: some from all over, and
those with the longest names, which come nearest to the limits of their lines."""

HANDS = 3
CHUNKS_A_HAND = 4
"""A round of many chunks asks other workers for help, up to so many."""

_FILLED_A_SECOND = 1_000
_WHOLE_A_SECOND = 10


def seconds_to_set(letters: int, *, whole: bool) -> int:
    """Guess the seconds that one worker takes, to tell people; never below 1.

    ``whole``: each letter is laid out by itself, as a text that names the owner needs.
    """
    pace = _WHOLE_A_SECOND if whole else _FILLED_A_SECOND
    return max(1, -(-letters // pace))


def hands_wanted(chunks: int) -> int:
    """Give how many other workers are asked to help with so many chunks."""
    return min(HANDS, chunks // CHUNKS_A_HAND)
