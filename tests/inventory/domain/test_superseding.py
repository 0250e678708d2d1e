import pytest

from dealership.models import AuditEntry
from inventory.domain.ordering import current_part
from inventory.domain.superseding import ChainGoesRound, end_supersession, supersede
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import PartFactory


pytestmark = pytest.mark.django_db


def replace(old, new, *, serves=True):
    return supersede(
        old=old, new=new, since=TODAY, old_stock_serves=serves, by=None, at=NOW
    )


def test_the_newest_of_a_chain_is_ordered():
    first, second, third = PartFactory.create_batch(3)
    replace(first, second, serves=False)
    replace(second, third)
    first.refresh_from_db()
    assert current_part(first) == third
    assert (first.superseded_on, first.old_stock_serves) == (TODAY, False)


def test_a_chain_does_not_go_round():
    first, second, third = PartFactory.create_batch(3)
    replace(first, second)
    replace(second, third)
    for old, new in ((third, first), (third, third)):
        with pytest.raises(ChainGoesRound):
            replace(old, new)
    third.refresh_from_db()
    assert third.superseded_by is None


def test_a_repeat_writes_one_line_and_a_mistake_is_mended():
    old, new = PartFactory.create_batch(2)
    for _again in range(2):
        replace(old, new)
    for _again in range(2):
        mended = end_supersession(old=old, by=None, at=NOW, why="mistake")
    assert mended.superseded_by is None
    acts = AuditEntry.objects.filter(act__startswith="part.").order_by("pk")
    assert [one.act for one in acts] == ["part.superseded", "part.chain_ended"]
