"""Entering what a manufacturer announced, and changing its facts."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from campaigns.models import Campaign, CriteriaVersion, Criterion, Remedy
from campaigns.rules.eligibility import SAFETY_YEARS
from campaigns.rules.lifecycle import CampaignClass, CampaignState, VersionState
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.models import Earmark, Supplier


if TYPE_CHECKING:
    from dealership.models import StaffMember


class CodeTaken(Refusal):
    """Another campaign or earmark has this number of ours."""

    def __init__(self, code: str) -> None:
        super().__init__(
            _("The number %(code)s is already used. Choose another one.")
            % {"code": code}
        )
        self.code = code


class MakersNumberTaken(Refusal):
    """The manufacturer's campaign is already entered."""

    def __init__(self, maker_number: str, code: str) -> None:
        super().__init__(
            _(
                "Campaign %(number)s of this manufacturer is already here as %(code)s."
                " Open that one instead."
            )
            % {"number": maker_number, "code": code}
        )
        self.maker_number = maker_number
        self.code = code


class LimitNotAllowed(Refusal):
    """The class of the campaign does not know this limit."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


class DaysOutOfOrder(Refusal):
    """A last day lies before the day on which the campaign was announced."""

    def __init__(self, field: str, day: dt.date, announced_on: dt.date) -> None:
        super().__init__(
            _(
                "%(day)s lies before the day of the announcement, %(announced)s."
                " Correct one of the two."
            )
            % {"day": day.isoformat(), "announced": announced_on.isoformat()}
        )
        self.field = field
        self.day = day


class ReasonMissing(Refusal):
    """An amendment without the reason."""

    def __init__(self) -> None:
        super().__init__(
            _("Say why it is changed; the reason is kept with the amendment.")
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class CampaignFacts:
    """What the bulletin says, apart from criteria and remedy.

    Odometer in miles; the restocking charge in hundredths of a per cent.
    """

    maker: str
    maker_number: str
    title: str
    campaign_class: str
    announced_on: dt.date
    regulator_number: str = ""
    bulletin: str = ""
    risk: str = ""
    title_es: str = ""
    risk_es: str = ""
    bulletin_es: str = ""
    parts_available_on: dt.date | None = None
    letters_on: dt.date | None = None
    reminder_on: dt.date | None = None
    claims_until: dt.date | None = None
    returns_until: dt.date | None = None
    restocking_basis_points: int = 0
    stop_sale: bool = False
    eligible_until: dt.date | None = None
    odometer_limit: int | None = None
    years_since_first_use: int | None = None


FACT_FIELDS = tuple(field.name for field in fields(CampaignFacts))
_LAST_DAYS = ("claims_until", "returns_until", "eligible_until")


def facts_of(campaign: Campaign) -> CampaignFacts:
    """Read the facts of a campaign as they stand now."""
    return CampaignFacts(**{name: getattr(campaign, name) for name in FACT_FIELDS})


def facts_as_json(facts: CampaignFacts) -> dict[str, Any]:
    """Give what a JSON field can keep of the facts."""
    return {
        name: value.isoformat() if isinstance(value, dt.date) else value
        for name, value in asdict(facts).items()
    }


def enter_campaign(
    *,
    code: str,
    facts: CampaignFacts,
    supplier: Supplier | None,
    by: StaffMember,
    at: dt.datetime,
) -> Campaign:
    """Enter a campaign with its earmark, its supplier, an empty remedy and criteria.

    Without ``supplier`` the manufacturer becomes one. The same entry by the same
    person again gives the first campaign. Raises CodeTaken, MakersNumberTaken,
    LimitNotAllowed and DaysOutOfOrder.
    """
    check_facts(facts)
    with transaction.atomic():
        first = Campaign.objects.filter(code=code).first()
        if first is not None:
            if first.made_by_id == by.pk and facts_of(first) == facts:
                return first
            raise CodeTaken(code)
        _refuse_makers_number(facts, own=None)
        earmark, made = Earmark.objects.get_or_create(
            code=code, defaults={"words": facts.title}
        )
        if not made:
            raise CodeTaken(code)
        campaign = Campaign.objects.create(
            code=code,
            supplier=supplier or _supplier_of(facts.maker),
            earmark=earmark,
            made_by=by,
            made_at=at,
            **asdict(facts),
        )
        Remedy.objects.create(campaign=campaign)
        CriteriaVersion.objects.create(
            campaign=campaign, number=1, made_by=by, made_at=at
        )
        record(
            act="campaign.entered",
            subject=campaign,
            by=by,
            at=at,
            after={"code": code, **facts_as_json(facts)},
        )
    return campaign


def amend_facts(
    *,
    campaign: Campaign,
    facts: CampaignFacts,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> Campaign:
    """Change facts of a campaign and keep the earlier ones as a version.

    Before it runs nothing is kept but a line in the trail. Facts that are the same
    change nothing. Raises ReasonMissing for a running one, and what
    ``enter_campaign`` raises.
    """
    check_facts(facts)
    with transaction.atomic():
        held = Campaign.objects.select_for_update().get(pk=campaign.pk)
        before = facts_of(held)
        if before == facts:
            return held
        running = held.state != CampaignState.DRAFT
        if running and not why.strip():
            raise ReasonMissing
        _refuse_makers_number(facts, own=held)
        for name in FACT_FIELDS:
            setattr(held, name, getattr(facts, name))
        held.save(update_fields=list(FACT_FIELDS))
        if running:
            _keep_version(held, facts, why.strip(), by, at)
        old, new = facts_as_json(before), facts_as_json(facts)
        changed = [name for name in FACT_FIELDS if old[name] != new[name]]
        record(
            act="campaign.amended",
            subject=held,
            by=by,
            at=at,
            before={name: old[name] for name in changed},
            after={name: new[name] for name in changed},
            why=why.strip(),
        )
    return held


def check_facts(facts: CampaignFacts) -> None:
    """Raise LimitNotAllowed or DaysOutOfOrder for facts that cannot stand."""
    _check_limits(facts)
    for name in _LAST_DAYS:
        day = getattr(facts, name)
        if day is not None and day < facts.announced_on:
            raise DaysOutOfOrder(name, day, facts.announced_on)


def next_number(campaign: Campaign) -> int:
    """Give the next version number; call it inside the campaign's lock."""
    last = CriteriaVersion.objects.filter(campaign=campaign).aggregate(
        last=Max("number")
    )["last"]
    return (last or 0) + 1


