import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum

from inventory.domain.ledger import (
    KeyUsedOtherwise,
    Line,
    NotEnough,
    NotPieces,
    ensure_pockets,
    keep_in_bin,
    note_promised,
    post,
    reverse,
)
from inventory.models import Balance, CostLayer, Entry, Movement
from inventory.queries.books import faults_of_the_books
from inventory.rules.accounts import Account, MovementKind
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    BinLocationFactory,
    CostLayerFactory,
    EarmarkFactory,
    PartFactory,
)
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


def line(part, source, target, quantity, *, earmark=None, layer=None):
    return Line(
        part=part,
        earmark=earmark,
        source=source,
        target=target,
        quantity=quantity,
        layer=layer,
    )


def taken(store):
    """Give (source of the layer, pieces that have left it), the oldest first."""
    return [
        (one.unit_cost_cents, one.taken)
        for one in CostLayer.objects.filter(store=store).order_by("pk")
    ]


def shelf(store, part, pieces, cents, *, aside=0, earmark=None, on=TODAY):
    """Put pieces on the shelf, and aside, as a layer that is known by its price."""
    layer = CostLayerFactory.create(
        store=store,
        part=part,
        earmark=earmark,
        quantity=pieces + aside,
        unit_cost_cents=cents,
        received_on=on,
    )
    goes = {Account.FREE: pieces, Account.QUARANTINE: aside}
    lines = [
        line(part, Account.SUPPLIER, place, n, earmark=earmark, layer=layer)
        for place, n in goes.items()
        if n
    ]
    write(store, *lines, kind=MovementKind.RECEIVE, key=f"shelf {layer.pk}")
    return layer


# Refusals say which, how many and what is there ---------------------------------


def test_refusal_says_what_is_wanted_and_what_is_there(store, part):
    deliver(store, part, 2)
    with pytest.raises(NotEnough) as refusal:
        write(store, use(part, 3))
    assert str(refusal.value) == (
        f"{part.number}: 3 pieces are wanted, 2 are free. "
        "Take fewer, or wait for the next delivery."
    )


def test_refusal_names_the_account_that_is_short(store, part):
    """Just enough is free; one piece too few stands in quarantine."""
    shelf(store, part, 2, 100, aside=2)
    with pytest.raises(NotEnough) as refusal:
        write(
            store,
            line(part, Account.FREE, Account.RETURNED, 2),
            line(part, Account.QUARANTINE, Account.RETURNED, 3),
            kind=MovementKind.RETURN,
        )
    told = refusal.value
    assert (told.part, told.account, told.wanted, told.there) == (
        part,
        Account.QUARANTINE,
        3,
        2,
    )
    assert stand(store, part)[0::2] == (2, 2)


def test_all_that_is_there_can_be_taken(store, part):
    deliver(store, part, 3)
    write(store, use(part, 3))
    assert stand(store, part) == (0, 0, 0, 3)


def test_one_pocket_short_stops_the_others(store, part):
    other = PartFactory.create()
    deliver(store, part, 3)
    deliver(store, other, 3)
    for lines in ([use(part, 4), use(other, 1)], [use(other, 4), use(part, 1)]):
        with pytest.raises(NotEnough):
            write(store, *lines)
    assert stand(store, part) == stand(store, other) == (3, 0, 0, 0)
    write(store, use(part, 3), use(other, 1))
    assert (stand(store, part)[3], stand(store, other)[3]) == (3, 1)


def test_one_piece_is_a_line_and_none_is_not(store, part):
    deliver(store, part, 3)
    with pytest.raises(NotPieces) as refusal:
        write(store, use(part, 0))
    assert str(refusal.value) == (
        f"{part.number}: 0 is no number of pieces. Give one or more."
    )
    assert (refusal.value.part, refusal.value.quantity) == (part, 0)
    write(store, use(part, 1))
    assert stand(store, part)[3] == 1


