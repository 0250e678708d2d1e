"""Entering a campaign and amending its facts."""

import datetime as dt
from dataclasses import replace

import pytest

from campaigns.domain.announcing import (
    CampaignFacts,
    CodeTaken,
    DaysOutOfOrder,
    LimitNotAllowed,
    MakersNumberTaken,
    ReasonMissing,
    amend_facts,
    enter_campaign,
    facts_of,
    ruling_version,
)
from campaigns.models import Campaign, CriteriaVersion
from campaigns.rules.lifecycle import CampaignClass, CampaignState, VersionState
from dealership.models import AuditEntry
from inventory.models import Earmark, Supplier
from tests.factories.campaigns import (
    CampaignFactory,
    CriteriaVersionFactory,
    CriterionFactory,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory
from tests.factories.inventory import EarmarkFactory, SupplierFactory


pytestmark = pytest.mark.django_db

FACTS = CampaignFacts(
    maker="Ostby Works",
    maker_number="OW26-900",
    title="Seat rail bolts",
    campaign_class=CampaignClass.SAFETY,
    announced_on=TODAY,
    parts_available_on=TODAY,
    claims_until=TODAY + dt.timedelta(days=365),
    stop_sale=True,
)


def enter(**changed):
    facts = {
        "code": "C900",
        "facts": FACTS,
        "supplier": None,
        "by": StaffFactory.create(),
        "at": NOW,
    }
    return enter_campaign(**(facts | changed))


def test_a_campaign_brings_its_earmark_supplier_remedy_and_criteria():
    campaign = enter()

    assert Campaign.objects.get() == campaign
    assert campaign.state == CampaignState.DRAFT
    assert facts_of(campaign) == FACTS
    assert Earmark.objects.get().code == "C900"
    assert (campaign.supplier.code, campaign.supplier.name) == (
        "OSTBYWORKS",
        "Ostby Works",
    )
    assert campaign.remedy.variants.count() == 0
    version = CriteriaVersion.objects.get()
    assert (version.number, version.state) == (1, VersionState.DRAFT)
    assert AuditEntry.objects.get().act == "campaign.entered"


def test_a_known_supplier_is_taken_by_name_or_as_chosen():
    known = SupplierFactory.create(name="ostby works")
    other = SupplierFactory.create(name="Parts House")
    assert enter().supplier == known
    second = replace(FACTS, maker_number="OW26-901")
    assert enter(code="C901", facts=second, supplier=other).supplier == other
    assert Supplier.objects.count() == 2


def test_the_same_entry_twice_gives_the_first():
    by = StaffFactory.create()
    first = enter(by=by)
    assert enter(by=by) == first
    assert Campaign.objects.count() == 1
    with pytest.raises(CodeTaken):
        enter(by=StaffFactory.create())
    with pytest.raises(CodeTaken):
        enter(by=by, facts=replace(FACTS, title="Another"))


def test_an_earmark_of_another_purpose_is_not_taken_over():
    EarmarkFactory.create(code="C900")
    with pytest.raises(CodeTaken):
        enter()
    assert not Campaign.objects.exists()


def test_one_campaign_per_makers_number():
    enter()
    with pytest.raises(MakersNumberTaken) as refusal:
        enter(code="C901")
    assert refusal.value.code == "C900"


LATER = TODAY + dt.timedelta(days=90)


@pytest.mark.parametrize(
    ("campaign_class", "limit", "allowed"),
    [
        # 49 USC 30120(g)(1): 15 years is the only end of a safety recall's free remedy
        ("safety", {"eligible_until": LATER}, False),
        ("safety", {"odometer_limit": 60_000}, False),
        ("safety", {"years_since_first_use": 15}, True),
        ("safety", {"years_since_first_use": 16}, False),
        # 40 CFR 85 Subpart S, Appendix A: whatever age or mileage
        ("emissions", {"eligible_until": LATER}, False),
        ("emissions", {"odometer_limit": 60_000}, False),
        ("emissions", {"years_since_first_use": 8}, False),
        ("satisfaction", {"odometer_limit": 60_000}, True),
        ("service_action", {"eligible_until": LATER}, True),
    ],
)
def test_limits_by_class(campaign_class, limit, allowed):
    facts = replace(FACTS, campaign_class=campaign_class, **limit)
    if allowed:
        assert facts_of(enter(facts=facts)) == facts
    else:
        with pytest.raises(LimitNotAllowed) as refusal:
            enter(facts=facts)
        assert refusal.value.field == next(iter(limit))


def test_a_last_day_before_the_announcement_is_refused_and_the_same_day_is_not():
    early = TODAY - dt.timedelta(days=1)
    with pytest.raises(DaysOutOfOrder) as refusal:
        enter(facts=replace(FACTS, returns_until=early))
    assert refusal.value.field == "returns_until"
    enter(facts=replace(FACTS, returns_until=TODAY))


def test_an_amendment_of_a_running_campaign_is_kept_as_a_version():
    campaign = CampaignFactory.create()
    first = CriteriaVersionFactory.create(campaign=campaign, state=VersionState.APPLIED)
    CriterionFactory.create(version=first)
    facts = replace(facts_of(campaign), claims_until=LATER)
    by = StaffFactory.create()

    with pytest.raises(ReasonMissing):
        amend_facts(campaign=campaign, facts=facts, why=" ", by=by, at=NOW)
    amend_facts(campaign=campaign, facts=facts, why="Bulletin B", by=by, at=NOW)

    campaign.refresh_from_db()
    assert campaign.claims_until == LATER
    version = ruling_version(campaign)
    assert (version.number, version.why, version.applied_by) == (2, "Bulletin B", by)
    assert version.facts["claims_until"] == LATER.isoformat()
    assert [row.lines for row in version.criteria.all()] == [["Corvane"]]
    entry = AuditEntry.objects.get()
    assert entry.after == {"claims_until": LATER.isoformat()}


def test_the_same_facts_change_nothing():
    campaign = CampaignFactory.create()
    amend_facts(
        campaign=campaign,
        facts=facts_of(campaign),
        why="",
        by=StaffFactory.create(),
        at=NOW,
    )
    assert not CriteriaVersion.objects.exists()
    assert not AuditEntry.objects.exists()


def test_before_it_runs_facts_change_without_a_version():
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    facts = replace(facts_of(campaign), title="Seat rail bolts, both seats")
    amend_facts(
        campaign=campaign, facts=facts, why="", by=StaffFactory.create(), at=NOW
    )
    campaign.refresh_from_db()
    assert campaign.title == "Seat rail bolts, both seats"
    assert not CriteriaVersion.objects.exists()
