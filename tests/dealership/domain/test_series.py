import pytest
from django.db import transaction

from dealership.domain.series import next_number
from tests.factories.dealership import StoreFactory


pytestmark = pytest.mark.django_db


def test_each_store_and_kind_counts_for_itself():
    here, there = StoreFactory.create_batch(2)

    assert [next_number(store=here, kind="claim") for _ in range(3)] == [1, 2, 3]
    assert next_number(store=here, kind="order") == 1
    assert next_number(store=there, kind="claim") == 1


def test_a_number_that_is_rolled_back_is_given_again():
    store = StoreFactory.create()
    next_number(store=store, kind="claim")

    with transaction.atomic():
        lost = next_number(store=store, kind="claim")
        transaction.set_rollback(True)

    assert lost == 2
    assert next_number(store=store, kind="claim") == 2