def ruling_version(campaign: Campaign) -> CriteriaVersion | None:
    """Give the applied version that rules, None before the first match is applied."""
    return (
        CriteriaVersion.objects.filter(campaign=campaign, state=VersionState.APPLIED)
        .order_by("-number")
        .first()
    )


def copy_criteria(source: CriteriaVersion | None, target: CriteriaVersion) -> None:
    """Write the criteria of one version into another."""
    if source is None:
        return
    rows = list(source.criteria.order_by("id"))
    for row in rows:
        row.pk = None
        row.version = target
    Criterion.objects.bulk_create(rows)


def _check_limits(facts: CampaignFacts) -> None:
    """Refuse limits that the class does not know."""
    if facts.campaign_class == CampaignClass.SAFETY:
        _refuse_limits(
            facts,
            ("eligible_until", "odometer_limit"),
            _(
                "A safety recall has no last day and no odometer limit; its remedy is"
                " offered whenever the vehicle comes. Leave this empty."
            ),
        )
        if (facts.years_since_first_use or 0) > SAFETY_YEARS:
            raise LimitNotAllowed(
                "years_since_first_use",
                _(
                    "For a safety recall the free remedy is owed for %(years)d years"
                    " after the first purchase (49 USC 30120(g)). Leave this empty."
                )
                % {"years": SAFETY_YEARS},
            )
    if facts.campaign_class == CampaignClass.EMISSIONS:
        _refuse_limits(
            facts,
            ("eligible_until", "odometer_limit", "years_since_first_use"),
            _(
                "An emissions recall has no limit by day, age or odometer (40 CFR 85"
                " Subpart S, Appendix A). Leave this empty."
            ),
        )


def _refuse_limits(facts: CampaignFacts, names: tuple[str, ...], sentence: str) -> None:
    for name in names:
        if getattr(facts, name) is not None:
            raise LimitNotAllowed(name, sentence)


def _refuse_makers_number(facts: CampaignFacts, *, own: Campaign | None) -> None:
    others = Campaign.objects.filter(maker=facts.maker, maker_number=facts.maker_number)
    if own is not None:
        others = others.exclude(pk=own.pk)
    other = others.first()
    if other is not None:
        raise MakersNumberTaken(facts.maker_number, other.code)


def _supplier_of(maker: str) -> Supplier:
    """Find the manufacturer among the suppliers, or make it one."""
    known = Supplier.objects.filter(name__iexact=maker).first()
    if known is not None:
        return known
    base = "".join(letter for letter in maker.upper() if letter.isalnum())[:12]
    code, turn = base or "MAKER", 1
    while Supplier.objects.filter(code=code).exists():
        turn += 1
        code = f"{base or 'MAKER'}-{turn}"
    return Supplier.objects.create(code=code, name=maker)


def _keep_version(
    campaign: Campaign,
    facts: CampaignFacts,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> None:
    """Keep an amendment of facts: the criteria as they rule, the facts as they are."""
    ruling = ruling_version(campaign)
    version = CriteriaVersion.objects.create(
        campaign=campaign,
        number=next_number(campaign),
        state=VersionState.APPLIED,
        why=why[:300],
        facts=facts_as_json(facts),
        made_by=by,
        made_at=at,
        applied_by=by,
        applied_at=at,
    )
    copy_criteria(ruling, version)
