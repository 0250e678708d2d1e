import datetime as dt
import threading
import uuid

import pytest
from django.db import IntegrityError, connections, transaction

from dealership.domain import jobs, leases
from dealership.models import AuditEntry, Job, StaffMember
from dealership.rules.jobs import MAX_INTERRUPTIONS, JobState, Timed, Wanted
from dealership.rules.refusals import Refusal


NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
LATER = NOON + dt.timedelta(hours=1)
seen: list[int] = []


class OutOfPaper(Refusal):
    """What a handler may refuse."""


@jobs.handles("tests.steps", words="Counting")
def steps(run, *, upto, start=0):
    seen.append(run.job.pk)
    for step in range(start, upto):
        run.progress(step + 1, upto, f"step {step + 1}")
    return {"upto": upto}


@jobs.handles("tests.refuses")
def refuses(run):
    raise OutOfPaper("There is no paper. Put some in and start this again.")


@jobs.handles("tests.breaks")
def breaks(run):
    raise RuntimeError("a bug")


given_up: list[tuple[object, dt.datetime]] = []


@jobs.handles(
    "tests.for_a_page",
    leads_to=lambda job: f"/pages/{job.arguments['page']}/",
    when_failed=lambda job, now: given_up.append((job.pk, now)),
)
def for_a_page(run, *, page, refuse=False):
    if refuse:
        raise OutOfPaper("There is no paper.")
    if not page:
        raise RuntimeError("a bug")


@jobs.handles("tests.asked_to_stop")
def asked_to_stop(run, *, wish):
    Job.objects.filter(pk=run.job.pk).update(wanted=wish)
    run.progress(1, 2)


def ask(kind="tests.steps", at=NOON, **facts):
    facts.setdefault("arguments", {"upto": 3} if kind == "tests.steps" else {})
    return jobs.enqueue(kind=kind, by=None, store=None, now=at, **facts)


def run(job, at=NOON):
    return jobs.run_job(job_id=job.pk, clock=lambda: at)


def states():
    return list(Job.objects.order_by("created_at").values_list("state", flat=True))


@pytest.fixture
def staff(db):
    return StaffMember.objects.create(username="ines")


@pytest.fixture
def without_bell(settings):
    """Leave the worker to look for itself, whatever servers the tests were given."""
    settings.MENDROLL_REDIS_URL = ""


@pytest.mark.django_db
def test_job_is_done_with_progress_and_result():
    job = run(ask())
    assert (job.state, job.result, job.finished_at) == ("done", {"upto": 3}, NOON)
    assert (job.progress_done, job.progress_total) == (3, 3)
    assert (job.lease_token, job.lease_until) == (None, None)


@pytest.mark.django_db
def test_bell_rung_twice_runs_once():
    job = ask()
    before = len(seen)
    assert run(job) is not None
    assert run(job) is None
    assert len(seen) == before + 1


@pytest.mark.django_db
def test_same_kind_and_key_give_the_same_job_even_when_done():
    first = run(ask(unique_key="k"))
    assert ask(unique_key="k").pk == first.pk
    assert ask(kind="tests.breaks", unique_key="k").pk != first.pk


@pytest.mark.django_db
def test_database_refuses_a_second_job_of_kind_and_key():
    ask(unique_key="k")
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.create(
            kind="tests.steps",
            unique_key="k",
            due_at=NOON,
            offer_after=NOON,
            created_at=NOON,
        )


@pytest.mark.django_db
@pytest.mark.parametrize(
    "change",
    [
        {"state": "asleep"},
        {"state": "running"},
        {"lease_token": uuid.UUID(int=1)},
        {"wanted": "pause"},
        {"state": "done"},
        {"finished_at": NOON},
        {"attempts": 4},
    ],
    ids="-".join,
)
def test_database_refuses_what_no_job_can_be(change):
    job = ask()
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.objects.filter(pk=job.pk).update(**change)


@pytest.mark.django_db
def test_not_before_it_is_due():
    job = ask(due_at=LATER)
    assert run(job, NOON) is None
    assert run(job, LATER).state == "done"


@pytest.mark.django_db
def test_refusal_fails_at_once_with_its_sentence():
    job = run(ask(kind="tests.refuses"))
    assert job.state == "failed"
    assert job.error == "There is no paper. Put some in and start this again."
    assert job.error_detail == ""


