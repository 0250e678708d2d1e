import pytest
from django.urls import reverse

from inventory.queries.subjects import Said, words_of_subjects
from tests.factories.inventory import (
    DisputeFactory,
    GoodsReturnFactory,
    QuarantineLotFactory,
    ShipmentFactory,
    StockCountFactory,
    TransferFactory,
)


pytestmark = pytest.mark.django_db

MAKERS = {
    "shipment": ShipmentFactory,
    "return": GoodsReturnFactory,
    "transfer": TransferFactory,
    "count": StockCountFactory,
    "lot": QuarantineLotFactory,
    "dispute": DisputeFactory,
}


@pytest.mark.parametrize("kind", MAKERS)
def test_each_paper_is_said_in_words_with_its_page(kind):
    row = MAKERS[kind].create()
    said = words_of_subjects([f"{kind}:{row.pk}"])[f"{kind}:{row.pk}"]
    assert said.words
    assert said.words != f"{kind}:{row.pk}"
    assert reverse(said.page, args=[said.pk]).endswith(f"/{row.pk}/")


@pytest.mark.parametrize("rows", [1, 3])
def test_many_are_said_in_one_question(rows, django_assert_num_queries):
    made = ShipmentFactory.create_batch(rows)
    with django_assert_num_queries(1):
        said = words_of_subjects([f"shipment:{row.pk}" for row in made])
    assert len(said) == rows


@pytest.mark.parametrize("subject", ["", "hat:1", "shipment:x", "shipment:999999"])
def test_what_nobody_knows_stands_as_it_is(subject):
    assert words_of_subjects([subject]) == {subject: Said(words=subject)}
