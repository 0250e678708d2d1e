"""Post that came in: found by code, VIN or name; decided; answered; lists handed out."""

import datetime as dt

import pypdfium2
import pytest
import zxingcpp

from campaigns.domain.letters import mark_posted, mark_printed, print_round
from campaigns.models import AddressExport, Contact
from campaigns.queries.addressees import decide_addressees
from campaigns.rules.letter_english import FRAME as ENGLISH
from campaigns.rules.lifecycle import (
    OmissionReason,
    Reach,
    RoundKind,
    RoundState,
    WorkState,
)
from dealership.domain.jobs import run_waiting
from dealership.rules.roles import Role
from tests.campaigns.domain.rounds import drawn, owned
from tests.factories.campaigns import (
    CampaignFactory,
    LetterFactory,
    LetterRoundFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]
YEAR_AGO = TODAY - dt.timedelta(days=365)
ANSWER = {"channel": "slip", "on": "2026-11-25", "key": "k"}


@pytest.fixture
def office(signed_in):
    return signed_in(Role.OFFICE)


@pytest.fixture
def letter(office):
    made = LetterRoundFactory.create(store=office.store, state=RoundState.POSTED)
    return LetterFactory.create(
        letter_round=made,
        posted_on=TODAY,
        code="L7",
        party__name="Núria Ashdown",
        party__name_folded="nuria ashdown",
    )


def test_is_found_by_code_vin_and_name(office, letter):
    vin = letter.campaign_vehicle.vehicle.vin
    page = f"/letters/in/{letter.pk}/"

    for said in ("l7", vin, vin[-8:].lower(), "nuria ash"):
        assert office.get("/letters/in/", {"q": said}).url == page
    assert "No posted letter" in office.get("/letters/in/?q=nobody").content.decode()


def test_several_are_listed(office, letter):
    LetterFactory.create(
        letter_round=letter.letter_round, posted_on=TODAY, party=letter.party
    )

    page = office.get("/letters/in/", {"q": "ashdown"}).content.decode()

    assert page.count("Núria Ashdown") == 2


def test_comes_back_and_is_decided(office, letter):
    url = f"/letters/in/{letter.pk}/"
    booked = {"code": "L7", "why": "moved", "on": "2026-11-25"}

    assert office.post(f"{url}returned/", booked).url == url
    assert "decide what is done" in office.get(url).content.decode()
    assert "L7" in office.get("/letters/in/").content.decode()
    wrong = office.post(f"{url}settled/", {"step": "new_address"})
    assert "Enter street, city and postal code" in wrong.content.decode()
    assert office.post(f"{url}settled/", {"step": "not_reached"}).url == "/letters/in/"
    letter.refresh_from_db()
    assert letter.return_step == "not_reached"
    letter.campaign_vehicle.refresh_from_db()
    assert letter.campaign_vehicle.reach == Reach.NOT_NOTIFIED
    assert "Nothing waits for a decision" in office.get("/letters/in/").content.decode()


def test_the_slip_is_entered(office, letter):
    url = f"/letters/in/{letter.pk}/"

    office.post(f"{url}answered/", ANSWER | {"answer": "scrapped"})
    office.post(f"{url}answered/", ANSWER | {"answer": "scrapped"})

    contact = Contact.objects.get()
    assert (contact.letter, contact.answer) == (letter, "scrapped")
    assert "the vehicle was scrapped" in office.get(url).content.decode()
    refused = office.post(f"{url}answered/", ANSWER | {"answer": "moved", "key": "n"})
    assert "Enter street, city and postal code" in refused.content.decode()


def read_slips(file):
    """Read each page as a scanner would: the code, and what can be ticked."""
    slips = {}
    with pypdfium2.PdfDocument(file.read()) as paper:
        for page in paper:
            [code] = zxingcpp.read_barcodes(page.render(scale=3).to_pil())
            slips[code.text] = page.get_textpage().get_text_range()
    return slips