@pytest.mark.django_db
def test_fault_is_tried_three_times_and_then_kept():
    job = ask(kind="tests.breaks")
    at = NOON
    waits = []
    while (after := run(job, at)).state == "waiting":
        waits.append((after.due_at - at).total_seconds())
        assert run(job, at) is None
        at = after.due_at
    assert waits == [5, 30]
    assert (after.state, after.attempts) == ("failed", 3)
    assert "RuntimeError: a bug" in after.error_detail
    assert "RuntimeError" not in after.error


@pytest.mark.django_db
def test_unknown_kind_is_a_fault():
    assert "UnknownKind" in run(ask(kind="tests.nobody")).error_detail


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wish", "state"), [(Wanted.PAUSE, "paused"), (Wanted.CANCEL, "cancelled")]
)
def test_running_job_stops_between_chunks(wish, state):
    job = run(ask(kind="tests.asked_to_stop", arguments={"wish": wish.value}))
    assert (job.state, job.wanted, job.progress_done) == (state, "", 1)


@pytest.mark.django_db
def test_waiting_job_is_paused_resumed_cancelled_with_an_audit_line_each(staff):
    job = ask()
    assert jobs.request_pause(job=job, by=staff, now=NOON).state == "paused"
    assert run(job) is None
    job.refresh_from_db()
    assert jobs.request_resume(job=job, by=staff, now=NOON).state == "waiting"
    job = jobs.request_cancel(job=job, by=staff, now=LATER)
    assert (job.state, job.finished_at) == ("cancelled", LATER)
    acts = AuditEntry.objects.order_by("id").values_list("act", flat=True)
    assert list(acts) == ["job.paused", "job.resumed", "job.cancelled"]


@pytest.mark.django_db
def test_wish_is_noted_on_a_running_job(staff):
    job = leases.claim(job_id=ask().pk, now=NOON)
    job = jobs.request_cancel(job=job, by=staff, now=NOON)
    assert (job.state, job.wanted) == ("running", "cancel")


@pytest.mark.django_db
@pytest.mark.parametrize(
    "act",
    [jobs.request_pause, jobs.request_cancel, jobs.request_resume, jobs.requeue],
)
def test_done_job_cannot_be_moved(act, staff):
    job = run(ask())
    with pytest.raises(jobs.JobCannotMove) as refused:
        act(job=job, by=staff, now=NOON)
    assert refused.value.state is JobState.DONE
    assert not AuditEntry.objects.exists()


@pytest.mark.django_db
def test_failed_job_starts_anew(staff):
    job = run(ask(kind="tests.refuses"))
    job = jobs.requeue(job=job, by=staff, now=LATER)
    assert (job.state, job.attempts, job.error) == ("waiting", 0, "")
    assert run(job, LATER).state == "failed"


@pytest.mark.django_db
def test_lapsed_lease_is_taken_over_and_the_first_worker_shut_out():
    first = leases.claim(job_id=ask().pk, now=NOON)
    assert leases.claim(job_id=first.pk, now=NOON) is None
    lapse = NOON + leases.lease_length() + dt.timedelta(seconds=1)
    second = leases.claim(job_id=first.pk, now=lapse)
    assert second.interruptions == 1
    with pytest.raises(leases.LeaseLost):
        leases.renew(job=first, done=1, total=2, words="", now=lapse)
    with pytest.raises(leases.LeaseLost):
        leases.complete(job=first, result=None, now=lapse)
    leases.complete(job=second, result=None, now=lapse)
    assert states() == ["done"]


@pytest.mark.django_db
def test_progress_holds_the_job_for_another_lease():
    job = leases.claim(job_id=ask().pk, now=NOON)
    half = NOON + leases.lease_length() / 2
    leases.renew(job=job, done=1, total=2, words="", now=half)
    after = NOON + leases.lease_length() + dt.timedelta(seconds=1)
    assert leases.claim(job_id=job.pk, now=after) is None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("facts", "state"),
    [
        ({"wanted": "cancel"}, "cancelled"),
        ({"wanted": "pause"}, "paused"),
        ({"interruptions": MAX_INTERRUPTIONS}, "failed"),
    ],
    ids=["cancel", "pause", "too often"],
)
def test_what_was_asked_of_a_lost_worker_is_done(facts, state):
    job = leases.claim(job_id=ask().pk, now=NOON)
    Job.objects.filter(pk=job.pk).update(**facts)
    assert leases.claim(job_id=job.pk, now=LATER) is None
    assert states() == [state]


