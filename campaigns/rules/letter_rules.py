"""The rules of the letter check: what each looks at, how hard it is, and its source.

A rule that rests on a text which was read may refuse; one that is cited from memory or
from an older edition only warns. What a store's letter should say is good practice: no
rule that asks for it was found, so it warns too.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind


class Grade(StrEnum):
    """How well a source is known."""

    READ = "read"
    OLDER = "older"
    MEMORY = "memory"
    PRACTICE = "practice"


class Severity(StrEnum):
    """What a finding does: it blocks the round, or asks for a reason."""

    REFUSE = "refuse"
    WARN = "warn"


class Look(StrEnum):
    """Whether a rule wants a thing to be there, or not to be there."""

    ABSENT = "absent"
    PRESENT = "present"


@dataclass(frozen=True, slots=True)
class Source:
    """Where a rule comes from."""

    cite: str
    grade: Grade


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule, by the code under which its cues and its words are kept.

    ``blocks``: refuse rather than warn, if the source was read. ``excuse`` names cues
    that let a sentence pass.
    """

    code: str
    source: Source
    look: Look = Look.ABSENT
    blocks: bool = True
    excuse: str = ""
    classes: frozenset[CampaignClass] = field(default=frozenset(CampaignClass))
    senders: frozenset[PostedBy] = field(default=frozenset(PostedBy))
    kinds: frozenset[RoundKind] = field(default=frozenset(RoundKind))

    @property
    def severity(self) -> Severity:
        """Give how hard the rule is: what is only remembered never blocks."""
        known = self.source.grade in {Grade.READ, Grade.PRACTICE}
        return Severity.REFUSE if self.blocks and known else Severity.WARN

    def applies(
        self, campaign_class: CampaignClass, posted_by: PostedBy, kind: RoundKind
    ) -> bool:
        """Tell whether the rule looks at such a letter."""
        return (
            campaign_class in self.classes
            and posted_by in self.senders
            and kind in self.kinds
        )


def read(cite: str) -> Source:
    """Cite a text that was read."""
    return Source(cite, Grade.READ)


def recalled(cite: str) -> Source:
    """Cite a text from memory."""
    return Source(cite, Grade.MEMORY)


_PRACTICE = Source("good practice; no rule found that asks for it", Grade.PRACTICE)
_PRUDENCE = Source("prudence; no rule found that forbids it", Grade.PRACTICE)
_SAFETY = frozenset({CampaignClass.SAFETY})
_NOT_SAFETY = frozenset(CampaignClass) - _SAFETY
_NO_RECALL = frozenset({CampaignClass.SATISFACTION, CampaignClass.SERVICE_ACTION})
_RECALLS = frozenset({CampaignClass.SAFETY, CampaignClass.EMISSIONS})
_STORE = frozenset({PostedBy.STORE})
_MAKER = frozenset({PostedBy.MANUFACTURER})
_WITH_PARTS = frozenset(RoundKind) - {RoundKind.INTERIM}
_INTERIM = frozenset({RoundKind.INTERIM})

_FORBIDDEN = (
    Rule(
        code="may_exist",
        source=read("NHTSA interpretation aiam1275"),
        classes=_SAFETY,
        excuse="may_exist_but",
    ),
    Rule(
        code="may_exist_but",
        source=recalled("49 CFR 577.5(d)"),
        classes=_SAFETY,
        senders=_STORE,
    ),
    Rule(
        code="no_accidents",
        source=read("NHTSA interpretation aiam1875"),
        classes=_SAFETY,
    ),
    Rule(
        code="no_risk",
        source=read("49 USC 30119(a)(2); NHTSA interpretation aiam1875"),
        classes=_SAFETY,
    ),
    Rule(code="played_down", source=recalled("49 CFR 577.8"), classes=_SAFETY),
    Rule(code="expiry", source=read("49 USC 30120(a) and (g)(1)"), classes=_SAFETY),
    Rule(
        code="safety_words",
        source=read("49 CFR 577.1 and 577.2: these notices are for safety only"),
        classes=_NOT_SAFETY,
    ),
    Rule(
        code="recall_word",
        source=read("49 CFR 577.1 and 577.2: these notices are for safety only"),
        classes=_NO_RECALL,
        blocks=False,
    ),
    Rule(
        code="looks_official",
        source=read("NHTSA release 06-14 of 12 February 2014"),
        excuse="looks_official_but",
        senders=_STORE,
    ),
    Rule(code="label", source=read("49 CFR 577.14"), senders=_STORE),
    Rule(
        code="claims_decision",
        source=read("NHTSA interpretation nht74-4.4"),
        senders=_STORE,
    ),
    Rule(code="paid_work", source=_PRUDENCE),
)

