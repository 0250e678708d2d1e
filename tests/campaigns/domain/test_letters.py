"""A round adds up, is set once, and each step is taken once."""

import datetime as dt
import io

import pikepdf
import pypdfium2
import pytest
import zxingcpp
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from campaigns.documents.letters import address_lines
from campaigns.domain import letters
from campaigns.models import LetterRound
from campaigns.queries.addressees import LeftOut, decide_addressees
from campaigns.rules.letter_window import layout_for
from campaigns.rules.lifecycle import (
    OmissionReason,
    Reach,
    RoundState,
    WorkState,
)
from dealership.documents.pdf import text_width
from dealership.domain.jobs import run_waiting
from tests.campaigns.domain.rounds import drawn, owned
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.vehicles import AddressFactory, TenureFactory
from vehicles.rules.standing import AddressSource, Standing, TenureRole


pytestmark = pytest.mark.django_db
POINTS = 72


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def printed(letter_round):
    """Set a round as the worker does and read it anew."""
    letters.print_round(letter_round=letter_round, by=letter_round.made_by, at=NOW)
    run_waiting(clock=lambda: NOW)
    return LetterRound.objects.get(pk=letter_round.pk)


def posted(letter_round, on=TODAY):
    steps = {"by": letter_round.made_by, "at": NOW, "on": on}
    letters.mark_printed(letter_round=letter_round, **steps)
    return letters.mark_posted(letter_round=letter_round, **steps)


@pytest.fixture
def ground():
    return CampaignFactory.create(letters_on=None), StoreFactory.create()


def reason_of(campaign, store):
    [one] = decide_addressees(campaign=campaign, store=store, on=TODAY)
    return one.reason if isinstance(one, LeftOut) else None


def test_each_reason(ground):
    campaign, store = ground
    day = dt.date(2026, 1, 1)
    cases = {
        OmissionReason.TO_VERIFY: {"work_state": WorkState.TO_VERIFY},
        OmissionReason.OUT_OF_REACH: {"reach": Reach.STOLEN},
        OmissionReason.OWN_STOCK: {"standing": Standing.USED},
        OmissionReason.NO_ADDRESS: {"address": {"street": ""}},
        OmissionReason.UNDELIVERABLE: {"address": {"undeliverable_on": day}},
        OmissionReason.ADDRESS_NOT_ALLOWED: {
            "address": {"source": AddressSource.STATE_RECORDS, "only_for": "OTHER"}
        },
    }
    for reason, facts in cases.items():
        row = owned(campaign, store, **facts)
        assert reason_of(campaign, store) == reason
        row.delete()
    owned(campaign, store).vehicle.tenures.all().delete()
    assert reason_of(campaign, store) == OmissionReason.NO_OWNER


def test_state_record_address_serves_its_own_campaign(ground):
    """18 USC 2721(b)(2): for the recall that it was given for."""
    campaign, store = ground
    code = campaign.earmark.code
    owned(
        campaign,
        store,
        address={"source": AddressSource.STATE_RECORDS, "only_for": code},
    )
    assert reason_of(campaign, store) is None


def test_past_the_fifteen_years_of_a_safety_recall(ground):
    """49 USC 30120(g)(1): past it the free remedy is not required."""
    campaign, store = ground
    row = owned(campaign, store)
    row.vehicle.first_use_date = TODAY.replace(year=TODAY.year - 16)
    row.vehicle.save()
    assert reason_of(campaign, store) == OmissionReason.PAST_LIMIT


def test_people_who_died_or_want_no_letters(ground):
    campaign, store = ground
    party = owned(campaign, store).vehicle.tenures.get().party
    party.do_not_write = True
    party.save()
    assert reason_of(campaign, store) == OmissionReason.DO_NOT_WRITE
    party.deceased = True
    party.save()
    assert reason_of(campaign, store) == OmissionReason.DECEASED


def test_the_lessee_is_written_to_and_only_while_the_lease_runs(ground):
    campaign, store = ground
    row = owned(campaign, store, name="Owner")
    lease = TenureFactory.create(
        vehicle=row.vehicle, role=TenureRole.LESSEE, party__name="Lessee"
    )
    AddressFactory.create(party=lease.party)
    [one] = decide_addressees(campaign=campaign, store=store, on=TODAY)
    assert one.party.name == "Lessee"
    lease.until = TODAY - dt.timedelta(days=1)
    lease.save()
    [one] = decide_addressees(campaign=campaign, store=store, on=TODAY)
    assert one.party.name == "Owner"


