"""A month of a group of stores; every evening an auditor, and does he look?

The days are played once; the tests then look at what was gathered, as plain data.
"""

import copy
import itertools

import pytest
from django.db import connection, transaction

from tests.simulation.auditor import audit
from tests.simulation.life import FIRST_DAY, play
from tests.simulation.shown import show


# All days are played before the first test: on a busy machine that takes its time.
pytestmark = [pytest.mark.both, pytest.mark.django_db, pytest.mark.timeout(1_800)]

# One figure of the product set off by one: the table's statement, and what shows it.
SABOTAGE = {
    "a free piece more": (
        (
            "UPDATE inventory_balance SET free = free + 1 WHERE id ="
            " (SELECT min(id) FROM inventory_balance)"
        ),
        "pocket",
    ),
    "a free piece called held": (
        (
            "UPDATE inventory_balance SET free = free - 1, held = held + 1 WHERE id ="
            " (SELECT min(id) FROM inventory_balance WHERE free > 0)"
        ),
        "pocket",
    ),
    "a promise nobody made": (
        (
            "UPDATE inventory_balance SET promised = promised + 1 WHERE id ="
            " (SELECT min(id) FROM inventory_balance)"
        ),
        "promised",
    ),
    "a layer that lost count": (
        (
            "UPDATE inventory_costlayer SET taken = taken + 1 WHERE id ="
            " (SELECT min(id) FROM inventory_costlayer WHERE taken < quantity)"
        ),
        "layer",
    ),
    "a cent on a bill": (
        (
            "UPDATE inventory_billline SET unit_cost_cents = unit_cost_cents + 1 WHERE id ="
            " (SELECT min(id) FROM inventory_billline)"
        ),
        "account",
    ),
    "a cent on a claim": (
        (
            "UPDATE campaigns_claimline SET paid_cents = paid_cents + 1 WHERE id ="
            " (SELECT min(id) FROM campaigns_claimline WHERE paid_cents < cost_cents)"
        ),
        "claim line paid",
    ),
    "a dispute that vanished": (
        (
            "UPDATE inventory_dispute SET state = 'credited' WHERE id ="
            " (SELECT min(id) FROM inventory_dispute WHERE state = 'open')"
        ),
        "exposure",
    ),
}


@pytest.fixture(scope="module")
def played(django_db_setup, django_db_blocker):
    """Play once for all tests here; nothing of it stays in the database."""
    with django_db_blocker.unblock(), transaction.atomic():
        found = play("small")
        today = FIRST_DAY + found.days_played
        found.sabotaged = {
            name: _sabotaged(found, statement, today)
            for name, (statement, _figure) in SABOTAGE.items()
        }
        transaction.set_rollback(True)
    return found


def _sabotaged(found, statement, today):
    """Set one figure off, and give what the auditor says of the pages then."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(statement)
            assert cursor.rowcount == 1, statement
        told = found.last_audited.differences(show(today, closely=False).figures)
        transaction.set_rollback(True)
    return told


def test_every_evening_every_figure_is_that_of_the_log(played):
    assert played.differences == []
    assert played.compared["pocket"] > 1_000
    assert played.compared["account"] > 1_000
    assert played.compared["exposure"] > 500


def test_enough_goes_wrong_in_a_month(played):
    """Most kinds of fault have happened, and acts were refused."""
    assert {
        *("short shipment", "damaged pieces", "late bill", "late delivery"),
        *("count with a difference", "request sent twice"),
        "request sent again on a later day",
    } <= set(played.doer.faults)
    assert len(played.doer.faults) >= 11
    assert "PartsNotThere" in played.doer.refused


@pytest.mark.parametrize("name", SABOTAGE)
def test_a_figure_set_off_in_the_house_is_noticed(played, name):
    told = played.sabotaged[name]
    assert any(one.startswith(SABOTAGE[name][1]) for one in told), told


def off_by_one(table, column, *, where=None):
    """Give a way to alter one row of the log."""

    def alter(tables):
        row = next(one for one in tables[table] if where is None or where(one))
        row[column] += 1

    return alter


def without(table, where=None):
    """Give a way to lose one row of the log."""

    def alter(tables):
        row = next(one for one in tables[table] if where is None or where(one))
        tables[table].remove(row)

    return alter


def twice(table):
    """Give a way to write one row of the log twice."""

    def alter(tables):
        tables[table].append(dict(tables[table][0]))

    return alter


ALTERED = {
    "a line one piece larger": off_by_one("entries", "quantity"),
    "a line lost": without("entries"),
    "a line twice": twice("entries"),
    "a line on another account": lambda tables: next(
        one for one in tables["entries"] if one["account"] == "used"
    ).update(account="sold"),
    "a movement lost": without("movements"),
    "a movement twice": twice("movements"),
    "a layer one cent dearer": off_by_one(
        "layers", "unit_cost_cents", where=lambda one: one["billed"]
    ),
    "a layer of another earmark": lambda tables: next(
        one for one in tables["layers"] if one["earmark_id"] and one["billed"]
    ).update(earmark_id=None),
    "a bill lost": without("bill_lines", lambda one: one["earmark_id"]),
    "a bill one piece longer": off_by_one("bill_lines", "quantity"),
    "a hold of one piece more": off_by_one(
        "reservations", "quantity", where=lambda one: one["state"] == "held"
    ),
    "a delivery counted otherwise": off_by_one(
        "shipment_lines", "good", where=lambda one: one["good"] is not None
    ),
    "a dispute lost": without("disputes", lambda one: one["state"] == "open"),
    "a payment of one cent more": off_by_one("payments", "cents"),
    "a payment lost": without("payments"),
    "a claim line one cent larger": off_by_one(
        "claim_lines", "claimed_cents", where=lambda one: one["kind"] == "part"
    ),
    "a claim never sent": lambda tables: tables.update(claim_acts=[]),
    "a piece fitted that was not": off_by_one("fitted", "quantity"),
    "a write-off lost": without("write_offs", lambda one: one["earmark_id"]),
    "a return one piece larger": off_by_one(
        "return_lines", "quantity", where=lambda one: one["state"] == "shipped"
    ),
    "a transfer one piece larger": off_by_one(
        "transfer_lines", "quantity", where=lambda one: one["state"] == "arrived"
    ),
}


@pytest.mark.parametrize("name", ALTERED)
def test_a_row_altered_in_the_log_is_noticed(played, name):
    tables = copy.deepcopy(played.log.tables)
    try:
        ALTERED[name](tables)
    except StopIteration:
        pytest.skip("this month has no such row")
    again = audit(tables, FIRST_DAY + played.days_played)
    again.compare_deeds(played.doer.did)
    assert again.faults or again.differences(played.last_shown.figures)


def test_a_deed_that_is_not_in_the_log_is_noticed(played):
    did = dict(played.doer.did)
    known = sorted(key for key in did if key[1] != "bills by file")
    for key in itertools.islice(known, 3):
        again = audit(played.log.tables, FIRST_DAY + played.days_played)
        again.compare_deeds({**did, key: did[key] + 1})
        assert len(again.faults) == 1


def test_the_month_has_rows_for_nearly_all_that_can_be_altered(played):
    impossible = []
    for name, alter in ALTERED.items():
        try:
            alter(copy.deepcopy(played.log.tables))
        except StopIteration:
            impossible.append(name)
    assert len(impossible) <= 2, impossible