_STORE_WANTS = tuple(
    Rule(
        code=code,
        source=_PRACTICE,
        look=Look.PRESENT,
        blocks=False,
        senders=_STORE,
        kinds=kinds,
    )
    for code, kinds in (
        ("names_maker", frozenset(RoundKind)),
        ("names_number", frozenset(RoundKind)),
        ("maker_pays", frozenset(RoundKind)),
        ("free", frozenset(RoundKind)),
        ("parts_here", _WITH_PARTS),
        ("parts_to_come", _INTERIM),
        ("how_to_book", frozenset(RoundKind)),
        ("look_up", frozenset(RoundKind)),
        ("own_letter", frozenset(RoundKind)),
    )
)


def _notice(
    code: str, source: Source, kinds: frozenset[RoundKind] = frozenset(RoundKind)
) -> Rule:
    """Give a rule on what the manufacturer's safety notice must say."""
    return Rule(
        code=code,
        source=source,
        look=Look.PRESENT,
        classes=_SAFETY,
        senders=_MAKER,
        kinds=kinds,
    )


_NOTICE_WANTS = (
    _notice("heading", recalled("49 CFR 577.5(a)")),
    _notice("applies", recalled("49 CFR 577.5(a)")),
    _notice("opening", recalled("49 CFR 577.5(b), as 577.6(b)(1)")),
    _notice("decision", recalled("49 CFR 577.5(c), as 577.6(b)(2)")),
    _notice("defect", read("49 USC 30119(a)(1)")),
    _notice("risk", read("49 USC 30119(a)(2)")),
    _notice("remedy", read("49 USC 30119(a)(3)")),
    _notice("free", read("49 USC 30119(a)(4)")),
    _notice("available_from", read("49 USC 30119(a)(5)"), kinds=_WITH_PARTS),
    _notice("no_remedy_yet", recalled("49 CFR 577.7"), kinds=_INTERIM),
    _notice("second_letter", recalled("49 CFR 577.7"), kinds=_INTERIM),
    _notice("complaint", read("49 USC 30119(a)(6)")),
    _notice("complaint_post", recalled("49 CFR 577.5(g)")),
    _notice("complaint_phone", recalled("49 CFR 577.5(g)")),
    _notice("complaint_tty", recalled("49 CFR 577.5(g)")),
    _notice("complaint_web", recalled("49 CFR 577.5(g)")),
    _notice("reasonable_time", recalled("49 CFR 577.5(g); 49 USC 30120(c)")),
    _notice("time_needed", recalled("49 CFR 577.5(g)"), kinds=_WITH_PARTS),
    _notice("paid_before", Source("49 CFR 577.11, edition of 2004", Grade.OLDER)),
    _notice("lessor", recalled("49 CFR 577.5(h); 49 USC 30119(f)")),
)

_EMISSIONS_WANTS = tuple(
    Rule(
        code=code,
        source=recalled("40 CFR 85.1805"),
        look=Look.PRESENT,
        classes=frozenset({CampaignClass.EMISSIONS}),
        senders=_MAKER,
        kinds=kinds,
    )
    for code, kinds in (
        ("emissions_exceed", frozenset(RoundKind)),
        ("free", frozenset(RoundKind)),
        ("how_to_book", frozenset(RoundKind)),
        ("available_from", _WITH_PARTS),
        ("time_needed", _WITH_PARTS),
        ("if_sold", frozenset(RoundKind)),
        ("inspection", frozenset(RoundKind)),
    )
)

ORDERED = ("heading", "opening", "decision", "free", "complaint", "lessor")
"""The things of a manufacturer's safety notice whose places can be told, in order."""

ORDER = Rule(
    code="order",
    source=recalled("49 CFR 577.5, its paragraphs in order"),
    classes=_SAFETY,
    senders=_MAKER,
)
PARTS = Rule(
    code="parts_not_here",
    source=read("49 USC 30119(b); NHTSA interpretation aiam1619"),
)
DESCRIBED = Rule(
    code="described",
    source=read("49 USC 30119(a)(1)"),
    look=Look.PRESENT,
    classes=_SAFETY,
)
LEFT_EMPTY = Rule(code="left_empty", source=_PRACTICE, look=Look.PRESENT, blocks=False)

RULES = (*_FORBIDDEN, *_STORE_WANTS, *_NOTICE_WANTS, *_EMISSIONS_WANTS)
ALL_RULES = (*RULES, ORDER, PARTS, DESCRIBED, LEFT_EMPTY)
