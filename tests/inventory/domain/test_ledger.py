import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum

from inventory.domain.ledger import (
    KeyUsedOtherwise,
    Line,
    NotEnough,
    NotPieces,
    post,
    reverse,
)
from inventory.models import Balance, CostLayer, Entry, Movement
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, MovementKind
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import EarmarkFactory, PartFactory
from tests.inventory.books import deliver, later, stand


pytestmark = pytest.mark.django_db


@pytest.fixture
def store():
    return StoreFactory.create()


@pytest.fixture
def part():
    return PartFactory.create()


def write(store, *lines, kind=MovementKind.USE, key="k"):
    return post(
        key=key,
        kind=kind,
        store=store,
        lines=lines,
        by=None,
        at=NOW,
        effective_on=TODAY,
    )


def use(part, quantity, earmark=None):
    return Line(
        part=part,
        earmark=earmark,
        source=Account.FREE,
        target=Account.USED,
        quantity=quantity,
    )


def test_movement_sums_to_zero_and_balances_follow(store, part):
    deliver(store, part, 10)
    movement = write(store, use(part, 3))
    told = movement.entries.values_list("account", "quantity")
    assert list(told) == [("free", -3), ("used", 3)]
    assert Entry.objects.aggregate(Sum("quantity"))["quantity__sum"] == 0
    assert stand(store, part) == (7, 0, 0, 3)
    assert Balance.objects.get().on_hand == 7


def test_own_layer_goes_first_then_the_oldest(store, part):
    earmark = EarmarkFactory.create()
    deliver(store, part, 4, number="OLD")
    deliver(store, part, 2, earmark=earmark, number="OWN")
    deliver(store, part, 4, number="NEW")
    own = CostLayer.objects.get(earmark=earmark)
    old, new = CostLayer.objects.filter(earmark=None).order_by("pk")
    write(store, use(part, 2, earmark), key="a")
    write(store, use(part, 5), key="b")
    taken = {one.pk: one.taken for one in CostLayer.objects.all()}
    assert taken == {own.pk: 2, old.pk: 4, new.pk: 1}
    assert faults_of_the_books() == []


def test_damaged_pieces_keep_their_layer(store, part):
    deliver(store, part, 5, damaged=2, number="OLD")
    deliver(store, part, 5, number="NEW")
    write(store, use(part, 4), key="a")
    old, new = CostLayer.objects.order_by("pk")
    # three of the old layer were in order; its two damaged ones stay
    assert (old.taken, new.taken) == (3, 1)
    scrap = Line(
        part=part,
        earmark=None,
        source=Account.QUARANTINE,
        target=Account.SCRAPPED,
        quantity=2,
    )
    write(store, scrap, kind=MovementKind.SCRAP, key="b")
    old.refresh_from_db()
    assert old.taken == 5
    assert faults_of_the_books() == []


def test_same_key_answers_with_the_first_movement(store, part):
    deliver(store, part, 10)
    first = write(store, use(part, 3))
    assert write(store, use(part, 3)) == first
    assert stand(store, part) == (7, 0, 0, 3)


def test_key_of_another_act_is_refused(store, part):
    deliver(store, part, 10)
    write(store, use(part, 3))
    sell = Line(
        part=part,
        earmark=None,
        source=Account.FREE,
        target=Account.SOLD,
        quantity=1,
    )
    with pytest.raises(KeyUsedOtherwise):
        write(store, sell, kind=MovementKind.SELL)


def test_refused_movement_leaves_no_trace(store, part):
    other = PartFactory.create()
    deliver(store, part, 10)
    before = Movement.objects.count(), Entry.objects.count()
    with pytest.raises(NotEnough) as refusal:
        write(store, use(part, 3), use(other, 1))
    assert (refusal.value.part, refusal.value.wanted, refusal.value.there) == (
        other,
        1,
        0,
    )
    assert (Movement.objects.count(), Entry.objects.count()) == before
    assert stand(store, part) == (10, 0, 0, 0)


@pytest.mark.parametrize("quantity", [0, -1])
def test_line_moves_whole_pieces(store, part, quantity):
    with pytest.raises(NotPieces):
        write(store, use(part, quantity))


def test_line_keeps_to_its_kind(store, part):
    with pytest.raises(ValueError, match="is no posting"):
        write(store, use(part, 1), kind=MovementKind.SELL)
    with pytest.raises(ValueError, match="moves something"):
        write(store)


def test_reversal_is_the_mirror_image(store, part):
    deliver(store, part, 10)
    movement = write(store, use(part, 3))
    back = reverse(
        movement=movement,
        key="back",
        by=None,
        at=NOW,
        effective_on=later(1),
        why="wrong repair",
    )
    assert back.reverses == movement
    assert stand(store, part) == (10, 0, 0, 0)
    assert CostLayer.objects.get().taken == 0
    assert faults_of_the_books() == []
    with pytest.raises(IntegrityError), transaction.atomic():
        reverse(
            movement=movement,
            key="again",
            by=None,
            at=NOW,
            effective_on=later(1),
            why="twice",
        )


@pytest.mark.parametrize("model", [Movement, Entry])
def test_database_refuses_to_change_or_drop_what_is_written(store, part, model):
    deliver(store, part, 10)
    field = {Movement: {"why": "other"}, Entry: {"quantity": 99}}[model]
    with pytest.raises(IntegrityError, match="is only added to"), transaction.atomic():
        model.objects.update(**field)
    with pytest.raises(IntegrityError, match="is only added to"), transaction.atomic():
        model.objects.all()._raw_delete("default")


@pytest.mark.parametrize("field", ["free", "held", "quarantine", "transit"])
def test_database_refuses_a_balance_below_zero(store, part, field):
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.create(store=store, part=part, **{field: -1})
