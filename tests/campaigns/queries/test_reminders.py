"""Reminders that pay: counted from posted letters, the curve, and parts in hand."""

import datetime as dt
import math

import pytest
from django.db import connection

from campaigns.models import Letter
from campaigns.queries.reminders import brings_words, reminders_of
from campaigns.rules.lifecycle import Reach, RoundKind, WorkState
from inventory.forecasting.reminding import Judgement, Verdict
from inventory.forecasting.response import built_in
from tests.campaigns.domain.rounds import drawn, posted, written_to
from tests.factories.campaigns import PartRequestFactory, VisitFactory, VisitJobFactory
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, put_on_shelf


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create(labour_margin_cents=6_000, letter_cost_cents=100)


@pytest.fixture
def part():
    return PartFactory.create()


def look(store):
    [found] = reminders_of(store=store, today=TODAY)
    return found


def test_it_pays_with_the_parts_in_hand(store, part):
    """20 letters 20 weeks ago and nobody came: pace r / (r + 20 H(20)); the reminder
    adds rho H(26) to what the curve still brings, H(46) - H(20)."""
    campaign = written_to(store, part)
    put_on_shelf(store, part, 20)
    found = look(store)

    known = built_in(TODAY.year - 2022)
    curve = known.curve.first
    pace = known.prior / (known.prior + 20 * curve.at(20))
    goes_on = curve.at(46) - curve.at(20)
    more = known.curve.reminder * curve.at(26)
    without = 20 * (1 - math.exp(-pace * goes_on))
    extra = 20 * (math.exp(-pace * goes_on) - math.exp(-pace * (goes_on + more)))
    assert (found.campaign, found.rounds, found.judged.letters) == (campaign, 1, 20)
    assert found.last_on == TODAY - dt.timedelta(weeks=20)
    assert found.judged.without == pytest.approx(without, rel=1e-4)
    assert found.judged.extra == pytest.approx(extra, rel=1e-4)
    assert found.judged.extra_cents == pytest.approx(extra * 6_000, rel=1e-4)
    assert found.judged.cost_cents == 2_000
    assert found.reminded == pytest.approx(without + extra, rel=1e-4)
    assert found.pays
    assert found.short == []


def test_too_few_parts_are_named(store, part):
    written_to(store, part)
    found = look(store)
    assert found.judged.verdict is Verdict.NO_PARTS
    [(missing, row)] = found.short
    assert (missing, row.spare) == (part, 0)
    put_on_shelf(store, part, row.wanted - 1)
    assert not look(store).pays
    put_on_shelf(store, part, 1)
    assert look(store).pays


def test_old_numbers_count_and_pockets_of_others_do_not(store):
    new = PartFactory.create()
    old = PartFactory.create(superseded_by=new)
    campaign = written_to(store, new)
    other = campaign_with_remedy()
    put_on_shelf(store, new, 20, other.earmark)
    assert not look(store).pays
    put_on_shelf(store, old, 10)
    put_on_shelf(store, new, 10, campaign.earmark)
    assert look(store).pays


def test_who_waits_for_a_part_has_it_first(store, part):
    campaign = written_to(store, part)
    before = look(store).short[0][1].wanted
    PartRequestFactory.create(campaign_vehicle=campaign.vehicles.first())
    assert look(store).short[0][1].wanted == pytest.approx(before + 1, abs=1)


def test_letters_go_to_those_who_are_open_and_not_booked(store, part):
    campaign = written_to(store, part, vehicles=6)
    rows = list(campaign.vehicles.order_by("pk"))
    rows[0].work_state = WorkState.REMEDIED_HERE
    rows[1].reach = Reach.STOLEN
    for row in rows[:2]:
        row.save()
    VisitJobFactory.create(
        visit=VisitFactory.create(store=store, vehicle=rows[2].vehicle),
        campaign_vehicle=rows[2],
    )
    Letter.objects.filter(campaign_vehicle=rows[3]).update(
        returned_on=TODAY, returned_why="moved"
    )
    assert look(store).judged.letters == 2


def test_no_look_while_a_round_is_in_work_or_none_was_posted(store, part):
    campaign = written_to(store, part)
    assert reminders_of(store=StoreFactory.create(), today=TODAY) == []
    other = campaign_with_remedy(part)
    assert reminders_of(store=store, today=TODAY, campaign=other) == []
    again = drawn(campaign, store, key="again", kind=RoundKind.REMINDER)
    assert reminders_of(store=store, today=TODAY) == []
    posted(again, TODAY - dt.timedelta(weeks=1))
    found = look(store)
    assert found.rounds == 2
    assert found.judged.verdict is Verdict.STILL_COMING


@pytest.mark.parametrize("campaigns", [1, 3])
def test_the_number_of_questions_does_not_grow(
    store, part, campaigns, django_assert_num_queries
):
    for _number in range(campaigns):
        written_to(store, part, vehicles=2)
    with django_assert_num_queries(QUERIES):
        assert len(reminders_of(store=store, today=TODAY)) == campaigns


QUERIES = 46 if connection.vendor == "postgresql" else 30  # with plan settings


def test_in_words():
    told = Judgement(verdict=Verdict.PAYS, letters=1, weeks=26, extra=1.2)
    assert brings_words(told) == "1 letter, about 1 visit more in 26 weeks"
    told = Judgement(verdict=Verdict.PAYS, letters=90, weeks=6, extra=21.8)
    assert brings_words(told) == "90 letters, about 22 visits more in 6 weeks"