def test_key_of_the_same_act_in_another_store_is_refused(store, part):
    other = StoreFactory.create()
    deliver(store, part, 3)
    deliver(other, part, 3)
    write(store, use(part, 1))
    with pytest.raises(KeyUsedOtherwise) as refusal:
        write(other, use(part, 1))
    assert refusal.value.key == "k"
    assert str(refusal.value) == (
        "This form was already used for something else. Open it again."
    )


# What a movement writes -----------------------------------------------------------


def test_reason_is_kept_up_to_its_two_hundred_characters(store, part):
    deliver(store, part, 3)
    movement = post(
        key="k",
        kind=MovementKind.USE,
        store=store,
        lines=[use(part, 1)],
        by=None,
        at=NOW,
        effective_on=TODAY,
        subject="visit_job:1",
        why="x" * 201,
    )
    movement.refresh_from_db()
    assert (movement.why, movement.subject) == ("x" * 200, "visit_job:1")
    assert (movement.recorded_at, movement.effective_on) == (NOW, TODAY)


def test_movement_of_one_pocket_asks_for_nothing_first(
    store, part, django_assert_num_queries
):
    """Savepoint, movement, the pocket, its entries, savepoint: no look before."""
    deliver(store, part, 10)
    hold = line(part, Account.FREE, Account.HELD, 1)
    with django_assert_num_queries(5):
        write(store, hold, kind=MovementKind.RESERVE)


def test_movement_of_two_pockets_looks_for_their_order(
    store, part, django_assert_num_queries
):
    other = PartFactory.create()
    deliver(store, part, 10)
    deliver(store, other, 10)
    lines = [line(one, Account.FREE, Account.HELD, 1) for one in (part, other)]
    with django_assert_num_queries(7):
        write(store, *lines, kind=MovementKind.RESERVE)
    assert stand(store, part)[:2] == stand(store, other)[:2] == (9, 1)


def test_lines_of_one_pocket_add_up(store, part):
    """Six were free: two go, four stay, and both lines stand in the log."""
    deliver(store, part, 6)
    movement = write(store, use(part, 1), use(part, 1))
    assert stand(store, part) == (4, 0, 0, 2)
    assert (
        list(movement.entries.values_list("account", "quantity"))
        == [
            ("free", -1),
            ("used", 1),
        ]
        * 2
    )


def test_other_stores_parts_and_earmarks_are_left_alone(store, part):
    earmark = EarmarkFactory.create()
    other_store, other_part = StoreFactory.create(), PartFactory.create()
    places = [
        (store, part, None),
        (store, part, earmark),
        (store, other_part, None),
        (other_store, part, None),
    ]
    for number, (where, what, mark) in enumerate(places):
        deliver(where, what, 5, earmark=mark, number=f"PS-{number}")
    write(store, use(part, 2))
    assert [stand(*one) for one in places] == [(3, 0, 0, 2)] + [(5, 0, 0, 0)] * 3
    layers = CostLayer.objects.order_by("pk").values_list("taken", flat=True)
    assert list(layers) == [2, 0, 0, 0]


# Layers ----------------------------------------------------------------------------


def test_held_pieces_have_not_left_their_layer(store, part):
    shelf(store, part, 4, 100)
    write(
        store,
        line(part, Account.FREE, Account.HELD, 3),
        kind=MovementKind.RESERVE,
        key="a",
    )
    assert taken(store) == [(100, 0)]
    write(
        store,
        line(part, Account.HELD, Account.USED, 2),
        line(part, Account.HELD, Account.FREE, 1),
        kind=MovementKind.SETTLE,
        key="b",
    )
    assert taken(store) == [(100, 2)]


def test_second_line_finds_what_the_first_has_left(store, part):
    """Three of four at 1.00 go by the first line, so the second takes one and two."""
    earmark = EarmarkFactory.create()
    shelf(store, part, 4, 100, on=later(-2))
    shelf(store, part, 4, 200, on=later(-1))
    shelf(store, part, 1, 300, earmark=earmark)
    write(
        store,
        use(part, 3),
        use(part, 3),
        use(part, 1, earmark),
    )
    assert taken(store) == [(100, 4), (200, 2), (300, 1)]


