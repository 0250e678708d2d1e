"""The pages of bill files and payment advices."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from campaigns.domain.claims import submit
from campaigns.models import Claim, MoneyFile, Payment
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.campaigns.views.test_account import text_of
from tests.factories.campaigns import MoneyFileFactory
from tests.factories.dealership import NOW, TODAY


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]

FILES = "campaigns:money_files"


@pytest.fixture(autouse=True)
def _uploads(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1, hundredths=100)
    shop.shelf(2)
    claim = Claim.objects.get(repair=shop.complete())
    submit(key="s", claim=claim, dated=TODAY, by=None, at=NOW)
    return shop


@pytest.fixture
def desk(shop, signed_in):
    return signed_in(Role.PARTS_MANAGER, shop.store)


def hand_in(desk, text, kind="payments"):
    file = SimpleUploadedFile("advice.csv", text.encode())
    where = reverse("campaigns:take_in_money_file")
    return desk.post(where, {"kind": kind, "file": file})


def test_from_the_file_to_the_payment(shop, desk):
    number = Claim.objects.get().number
    assert "Send a bill file or payment advice" in text_of(desk.get(reverse(FILES)))
    page = hand_in(desk, f"Claim,Paid\n{number},100\n77,5\nx,5\n")
    file = MoneyFile.objects.get()
    assert page.url == reverse("campaigns:money_file", args=[file.pk])
    words = text_of(desk.get(page.url))
    assert "One row can be applied; look at what differs" in words
    assert "155.50 100.00 differs Paid short by 55.50." in words
    assert "4 Claim x is not a whole number." in words
    assert not Payment.objects.exists()
    act = reverse("campaigns:apply_money_file", args=[file.pk])
    for _press in (1, 2):
        done = desk.post(act, {"key": "k", "dated": TODAY.isoformat()})
        assert done.url == page.url
    assert sum(Payment.objects.values_list("cents", flat=True)) == 10_000
    assert "One row was applied on 2026-11-25" in text_of(desk.get(page.url))
    source = desk.get(reverse("campaigns:money_file_source", args=[file.pk]))
    assert source.content.startswith(b"Claim,Paid")
    assert source["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Name,Town\nA,B\n", "No column is headed like one of: claim"),
        ("", "is empty"),
    ],
)
def test_what_cannot_be_read_is_told_in_the_form(desk, text, words):
    assert words in text_of(hand_in(desk, text))
    assert not MoneyFile.objects.exists()


def test_nothing_fits(desk):
    page = hand_in(desk, "Claim,Paid\n77,5\n")
    words = text_of(desk.get(page.url))
    assert "No row of this file can be applied" in words
    act = reverse("campaigns:apply_money_file", args=[MoneyFile.objects.get().pk])
    again = desk.post(act, {"key": "k", "dated": TODAY.isoformat()})
    assert "No row of this file can be applied; see why" in text_of(again)


def test_the_owner_reads_and_changes_nothing(shop, signed_in):
    owner = signed_in(Role.OWNER, shop.store)
    assert owner.get(reverse(FILES)).context["form"] is None
    assert hand_in(owner, "Claim,Paid\n1,5\n").status_code == 403


def test_the_list_takes_the_queries_of_one(desk, django_assert_num_queries):
    for files in (1, 2):
        MoneyFileFactory.create_batch(files, store=desk.store)
        with django_assert_num_queries(6):
            desk.get(reverse(FILES))
