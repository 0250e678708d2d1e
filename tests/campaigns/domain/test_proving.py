"""The proof of all books: what it finds, what it keeps, and what takes it away."""

import pytest

from campaigns.domain.claims import record_payment, submit
from campaigns.domain.proving import MOST_FAULTS, prove_books
from campaigns.models import BookProof, Claim, ClaimLine
from campaigns.queries.proofs import latest_proof, standing_alarm
from dealership.domain.jobs import enqueue, run_job
from dealership.models import AuditEntry
from dealership.rules.jobs import JobState
from inventory.models import Balance, ReturnLine
from tests.campaigns.domain.shop import Shop
from tests.factories.dealership import NOW, TODAY
from tests.factories.inventory import BalanceFactory, GoodsReturnFactory


pytestmark = pytest.mark.django_db

BY = {"by": None, "at": NOW}


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1)
    shop.shelf(5)
    return shop


def paid(shop):
    claim = Claim.objects.get(repair=shop.complete())
    submit(key="s", claim=claim, dated=TODAY, **BY)
    lines = {line.pk: line.claimed_cents for line in claim.lines.all()}
    record_payment(key="p", claim=claim, paid=lines, dated=TODAY, **BY)
    return claim


def rules(proof):
    return sorted({one["rule"] for one in proof.faults})


def test_sound_books_give_a_clean_proof_on_the_trail(shop):
    paid(shop)
    proof = prove_books(**BY)
    assert (proof.fault_count, proof.accounts, proof.faults) == (0, 1, [])
    assert proof.entries > 0
    assert AuditEntry.objects.filter(act="books.proved").count() == 1
    assert standing_alarm() is None
    assert latest_proof() == proof


def test_a_wrong_balance_and_a_lost_cent_are_both_found(shop):
    claim = paid(shop)
    Balance.objects.update(free=9)
    claim.lines.filter(kind="part").update(paid_cents=1_299)
    proof = prove_books(**BY)
    assert rules(proof) == [
        "a claim line is paid by its payments, in cents",
        "a claim that is over is paid or given up, in cents",
        "balance is the sum of its entries",
        "layers cover the pieces on hand",
        "the books sum to zero",
    ]
    assert standing_alarm() == proof


def test_an_account_that_differs_names_campaign_and_store(shop):
    bill = shop.shelf(2).bill_line.bill
    bill.earmark = None
    bill.save()
    (fault,) = prove_books(**BY).faults
    assert fault == {
        "rule": "both sides of an account are equal, in cents",
        "row": f"campaign {shop.campaign.code} store {shop.store.code}",
        "stands": 5_000,
        "should_be": 7_000,
    }


def test_a_payment_that_covers_too_little_cost_is_found(shop):
    claim = paid(shop)
    line = claim.lines.get(kind="part")
    ClaimLine.objects.filter(pk=line.pk).update(cost_cents=1_200)
    assert "payments cover the cost of pieces first, in cents" in rules(
        prove_books(**BY)
    )


def test_a_credited_return_without_its_credit_is_found(shop):
    row = GoodsReturnFactory.create(store=shop.store, state="credited")
    ReturnLine.objects.create(
        goods_return=row, part=shop.part, quantity=2, unit_cost_cents=100
    )
    assert "a credited return is credited at its cost, in cents" in rules(
        prove_books(**BY)
    )


def test_only_a_clean_proof_takes_the_alarm_away(shop):
    Balance.objects.update(free=9)
    prove_books(**BY)
    prove_books(**BY)
    assert standing_alarm() is not None
    Balance.objects.update(free=5)
    prove_books(**BY)
    assert standing_alarm() is None
    assert BookProof.objects.count() == 3


def test_more_faults_than_are_kept_are_counted(shop):
    for _each in range(MOST_FAULTS + 1):
        BalanceFactory.create(store=shop.store, free=1, supplier=-1)
    proof = prove_books(**BY)
    assert len(proof.faults) == MOST_FAULTS
    assert proof.fault_count > 2 * MOST_FAULTS


def run(kind):
    job = enqueue(kind=kind, arguments={}, by=None, store=None, now=NOW)
    return run_job(job_id=job.pk, clock=lambda: NOW)


def test_the_nightly_job_says_what_it_proved(shop):
    paid(shop)
    job = run("campaigns.prove_books")
    assert (job.state, job.result["faults"]) == (JobState.DONE, 0)
    assert job.progress_done == job.progress_total
    assert "accounts balance" in job.progress_words


def test_the_nightly_job_fails_and_keeps_the_proof(shop):
    Balance.objects.update(free=9)
    job = run("campaigns.prove_books")
    assert job.state == JobState.FAILED
    assert "The books do not balance in 3 places" in job.error
    assert BookProof.objects.get().fault_count == 3
