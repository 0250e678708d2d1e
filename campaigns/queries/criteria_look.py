"""What a criterion would do, while it is being written: counts, and its borders."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from campaigns.queries.criteria import rule_of, sentence_of
from vehicles.queries.verdicts import (
    Counted,
    Near,
    count_met,
    left_out_by,
    lines_held,
    near,
)
from vehicles.rules.criteria import CriteriaSet


if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from campaigns.models import Criterion

_EDGES = {
    "build_from": gettext_lazy("Built from"),
    "build_to": gettext_lazy("Built to"),
    "serial_from": gettext_lazy("Serial from"),
    "serial_to": gettext_lazy("Serial to"),
}
_TESTS = {
    "model_year": gettext_lazy("Model year"),
    "engine": gettext_lazy("Engine"),
    "plant": gettext_lazy("Plant"),
}


@dataclass(frozen=True, slots=True)
class Edge:
    """One end of a window: the vehicles next to it on either side, in one store."""

    words: str
    end: str
    inside: list[Near]
    outside: list[Near]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What one test alone leaves out, by what the vehicles have instead."""

    words: str
    values: list[tuple[str, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a criterion says in a sentence, and of how many vehicles of all stores.

    ``together`` counts what all criteria of the version say; None where they include
    nothing. Lists of VINs are not counted.
    """

    sentence: str
    alone: Counted
    together: Counted | None
    edges: list[Edge]
    left_out: list[LeftOut]


def look_at(
    criterion: Criterion, *, others: Iterable[Criterion], store_ids: Collection[int]
) -> Look:
    """Count what a criterion takes in or leaves out, and show what lies at its ends.

    ``criterion`` need not be stored. Raises CriterionAsksNothing, WindowBackToFront.
    """
    rule = rule_of(criterion)
    held = lines_held()
    rules = (*map(rule_of, others), rule)
    includes = any(one.include for one in rules)
    return Look(
        sentence=sentence_of(criterion),
        alone=count_met(CriteriaSet((replace(rule, include=True),)), held),
        together=count_met(CriteriaSet(rules), held) if includes else None,
        edges=[
            Edge(
                str(words),
                str(getattr(criterion, name)),
                near(rule, name, inside=True, store_ids=store_ids, held=held),
                near(rule, name, inside=False, store_ids=store_ids, held=held),
            )
            for name, words in _EDGES.items()
            if getattr(criterion, name)
        ],
        left_out=[
            LeftOut(
                str(words),
                [(value or _("none"), n) for value, n in found],
            )
            for name, words in _TESTS.items()
            if (found := left_out_by(rule, name, held=held))
        ],
    )
