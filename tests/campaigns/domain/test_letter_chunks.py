"""How a round is cut up, and who takes what."""

import datetime as dt

import pytest

from campaigns.domain import letter_chunks
from campaigns.models import LetterChunk
from dealership.domain.leases import lease_length
from dealership.models import Job
from tests.campaigns.domain.rounds import drawn, owned
from tests.factories.campaigns import CampaignFactory, LetterChunkFactory
from tests.factories.dealership import NOW, StoreFactory


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def job():
    return Job.objects.create(kind="k", due_at=NOW, offer_after=NOW, created_at=NOW)


@pytest.fixture
def a_round(monkeypatch):
    monkeypatch.setattr(letter_chunks, "FILLED_FROM", 1)
    monkeypatch.setattr(letter_chunks, "FILLED_AT_ONCE", 2)
    monkeypatch.setattr(letter_chunks, "WHOLE_AT_ONCE", 2)
    campaign, store = CampaignFactory.create(), StoreFactory.create()
    for n, name in enumerate(("Ada", "山田", "Cleo", "Dov", "太郎")):
        owned(campaign, store, name=name, address={"street": f"{n} Elm Row"})
    return drawn(campaign, store)


def stretches(made):
    rows = made.chunks.values_list("first", "last", "whole", "positions")
    return list(rows.order_by("number"))


def test_cut_up_once_and_the_rest_once(a_round, job):
    for _again in range(2):
        work = letter_chunks.cut_up(letter_round=a_round, whole=False)
    assert stretches(a_round) == [
        (1, 2, False, []),
        (3, 4, False, []),
        (5, 5, False, []),
    ]
    while chunk := letter_chunks.take_chunk(letter_round=a_round, job=job, now=NOW):
        letter_chunks.set_chunk(work=work, chunk=chunk, now=NOW, tick=lambda: None)
    assert letter_chunks.letters_set(letter_round=a_round) == 3
    for _again in range(2):
        letter_chunks.cut_up_the_rest(letter_round=a_round)
    assert stretches(a_round)[3:] == [(2, 5, True, [2, 5])]


def test_whole_from_the_first_drops_what_was_filled_in(a_round):
    letter_chunks.cut_up(letter_round=a_round, whole=False)
    work = letter_chunks.cut_up(letter_round=a_round, whole=True)
    assert work.press is None
    assert stretches(a_round) == [
        (1, 2, True, [1, 2]),
        (3, 4, True, [3, 4]),
        (5, 5, True, [5]),
    ]


def test_a_chunk_of_a_lost_worker_is_free_again_after_its_lease(job):
    chunk = LetterChunkFactory.create(taken_at=NOW)
    take = {"letter_round": chunk.letter_round, "job": job}
    assert letter_chunks.take_chunk(**take, now=NOW) is None
    later = NOW + lease_length() + dt.timedelta(seconds=1)
    assert letter_chunks.take_chunk(**take, now=later) == chunk


def test_done_chunks_are_nobody_s(job):
    chunk = LetterChunkFactory.create(taken_at=NOW, done_at=NOW, file="a")
    take = {"letter_round": chunk.letter_round, "job": job, "now": NOW}
    assert letter_chunks.take_chunk(**take, insist=True) is None


def test_the_loser_of_a_race_throws_its_file_away(a_round, job, settings):
    work = letter_chunks.cut_up(letter_round=a_round, whole=True)
    take = {"letter_round": a_round, "job": job, "now": NOW}
    mine = letter_chunks.take_chunk(**take)
    setting = {"work": work, "now": NOW, "tick": lambda: None}
    assert letter_chunks.set_chunk(chunk=mine, **setting)
    kept = LetterChunk.objects.get(pk=mine.pk).file
    assert not letter_chunks.set_chunk(chunk=mine, **setting)
    folder = settings.MEDIA_ROOT / letter_chunks.folder_of(a_round)
    assert [one.name for one in folder.iterdir()] == [kept.rpartition("/")[2]]
