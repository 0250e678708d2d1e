"""Applying what a match found."""

import datetime as dt

import pytest

from campaigns.domain.amending import VersionBusy, open_amendment, save_criterion
from campaigns.domain.announcing import (
    ReasonMissing,
    amend_facts,
    facts_of,
    ruling_version,
)
from campaigns.domain.applying import NotMatched, apply_chunk, ask_apply
from campaigns.domain.lifecycle import move
from campaigns.models import CampaignVehicle, Criterion, MatchedChange, StateChange
from campaigns.queries.completion import counts
from campaigns.rules.lifecycle import CampaignState, VersionState, WorkState
from dealership.models import AuditEntry, Job
from dealership.rules.jobs import JobState
from tests.campaigns.domain.test_matching import drafted, matched
from tests.factories.campaigns import CampaignVehicleFactory, ListedVinFactory
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory
from tests.factories.vehicles import VehicleFactory


pytestmark = pytest.mark.django_db


def ask(version, why="Bulletin A"):
    return ask_apply(
        version=version,
        why=why,
        store=StoreFactory.create(),
        by=StaffFactory.create(),
        at=NOW,
    )


def applied(version, size=2, at=NOW):
    ask(version)
    while apply_chunk(version_id=version.pk, at=at, size=size) is not None:
        pass
    version.refresh_from_db()
    return version


def states(campaign):
    rows = CampaignVehicle.objects.filter(campaign=campaign)
    return dict(rows.values_list("vehicle_id", "work_state"))


def test_the_first_application_makes_the_population_and_lets_the_campaign_run():
    campaign = drafted(lines=["Corvane"])
    sure = VehicleFactory.create_batch(2)
    unsure = VehicleFactory.create(line="")
    version = applied(matched(campaign))

    assert states(campaign) == {
        sure[0].pk: "open",
        sure[1].pk: "open",
        unsure.pk: "to_verify",
    }
    row = CampaignVehicle.objects.get(vehicle=sure[0])
    assert (row.store, row.added_on, row.outcome) == (
        sure[0].store,
        TODAY,
        "affected",
    )
    assert [reason["code"] for reason in row.reasons] == ["line_inside"]
    change = StateChange.objects.get(campaign_vehicle=row)
    assert (change.before, change.after, change.why, change.source, change.by) == (
        "",
        "open",
        "Bulletin A",
        "criteria version 1",
        version.applied_by,
    )
    campaign.refresh_from_db()
    assert campaign.state == CampaignState.RUNNING
    assert (version.state, version.applied_at) == (VersionState.APPLIED, NOW)
    assert version.facts["title"] == campaign.title
    entry = AuditEntry.objects.get(act="campaign.amendment_applied")
    assert entry.after["counts"]["add"] == 2


def test_applying_twice_is_harmless():
    campaign = drafted(lines=["Corvane"])
    VehicleFactory.create_batch(3)
    version = applied(matched(campaign))
    ask(version)
    assert apply_chunk(version_id=version.pk, at=NOW) is None
    assert Job.objects.filter(kind="campaigns.apply").count() == 1
    assert StateChange.objects.count() == 3
    assert AuditEntry.objects.filter(act="campaign.amendment_applied").count() == 1


def test_what_nobody_has_seen_is_not_applied():
    campaign = drafted(lines=["Corvane"])
    with pytest.raises(NotMatched):
        ask(campaign.versions.get())
    version = matched(campaign)
    with pytest.raises(ReasonMissing):
        ask(version, why="  ")
    version.refresh_from_db()
    assert version.state == VersionState.MATCHED


