import pytest
from django.urls import reverse

from tests.factories.dealership import WorkerBeatFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


def test_it_says_ok_or_not_ok_and_nothing_more_to_anybody(client):
    WorkerBeatFactory.create()

    response = client.get(reverse("dealership:health"))

    assert response.status_code == 200
    assert response.json() == {"database": "ok", "queue": "ok", "pdf": "ok"}


def test_without_a_worker_the_pages_can_still_be_served(client):
    response = client.get(reverse("dealership:health"))

    assert response.status_code == 200
    assert response.json()["queue"] == "not ok"


def test_nothing_is_kept_by_a_cache(client):
    response = client.get(reverse("dealership:health"))

    assert "no-store" in response.headers["Cache-Control"]
