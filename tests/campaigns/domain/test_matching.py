"""Matching a campaign: what would change, and nothing else."""

import datetime as dt

import pytest

from campaigns.domain.amending import (
    VersionBusy,
    abandon_amendment,
    drop_criterion,
    open_amendment,
    save_criterion,
    version_in_work,
)
from campaigns.domain.matching import (
    CONFIRMED,
    RULED_OUT,
    Stands,
    ask_match,
    decide,
    keeps,
    match_chunk,
    to_match,
    told_counts,
)
from campaigns.models import CampaignVehicle, Criterion, MatchedChange
from campaigns.rules.lifecycle import CampaignState, Change, VersionState, WorkState
from dealership.models import Job
from tests.factories.campaigns import (
    CampaignFactory,
    CampaignVehicleFactory,
    CriteriaVersionFactory,
    CriterionFactory,
    ListedVinFactory,
)
from tests.factories.dealership import NOW, StaffFactory, StoreFactory
from tests.factories.vehicles import VehicleFactory
from vehicles.models import Vehicle
from vehicles.rules.criteria import CriterionAsksNothing, NothingToMatchBy
from vehicles.rules.matching import Outcome, Verdict


pytestmark = pytest.mark.django_db

FROM, TO = dt.date(2021, 9, 1), dt.date(2021, 9, 30)


def drafted(**criterion):
    """Make a campaign being entered, with one criterion."""
    campaign = CampaignFactory.create(state=CampaignState.DRAFT)
    version = CriteriaVersionFactory.create(campaign=campaign)
    if criterion:
        CriterionFactory.create(
            version=version, **({"model_years": [], "lines": []} | criterion)
        )
    return campaign


def matched(campaign, size=2):
    version = ask_match(
        campaign=campaign,
        store=StoreFactory.create(),
        by=StaffFactory.create(),
        at=NOW,
    )
    while match_chunk(version_id=version.pk, size=size) is not None:
        pass
    version.refresh_from_db()
    return version


def changes(version):
    rows = version.changes.order_by("pk")
    return {row.vehicle_id: Change(row.change) for row in rows}


def test_both_days_of_the_build_window_count_as_inside():
    days = [
        FROM - dt.timedelta(days=1),
        FROM,
        TO,
        TO + dt.timedelta(days=1),
        None,
    ]
    vehicles = [VehicleFactory.create(build_date=day) for day in days]
    version = matched(drafted(build_from=FROM, build_to=TO))

    found = changes(version)

    assert [found.get(vehicle.pk) for vehicle in vehicles] == [
        None,
        Change.ADD,
        Change.ADD,
        None,
        Change.TO_VERIFY,
    ]
    assert version.state == VersionState.MATCHED
    told = told_counts(version)
    assert (told["add"], told["to_verify"]) == (2, 1)
    kept = MatchedChange.objects.get(vehicle=vehicles[4])
    assert [reason["code"] for reason in kept.reasons] == ["build_date_missing"]
    assert not CampaignVehicle.objects.exists()


def test_texts_are_compared_without_case_and_outer_spaces():
    rows = [
        VehicleFactory.create(line=line)
        for line in ("CORVANE", " corvane ", "Corvane GT", "")
    ]
    found = changes(matched(drafted(lines=["Corvane"])))
    assert [found.get(row.pk) for row in rows] == [
        Change.ADD,
        Change.ADD,
        None,
        Change.TO_VERIFY,
    ]


def test_an_excluding_criterion_leaves_out():
    campaign = drafted(lines=["Corvane"])
    version = version_in_work(campaign)
    CriterionFactory.create(
        version=version, include=False, lines=[], model_years=[], plants=["Tallow"]
    )
    inside = VehicleFactory.create()
    VehicleFactory.create(plant="Tallow")
    unknown = VehicleFactory.create(plant="")
    assert changes(matched(campaign)) == {
        inside.pk: Change.ADD,
        unknown.pk: Change.TO_VERIFY,
    }


def test_serial_ranges_have_both_ends_inside():
    rows = [VehicleFactory.create(serial=s) for s in ("000099", "000100", "000200")]
    out = VehicleFactory.create(serial="000201")
    found = changes(matched(drafted(serial_from="000100", serial_to="000200")))
    assert [found.get(row.pk) for row in [*rows, out]] == [
        None,
        Change.ADD,
        Change.ADD,
        None,
    ]