def test_the_slip_from_paper_to_the_vehicle(office, settings, tmp_path):
    """Printed, posted, its code read off the sheet and scanned, and each box entered."""
    settings.MEDIA_ROOT = tmp_path
    campaign = CampaignFactory.create(letters_on=None)
    answers = ("sold", "scrapped", "exported", "stolen", "elsewhere", "moved")
    for number in range(len(answers)):
        row = owned(campaign, office.store, address={"street": f"{number} Elm Row"})
        row.vehicle.tenures.update(since=YEAR_AGO)
    made = drawn(campaign, office.store)
    print_round(letter_round=made, by=office.staff, at=NOW)
    run_waiting(clock=lambda: NOW)
    made.refresh_from_db()
    for step in (mark_printed, mark_posted):
        step(letter_round=made, on=TODAY, by=office.staff, at=NOW)

    slips = read_slips(made.pdf)
    assert sorted(slips) == sorted(made.letters.values_list("code", flat=True))
    place = {
        "street": "9 Larch Row", "city": "Tannersby", "region": "IL",
        "postal_code": "60004", "country": "US",
    }  # fmt: skip
    typed = {
        "sold": {"answer": "sold", "new_owner": "Ilse Varga"} | place,
        "elsewhere": {"answer": "done_elsewhere"},
        "moved": {"answer": "moved"} | place,
    }
    rows = {}
    for code, name in zip(slips, answers, strict=True):
        for box in ENGLISH.answers:
            assert box in slips[code]
        found = office.get("/letters/in/", {"q": code}).url
        answer = ANSWER | {"key": code} | typed.get(name, {"answer": name})
        assert office.post(f"{found}answered/", answer).url == found
        contact = Contact.objects.get(letter__code=code)
        assert contact.channel == "slip"
        rows[name] = contact.campaign_vehicle

    assert rows["sold"].vehicle.tenures.get(until=None).party.name == "Ilse Varga"
    for gone in ("scrapped", "exported", "stolen"):
        assert rows[gone].reach == gone
    assert rows["elsewhere"].work_state == WorkState.REMEDIED_ELSEWHERE
    owner = rows["moved"].vehicle.tenures.get().party
    assert owner.addresses.get(current=True).street == "9 Larch Row"
    # what is gone or done gets no more letters; the new owner and address do
    told = {
        one.row.pk: getattr(one, "reason", one)
        for one in decide_addressees(
            campaign=campaign, store=office.store, on=TODAY, kind=RoundKind.REMINDER
        )
    }
    assert rows["elsewhere"].pk not in told
    for gone in ("scrapped", "exported", "stolen"):
        assert told[rows[gone].pk] == OmissionReason.OUT_OF_REACH
    assert told[rows["sold"].pk].party.name == "Ilse Varga"
    for name in ("sold", "moved"):
        assert told[rows[name].pk].address.street == "9 Larch Row"


def test_a_call_is_noted_on_the_vehicle(signed_in, letter, office):
    advisor = signed_in(Role.SERVICE_ADVISOR, office.store)
    url = f"/letters/contacts/{letter.campaign_vehicle_id}/"

    assert advisor.get(url).status_code == 200
    asked = ANSWER | {"channel": "call", "answer": "will_book", "note": "On Monday."}
    assert advisor.post(url, asked).url == url
    assert "On Monday." in advisor.get(url).content.decode()
    ahead = advisor.post(url, asked | {"on": "2026-11-26", "key": "n"})
    assert "has not come yet" in ahead.content.decode()


def test_the_address_list_is_handed_out_for_a_purpose(office, letter):
    url = f"/letters/{letter.letter_round_id}/addresses/"
    asked = {"purpose": "recall_letters", "recipient": "Quillgate", "file_kind": "csv"}

    answer = office.post(url, asked)

    assert "Núria Ashdown" in answer.content.decode()
    assert answer["Cache-Control"] == "private, no-store"
    assert AddressExport.objects.get().by == office.staff
    assert "Quillgate" in office.get(url).content.decode()
    nobody = office.post(url, asked | {"recipient": " "})
    assert nobody.status_code == 200
    assert AddressExport.objects.count() == 1


def test_rights_and_stores(signed_in, letter):
    manager = signed_in(Role.SERVICE_MANAGER, letter.letter_round.store)
    assert (
        manager.get(f"/letters/{letter.letter_round_id}/addresses/").status_code == 403
    )
    assert manager.get("/letters/in/").status_code == 403
    other = signed_in(Role.OFFICE, StoreFactory.create())
    for path in (
        f"/letters/in/{letter.pk}/",
        f"/letters/contacts/{letter.campaign_vehicle_id}/",
        f"/letters/{letter.letter_round_id}/addresses/",
    ):
        assert other.get(path).status_code == 404
    assert "No posted letter" in other.get("/letters/in/?q=L7").content.decode()


@pytest.mark.parametrize("rows", [1, 3])
def test_list_asks_the_same_number_of_questions(
    rows, office, django_assert_num_queries
):
    made = LetterRoundFactory.create(store=office.store, state=RoundState.POSTED)
    LetterFactory.create_batch(
        rows, letter_round=made, posted_on=TODAY, returned_on=TODAY, returned_why="away"
    )
    with django_assert_num_queries(7):
        assert office.get("/letters/in/").status_code == 200
