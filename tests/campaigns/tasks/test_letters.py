"""Letters are set by any worker, each once, whoever is killed on the way."""

import datetime as dt
import io
import os
import signal
import warnings
import zlib

import pikepdf
import pypdfium2
import pytest
from django.core.files.storage import default_storage
from django.db import connections

from campaigns.domain import letter_binding, letter_chunks, letters
from campaigns.models import LetterChunk
from campaigns.tasks import letters as tasks
from dealership.domain.jobs import (
    request_cancel,
    request_pause,
    request_resume,
    run_job,
)
from dealership.models import Job
from dealership.rules.jobs import JobState
from tests.campaigns.domain.rounds import drawn, owned, with_text
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import NOW, StoreFactory


pytestmark = pytest.mark.django_db
NAMES = ("Ada Birkett", "Łukasz Nuñez-Žižek", "山田太郎", "עברית", "Nguyễn Thị Ánh")


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def _small_chunks(monkeypatch):
    monkeypatch.setattr(letter_chunks, "FILLED_FROM", 1)
    monkeypatch.setattr(letter_chunks, "FILLED_AT_ONCE", 3)
    monkeypatch.setattr(letter_chunks, "WHOLE_AT_ONCE", 2)


def a_round(count=8, names=NAMES, **facts):
    """Draw up a round of letters to people with odd names, and ask for it to be set."""
    campaign, store = CampaignFactory.create(letters_on=None), StoreFactory.create()
    for number in range(count):
        name, street = names[number % len(names)], f"{number} Elm Row"
        owned(campaign, store, name=name, address={"street": street})
    made = drawn(campaign, store)
    return letters.print_round(letter_round=made, by=made.made_by, at=NOW, **facts)


def work_off(made):
    """Do the round's own job, as one worker would."""
    job = run_job(job_id=made.job_id, clock=lambda: NOW)
    made.refresh_from_db()
    return job


def texts_of(file):
    return [
        " ".join(page.get_textpage().get_text_range().split())
        for page in pypdfium2.PdfDocument(file.pdf.read())
    ]


def each_letter_once(made):
    """See that every letter stands once, on its page, with its own owner alone."""
    names = {
        letter.code: letter.party.name
        for letter in made.letters.select_related("party")
    }
    seen = []
    for file in made.files.all():
        texts = texts_of(file)
        assert len(texts) == file.sheets
        here = made.letters.filter(position__gte=file.first, position__lte=file.last)
        for letter in here:
            text = texts[letter.page - 1]
            assert letter.code in text
            assert names[letter.code].split()[0][:2] in text
            seen.append(letter.code)
        for code in names:
            assert sum(code in text for text in texts) == (code in seen[-len(here) :])
    assert sorted(seen) == sorted(names)


@pytest.mark.usefixtures("_small_chunks")
def test_letters_are_filled_in_and_the_rest_is_set_whole():
    made = a_round()
    job = work_off(made)
    assert (job.state, job.result) == (JobState.DONE, {"letters": 8, "sheets": 8})
    assert made.set_whole == 3  # two in Han, one in Hebrew
    assert made.compared == 5
    each_letter_once(made)
    assert not LetterChunk.objects.exists()
    assert default_storage.listdir(letter_chunks.folder_of(made))[1] == []


def test_few_letters_are_laid_out_one_by_one():
    made = a_round(count=2)
    work_off(made)
    assert (made.set_whole, made.compared) == (2, 0)
    each_letter_once(made)


@pytest.mark.usefixtures("_small_chunks")
def test_several_files_of_a_chosen_size():
    made = a_round(count=7, letters_per_file=3)
    work_off(made)
    told = [(one.number, one.first, one.last, one.sheets) for one in made.files.all()]
    assert told == [(1, 1, 3, 3), (2, 4, 6, 3), (3, 7, 7, 1)]
    assert made.sheets == 7
    assert made.pdf.name == made.files.get(number=1).pdf.name
    each_letter_once(made)


@pytest.mark.usefixtures("_small_chunks")
def test_letters_of_two_pages_and_missing_ones_keep_their_places():
    long = "\n\n".join(["The bolts of the seat rail may loosen. " * 12] * 8)
    made = a_round(count=5, names=("Ada Birkett", "Egyptian \U00013000", "山田太郎"))
    with_text(made, body=long)
    work_off(made)
    pages = list(made.letters.order_by("position").values_list("page", flat=True))
    assert pages == [1, None, 3, 5, None]
    assert made.sheets == 6
    unset = made.letters.filter(page=None)
    assert not unset.filter(address_fits=True).exists()