@pytest.mark.django_db
def test_offer_is_made_once_until_it_wears_off(without_bell):
    job = ask()
    assert leases.offer(now=NOON) == [job.pk]
    assert leases.offer(now=NOON) == []
    assert leases.offer(now=NOON + leases.OFFER) == [job.pk]
    leases.forget_offers(now=NOON + leases.OFFER)
    assert leases.offer(now=NOON + leases.OFFER) == [job.pk]


@pytest.mark.django_db
def test_lost_job_is_offered_as_soon_as_its_lease_runs_out(settings):
    settings.MENDROLL_JOB_LEASE_SECONDS = 3  # much less than a mark lasts
    job = ask()
    leases.offer(now=NOON)
    leases.claim(job_id=job.pk, now=NOON)
    lapse = NOON + leases.lease_length()
    assert leases.offer(now=lapse) == []
    assert leases.offer(now=lapse + dt.timedelta(seconds=1)) == [job.pk]


@pytest.mark.django_db
def test_bell_has_a_head_start_on_the_sweep(settings):
    settings.MENDROLL_REDIS_URL = "redis://127.0.0.1:1/0"
    job = ask()
    assert leases.offer(now=NOON) == []
    assert leases.offer(now=NOON + leases.HEAD_START) == [job.pk]


@pytest.mark.django_db
def test_offers_at_once_are_bounded(without_bell):
    for _n in range(leases.OFFERS_AT_ONCE + 1):
        ask()
    assert len(leases.offer(now=NOON)) == leases.OFFERS_AT_ONCE
    assert leases.offer(now=NOON) == []


@pytest.mark.django_db
def test_timed_job_is_asked_once_per_due_time_and_only_if_known():
    table = [Timed("tests.steps", hour=2), Timed("tests.nobody", hour=2)]
    first = jobs.ask_timed(timetable=table, now=NOON, zone=dt.UTC)
    assert [(job.kind, job.due_at.hour) for job in first] == [("tests.steps", 2)]
    assert jobs.ask_timed(timetable=table, now=LATER, zone=dt.UTC) == []
    tomorrow = NOON + dt.timedelta(days=1)
    assert len(jobs.ask_timed(timetable=table, now=tomorrow, zone=dt.UTC)) == 1


@pytest.mark.django_db
def test_run_waiting_does_all_that_is_due():
    ask()
    ask(due_at=LATER)
    assert len(jobs.run_waiting(clock=lambda: NOON)) == 1
    assert sorted(states()) == ["done", "waiting"]


@pytest.mark.committing
@pytest.mark.django_db(transaction=True)
def test_of_eight_workers_one_gets_the_job():
    job = ask()
    ready = threading.Barrier(8)
    got = []

    def work():
        ready.wait()
        got.append(leases.claim(job_id=job.pk, now=NOON))
        connections.close_all()

    workers = [threading.Thread(target=work) for _n in range(8)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(got) == 8
    assert [claimed.pk for claimed in got if claimed] == [job.pk]


@pytest.mark.django_db
def test_rolled_back_act_leaves_no_job():
    with transaction.atomic():
        ask()
        transaction.set_rollback(True)
    assert states() == []


@pytest.mark.django_db
def test_a_job_leads_to_the_page_that_it_was_for():
    job = ask("tests.for_a_page", arguments={"page": 7})
    assert jobs.address_of(job) == "/pages/7/"
    assert jobs.address_of(ask()) == ""
    assert jobs.address_of(ask("tests.for_a_page", arguments={})) == ""


@pytest.mark.django_db
def test_what_hangs_on_a_job_is_told_once_when_it_is_given_up():
    given_up.clear()
    refused = run(ask("tests.for_a_page", arguments={"page": 7, "refuse": True}))
    assert given_up == [(refused.pk, NOON)]
    broken = ask("tests.for_a_page", arguments={"page": 0})
    at = NOON
    while run(broken, at).state != JobState.FAILED:
        assert given_up == [(refused.pk, NOON)]
        at += dt.timedelta(days=1)
    assert given_up == [(refused.pk, NOON), (broken.pk, at)]


@pytest.mark.django_db
def test_what_hangs_on_a_job_is_told_when_its_worker_was_lost_too_often():
    given_up.clear()
    job = ask("tests.for_a_page", arguments={"page": 7})
    Job.objects.filter(pk=job.pk).update(
        state=JobState.RUNNING,
        lease_token=uuid.uuid4(),
        lease_until=NOON,
        interruptions=MAX_INTERRUPTIONS,
    )
    assert run(job, LATER) is None
    assert Job.objects.get(pk=job.pk).state == JobState.FAILED
    assert given_up == [(job.pk, LATER)]