def test_the_list_decides_and_criteria_only_ask():
    campaign = drafted(lines=["Corvane"])
    listed = VehicleFactory.create(line="Halden")
    fits = VehicleFactory.create()
    VehicleFactory.create(line="Halden")
    ListedVinFactory.create(campaign=campaign, vin=listed.vin)
    version = matched(campaign)
    assert changes(version) == {listed.pk: Change.ADD, fits.pk: Change.TO_VERIFY}
    kept = MatchedChange.objects.get(vehicle=listed)
    assert kept.on_list is True
    assert [r["code"] for r in kept.reasons][:2] == ["on_list", "criteria_disagree"]


def test_a_list_alone_is_enough():
    campaign = drafted()
    listed = VehicleFactory.create()
    VehicleFactory.create()
    ListedVinFactory.create(campaign=campaign, vin=listed.vin)
    assert changes(matched(campaign)) == {listed.pk: Change.ADD}


def test_nothing_to_match_by_is_refused():
    with pytest.raises(NothingToMatchBy):
        matched(drafted())
    assert not Job.objects.exists()


def test_the_prefilter_never_hides_what_the_rule_would_change():
    """Match once with the filter and once over every vehicle."""
    campaign = drafted(
        model_years=[2021, 2022], engines=["T15", "T20"], build_from=FROM
    )
    for year in (2020, 2021, None):
        for engine in ("t15", "T20 ", "V6", ""):
            for day in (FROM, dt.date(2021, 1, 1), None):
                VehicleFactory.create(model_year=year, engine=engine, build_date=day)
    version = matched(campaign, size=5)
    by_filter = changes(version)
    assert to_match(version) < Vehicle.objects.count()

    from campaigns.queries.criteria import rules_of  # noqa: PLC0415 (the slow reading)
    from vehicles.rules.criteria import VehicleFacts  # noqa: PLC0415
    from vehicles.rules.matching import match  # noqa: PLC0415

    slowly = {}
    for row in Vehicle.objects.all():
        verdict = match(
            VehicleFacts(
                vin=row.vin,
                model_year=row.model_year,
                engine=row.engine,
                build_date=row.build_date,
            ),
            rules_of(version),
        )
        change = decide(None, verdict, listed=False)
        if change is not None:
            slowly[row.pk] = change
    assert by_filter == slowly
    assert set(by_filter.values()) == {Change.ADD, Change.TO_VERIFY}


DECISIONS = [
    (WorkState.OPEN, "affected", None),
    (WorkState.OPEN, "to_be_verified", Change.TO_VERIFY),
    (WorkState.OPEN, "not_affected", Change.REMOVE),
    (WorkState.NEEDS_REPAIR, "to_be_verified", None),
    (WorkState.NEEDS_REPAIR, "not_affected", Change.REMOVE),
    (WorkState.TO_VERIFY, "affected", Change.CONFIRM),
    (WorkState.TO_VERIFY, "to_be_verified", None),
    (WorkState.TO_VERIFY, "not_affected", Change.REMOVE),
    (WorkState.REMOVED, "affected", Change.RESTORE),
    (WorkState.REMOVED, "to_be_verified", Change.RESTORE),
    (WorkState.REMOVED, "not_affected", None),
    (WorkState.REMEDIED_HERE, "not_affected", None),
    (WorkState.REMEDIED_ELSEWHERE, "not_affected", None),
    (WorkState.INSPECTED_CLEAR, "not_affected", None),
    (WorkState.DISQUALIFIED, "not_affected", None),
    (WorkState.REMEDIED_HERE, "to_be_verified", None),
]


@pytest.mark.parametrize(("work", "outcome", "change"), DECISIONS)
def test_what_a_verdict_changes(work, outcome, change):
    stands = Stands(work, "affected", on_list=False)
    assert decide(stands, Verdict(Outcome(outcome)), listed=False) == change


