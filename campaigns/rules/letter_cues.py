"""Finding a thing said in a text, however it is spelt, spaced or negated.

A cue is a short pattern over the words of one sentence. Before it is looked for, the
text is folded: small letters, no accents, no soft hyphens, hyphens between words as
blanks, letters set apart pulled together. In a pattern ``word*`` stands for any ending,
``(a|b c)`` for one of several, ``word?`` for one that may be missing, ``~3`` for up to
three words between (``~`` for two), and NOT, DATE, NUM and MONEY for what they say.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_MONTHS = (
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|ene|abr|ago|dic)[a-z]*"
    r"|mayo|marzo"
)
_DAY = r"\d{1,2}(?:st|nd|rd|th)?"
_MACROS = {
    "NOT": r"(?:not|no|never|cannot|dont|doesnt|isnt|[a-z]+n't|without|neither|nor"
    r"|none|zero|nobody|sin|nunca|jamas|ni|ningun[a-z]*|tampoco|nadie)",
    "DATE": rf"(?:\d{{4}}[-/]\d{{1,2}}[-/]\d{{1,2}}|\d{{1,2}}[-/]\d{{1,2}}[-/]\d{{2,4}}"
    rf"|(?:{_MONTHS}) {_DAY}(?: \d{{4}})?|{_DAY} (?:de )?(?:{_MONTHS})(?: (?:de )?"
    rf"\d{{4}})?|(?:{_MONTHS}) (?:de )?\d{{4}})",
    "NUM": r"(?:\d[\d,.]*|one|two|three|six|ten|twelve|thirty|sixty|ninety|uno|dos"
    r"|tres|seis|diez|doce|treinta|sesenta|noventa)",
    "MONEY": r"(?:\$ ?\d[\d,.]*|\d[\d,.]* (?:dollars|dolares))",
}
NEGATION = re.compile(_MACROS["NOT"])
DATE = re.compile(rf"(?<![^ ]){_MACROS['DATE']}(?![^ ])")
_TURNS = frozenset(
    [
        "but",
        "however",
        "although",
        "though",
        "pero",
        "aunque",
        "sino",
        "if",
        "when",
        "si",
    ]
)
_LOOK_BACK = 5
_PART = re.compile(r"\)\??|\(|\||~\d?|[^\s()|~]+")
_TOKEN = re.compile(
    r"\$?\d+(?:[.,/-]\d+)*(?:st|nd|rd|th)?|\$|%|[^\W\d_]+(?:'[^\W\d_]+)*|\d+"
    r"|[.!?;](?=\s|$)|,|\n"
)
_APOSTROPHES = "\u2019\u2018\u02bc\u0060\u00b4"
_SPACED = 4
_SHORT_WORDS = frozenset("aieouy")


@dataclass(frozen=True, slots=True)
class Word:
    """One folded word, and where it stands in the text as it was written."""

    text: str
    start: int
    end: int
    clause: int
    capital: bool = False


@dataclass(frozen=True, slots=True)
class Sentence:
    """The words of one sentence, and the same as one string."""

    words: tuple[Word, ...]
    joined: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """A pattern. ``denied``: whether it counts only where negated, or only where not."""

    pattern: str
    denied: bool | None = None


@dataclass(frozen=True, slots=True)
class Hit:
    """Where a cue was found: offsets in the text as it was written."""

    start: int
    end: int


def cues(*patterns: str, denied: bool | None = None) -> tuple[Cue, ...]:
    """Give several cues that are read alike."""
    return tuple(Cue(pattern=one, denied=denied) for one in patterns)


def sentences_of(text: str) -> list[Sentence]:
    """Fold a text and cut it into sentences."""
    folded, origin = _fold(text)
    found: list[Sentence] = []
    words: list[Word] = []
    clause = 0

    def close() -> None:
        if words:
            pulled = tuple(_pull_together(words))
            found.append(Sentence(pulled, " ".join(one.text for one in pulled)))
            words.clear()

    for token in _TOKEN.finditer(folded):
        if token[0] in ".!?;\n":
            close()
        elif token[0] == ",":
            clause += 1
        else:
            start, end = origin[token.start()], origin[token.end() - 1] + 1
            capital = text[start].isupper()
            words.append(Word(token[0], start, end, clause, capital))
    close()
    return found


def _fold(text: str) -> tuple[str, list[int]]:
    """Give the folded text, and for each of its characters the place it came from."""
    letters: list[str] = []
    origin: list[int] = []
    for place, character in enumerate(text):
        if unicodedata.category(character) == "Cf":
            continue
        if character in _APOSTROPHES:
            character = "'"  # noqa: PLW2901 (one character for all of its forms)
        for part in unicodedata.normalize("NFKD", character.casefold()):
            if unicodedata.combining(part):
                continue
            letters.append(" " if part.isspace() and part != "\n" else part)
            origin.append(place)
    folded = re.sub(r"(?<=[^\W\d])[-\u2010-\u2015](?=[^\W\d])", " ", "".join(letters))
    return re.sub(r"(?<!\n)\n(?!\n)", " ", folded), origin


def _pull_together(words: list[Word]) -> Iterator[Word]:
    """Pull letters that were set apart into words: ``r e c a l l``."""
    run: list[Word] = []
    for one in [*words, None]:
        apart = one is not None and len(one.text) == 1 and one.text.isalpha()
        if (
            apart
            and one
            and run
            and one.start - run[-1].end == 1
            and one.capital == run[-1].capital
        ):
            run.append(one)
            continue
        yield from _closed(run)
        run = [one] if apart and one else []
        if one is not None and not apart:
            yield one


def _closed(run: list[Word]) -> Iterator[Word]:
    """Give a run of single letters as one word, or as they are where it is short.

    A first letter that is a word itself (``a p r o b l e m``) may not belong to it: then
    the word stands there both with it and without.
    """
    if len(run) < _SPACED:
        yield from run
        return
    starts = [run, run[1:]] if run[0].text in _SHORT_WORDS else [run]
    for letters in starts:
        text = "".join(one.text for one in letters)
        yield Word(text, letters[0].start, run[-1].end, run[0].clause)


def find(sentences: Iterable[Sentence], wanted: Iterable[Cue]) -> Iterator[Hit]:
    """Give every place where one of the cues stands, in the order of the text."""
    wanted = tuple(wanted)
    for sentence in sentences:
        places: dict[int, int] = {}
        for cue in wanted:
            for match in compiled(cue.pattern).finditer(sentence.joined):
                first = _word_at(sentence, match.start())
                last = _word_at(sentence, max(match.start(), match.end() - 1))
                denied = cue.denied
                if denied is None or _is_denied(sentence, first, last) is denied:
                    places[first] = max(last, places.get(first, 0))
        covered = -1
        for first in sorted(places):
            if first > covered:
                covered = places[first]
                yield Hit(sentence.words[first].start, sentence.words[covered].end)


def says(text: str, wanted: Iterable[Cue]) -> bool:
    """Tell whether a text says one of these things."""
    return next(find(sentences_of(text), wanted), None) is not None


def _word_at(sentence: Sentence, offset: int) -> int:
    """Give the number of the word that covers an offset of the joined sentence."""
    return sentence.joined.count(" ", 0, offset)


def _is_denied(sentence: Sentence, first: int, last: int) -> bool:
    """Tell whether a negation stands in a hit, or before it in the same clause."""
    clause = sentence.words[first].clause
    if any(NEGATION.fullmatch(word.text) for word in sentence.words[first : last + 1]):
        return True
    for word in reversed(sentence.words[max(0, first - _LOOK_BACK) : first]):
        if word.clause != clause or word.text in _TURNS:
            return False
        if NEGATION.fullmatch(word.text):
            return True
    return False


@lru_cache(maxsize=4_000)
def compiled(pattern: str) -> re.Pattern[str]:
    """Give the expression of a cue's pattern. Raises ValueError for one half open."""
    parts = _PART.findall(pattern)
    body = _one_of(parts)
    if parts:
        raise ValueError(pattern)
    return re.compile(rf"(?<![^ ]){body}(?![^ ])")


