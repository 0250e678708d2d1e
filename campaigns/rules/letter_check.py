"""Checking a letter against the rules of its class, its sender and its round.

The check looks for words; it does not understand a text. It is a help for the office,
not legal advice: the manufacturer and counsel decide what is sent.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from campaigns.rules import letter_cues_english, letter_cues_spanish
from campaigns.rules.letter_cues import DATE, Cue, Hit, Sentence, find, sentences_of
from campaigns.rules.letter_rules import (
    DESCRIBED,
    LEFT_EMPTY,
    ORDER,
    ORDERED,
    PARTS,
    RULES,
    Look,
    Rule,
    Severity,
)
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind


if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_CUES = {"en": letter_cues_english.CUES, "es": letter_cues_spanish.CUES}
_QUOTED = 120
_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


@dataclass(frozen=True, slots=True)
class Promise:
    """What the promise line says of the parts that a round's vehicles need.

    ``ready``: every letter's vehicle could have its parts today; ``earliest``: the
    first day on which all of them can be promised, None where no delivery brings them.
    """

    ready: bool
    earliest: dt.date | None


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A letter as it would be printed, with its fields filled in, and what it is.

    ``values`` are the fields, ``used`` those that the text names; ``promise`` is None
    where nobody has asked yet.
    """

    campaign_class: CampaignClass
    kind: RoundKind
    posted_by: PostedBy
    language: str
    subject: str
    paragraphs: tuple[str, ...]
    values: Mapping[str, str]
    used: frozenset[str] = frozenset()
    promise: Promise | None = None

    @property
    def parts(self) -> tuple[str, ...]:
        """Give the subject line and the paragraphs."""
        return (self.subject, *self.paragraphs)

    @cached_property
    def folded(self) -> list[list[Sentence]]:
        """Give the sentences of each part."""
        return [sentences_of(part) for part in self.parts]

    def cues(self, code: str) -> tuple[Cue, ...]:
        """Give the cues of a rule in the letter's language, with its names put in."""
        found = _CUES.get(self.language, _CUES["en"]).get(code, ())
        return tuple(
            Cue(pattern=self._named(one.pattern), denied=one.denied) for one in found
        )

    def _named(self, pattern: str) -> str:
        """Put the values of fields into a pattern; an empty one finds nothing."""
        for name in ("maker", "store_name", "store_phone"):
            if f"{{{name}}}" in pattern:
                words = " ".join(
                    one.joined for one in sentences_of(self.values.get(name, ""))
                )
                pattern = pattern.replace(
                    f"{{{name}}}", re.sub(r"[^\w ]", " ", words).strip() or "\x00"
                )
        return pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where in a letter: part 0 is the subject line, then the paragraphs from 1."""

    part: int
    start: int
    end: int
    quote: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a rule found, or misses (then without a place)."""

    rule: Rule
    place: Place | None = None
    detail: str = ""

    @property
    def severity(self) -> Severity:
        """Give whether it blocks or warns."""
        return self.rule.severity


def check_letter(draft: Draft) -> tuple[Finding, ...]:
    """Check a letter; what blocks comes first, then in the order of the text."""
    found = [
        finding
        for rule in RULES
        if rule.applies(draft.campaign_class, draft.posted_by, draft.kind)
        for finding in _by_rule(draft, rule)
    ]
    found += _parts(draft)
    found += _order(draft)
    found += _described(draft)
    found += _left_empty(draft)
    return tuple(sorted(found, key=_blocking_first))


def _blocking_first(finding: Finding) -> tuple[bool, int, int]:
    place = finding.place
    return (
        finding.severity is Severity.WARN,
        place.part if place else 99,
        place.start if place else 0,
    )