def test_a_persons_decision_stands_while_nothing_new_is_known():
    unsure, yes, no = (
        Verdict(Outcome.TO_BE_VERIFIED),
        Verdict(Outcome.AFFECTED),
        Verdict(Outcome.NOT_AFFECTED),
    )
    confirmed = Stands(WorkState.OPEN, CONFIRMED, on_list=False)
    ruled_out = Stands(WorkState.REMOVED, RULED_OUT, on_list=False)
    assert decide(confirmed, unsure, listed=False) is None
    assert decide(confirmed, no, listed=False) == Change.REMOVE
    assert decide(ruled_out, unsure, listed=False) is None
    assert decide(ruled_out, yes, listed=True) == Change.RESTORE


def test_a_change_of_the_list_alone_is_kept_for_one_to_be_verified():
    stands = Stands(WorkState.TO_VERIFY, "to_be_verified", on_list=True)
    unsure = Verdict(Outcome.TO_BE_VERIFIED)
    assert decide(stands, unsure, listed=False) == Change.TO_VERIFY
    assert decide(stands, unsure, listed=True) is None


def test_a_remedied_vehicle_that_fits_no_more_is_kept_and_counted():
    campaign = drafted(lines=["Halden"])
    CampaignVehicleFactory.create(campaign=campaign, work_state=WorkState.REMEDIED_HERE)
    gone = CampaignVehicleFactory.create(campaign=campaign)
    version = matched(campaign)
    assert changes(version) == {gone.vehicle_id: Change.REMOVE}
    told = told_counts(version)
    assert (told["kept"], told["remove"]) == (1, 1)
    stands = Stands(WorkState.REMOVED, "not_affected", on_list=False)
    assert not keeps(stands, Verdict(Outcome.NOT_AFFECTED))


def test_a_match_is_asked_once_and_may_go_on_after_a_stop():
    campaign = drafted(lines=["Corvane"])
    rows = VehicleFactory.create_batch(5)
    asked = {"store": StoreFactory.create(), "by": StaffFactory.create(), "at": NOW}
    version = ask_match(campaign=campaign, **asked)
    assert ask_match(campaign=campaign, **asked) == version
    assert Job.objects.count() == 1
    with pytest.raises(VersionBusy):
        open_amendment(campaign=campaign, by=asked["by"], at=NOW)

    assert match_chunk(version_id=version.pk, size=2) == 2
    assert match_chunk(version_id=version.pk, size=2) == 2
    assert match_chunk(version_id=version.pk, size=2) == 1
    assert match_chunk(version_id=version.pk, size=2) is None
    assert match_chunk(version_id=version.pk, size=2) is None
    assert changes(version) == {row.pk: Change.ADD for row in rows}


def test_changed_criteria_make_a_match_void():
    campaign = drafted(lines=["Corvane"])
    VehicleFactory.create()
    version = matched(campaign)
    by = StaffFactory.create()
    criterion = save_criterion(
        campaign=campaign, criterion=Criterion(lines=["Halden"]), by=by, at=NOW
    )
    version.refresh_from_db()
    assert (version.state, version.changes.count()) == (VersionState.DRAFT, 0)
    assert criterion.version == version
    drop_criterion(campaign=campaign, criterion_id=criterion.pk, by=by, at=NOW)
    drop_criterion(campaign=campaign, criterion_id=criterion.pk, by=by, at=NOW)
    assert version.criteria.count() == 1


def test_a_criterion_that_asks_nothing_is_refused():
    campaign = drafted()
    with pytest.raises(CriterionAsksNothing):
        save_criterion(
            campaign=campaign,
            criterion=Criterion(),
            by=StaffFactory.create(),
            at=NOW,
        )
    assert not Criterion.objects.exists()


def test_an_abandoned_amendment_leaves_what_rules():
    campaign = CampaignFactory.create()
    ruling = CriteriaVersionFactory.create(
        campaign=campaign, state=VersionState.APPLIED
    )
    CriterionFactory.create(version=ruling)
    by = StaffFactory.create()
    version = open_amendment(campaign=campaign, by=by, at=NOW)
    assert (version.number, version.criteria.count()) == (2, 1)
    assert open_amendment(campaign=campaign, by=by, at=NOW) == version

    abandon_amendment(campaign=campaign, by=by, at=NOW)
    abandon_amendment(campaign=campaign, by=by, at=NOW)

    version.refresh_from_db()
    assert version.state == VersionState.ABANDONED
    assert version_in_work(campaign) is None
    assert open_amendment(campaign=campaign, by=by, at=NOW).number == 3
