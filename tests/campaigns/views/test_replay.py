"""The page of the replay, its press, and its files."""

import datetime as dt
import io
import re

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from campaigns.documents.replay import rows_of
from campaigns.domain.replaying import REPLAY, replay_store
from campaigns.models import StoreReplay
from dealership.models import Job
from dealership.rules.roles import Role
from tests.campaigns.domain.test_replaying import closed
from tests.factories.campaigns import StoreReplayFactory
from tests.factories.dealership import NOW, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

PAGE = "campaigns:replay"


@pytest.fixture
def store():
    return StoreFactory.create(labour_margin_cents=8_500, second_visit_cents=8_500)


@pytest.fixture
def client(signed_in, store):
    return signed_in(Role.PARTS_MANAGER, store)


def text_of(response):
    html = response.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def test_nothing_closed_yet(client):
    page = text_of(client.get(reverse(PAGE)))
    assert "No campaign was closed at this store yet" in page


def test_closed_ones_wait_to_be_played(client, store):
    closed(store)
    assert "One closed campaign can be played again" in text_of(
        client.get(reverse(PAGE))
    )


def test_figures_stand_on_the_page(client, store):
    for ago in (700, 650, 600, 20):
        closed(store, ago=ago)
    found = replay_store(store=store, by=None, at=NOW)
    page = text_of(client.get(reverse(PAGE)))
    whole = found.result["then"]
    assert f"In 4 closed campaigns {round(100 * whole['within'])} of 100" in page
    every, base = whole["rules"]["every_vehicle"], whole["rules"]["proposals"]
    assert f"{base['cents'] / 100:,.2f}" in page
    assert f"{every['cents'] / 100:,.2f} {every['cents'] / base['cents']:.1f}" in page
    for one in found.result["campaigns"]:
        assert one["code"] in page
    assert "campaigns learned from 4" in page
    assert "How this was worked out" in page


@pytest.mark.parametrize(
    ("within", "words"),
    [
        (0.8, "the forecasts held, and there is nothing to do."),
        (0.7, "forecasts were too sure."),
        (0.9, "forecasts were too careful"),
    ],
)
def test_the_sentence_says_whether_to_believe_it(client, store, within, words):
    closed(store)
    found = replay_store(store=store, by=None, at=NOW)
    found.result["then"]["within"] = within
    found.save()
    page = text_of(client.get(reverse(PAGE)))
    assert f"In one closed campaign {round(100 * within)} of 100" in page
    assert words in page


def test_a_campaign_closed_since_is_told(client, store):
    closed(store)
    replay_store(store=store, by=None, at=NOW - dt.timedelta(days=9))
    closed(store, ago=2)
    assert "One campaign was closed since" in text_of(client.get(reverse(PAGE)))


def test_without_costs_the_page_says_why_no_money_is_told(client, store):
    store.labour_margin_cents = store.second_visit_cents = None
    store.save()
    closed(store)
    replay_store(store=store, by=None, at=NOW)
    page = text_of(client.get(reverse(PAGE)))
    assert "Money is not told" in page
    assert "Times the proposals" not in page


def test_the_page_costs_the_same_for_one_and_for_three(client, store):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            client.get(reverse(PAGE))
        return len(caught)

    closed(store)
    replay_store(store=store, by=None, at=NOW)
    client.get(reverse(PAGE))
    one = queries()
    for ago in (600, 500):
        closed(store, ago=ago)
    replay_store(store=store, by=None, at=NOW)
    assert queries() == one


def test_pressed_once_one_job(client, store):
    key = "6f1d3c0e-5b0f-4ec3-9a39-000000000002"
    for _press in range(2):
        answer = client.post(reverse("campaigns:ask_replay"), {"key": key})
    job = Job.objects.get(kind=REPLAY)
    assert (job.store, job.arguments) == (store, {"store_id": store.pk})
    assert answer.url == reverse("dealership:job", args=[job.pk])
    assert "Playing closed campaigns again" in text_of(client.get(reverse(PAGE)))


def test_an_advisor_may_not_ask(signed_in, store):
    answer = signed_in(Role.SERVICE_ADVISOR, store).post(
        reverse("campaigns:ask_replay")
    )
    assert answer.status_code == 403
    assert not Job.objects.exists()


def test_files_have_a_row_a_campaign_and_one_for_all(client, store):
    empty = client.get(reverse("campaigns:replay_csv")).content.decode("utf-8-sig")
    assert len(empty.splitlines()) == 1
    row = closed(store)
    found = replay_store(store=store, by=None, at=NOW)
    answer = client.get(reverse("campaigns:replay_csv"))
    lines = answer.content.decode("utf-8-sig").splitlines()
    head, table = rows_of(found.result)
    assert {len(one) for one in table} == {len(head)}
    assert len(lines) == 3 == len(table) + 1
    assert lines[1].split(",")[:3] == [row.campaign.code, "40", "24"]
    cents = found.result["then"]["rules"]["last_weeks"]["cents"]
    assert lines[2].split(",")[-1] == f"{cents / 100:.2f}"
    book = openpyxl.load_workbook(
        io.BytesIO(client.get(reverse("campaigns:replay_xlsx")).content)
    )
    rows = list(book.active.values)
    assert rows[1][0] == row.campaign.code
    assert rows[2][-1] == cents / 100


def test_another_store_s_replay_is_not_shown(client):
    StoreReplayFactory.create()
    assert StoreReplay.objects.count() == 1
    assert "No campaign was closed at this store yet" in text_of(
        client.get(reverse(PAGE))
    )
    kept = client.get(reverse("campaigns:replay_csv")).content.decode("utf-8-sig")
    assert len(kept.splitlines()) == 1


def test_the_proposals_lead_there(client):
    page = client.get(reverse("campaigns:proposals")).content.decode()
    assert f'href="{reverse(PAGE)}"' in page
