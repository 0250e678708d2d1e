"""Files of a round, and sheets printed again."""

import io

import pypdfium2
import pytest

from campaigns.domain import letter_binding, letter_chunks, letters
from campaigns.models import LetterReprint, LetterRound
from dealership.domain.jobs import run_job
from dealership.models import AuditEntry
from tests.campaigns.domain.rounds import drawn, owned
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import NOW, StoreFactory


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def made():
    """Make a round of five letters in files of three; the fourth cannot be set."""
    campaign, store = CampaignFactory.create(), StoreFactory.create()
    for n, name in enumerate(("Ada", "Bram", "Cleo", "Dov \U00013000", "Esme")):
        owned(campaign, store, name=name, address={"street": f"{n} Elm Row"})
    made = drawn(campaign, store)
    letters.print_round(letter_round=made, by=made.made_by, at=NOW, letters_per_file=3)
    made.refresh_from_db()
    run_job(job_id=made.job_id, clock=lambda: NOW)
    return LetterRound.objects.get(pk=made.pk)


def reprint(made, asked, key="k"):
    return letter_binding.reprint_sheets(
        key=key,
        letter_round=made,
        asked=asked,
        why="The printer jammed",
        by=made.made_by,
        at=NOW,
    )


def code(made, position):
    return made.letters.get(position=position).code


def test_files_and_pages(made):
    pages = list(made.letters.order_by("position").values_list("page", flat=True))
    assert pages == [1, 2, 3, None, 1]
    assert [one.sheets for one in made.files.all()] == [3, 1]
    assert (made.sheets, made.set_whole) == (4, 4)


@pytest.mark.parametrize(
    ("asked", "positions"),
    [
        ("2", [2]),
        ("2-3", [2, 3]),
        ("2:1", [5]),
        ("1, 2:1", [1, 5]),
        ("3-9", [3]),
        ("{3}", [3]),
        ("{3} nonsense 1", [1, 3]),
        ("{3},3", [3]),
    ],
)
def test_sheets_are_meant_by_code_or_page(made, asked, positions):
    asked = asked.replace("{3}", code(made, 3).lower())
    assert reprint(made, asked).codes == [code(made, one) for one in positions]


@pytest.mark.parametrize("asked", ["", "9", "{4}", "0", "x-y", "3:1", "-1"])
def test_what_is_not_there_is_refused(made, asked):
    with pytest.raises(letter_binding.NothingToReprint):
        reprint(made, asked.replace("{4}", code(made, 4)))
    assert not LetterReprint.objects.exists()


def test_a_reprint_is_noted_once_and_gives_those_sheets_alone(made):
    first = reprint(made, "2, 2:1")
    assert reprint(made, "3") == first
    assert AuditEntry.objects.filter(act="letter_round.reprinted").count() == 1
    target = io.BytesIO()
    assert letter_binding.sheets_again(first, target) == 2
    texts = [
        page.get_textpage().get_text_range()
        for page in pypdfium2.PdfDocument(target.getvalue())
    ]
    assert [code(made, 2) in texts[0], code(made, 5) in texts[1]] == [True, True]


def test_a_round_given_up_meanwhile_keeps_no_files(made, settings):
    """The files were written while somebody cancelled: they go again."""
    before = len(list(settings.MEDIA_ROOT.rglob("*.pdf")))
    LetterRound.objects.filter(pk=made.pk).update(state="cancelled", pdf="")
    made.files.all().delete()
    made.refresh_from_db()
    letter_chunks.cut_up(letter_round=made, whole=False)
    work = letter_chunks.work_of(letter_round=made)
    chunk = letter_chunks.take_chunk(letter_round=made, job=made.job, now=NOW)
    letter_chunks.set_chunk(work=work, chunk=chunk, now=NOW, tick=lambda: None)
    letter_binding.bind_round(work=work)
    made.refresh_from_db()
    assert not made.pdf
    assert not made.files.exists()
    assert len(list(settings.MEDIA_ROOT.rglob("*.pdf"))) == before