_CASES = st.lists(
    st.fixed_dictionaries(
        {
            "work_state": st.sampled_from(WorkState),
            "reach": st.sampled_from([Reach.REACHABLE, Reach.EXPORTED]),
            "standing": st.sampled_from([Standing.CUSTOMER, Standing.NEW]),
            "address": st.sampled_from([None, False, {"city": ""}]),
        }
    ),
    min_size=1,
    max_size=5,
)


@given(_CASES)
@hypothesis_settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_a_round_adds_up_to_the_open_vehicles(cases):
    campaign, store = CampaignFactory.create(), StoreFactory.create()
    rows = [owned(campaign, store, **facts) for facts in cases]
    is_open = {WorkState.TO_VERIFY, WorkState.OPEN, WorkState.NEEDS_REPAIR}
    wanted = sorted(row.pk for row in rows if row.work_state in is_open)
    if not wanted:
        with pytest.raises(letters.NothingOpen):
            drawn(campaign, store, key=f"k{campaign.pk}")
        return
    made = drawn(campaign, store, key=f"k{campaign.pk}")
    written = made.letters.values_list("campaign_vehicle", flat=True)
    left = made.omissions.values_list("campaign_vehicle", flat=True)
    assert sorted([*written, *left]) == wanted


def test_same_key_gives_the_first_round_and_a_second_is_refused(ground):
    owned(*ground)
    first = drawn(*ground)
    assert drawn(*ground) == first
    with pytest.raises(letters.RoundInWork):
        drawn(*ground, key="other")


def test_a_campaign_that_is_not_running_writes_no_letters():
    campaign = CampaignFactory.create(state="closed")
    with pytest.raises(letters.CampaignNotRunning):
        drawn(campaign, StoreFactory.create())


def test_letters_are_sorted_by_postal_code(ground):
    for code in ("62701", "60000", "61111"):
        owned(*ground, address={"postal_code": code})
    codes = drawn(*ground).letters.values_list("address__postal_code", flat=True)
    assert list(codes) == ["60000", "61111", "62701"]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_address_stands_in_the_safe_box_and_the_code_reads_back(paper):
    campaign, store = CampaignFactory.create(), StoreFactory.create(paper=paper)
    owned(campaign, store, address={"street2": "Unit 4"})
    made = printed(drawn(campaign, store))
    letter = made.letters.get()
    assert (letter.page, letter.address_fits, made.sheets) == (1, True, 1)
    page = pypdfium2.PdfDocument(made.pdf.read())[0]
    layout = layout_for(paper)
    height = page.get_height()
    for line in ("Pernille Ashdown", letter.address.street, "Unit 4"):
        left, bottom, right, top = first_place(page, line)
        assert left >= layout.address.left * POINTS - 0.5
        assert right <= layout.address.right * POINTS
        assert height - top >= layout.address.top * POINTS - 0.5
        assert height - bottom <= layout.address.bottom * POINTS + 0.5
    strip = layout.strip
    shown = page.get_textpage().get_text_bounded(
        left=0,
        right=strip.right * POINTS,
        top=height - strip.top * POINTS,
        bottom=height - strip.bottom * POINTS,
    )
    assert letter.campaign_vehicle.vehicle.vin not in shown
    assert campaign.maker_number not in shown
    image = page.render(scale=3).to_pil()
    assert [one.text for one in zxingcpp.read_barcodes(image)] == [letter.code]


def first_place(page, text):
    """Give left, bottom, right, top of the topmost place of a text, in points."""
    textpage = page.get_textpage()
    search = textpage.search(text)
    places = []
    while found := search.get_next():
        start, count = found
        boxes = [textpage.get_charbox(start + n) for n in range(count)]
        boxes = [box for box in boxes if box[2] > box[0]]
        lefts, bottoms, rights, tops = zip(*boxes, strict=True)
        places.append((min(lefts), min(bottoms), max(rights), max(tops)))
    return max(places, key=lambda place: place[3])