def _by_rule(draft: Draft, rule: Rule) -> Iterator[Finding]:
    """Apply a rule that looks for words."""
    if rule.look is Look.PRESENT:
        if not _is_there(draft, rule.code):
            yield Finding(rule=rule)
        return
    for part, hit, sentence in _hits(draft, rule.code):
        if rule.excuse and next(find([sentence], draft.cues(rule.excuse)), None):
            continue
        yield Finding(rule=rule, place=_place(draft, part, hit))


def _hits(draft: Draft, code: str) -> Iterator[tuple[int, Hit, Sentence]]:
    """Give each place where the cues of a code stand."""
    wanted = draft.cues(code)
    for part, sentences in enumerate(draft.folded):
        for sentence in sentences:
            for hit in find([sentence], wanted):
                yield part, hit, sentence


def _is_there(draft: Draft, code: str) -> bool:
    """Tell whether a letter says a thing that it should."""
    if code == "names_maker":
        return _names(draft, "maker")
    if code == "names_number":
        return _names(draft, "maker_number") or _names(draft, "campaign_number")
    return next(_hits(draft, code), None) is not None


def _names(draft: Draft, field: str) -> bool:
    """Tell whether a letter holds the value of a field."""
    value = draft.values.get(field, "").casefold()
    return bool(value) and any(value in part.casefold() for part in draft.parts)


def _place(draft: Draft, part: int, hit: Hit) -> Place:
    text = draft.parts[part]
    return Place(
        part=part,
        start=hit.start,
        end=hit.end,
        quote=text[hit.start : hit.end][:_QUOTED],
    )


def _parts(draft: Draft) -> Iterator[Finding]:
    """Ask the promise line: parts and days are promised only when they are there.

    A day may be named from the first day on which all can be promised.
    """
    promise = draft.promise
    if promise is None or promise.ready:
        return
    if draft.kind is not RoundKind.INTERIM or draft.posted_by is PostedBy.STORE:
        for part, hit, sentence in _hits(draft, "parts_here"):
            if not DATE.search(sentence.joined):
                yield Finding(rule=PARTS, place=_place(draft, part, hit))
    for part, hit, sentence in _hits(draft, "available_from"):
        named = DATE.search(sentence.joined)
        if named and not _late_enough(named[0], promise.earliest):
            yield Finding(
                rule=PARTS,
                place=_place(draft, part, hit),
                detail=promise.earliest.isoformat() if promise.earliest else "",
            )


def _late_enough(told: str, earliest: dt.date | None) -> bool:
    """Tell whether a day that is written in figures lies on or after another."""
    figures = _ISO.fullmatch(told)
    if figures is None or earliest is None:
        return False
    try:
        return dt.date(*map(int, figures.groups())) >= earliest
    except ValueError:
        return False


def _order(draft: Draft) -> Iterator[Finding]:
    """Tell which things of a manufacturer's notice stand before their turn."""
    if not ORDER.applies(draft.campaign_class, draft.posted_by, draft.kind):
        return
    furthest, after = (-1, -1), ""
    for code in ORDERED:
        first = next(_hits(draft, code), None)
        if first is None:
            continue
        part, hit, _sentence = first
        if (part, hit.start) < furthest:
            yield Finding(rule=ORDER, place=_place(draft, part, hit), detail=after)
        else:
            furthest, after = (part, hit.start), code


def _described(draft: Draft) -> Iterator[Finding]:
    """Ask for a description and a risk of the campaign's own, in a safety letter."""
    if draft.campaign_class is not CampaignClass.SAFETY:
        return
    for field in ("campaign_title", "risk"):
        if field in draft.values and not draft.values[field].strip():
            yield Finding(rule=DESCRIBED, detail=field)


def _left_empty(draft: Draft) -> Iterator[Finding]:
    """Tell which fields that the text names have nothing to be filled in with.

    Description and risk are paragraphs of their own and fall away whole.
    """
    for name in sorted(draft.used - {"risk", "bulletin", "owner_name"}):
        if not draft.values.get(name, "").strip():
            yield Finding(rule=LEFT_EMPTY, detail=name)