def _one_of(parts: list[str]) -> str:
    """Read alternatives up to the bracket that closes them."""
    told = [_in_a_row(parts)]
    while parts and parts[0] == "|":
        parts.pop(0)
        told.append(_in_a_row(parts))
    return f"(?:{'|'.join(told)})"


def _in_a_row(parts: list[str]) -> str:
    """Read words, groups and gaps that follow each other.

    What follows a plain word of four letters or more may also be written together with
    it: ``safety recall`` finds safetyrecall.
    """
    out, glue, joins = "", "", False
    while parts and parts[0] not in {"|", ")", ")?"}:
        part = parts.pop(0)
        if part.startswith("~"):
            out += f"(?: [^ ]+){{0,{int(part[1:] or 2)}}}"
            glue, joins = " ", False
            continue
        joint = f"{glue}?" if joins else glue
        if part == "(":
            told, optional = _one_of(parts), parts.pop(0) == ")?"
            joins = False
        else:
            told, optional = _word(part.removesuffix("?")), part.endswith("?")
            joins = not optional and part.isalpha() and len(part) >= _SPACED
        out += f"(?:{joint}{told})?" if optional else f"{joint}{told}"
        glue = " "
    return out


def _word(text: str) -> str:
    """Give the expression of one word: a macro, or letters with an open ending."""
    return _MACROS.get(text) or re.escape(text).replace(r"\*", "[^ ]*")
