"""Payment advices and bill files on real claims and deliveries."""

import pytest
from django.core.files.base import ContentFile

from campaigns.domain.claims import record_payment, submit
from campaigns.domain.first_batch import SlipPaper, announce
from campaigns.domain.money_files import (
    FileGone,
    NothingToApply,
    apply_money_file,
    keep_money_file,
    match_money_file,
    read_money_file,
)
from campaigns.models import Allocation, Claim, MoneyFile, Payment
from campaigns.queries.account import campaign_account
from campaigns.queries.money_files import Verdict
from campaigns.rules.lifecycle import ClaimState
from campaigns.rules.money_rows import ColumnMissing, FileKind
from dealership.domain.uploads import erase_upload
from dealership.models import Upload
from dealership.rules.roles import Role
from inventory.models import Bill, ShipmentLine
from tests.campaigns.domain.shop import KEYS, Shop
from tests.campaigns.queries.test_account import arrive_unbilled
from tests.factories.dealership import NOW, TODAY, make_staff


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _uploads(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


@pytest.fixture
def shop():
    shop = Shop(cents=1_000, pieces_each=1, hundredths=100)
    shop.part.supplier = shop.campaign.supplier
    shop.part.save()
    shop.by = make_staff(Role.PARTS_MANAGER, shop.store)
    return shop


def sent_claim(shop):
    """Claim 13.00 of pieces and 142.50 of labour."""
    shop.shelf(1)
    claim = Claim.objects.get(repair=shop.complete())
    return submit(key=next(KEYS), claim=claim, dated=TODAY, by=None, at=NOW)


def kept(shop, text, kind=FileKind.PAYMENTS):
    return keep_money_file(
        file=ContentFile(text.encode()),
        name="advice.csv",
        kind=kind,
        store=shop.store,
        by=shop.by,
        at=NOW,
    )


def matches(file):
    return match_money_file(file, read_money_file(file))


def applied(file, shop, key="k"):
    return apply_money_file(key=key, money_file=file, dated=TODAY, by=shop.by, at=NOW)


def test_rows_fit_differ_or_are_unknown_and_are_applied_at_once(shop):
    whole, short, over, refused, ready = (sent_claim(shop) for _each in range(5))
    Claim.objects.filter(pk=ready.pk).update(state=ClaimState.READY)
    vin = whole.repair.vehicle.vin
    file = kept(
        shop,
        "Claim,Part,Paid,Advice,VIN,Reason\n"
        f"{whole.number},,155.50,PA-1,{vin},\n"
        f"{short.number},{shop.part.number},10.00,PA-1,,handling cut\n"
        f"{over.number},,155.51,PA-1,,\n"
        f"{refused.number},,0.00,PA-1,,sent too late\n"
        f"{ready.number},,155.50,PA-1,,\n"
        "9999,,1.00,PA-1,,\n"
        f"{over.number},,155.50,PA-1,1XXAB34C5D6789012,\n",
    )
    found = matches(file)
    assert [(one.verdict, one.applies, one.ours) for one in found] == [
        (Verdict.MATCHED, True, "155.50"),
        (Verdict.DIFFERS, True, "13.00"),
        (Verdict.DIFFERS, False, "155.50"),
        (Verdict.DIFFERS, True, "155.50"),
        (Verdict.DIFFERS, False, "155.50"),
        (Verdict.UNKNOWN, False, ""),
        (Verdict.DIFFERS, False, "155.50"),
    ]
    assert found[2].sentence.startswith("0.01 more than is asked for")
    done = applied(file, shop)
    assert [one["row"] for one in done.result] == [2, 3, 5]
    for claim, state in (
        (whole, ClaimState.PAID),
        (short, ClaimState.SHORT_PAID),
        (over, ClaimState.SUBMITTED),
        (refused, ClaimState.REJECTED),
        (ready, ClaimState.READY),
    ):
        claim.refresh_from_db()
        assert claim.state == state
    assert refused.rejected_why == "sent too late"
    assert sum(Payment.objects.values_list("cents", flat=True)) == 16_550


def test_the_same_file_twice_changes_nothing(shop):
    claim = sent_claim(shop)
    text = f"Claim,Paid\n{claim.number},100\n"
    file = kept(shop, text)
    assert kept(shop, text) == file
    first = applied(file, shop)
    assert applied(file, shop, key="another").result == first.result
    assert applied(file, shop).result == first.result
    assert sum(Payment.objects.values_list("cents", flat=True)) == 10_000
    assert MoneyFile.objects.count() == 1
    assert Upload.objects.count() == 1  # no second copy lies in the register


def test_a_payment_noted_by_hand_is_here_already(shop):
    claim = sent_claim(shop)
    lines = {line.pk: line.claimed_cents for line in claim.lines.all()}
    record_payment(
        key="h", claim=claim, paid=lines, dated=TODAY, advice="PA-9", by=None, at=NOW
    )
    file = kept(shop, f"Claim,Paid,Advice\n{claim.number},155.50,PA-9\n")
    assert [one.verdict for one in matches(file)] == [Verdict.ALREADY]
    with pytest.raises(NothingToApply):
        applied(file, shop)
    assert MoneyFile.objects.get().applied_at is None


def test_two_rows_of_a_line_are_held_against_what_the_first_leaves(shop):
    claim = sent_claim(shop)
    row = f"{claim.number},{shop.part.number},"
    file = kept(shop, f"Claim,Line,Paid\n{row}10.00\n{row}3.01\n{row}3.00\n")
    found = matches(file)
    assert [one.applies for one in found] == [True, False, True]
    assert found[1].ours == "3.00"


def announced(shop, pieces, slip):
    announce(
        campaign=shop.campaign,
        store=shop.store,
        part=shop.part,
        quantity=pieces,
        unit_cost_cents=1_000,
        announced_on=TODAY,
        slip=SlipPaper(number=slip, quantity=pieces, expected_on=TODAY),
        by=None,
        at=NOW,
    )


BILL = "Bill,Date,Part,Quantity,Price,Slip\n"


def test_a_bill_is_entered_as_printed_and_tied_to_its_delivery(shop):
    announced(shop, 10, "P-1")
    file = kept(
        shop, f"{BILL}B-1,2026-11-24,{shop.part.number},10,10.50,P-1\n", FileKind.BILLS
    )
    (found,) = matches(file)
    assert (found.verdict, found.ours, found.theirs) == (
        Verdict.DIFFERS,
        "10 at 10.00",
        "10 at 10.50",
    )
    applied(file, shop)
    bill = Bill.objects.get()
    assert (bill.number, bill.earmark) == ("B-1", shop.campaign.earmark)
    assert ShipmentLine.objects.get().bill_line == bill.lines.get()
    assert Allocation.objects.get().bill == bill
    again = kept(
        shop, f"{BILL}B-1,2026-11-24,{shop.part.number},9,10.50,P-1\n", FileKind.BILLS
    )
    assert [one.applies for one in matches(again)] == [False]
    account = campaign_account(shop.campaign, store_ids=[shop.store.pk]).account
    assert account.held.not_yet_arrived == 10_500
    assert account.balances


def test_a_bill_for_what_is_here_already_keeps_the_account_equal(shop):
    arrive_unbilled(shop, 4)
    file = kept(
        shop, f"{BILL}B-2,2026-11-24,{shop.part.number},4,10.00,\n", FileKind.BILLS
    )
    assert [one.verdict for one in matches(file)] == [Verdict.MATCHED]
    applied(file, shop)
    account = campaign_account(shop.campaign, store_ids=[shop.store.pk]).account
    assert (account.owed.billed, account.held.on_hand) == (4_000, 4_000)
    assert account.owed.received_before_bill == 0
    assert account.balances


def test_a_bill_with_a_row_that_nobody_knows_is_not_entered(shop):
    announced(shop, 10, "P-1")
    file = kept(
        shop,
        f"{BILL}B-1,2026-11-24,{shop.part.number},10,10.00,P-1\n"
        "B-1,2026-11-24,NO-SUCH,1,10.00,P-1\n",
        FileKind.BILLS,
    )
    assert [(one.verdict, one.applies) for one in matches(file)] == [
        (Verdict.MATCHED, False),
        (Verdict.UNKNOWN, False),
    ]
    with pytest.raises(NothingToApply):
        applied(file, shop)
    assert not Bill.objects.exists()


def test_what_cannot_be_read_is_not_kept(shop):
    with pytest.raises(ColumnMissing):
        kept(shop, "Name,Town\nA,B\n")
    assert not MoneyFile.objects.exists()


def test_a_file_past_its_day_is_told(shop):
    file = kept(shop, "Claim,Paid\n1,2\n")
    erase_upload(upload=file.upload, by=None, at=NOW)
    file.upload.refresh_from_db()
    with pytest.raises(FileGone):
        read_money_file(file)


def test_rows_take_the_queries_of_one(shop, django_assert_num_queries):
    for claims in (1, 3):
        numbers = [sent_claim(shop).number for _each in range(claims)]
        text = "".join(f"{number},155.50\n" for number in numbers)
        file = kept(shop, f"Claim,Paid\n{text}")
        read = read_money_file(file)
        with django_assert_num_queries(5):
            match_money_file(file, read)
