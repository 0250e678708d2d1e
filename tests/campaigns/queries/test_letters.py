"""Reading rounds of letters: sheets, the register, texts in force."""

import datetime as dt

import pytest

from campaigns.models import LetterRound, LetterText
from campaigns.queries.letters import (
    letters_at,
    merge_values,
    register_heads,
    register_rows,
    rounds_of,
    sender_of,
    shared_lines,
    sheet_of,
    texts_in_use,
    why_not_set,
)
from tests.factories.campaigns import (
    LetterFactory,
    LetterOmissionFactory,
    LetterRoundFactory,
    LetterTextFactory,
)
from tests.factories.dealership import TODAY


pytestmark = pytest.mark.django_db


@pytest.fixture
def one_round():
    text = LetterTextFactory.create(
        subject="About your {vehicle}", body="Dear owner.\n\n{risk}"
    )
    return LetterRoundFactory.create(text=text)


def test_a_chunk_has_its_positions_and_one_query(one_round, django_assert_num_queries):
    for position in (3, 1, 2):
        LetterFactory.create(letter_round=one_round, position=position)

    with django_assert_num_queries(1):
        chunk = letters_at(one_round, range(1, 3))
        assert [one.campaign_vehicle.vehicle.vin[:3] for one in chunk] == ["1U0"] * 2
    assert [one.position for one in chunk] == [1, 2]
    assert [one.position for one in letters_at(one_round, [3, 1])] == [1, 3]


def test_a_sheet_says_what_the_text_and_the_rows_say(one_round):
    letter = LetterFactory.create(letter_round=one_round)

    sheet = sheet_of(letter, one_round)

    assert sheet.subject == "About your 2022 Corvane"
    assert sheet.paragraphs == ("Dear owner.", one_round.campaign.risk)
    assert (sheet.name, sheet.code) == (letter.party.name, letter.code)
    assert sheet.address["street"] == letter.address.street
    assert sheet.vin == letter.campaign_vehicle.vehicle.vin
    assert why_not_set(letter, one_round) != ""
    letter.page = 1
    assert why_not_set(letter, one_round) == ""


def test_a_letter_no_font_can_draw_says_which_character(one_round):
    letter = LetterFactory.create(
        letter_round=one_round, party__name="Ashdown \U00013000"
    )

    assert "\U00013000" in why_not_set(letter, one_round)


def test_the_letterhead_and_the_numbers_are_the_stores_and_the_campaigns(one_round):
    store, campaign = one_round.store, one_round.campaign

    sender = sender_of(store)

    assert (sender.name, sender.signed_by) == (store.name, "Mira Soldan")
    assert [value for _label, value in shared_lines(campaign, "en")] == [
        campaign.code,
        campaign.maker_number,
        campaign.regulator_number,
    ]
    campaign.regulator_number = ""
    assert len(shared_lines(campaign, "es")) == 2


def test_an_unknown_year_leaves_the_line(one_round):
    letter = LetterFactory.create(letter_round=one_round)
    vehicle = letter.campaign_vehicle.vehicle
    vehicle.model_year = None

    values = merge_values(one_round.campaign, one_round.store, vehicle)

    assert values["vehicle"] == "Corvane"


def test_the_register_lists_who_was_written_to_and_who_was_not(one_round):
    letter = LetterFactory.create(letter_round=one_round)
    left = LetterOmissionFactory.create(letter_round=one_round)

    rows = list(register_rows(one_round))

    assert {len(row) for row in rows} == {len(register_heads())}
    assert [row[0] for row in rows] == [
        letter.campaign_vehicle.vehicle.vin,
        left.campaign_vehicle.vehicle.vin,
    ]
    assert rows[0][2:4] == (letter.code, letter.address.city)
    assert rows[1][1] != rows[0][1]


def test_rounds_are_counted_without_counting_twice(one_round):
    LetterFactory.create_batch(2, letter_round=one_round)
    LetterFactory.create(letter_round=one_round, returned_on=TODAY)
    LetterOmissionFactory.create_batch(2, letter_round=one_round)

    row = rounds_of(LetterRound.objects.all()).get()

    assert (row.letter_count, row.left_out, row.returned) == (3, 2, 1)


def test_the_text_in_force_is_the_last_one_that_has_begun():
    assert not LetterText.objects.exists()
    for number, day in ((1, -5), (2, 0), (3, 1)):
        LetterTextFactory.create(
            number=number, effective_from=TODAY + dt.timedelta(days=day)
        )

    texts = {
        (one.campaign_class, one.kind, one.posted_by, one.language): one
        for one in texts_in_use(TODAY)
    }

    assert len(texts) == 4 * 4 * 2 * 2
    assert texts["safety", "first", "store", "en"].number == 2
    assert texts["emissions", "first", "store", "es"].pk is None