def test_changed_criteria_show_additions_and_removals_before_they_are_applied():
    campaign = drafted(lines=["Corvane"])
    stays = VehicleFactory.create(model_year=2022)
    goes = VehicleFactory.create(model_year=2021)
    done = VehicleFactory.create(model_year=2021)
    comes = VehicleFactory.create(model_year=2022, line="Halden")
    applied(matched(campaign))
    move(
        campaign_vehicle=CampaignVehicle.objects.get(vehicle=done),
        to=WorkState.REMEDIED_HERE,
        effective_on=TODAY,
        by=None,
        at=NOW,
        why="fitted",
    )
    by = StaffFactory.create()
    version = open_amendment(campaign=campaign, by=by, at=NOW)
    version.criteria.all().delete()
    save_criterion(
        campaign=campaign,
        criterion=Criterion(model_years=[2022], lines=["Corvane", "Halden"]),
        by=by,
        at=NOW,
    )
    before = states(campaign)
    version = matched(campaign)

    seen = dict(version.changes.values_list("vehicle_id", "change"))
    assert seen == {goes.pk: "remove", comes.pk: "add"}
    assert version.counts["kept"] == 1
    assert states(campaign) == before

    applied(version, at=NOW + dt.timedelta(hours=1))
    assert states(campaign) == {
        stays.pk: "open",
        goes.pk: "removed",
        done.pk: "remedied_here",
        comes.pk: "open",
    }
    assert ruling_version(campaign) == version
    told = counts(campaign=campaign, store_ids=None)
    assert (told.involved, told.removed) == (3, 1)


def test_a_vehicle_that_was_remedied_meanwhile_stays_so():
    campaign = drafted(lines=["Halden"])
    row = CampaignVehicleFactory.create(campaign=campaign)
    version = matched(campaign)
    assert MatchedChange.objects.get().change == "remove"
    move(
        campaign_vehicle=row,
        to=WorkState.REMEDIED_HERE,
        effective_on=TODAY,
        by=None,
        at=NOW,
        why="fitted",
    )
    applied(version)
    assert states(campaign) == {row.vehicle_id: "remedied_here"}
    assert version.counts["kept"] == 1


def test_it_goes_on_where_a_worker_was_lost():
    campaign = drafted(lines=["Corvane"])
    VehicleFactory.create_batch(5)
    version = matched(campaign)
    ask(version)
    assert apply_chunk(version_id=version.pk, at=NOW, size=2) == 2
    assert CampaignVehicle.objects.count() == 2
    with pytest.raises(VersionBusy):
        open_amendment(campaign=campaign, by=StaffFactory.create(), at=NOW)

    Job.objects.filter(kind="campaigns.apply").update(
        state=JobState.CANCELLED, finished_at=NOW
    )
    with pytest.raises(VersionBusy):
        open_amendment(campaign=campaign, by=StaffFactory.create(), at=NOW)
    ask(version)
    assert Job.objects.filter(kind="campaigns.apply").count() == 2
    while apply_chunk(version_id=version.pk, at=NOW, size=2) is not None:
        pass
    assert CampaignVehicle.objects.count() == StateChange.objects.count() == 5


def test_facts_amended_meanwhile_do_not_overrule_what_is_applied_last():
    campaign = drafted(lines=["Corvane"])
    VehicleFactory.create()
    applied(matched(campaign))
    by = StaffFactory.create()
    version = open_amendment(campaign=campaign, by=by, at=NOW)
    version.criteria.update(lines=["Halden"])
    campaign.refresh_from_db()
    facts = facts_of(campaign)
    amend_facts(
        campaign=campaign,
        facts=type(facts)(**{f: getattr(facts, f) for f in facts.__slots__} | {
            "title": "Other words"
        }),
        why="wording",
        by=by,
        at=NOW,
    )  # fmt: skip
    applied(matched(campaign))
    assert ruling_version(campaign) == version
    assert CampaignVehicle.objects.get().work_state == WorkState.REMOVED


def test_list_membership_follows_the_list():
    campaign = drafted(lines=["Corvane"])
    vehicle = VehicleFactory.create()
    applied(matched(campaign))
    assert CampaignVehicle.objects.get().on_list is False
    ListedVinFactory.create(campaign=campaign, vin=vehicle.vin)
    applied(matched(campaign))
    assert CampaignVehicle.objects.get().on_list is True
