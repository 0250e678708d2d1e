import datetime as dt

import pytest

from dealership.queries import notices
from dealership.queries.notices import pdf_engine_present, system_notices
from tests.factories.dealership import NOW, WorkerBeatFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def no_pdf_engine(monkeypatch):
    monkeypatch.setattr(notices, "PDF_LIBRARIES", ("libnowhere.so.9",))
    pdf_engine_present.cache_clear()
    yield
    pdf_engine_present.cache_clear()


def test_nothing_is_said_when_all_is_well():
    WorkerBeatFactory.create()

    assert system_notices(now=NOW) == []


def test_a_worker_that_is_silent_too_long_is_told():
    WorkerBeatFactory.create(seen_at=NOW - dt.timedelta(seconds=31))

    assert [notice.words.split(":")[0] for notice in system_notices(now=NOW)] == [
        "Work in the background is not running"
    ]


@pytest.mark.usefixtures("no_pdf_engine")
def test_a_missing_pdf_engine_is_told_with_its_packages():
    WorkerBeatFactory.create()

    (notice,) = system_notices(now=NOW)

    assert "libpango-1.0-0" in notice.words
    assert "libpangoft2-1.0-0" in notice.words
