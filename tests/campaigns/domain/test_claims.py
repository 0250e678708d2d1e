"""Sending, paying, refusing and giving up claims."""

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from campaigns.domain.claims import (
    ClaimCannot,
    KeyOfAnotherClaim,
    LineOfAnotherClaim,
    NothingPaid,
    Overpaid,
    PaymentBelowZero,
    ReasonMissing,
    record_payment,
    reject,
    submit,
    submit_many,
    write_off,
)
from campaigns.domain.lifecycle import DayAhead
from campaigns.models import Claim, ClaimAct, Payment
from campaigns.rules.lifecycle import CLAIM_MOVES, ClaimState
from inventory.models import WriteOff
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import ClaimFactory, ClaimLineFactory
from tests.factories.dealership import NOW, TODAY


pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    shop = Shop()
    shop.shelf(20)
    return shop


@pytest.fixture
def claim(shop):
    return Claim.objects.get(repair=shop.complete())


def sent(claim, **facts):
    return submit(claim=claim, dated=TODAY, by=None, at=NOW, **{"key": "sent", **facts})


def pay(claim, *cents, **facts):
    lines = claim.lines.order_by("pk")
    paid = {line.pk: sum_ for line, sum_ in zip(lines, cents, strict=True)}
    wanted = {"key": "paid", "paid": paid, "dated": TODAY, "by": None, **facts}
    return record_payment(claim=claim, at=NOW, advice="PA-7", **wanted)


def test_a_claim_is_sent_once_a_key(claim):
    sent(claim, reference="REF-9")
    again = sent(claim, reference="REF-9")
    assert (again.state, again.submitted_on) == (ClaimState.SUBMITTED, TODAY)
    act = ClaimAct.objects.get()
    assert (act.state, act.cents, act.reference) == ("submitted", 14_720, "REF-9")


def test_sent_with_another_key_is_refused(claim):
    sent(claim)
    with pytest.raises(ClaimCannot):
        sent(claim, key="another")
    assert ClaimAct.objects.count() == 1


def test_paid_in_full_closes_the_claim(claim):
    sent(claim)
    paid = pay(claim, 4_745, 9_975)
    assert (paid.state, paid.settled_on) == (ClaimState.PAID, TODAY)
    part, labour = Payment.objects.order_by("line")
    assert (part.cents, part.at_cost_cents) == (4_745, 3_650)
    assert (labour.cents, labour.at_cost_cents) == (9_975, 0)
    assert part.advice == "PA-7"


def test_a_payment_twice_is_one_payment(claim):
    sent(claim)
    pay(claim, 4_745, 9_975)
    pay(claim, 4_745, 9_975)
    assert Payment.objects.count() == 2
    assert [line.paid_cents for line in claim.lines.order_by("pk")] == [4_745, 9_975]


def test_a_short_payment_covers_cost_first(claim):
    """3,000 of 3,650 at cost, then 1,745 more: 650 at cost and 1,095 income."""
    sent(claim)
    short = pay(claim, 3_000, 9_975)
    assert (short.state, short.settled_on) == (ClaimState.SHORT_PAID, None)
    rest = pay(claim, 1_745, 0, key="rest")
    assert rest.state == ClaimState.PAID
    at_cost = Payment.objects.filter(line__kind="part").order_by("pk")
    assert list(at_cost.values_list("at_cost_cents", flat=True)) == [3_000, 650]


def test_paid_in_part_twice_stays_in_part(claim):
    sent(claim)
    pay(claim, 1_000, 0)
    assert pay(claim, 1_000, 0, key="more").state == ClaimState.SHORT_PAID
    assert ClaimAct.objects.filter(state="short_paid").count() == 2


def test_overpaid_is_refused_and_nothing_is_kept(claim):
    sent(claim)
    with pytest.raises(Overpaid) as refused:
        pay(claim, 4_745, 9_976)
    assert (refused.value.cents, refused.value.open_cents) == (9_976, 9_975)
    assert not Payment.objects.exists()
    claim.refresh_from_db()
    assert claim.state == ClaimState.SUBMITTED


def test_other_refusals_of_a_payment(claim):
    sent(claim)
    with pytest.raises(PaymentBelowZero):
        pay(claim, -1, 9_975)
    with pytest.raises(NothingPaid):
        pay(claim, 0, 0)
    with pytest.raises(LineOfAnotherClaim):
        pay(claim, 0, 0, paid={ClaimLineFactory.create().pk: 100})
    with pytest.raises(DayAhead):
        pay(claim, 1, 1, dated=TODAY + dt.timedelta(days=1))
    assert not Payment.objects.exists()


