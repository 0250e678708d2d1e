"""A round is printed only when the letter check is content or answered."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from campaigns.domain import letter_checks, letters
from campaigns.models import Campaign, LetterCheckAnswer, LetterRound
from campaigns.queries.letter_checks import check_round
from campaigns.rules.letter_wording import shipped_text
from campaigns.rules.lifecycle import CampaignClass, RoundKind, RoundState
from tests.campaigns.domain.test_letters import drawn, owned
from tests.factories.campaigns import (
    CampaignFactory,
    LetterTextFactory,
)
from tests.factories.dealership import NOW, TODAY, StoreFactory, make_staff
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def ground():
    return CampaignFactory.create(letters_on=None), StoreFactory.create()


def set_letters(made):
    return letters.print_round(letter_round=made, by=made.made_by, at=NOW)


def answer(made, rule="played_down", why="The manufacturer asked for these words."):
    return letter_checks.answer_remark(
        letter_round=made,
        text=made.text,
        rule=rule,
        why=why,
        today=TODAY,
        by=made.made_by,
        at=NOW,
    )


def with_more(more):
    """Put a shipped text with one more sentence in force."""
    _subject, body = shipped_text(CampaignClass.SAFETY, RoundKind.FIRST)
    LetterTextFactory.create(body=f"{body}\n\n{more}", number=9, effective_from=TODAY)


def test_a_sound_letter_is_set(ground):
    owned(*ground)
    made = drawn(*ground)

    assert check_round(made, today=TODAY).is_clean
    assert set_letters(made).state == RoundState.PRINTING


def test_what_blocks_cannot_be_answered(ground):
    with_more("No accidents have been reported.")
    owned(*ground)
    made = drawn(*ground)

    with pytest.raises(letter_checks.LetterUnsound) as refused:
        set_letters(made)
    assert refused.value.blocking == 1
    with pytest.raises(letter_checks.NothingToAnswer):
        answer(made, rule="no_accidents")
    made.refresh_from_db()
    assert made.state == RoundState.DRAWN_UP


def test_a_remark_wants_a_reason_that_is_kept(ground):
    with_more("This is very rare.")
    owned(*ground)
    made = drawn(*ground)

    with pytest.raises(letter_checks.RemarksOpen):
        set_letters(made)
    with pytest.raises(letter_checks.NoReason):
        answer(made, why="  ")
    with pytest.raises(letter_checks.NothingToAnswer):
        answer(made, rule="order")
    first = answer(made)
    assert answer(made, why="Another.") == first
    assert set_letters(made).state == RoundState.PRINTING
    with pytest.raises(IntegrityError), transaction.atomic():
        LetterCheckAnswer.objects.update(why="Changed.")


def test_an_answer_holds_for_its_round_only(ground):
    with_more("This is very rare.")
    campaign, store = ground
    owned(campaign, store)
    made = drawn(campaign, store)
    answer(made)
    letters.cancel_round(letter_round=made, by=made.made_by, at=NOW)

    assert check_round(drawn(campaign, store, key="next"), today=TODAY).waiting == 1


def test_each_language_is_checked_once_the_campaign_speaks_it(ground):
    owned(*ground)
    spanish = owned(*ground).vehicle.tenures.get().party
    spanish.language = "es"
    spanish.save()

    assert len(check_round(drawn(*ground), today=TODAY).texts) == 1
    LetterRound.objects.update(state=RoundState.CANCELLED)
    Campaign.objects.update(
        title_es="Tornillos", risk_es="El asiento puede soltarse en un choque."
    )
    ground[0].refresh_from_db()

    told = check_round(drawn(*ground, key="next"), today=TODAY)

    assert sorted((one.text.language, one.letters) for one in told.texts) == [
        ("en", 1),
        ("es", 1),
    ]
    assert told.is_clean


def test_parts_are_called_here_only_when_the_promise_line_has_them():
    """49 USC 30119(b): when parts can reasonably be expected."""
    store, part = StoreFactory.create(), PartFactory.create()
    campaign = campaign_with_remedy(part, pieces=2, letters_on=None)
    owned(campaign, store)
    made = drawn(campaign, store)

    told = check_round(made, today=TODAY)
    assert {one.finding.rule.code for one in told.texts[0].found} == {"parts_not_here"}
    assert (told.parts.expected, told.parts.there.is_here) == (1, False)
    with pytest.raises(letter_checks.LetterUnsound):
        set_letters(made)
    put_on_shelf(store, part, 2)
    assert check_round(made, today=TODAY + dt.timedelta(days=1)).is_clean


def test_a_campaign_without_its_risk_is_not_written_about(ground):
    campaign, store = ground
    campaign.risk = ""
    campaign.save()
    owned(campaign, store)

    with pytest.raises(letter_checks.LetterUnsound):
        set_letters(drawn(campaign, store))


def test_somebody_of_the_office_may_be_asked_who_let_it_pass(ground):
    with_more("This is very rare.")
    owned(*ground)
    made = drawn(*ground)
    kept = answer(made)

    assert kept.by.pk == made.made_by.pk
    assert kept.by != make_staff("office", made.store)
