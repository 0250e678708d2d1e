import pytest

from dealership.models import AuditEntry
from inventory.domain.shelving import (
    BadBinCode,
    BinCodeTaken,
    BinNotEmpty,
    add_bin,
    clean_code,
    put_in_bin,
    rename_bin,
    take_down_bin,
)
from inventory.models import Balance, BinLocation, StockCountLine
from tests.factories.dealership import NOW, StoreFactory
from tests.factories.inventory import PartFactory, StockCountLineFactory
from tests.inventory.books import deliver


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def store():
    return StoreFactory.create()


def lay(store, part, code):
    return put_in_bin(store=store, part=part, earmark=None, code=code, **BY)


@pytest.mark.parametrize(
    ("typed", "kept"), [(" a-01 ", "A-01"), ("b  12/3", "B 12/3"), ("c" * 20, "C" * 20)]
)
def test_codes_are_written_one_way(typed, kept):
    assert clean_code(typed) == kept


@pytest.mark.parametrize("typed", ["", "   ", "c" * 21, "É-1", "a\x07b"])
def test_codes_that_do_not_print_are_refused(typed):
    with pytest.raises(BadBinCode):
        clean_code(typed)


def test_a_bin_is_made_once_and_renamed(store):
    place = add_bin(store=store, code="a-01", **BY)
    assert add_bin(store=store, code="A-01", **BY) == place
    add_bin(store=store, code="B-01", **BY)
    with pytest.raises(BinCodeTaken):
        rename_bin(place=place, code="b-01", **BY)
    for _again in range(2):
        assert rename_bin(place=place, code="c-01", **BY).code == "C-01"
    acts = AuditEntry.objects.filter(act__startswith="bin.").order_by("pk")
    assert [one.act for one in acts] == ["bin.added", "bin.added", "bin.renamed"]


def test_the_same_code_in_two_stores_is_two_bins(store):
    one, two = (
        add_bin(store=s, code="A", **BY) for s in (store, StoreFactory.create())
    )
    assert one != two


def test_a_full_bin_stays_and_an_empty_one_goes(store):
    part = PartFactory.create()
    deliver(store, part, 5)
    for _again in range(2):
        place = lay(store, part, "a-01")
    assert AuditEntry.objects.filter(act="bin.filled").count() == 1
    with pytest.raises(BinNotEmpty):
        take_down_bin(place=place, **BY)
    line = StockCountLineFactory.create(count__store=store, bin=place)
    other = lay(store, part, "b-01")
    take_down_bin(place=place, **BY)
    assert list(BinLocation.objects.all()) == [other]
    assert Balance.objects.get().bin == other
    assert StockCountLine.objects.get(pk=line.pk).bin is None