def test_us_last_line_has_two_spaces_before_the_code(ground):
    """Publication 28, section 22: two spaces preferred, no comma."""
    row = owned(*ground)
    address = (
        row.vehicle.tenures.get()
        .party.addresses.values(
            "street", "street2", "city", "region", "postal_code", "country"
        )
        .get()
    )
    assert address_lines("A", address, home="US")[-1] == "Tannersby IL  60000"
    abroad = address_lines("A", address, home="CA")
    assert abroad[-2:] == ("Tannersby IL  60000", "UNITED STATES")
    page = pypdfium2.PdfDocument(printed(drawn(*ground)).pdf.read())[0]
    place = first_place(page, "60000")
    before = first_place(page, "Tannersby IL")
    assert place[0] - before[2] > 1.8 * text_width(" ", 11)


def test_lines_by_country():
    """Code before the city and no country at home: Deutsche Post, DIN 5008."""
    address = {
        "street": "Elmweg 3",
        "street2": "",
        "city": "Halmstrup",
        "region": "",
        "postal_code": "20095",
        "country": "DE",
    }
    assert address_lines("A", address, home="DE") == (
        "A",
        "Elmweg 3",
        "20095 HALMSTRUP",
    )
    assert address_lines("A", address, home="US")[-1] == "GERMANY"


def test_hostile_names_are_printed_as_they_are_and_nothing_is_fetched(ground):
    name = '<img src="file:///etc/passwd"><b>x</b>\x07{maker}'
    owned(*ground, name=name, address={"street": "<a href='http://h.example'>1</a>"})
    made = printed(drawn(*ground))
    text = pypdfium2.PdfDocument(made.pdf.read())[0].get_textpage().get_text_bounded()
    assert '<img src="file:///etc/passwd">' in " ".join(text.split())
    assert "{maker}" in text


def test_a_letter_no_font_can_draw_stops_alone_and_is_named(ground):
    owned(*ground)
    owned(*ground, name="Pernille \U00013000")
    made = printed(drawn(*ground))
    assert sorted(made.letters.values_list("page", flat=True), key=str) == [1, None]
    assert made.sheets == 1
    posted(made)
    assert made.letters.filter(posted_on=TODAY).count() == 1


def test_too_long_an_address_is_flagged_and_printed_in_full(ground):
    name = "The Very Long Registered Name Of A Company For Hire"
    owned(*ground, name=name)
    made = printed(drawn(*ground))
    letter = made.letters.get()
    assert (letter.page, letter.address_fits) == (1, False)
    text = pypdfium2.PdfDocument(made.pdf.read())[0].get_textpage().get_text_bounded()
    assert " ".join(text.split()).count(name) == 2


def test_a_letter_made_in_the_evening_bears_the_day_of_the_store(ground):
    owned(*ground)
    evening = dt.datetime(2026, 11, 26, 3, tzinfo=dt.UTC)  # 21:00 on the 25th, Chicago
    made = drawn(*ground)
    LetterRound.objects.filter(pk=made.pk).update(made_at=evening)
    made = printed(made)
    text = pypdfium2.PdfDocument(made.pdf.read())[0].get_textpage().get_text_bounded()
    assert "2026-11-25" in text
    assert "2026-11-26" not in text


def test_a_round_in_which_nobody_is_written_to_comes_to_its_end(ground):
    owned(*ground, address=False)
    made = printed(drawn(*ground))
    assert (made.letters.count(), made.sheets) == (0, 0)
    assert posted(made).state == RoundState.POSTED


def test_printed_and_posted_are_two_acts_and_start_the_weeks(ground):
    owned(*ground)
    made = drawn(*ground)
    with pytest.raises(letters.RoundNotReady):
        letters.mark_printed(letter_round=made, on=TODAY, by=made.made_by, at=NOW)
    made = printed(made)
    with pytest.raises(letters.RoundNotReady):
        letters.mark_posted(letter_round=made, on=TODAY, by=made.made_by, at=NOW)
    out = posted(made)
    assert (out.state, out.printed_on, out.posted_on) == (
        RoundState.POSTED,
        TODAY,
        TODAY,
    )
    ground[0].refresh_from_db()
    assert ground[0].letters_on == TODAY


def test_fonts_are_embedded(ground):
    """ISO 32000-1, 9.9: a font program stands in the descriptor of each font."""
    owned(*ground)
    made = printed(drawn(*ground))
    with pikepdf.open(io.BytesIO(made.pdf.read())) as paper:
        fonts = paper.pages[0].Resources.Font
        inner = [font.DescendantFonts[0].FontDescriptor for font in fonts.values()]
        assert inner
        assert all("/FontFile2" in one or "/FontFile3" in one for one in inner)