@pytest.mark.usefixtures("_small_chunks")
def test_a_text_that_names_the_owner_is_set_whole():
    made = a_round(count=4, names=("Ada Birkett",))
    with_text(made, body=made.text.body + "\n\nThis is for {owner_name} alone.")
    work_off(made)
    assert made.set_whole == 4
    whole = " ".join(texts_of(made))
    assert whole.count("This is for Ada Birkett alone.") == 4


@pytest.mark.usefixtures("_small_chunks")
def test_a_difference_stops_the_batch_and_the_whole_way_is_open(monkeypatch):
    made = a_round()
    broken = letter_chunks.make_press

    def shifted(*args, **facts):
        press = broken(*args, **facts)
        fill = press.fill

        def a_little_off(sheet):
            return [
                type(page)(
                    page.number,
                    zlib.compress(
                        b"1 0 0 1 0.4 0 cm\n" + zlib.decompress(page.content)
                    ),
                )
                for page in fill(sheet)
            ]

        press.fill = a_little_off
        return press

    monkeypatch.setattr(letter_chunks, "make_press", shifted)
    job = work_off(made)
    assert job.state == JobState.FAILED
    assert made.letters.first().code in job.error
    assert not made.pdf
    again = letters.print_round(letter_round=made, by=made.made_by, at=NOW, whole=True)
    work_off(again)
    assert again.set_whole == 8
    each_letter_once(again)


@pytest.mark.usefixtures("_small_chunks")
def test_pause_go_on_and_cancel(monkeypatch):
    made = a_round()
    set_chunk = letter_chunks.set_chunk

    def and_pause(**facts):
        kept = set_chunk(**facts)
        request_pause(job=Job.objects.get(pk=made.job_id), by=made.made_by, now=NOW)
        return kept

    monkeypatch.setattr(tasks, "set_chunk", and_pause)
    assert work_off(made).state == JobState.PAUSED
    assert made.chunks.exclude(done_at=None).count() == 1
    monkeypatch.setattr(tasks, "set_chunk", set_chunk)
    request_resume(job=Job.objects.get(pk=made.job_id), by=made.made_by, now=NOW)
    assert work_off(made).state == JobState.DONE
    each_letter_once(made)


@pytest.mark.usefixtures("_small_chunks")
def test_a_cancelled_round_leaves_nothing_behind(monkeypatch):
    made = a_round()
    monkeypatch.setattr(
        tasks,
        "set_chunk",
        lambda **_facts: request_cancel(
            job=Job.objects.get(pk=made.job_id), by=made.made_by, now=NOW
        ),
    )
    assert work_off(made).state == JobState.CANCELLED
    letters.cancel_round(letter_round=made, by=made.made_by, at=NOW)
    assert not made.chunks.exists()
    assert default_storage.listdir(letter_chunks.folder_of(made))[1] == []


@pytest.mark.usefixtures("_small_chunks")
def test_another_worker_takes_chunks_and_each_counts_once():
    made = a_round(count=9, names=("Ada Birkett",))
    work = letter_chunks.cut_up(letter_round=made, whole=False)
    job = Job.objects.get(pk=made.job_id)
    take = {"letter_round": made, "job": job, "now": NOW}
    first = letter_chunks.take_chunk(**take)
    second = letter_chunks.take_chunk(**take)
    third = letter_chunks.take_chunk(**take)
    assert [first.number, second.number, third.number] == [1, 2, 3]
    assert letter_chunks.take_chunk(**take) is None
    again = letter_chunks.take_chunk(**take, insist=True)
    assert again == first
    setting = {"work": work, "now": NOW, "tick": lambda: None}
    assert letter_chunks.set_chunk(chunk=first, **setting)
    assert not letter_chunks.set_chunk(chunk=again, **setting)
    assert letter_chunks.letters_set(letter_round=made) == 3
    work_off(made)
    each_letter_once(made)


@pytest.mark.usefixtures("_small_chunks")
def test_helpers_are_asked_for_and_stop_with_the_job(monkeypatch):
    monkeypatch.setattr(tasks, "hands_wanted", lambda _chunks: 2)
    made = a_round()
    work_off(made)
    helpers = Job.objects.filter(kind=tasks.HELP_KIND)
    assert helpers.count() >= 2
    for helper in helpers:
        done = run_job(job_id=helper.pk, clock=lambda: NOW)
        assert (done.state, done.result) == (JobState.DONE, {"chunks": 0})


