"""What the bay reads of a repair."""

import pytest

from campaigns.queries import repairs
from campaigns.queries.labour import repair_labour
from campaigns.queries.repairs import (
    checks_now,
    hold_subject,
    job_card,
    repairs_with_all,
)
from campaigns.rules.eligibility import Cover
from campaigns.rules.lifecycle import Outcome, Payer, ReadingResult
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import (
    RemedyPriceFactory,
    VariantLabourFactory,
    VariantPartFactory,
)
from tests.factories.dealership import TODAY
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    shop = Shop()
    shop.shelf(6)
    return shop


def lines_of(repair):
    labour = repair_labour(repair, today=TODAY)
    return repairs.lines_of(repair, checks=checks_now(repair), labour=labour)


def card_of(repair):
    return job_card(repairs_with_all().get(pk=repair.pk), today=TODAY)


def test_parts_with_what_is_held_and_free(shop):
    extra = PartFactory.create()
    VariantPartFactory.create(
        variant=shop.variant, part=extra, share_basis_points=2_000
    )
    card = card_of(shop.open())
    planned, conditional = card.parts
    assert (planned.planned, planned.held, planned.free) == (2, 2, 4)
    assert not planned.some_need_it
    assert (conditional.part, conditional.suggested) == (extra, 0)
    assert conditional.some_need_it
    assert card.cover.cover is Cover.COVERED
    assert card.first_open is None


def test_a_check_goes_from_open_to_closed(shop):
    clip = PartFactory.create()
    check = shop.check(outside=ReadingResult.REPLACE, replace_part=clip)
    repair = shop.open()
    (now,) = checks_now(repair)
    assert (now.result, now.closed, now.attempt, now.demanded) == (None, False, 1, 0)
    assert now.last_words == ""
    shop.measure(repair, check, "60")
    shop.measure(repair, check, "61")
    (now,) = checks_now(repair)
    assert (now.closed, now.attempt, now.demanded) == (False, 3, 2)
    assert card_of(repair).first_open.check == check
    shop.measure(repair, check, "45")
    (now,) = checks_now(repair)
    assert (now.closed, now.demanded) == (True, 2)


def test_each_line_has_one_payer_and_only_work_that_was_done(shop):
    done = shop.variant.labour.get()
    VariantLabourFactory.create(variant=shop.variant, title="Not done")
    wash = VariantLabourFactory.create(
        variant=shop.variant, title="Wash", payer=Payer.CUSTOMER
    )
    RemedyPriceFactory.create(variant=shop.variant)
    repair = shop.complete(operations=[done, wash])
    found = [(line.priced.asked.title, line.payer) for line in lines_of(repair)]
    assert found == [
        (f"{shop.part.number} {shop.part.name}", Payer.MANUFACTURER),
        (done.title, Payer.MANUFACTURER),
        (wash.title, Payer.CUSTOMER),
        ("Loan car, one day", Payer.MANUFACTURER),
    ]


def test_a_stopped_repair_has_no_lines(shop):
    assert lines_of(shop.complete(outcome=Outcome.STOPPED, used={})) == []


def test_a_walk_in_has_its_own_hold(shop):
    repair = shop.open()
    assert hold_subject(repair) == f"repair:{repair.pk}"


def test_the_card_takes_the_same_queries_with_more_checks(
    shop, django_assert_num_queries
):
    repair = shop.open()
    for number in (1, 3):
        while shop.variant.checks.count() < number:
            check = shop.check()
            shop.measure(repair, check, "45")
        row = repairs_with_all().get(pk=repair.pk)
        with django_assert_num_queries(14):
            job_card(row, today=TODAY)