def test_each_part_has_its_own_layers(store, part):
    other = PartFactory.create()
    shelf(store, other, 5, 100, on=later(-9))
    shelf(store, part, 5, 200)
    write(store, use(part, 2), use(other, 3))
    assert taken(store) == [(100, 3), (200, 2)]


def test_a_named_layer_is_taken_though_it_is_not_the_oldest(store, part):
    shelf(store, part, 0, 100, aside=2, on=later(-2))
    new = shelf(store, part, 0, 200, aside=2)
    write(
        store,
        line(part, Account.QUARANTINE, Account.SCRAPPED, 1, layer=new),
        line(part, Account.QUARANTINE, Account.SCRAPPED, 2),
        line(part, Account.QUARANTINE, Account.SCRAPPED, 1),
        kind=MovementKind.SCRAP,
    )
    assert taken(store) == [(100, 2), (200, 2)]
    told = Entry.objects.filter(account="scrapped").order_by("pk")
    assert list(told.values_list("layer__unit_cost_cents", "quantity")) == [
        (200, 1),
        (100, 2),
        (200, 1),
    ]


def test_what_stands_in_quarantine_is_not_on_the_shelf(store, part):
    """Of the oldest two stand aside: four from the shelf are two of each layer."""
    shelf(store, part, 2, 100, aside=2, on=later(-2))
    shelf(store, part, 2, 200)
    write(store, use(part, 4), key="a")
    assert taken(store) == [(100, 2), (200, 2)]


def test_quarantine_takes_pieces_that_stand_there(store, part):
    """The oldest layer has nothing aside, so the younger one gives the piece."""
    shelf(store, part, 3, 100, on=later(-2))
    shelf(store, part, 1, 200, aside=1)
    write(
        store,
        line(part, Account.QUARANTINE, Account.SCRAPPED, 1),
        kind=MovementKind.SCRAP,
    )
    assert taken(store) == [(100, 0), (200, 1)]


def test_pieces_put_aside_keep_their_layer_and_come_back_to_it(store, part):
    shelf(store, part, 2, 100, on=later(-2))
    shelf(store, part, 2, 200)
    aside = line(part, Account.FREE, Account.QUARANTINE, 3)
    back = line(part, Account.QUARANTINE, Account.FREE, 3)
    for key, one in (("a", aside), ("b", back)):
        movement = write(store, one, kind=MovementKind.QUARANTINE, key=key)
        told = movement.entries.filter(account="quarantine").order_by("pk")
        pieces = [abs(n) for n in told.values_list("quantity", flat=True)]
        assert pieces == [2, 1]
        assert taken(store) == [(100, 0), (200, 0)]
    assert stand(store, part) == (4, 0, 0, 0)
    assert faults_of_the_books() == []


def test_an_empty_layer_is_passed_over(store, part):
    shelf(store, part, 2, 100, on=later(-2))
    shelf(store, part, 2, 200)
    write(store, use(part, 2), key="a")
    write(store, use(part, 1), key="b")
    assert taken(store) == [(100, 2), (200, 1)]


def test_a_piece_that_was_found_is_not_given_back_to_a_layer(store, part):
    """Pieces come into the layer that is made for them, whatever else moves."""
    layer = shelf(store, part, 2, 100)
    write(
        store,
        line(part, Account.FREE, Account.VARIANCE, 1),
        kind=MovementKind.COUNT,
        key="gone",
    )
    assert taken(store) == [(100, 1)]
    found = CostLayerFactory.create(
        store=store, part=part, quantity=1, unit_cost_cents=200
    )
    write(
        store,
        line(part, Account.VARIANCE, Account.FREE, 1, layer=found),
        kind=MovementKind.COUNT,
        key="found",
    )
    assert taken(store) == [(100, 1), (200, 0)]
    layer.refresh_from_db()
    assert faults_of_the_books() == []


