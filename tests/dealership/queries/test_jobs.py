import datetime as dt

import pytest

from dealership.domain.jobs import enqueue
from dealership.domain.leases import drop_life, show_life
from dealership.models import Job, Post, StaffMember, Store, WorkerBeat
from dealership.queries.jobs import jobs_under_way, queue_alive
from dealership.rules.roles import Role


NOON = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


def seconds(n: int) -> dt.timedelta:
    return dt.timedelta(seconds=n)


@pytest.mark.django_db
def test_queue_is_alive_for_half_a_minute_after_a_sign_of_life():
    assert not queue_alive(NOON)
    show_life(host="bay", pid=7, now=NOON)
    assert queue_alive(NOON + seconds(30))
    assert not queue_alive(NOON + seconds(31))
    drop_life(host="bay", pid=7)
    assert not queue_alive(NOON)


@pytest.mark.django_db
def test_one_row_per_worker_and_none_of_those_long_gone():
    show_life(host="bay", pid=7, now=NOON)
    show_life(host="bay", pid=7, now=NOON + seconds(5))
    assert WorkerBeat.objects.get().seen_at == NOON + seconds(5)
    show_life(host="bay", pid=8, now=NOON + seconds(90_000))
    assert [beat.pid for beat in WorkerBeat.objects.all()] == [8]


@pytest.mark.django_db
def test_jobs_under_way_are_those_of_own_stores_and_own_wish():
    north = Store.objects.create(code="NORTH", name="Northgate")
    south = Store.objects.create(code="SOUTH", name="Southgate")
    ines = StaffMember.objects.create(username="ines")
    Post.objects.create(staff=ines, store=north, role=Role.OFFICE)

    def ask(store, by=None):
        return enqueue(
            kind="dealership.erase_uploads",
            arguments={},
            by=by,
            store=store,
            now=NOON,
        )

    ask(south)
    ask(None)
    finished = ask(north)
    Job.objects.filter(pk=finished.pk).update(state="done", finished_at=NOON)
    expected = {ask(north).pk, ask(None, by=ines).pk}
    assert {job.pk for job in jobs_under_way(ines)} == expected