def test_nothing_is_paid_before_it_was_sent(claim):
    with pytest.raises(ClaimCannot):
        pay(claim, 4_745, 9_975)


def test_rejected_with_a_reason_and_sent_again(claim):
    sent(claim)
    with pytest.raises(ReasonMissing):
        reject(key="no", claim=claim, why=" ", dated=TODAY, by=None, at=NOW)
    refused = reject(
        key="no", claim=claim, why="Odometer unreadable", dated=TODAY, by=None, at=NOW
    )
    assert refused.rejected_why == "Odometer unreadable"
    again = sent(claim, key="again")
    assert (again.state, again.rejected_why) == (ClaimState.SUBMITTED, "")
    states = [one.state for one in ClaimAct.objects.all()]
    assert states == ["submitted", "rejected", "submitted"]
    assert ClaimAct.objects.get(key="no").why == "Odometer unreadable"


def test_what_is_sent_again_asks_for_the_rest(claim):
    sent(claim)
    pay(claim, 4_745, 0)
    sent(claim, key="again")
    assert ClaimAct.objects.get(key="again").cents == 9_975


def test_a_write_off_takes_the_cost_that_nobody_paid(claim, shop):
    sent(claim)
    pay(claim, 1_000, 0)
    with pytest.raises(ReasonMissing):
        write_off(key="off", claim=claim, why="", dated=TODAY, by=None, at=NOW)
    for _press in range(2):
        write_off(
            key="off", claim=claim, why="Out of time", dated=TODAY, by=None, at=NOW
        )
    row = WriteOff.objects.get()
    assert (row.cents, row.earmark) == (2_650, shop.campaign.earmark)
    part, labour = claim.lines.order_by("pk")
    assert (part.written_off_cents, labour.written_off_cents) == (3_745, 9_975)
    assert row.of == f"campaigns.claimline:{part.pk}"
    assert claim.state == ClaimState.WRITTEN_OFF
    assert ClaimAct.objects.get(key="off").cents == 13_720


def test_a_ready_claim_can_be_given_up(claim):
    write_off(key="off", claim=claim, why="Not worth it", dated=TODAY, by=None, at=NOW)
    assert WriteOff.objects.get().cents == 3_650


@pytest.mark.parametrize("state", list(ClaimState))
def test_each_step_follows_the_table_of_moves(state):
    claim = ClaimFactory.create(state=state)
    ClaimLineFactory.create(claim=claim)
    line = claim.lines.get()
    facts = {"claim": claim, "dated": TODAY, "by": None, "at": NOW}
    steps = {
        ClaimState.SUBMITTED: lambda: submit(key="a", **facts),
        ClaimState.PAID: lambda: record_payment(
            key="b", paid={line.pk: line.claimed_cents}, **facts
        ),
        ClaimState.REJECTED: lambda: reject(key="c", why="No", **facts),
        ClaimState.WRITTEN_OFF: lambda: write_off(key="d", why="No", **facts),
    }
    for to, step in steps.items():
        claim.refresh_from_db()
        Claim.objects.filter(pk=claim.pk).update(state=state)
        claim.refresh_from_db()
        if to in CLAIM_MOVES[state]:
            with transaction.atomic():
                assert step().state == to
                transaction.set_rollback(True)
        else:
            with pytest.raises(ClaimCannot):
                step()


def test_several_are_sent_together_once(shop):
    claims = [Claim.objects.get(repair=shop.complete()) for _each in range(3)]
    for _press in range(2):
        submit_many(key="all", claims=claims, dated=TODAY, by=None, at=NOW)
    assert ClaimAct.objects.count() == 3
    assert {one.number for one in claims} == {1, 2, 3}


def test_a_key_of_another_claim_is_refused(shop, claim):
    sent(claim)
    with pytest.raises(KeyOfAnotherClaim):
        sent(Claim.objects.get(repair=shop.complete()))


def test_steps_and_payments_are_only_added_to(claim):
    sent(claim)
    pay(claim, 4_745, 9_975)
    for rows in (ClaimAct.objects, Payment.objects):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(dated=TODAY)
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.all().delete()