@pytest.mark.usefixtures("_small_chunks")
def test_a_helper_does_its_share(monkeypatch):
    made = a_round(count=9, names=("Ada Birkett",))
    letter_chunks.cut_up(letter_round=made, whole=False)
    Job.objects.filter(pk=made.job_id).update(
        state=JobState.RUNNING, lease_token=made.job_id, lease_until=NOW
    )
    helper = Job.objects.create(
        kind=tasks.HELP_KIND,
        arguments={"round_id": made.pk, "job_id": str(made.job_id)},
        due_at=NOW,
        offer_after=NOW,
        created_at=NOW,
    )
    done = run_job(job_id=helper.pk, clock=lambda: NOW)
    assert done.result == {"chunks": 3}
    assert letter_chunks.letters_set(letter_round=made) == 9


@pytest.mark.usefixtures("_small_chunks")
def test_bound_twice_it_stays_as_it_was():
    made = a_round(count=3, names=("Ada Birkett",))
    work_off(made)
    before = [one.pdf.name for one in made.files.all()]
    letter_binding.bind_round(work=letter_chunks.work_of(letter_round=made))
    assert [one.pdf.name for one in made.files.all()] == before


@pytest.mark.usefixtures("_small_chunks")
def test_hostile_values_in_names_addresses_and_texts():
    """Nothing is fetched, no link is made, and each page names its own owner alone."""
    hostile = (
        '<img src="file:///etc/passwd"><a href="http://h.example">x</a>',
        "</p><style>@page { size: 1in } * { display: none }</style>",
        "A" * 10_000,
        "Ada\x00\x07\u202eBirkett\u2066",
        ") Tj ET Q q 612 792 re f BT (x",
        "{owner_name} {{ secret }} {% load x %}",
        "=cmd|' /C calc'!A0",
    )
    made = a_round(count=7, names=hostile)
    with_text(
        made,
        subject="<script>x</script> {campaign_title}",
        body="<img src='http://h.example/a.png'>\n\n</article><b>{risk}</b>",
    )
    job = work_off(made)
    assert job.state == JobState.DONE, job.error_detail
    with pikepdf.open(io.BytesIO(made.pdf.read())) as paper:
        assert paper.check_pdf_syntax() == []
        for page in paper.pages:
            assert "/Annots" not in page.obj
            assert [float(one) for one in page.mediabox] == [0, 0, 612, 792]
    made.pdf.seek(0)
    texts = texts_of(made)
    for letter in made.letters.exclude(page=None):
        text = texts[letter.page - 1]
        assert letter.code in text
        others = made.letters.exclude(pk=letter.pk).values_list("code", flat=True)
        assert not [code for code in others if code in text]
        assert "http://h.example/a.png" in text  # as words
    long = made.letters.get(party__name="A" * 10_000)
    assert long.page is None


# A worker that is killed -----------------------------------------------------------


def die(*_args, **_facts):
    os.kill(os.getpid(), signal.SIGKILL)


def killed_worker(made, minutes, prepare):
    """Do the round's job in a process of its own that ``prepare`` has killed."""
    connections.close_all()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Python warns of forks beside threads
        child = os.fork()
    if child == 0:
        try:
            prepare()
            at = NOW + dt.timedelta(minutes=minutes)
            run_job(job_id=made.job_id, clock=lambda: at)
        finally:
            os._exit(1)
    _child, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), os.waitstatus_to_exitcode(status)
    assert os.WTERMSIG(status) == signal.SIGKILL


def before_the_row_of_chunk(number):
    """Die once the file of a chunk is written and its row is not."""
    plain_save = default_storage.save

    def save(name, content, *args, **facts):
        kept = plain_save(name, content, *args, **facts)
        if f"/{number:05}-" in name:
            die()
        return kept

    default_storage.save = save


@pytest.mark.committing
@pytest.mark.usefixtures("committing_db", "_small_chunks")
def test_killed_in_the_middle_every_letter_is_there_once():
    """SIGKILL, as by kill -9: a chunk's row not yet written, the engine at work, and
    the files written while the round does not name them yet. Then a worker goes on."""
    made = a_round(count=9)
    killed_worker(made, 0, lambda: before_the_row_of_chunk(2))
    assert made.chunks.exclude(done_at=None).count() == 1
    killed_worker(made, 10, lambda: setattr(letter_chunks, "_set_whole", die))
    assert made.chunks.filter(whole=False, done_at=None).count() == 0
    killed_worker(made, 20, lambda: setattr(letter_binding, "_note", die))
    job = run_job(job_id=made.job_id, clock=lambda: NOW + dt.timedelta(minutes=30))
    assert (job.state, job.interruptions) == (JobState.DONE, 3)
    made.refresh_from_db()
    assert made.files.count() == 1
    assert made.sheets == 9
    each_letter_once(made)
    assert default_storage.listdir(letter_chunks.folder_of(made))[1] == []
