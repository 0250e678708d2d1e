import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from dealership.domain.jobs import enqueue
from dealership.models import Job, Post, StaffMember, Store
from dealership.rules.roles import Role


HX = {"HX-Request": "true"}


@pytest.fixture
def north(db):
    return Store.objects.create(code="NORTH", name="Northgate")


def staff_at(store, username, role=Role.OFFICE):
    staff = StaffMember.objects.create(username=username)
    Post.objects.create(staff=staff, store=store, role=role)
    return staff


@pytest.fixture
def ines(north):
    return staff_at(north, "ines")


@pytest.fixture
def job(north, ines):
    return enqueue(
        kind="dealership.erase_uploads",
        arguments={},
        by=ines,
        store=north,
        now=timezone.now(),
    )


def address(job, name="job"):
    return reverse(f"dealership:{name}", args=[job.pk])


def state_of(job):
    return Job.objects.values_list("state", flat=True).get(pk=job.pk)


def test_page_says_that_no_worker_is_there(client, ines, job):
    client.force_login(ines)
    page = client.get(address(job))
    assert page.status_code == 200
    assert "No worker is running now" in page.content.decode()
    assert "Erasing files kept long enough" in page.content.decode()


def test_fragment_asks_again_while_the_job_goes_on(client, ines, job):
    client.force_login(ines)
    page = client.get(address(job), headers=HX)
    assert f'hx-get="{address(job)}"' in page.content.decode()
    assert "<html" not in page.content.decode()
    assert "HX-Refresh" not in page


def test_fragment_of_a_finished_job_reloads_the_page_around_it(client, ines, job):
    Job.objects.filter(pk=job.pk).update(state="done", finished_at=timezone.now())
    client.force_login(ines)
    page = client.get(address(job), headers=HX)
    assert "hx-get" not in page.content.decode()
    assert page["HX-Refresh"] == "true"


def test_fragment_says_how_far_and_how_long_still(client, ines, job):
    now = timezone.now()
    Job.objects.filter(pk=job.pk).update(
        state="running",
        lease_token="00000000-0000-0000-0000-000000000001",
        lease_until=now + dt.timedelta(minutes=1),
        started_at=now - dt.timedelta(minutes=3),
        progress_done=50,
        progress_total=100,
    )
    client.force_login(ines)
    text = client.get(address(job), headers=HX).content.decode()
    assert "50 of 100" in text
    assert "about 3 minutes left" in text


def test_pause_resume_and_cancel(client, ines, job):
    client.force_login(ines)
    for act, state in [
        ("job_pause", "paused"),
        ("job_resume", "waiting"),
        ("job_cancel", "cancelled"),
    ]:
        answer = client.post(address(job, act))
        assert (answer.status_code, answer["Location"]) == (302, address(job))
        assert state_of(job) == state


def test_failed_job_is_started_again(client, ines, job):
    Job.objects.filter(pk=job.pk).update(state="failed", finished_at=timezone.now())
    client.force_login(ines)
    client.post(address(job, "job_requeue"))
    assert state_of(job) == "waiting"


def test_refusal_is_told_and_changes_nothing(client, ines, job):
    client.force_login(ines)
    answer = client.post(address(job, "job_requeue"))
    assert answer.status_code == 302
    assert state_of(job) == "waiting"
    (message,) = list(answer.wsgi_request._messages)
    assert str(message).startswith("This work is waiting")


def test_back_to_the_page_that_asked_but_not_out_of_the_house(client, ines, job):
    client.force_login(ines)
    inside = client.post(
        address(job, "job_pause"), headers={"Referer": "http://testserver/lists/7/"}
    )
    assert inside["Location"] == "http://testserver/lists/7/"
    outside = client.post(
        address(job, "job_resume"), headers={"Referer": "http://elsewhere.test/"}
    )
    assert outside["Location"] == address(job)


@pytest.mark.parametrize(
    "name", ["job", "job_pause", "job_resume", "job_cancel", "job_requeue"]
)
def test_job_of_another_store_is_not_there(client, job, name):
    south = Store.objects.create(code="SOUTH", name="Southgate")
    client.force_login(staff_at(south, "omar", Role.ADMINISTRATOR))
    ask = client.get if name == "job" else client.post
    assert ask(address(job, name)).status_code == 404
    assert state_of(job) == "waiting"


def test_colleague_sees_but_does_not_steer(client, north, job):
    client.force_login(staff_at(north, "tom", Role.TECHNICIAN))
    assert client.get(address(job), headers=HX).status_code == 200
    assert client.post(address(job, "job_cancel")).status_code == 403
    assert state_of(job) == "waiting"


def test_administrator_of_the_store_steers(client, north, job):
    client.force_login(staff_at(north, "ada", Role.ADMINISTRATOR))
    client.post(address(job, "job_cancel"))
    assert state_of(job) == "cancelled"


def test_acts_want_a_post(client, ines, job):
    client.force_login(ines)
    assert client.get(address(job, "job_cancel")).status_code == 405