def test_reversal_turns_each_line_and_gives_each_layer_back(store, part):
    other = PartFactory.create()
    shelf(store, part, 2, 100, on=later(-2))
    shelf(store, part, 2, 200)
    shelf(store, other, 2, 300)
    movement = write(store, use(part, 3), use(other, 1))
    assert taken(store) == [(100, 2), (200, 1), (300, 1)]
    back = reverse(
        movement=movement,
        key="back",
        by=None,
        at=NOW,
        effective_on=later(1),
        why="wrong repair",
    )
    assert (back.kind, back.reverses, back.why) == (
        MovementKind.CORRECT,
        movement,
        "wrong repair",
    )
    assert (back.subject, back.effective_on) == (movement.subject, later(1))
    assert taken(store) == [(100, 0), (200, 0), (300, 0)]
    both = [list(one.entries.order_by("pk")) for one in (movement, back)]
    assert [
        (one.part_id, one.account, -one.quantity, one.layer_id) for one in both[0]
    ] == [
        (one.part_id, one.account, one.quantity, one.layer_id)
        for pair in zip(both[1][1::2], both[1][::2], strict=True)
        for one in pair
    ]
    assert faults_of_the_books() == []


def test_reversal_of_what_came_takes_it_out_of_its_layer(store, part):
    shelf(store, part, 2, 100)
    came = Movement.objects.get()
    reverse(movement=came, key="back", by=None, at=NOW, effective_on=TODAY, why="slip")
    assert taken(store) == [(100, 2)]
    assert stand(store, part) == (0, 0, 0, 0)
    assert faults_of_the_books() == []


# Pockets ------------------------------------------------------------------------------


def test_pockets_are_made_once_in_the_order_of_parts_and_earmarks(store):
    first, second = PartFactory.create_batch(2)
    mark, later_mark = EarmarkFactory.create_batch(2)
    wanted = [
        (second.pk, None),
        (first.pk, later_mark.pk),
        (first.pk, mark.pk),
        (first.pk, None),
    ]
    made = ensure_pockets(store=store, pockets=wanted)
    assert sorted(made, key=made.__getitem__) == [
        (first.pk, None),
        (first.pk, mark.pk),
        (first.pk, later_mark.pk),
        (second.pk, None),
    ]
    assert ensure_pockets(store=store, pockets=wanted) == made
    assert ensure_pockets(store=store, pockets=wanted[:1]) == {
        wanted[0]: made[wanted[0]]
    }
    assert Balance.objects.count() == 4


def test_pockets_of_another_store_are_others(store, part):
    other = StoreFactory.create()
    here = ensure_pockets(store=store, pockets=[(part.pk, None)])
    there = ensure_pockets(store=other, pockets=[(part.pk, None)])
    assert set(here) == set(there) == {(part.pk, None)}
    assert set(here.values()).isdisjoint(there.values())


@pytest.fixture
def four_pockets(store, part):
    """One pocket, and three that differ from it in one thing each."""
    mark = EarmarkFactory.create()
    other_part, other_store = PartFactory.create(), StoreFactory.create()
    places = [
        (store, part, mark),
        (store, part, None),
        (store, other_part, mark),
        (other_store, part, mark),
    ]
    for where, what, earmark in places:
        pocket = (what.pk, earmark.pk if earmark else None)
        ensure_pockets(store=where, pockets=[pocket])
    return places


def figures(places, field):
    return [
        Balance.objects.values_list(field, flat=True).get(
            store=where, part=what, earmark=mark
        )
        for where, what, mark in places
    ]


def test_promises_are_noted_in_their_pocket_alone(four_pockets):
    store, part, mark = four_pockets[0]
    for pieces in (5, -2):
        note_promised(store=store, part_id=part.pk, earmark_id=mark.pk, pieces=pieces)
    assert figures(four_pockets, "promised") == [3, 0, 0, 0]


def test_bin_is_noted_in_its_pocket_alone(four_pockets):
    store, part, mark = four_pockets[0]
    place, common = BinLocationFactory.create_batch(2, store=store)
    keep_in_bin(store=store, part=part, earmark=mark, place=place)
    assert figures(four_pockets, "bin") == [place.pk, None, None, None]
    keep_in_bin(store=store, part=part, earmark=None, place=common)
    assert figures(four_pockets, "bin") == [place.pk, common.pk, None, None]
