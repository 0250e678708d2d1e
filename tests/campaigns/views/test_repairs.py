"""The workshop's pages, through the test client."""

import datetime as dt
import re

import pypdfium2
import pytest
from django.urls import reverse

from campaigns.models import CheckReading, Claim, PartFitted, Repair
from campaigns.rules.lifecycle import (
    CampaignClass,
    Outcome,
    ReadingResult,
    RepairState,
    WorkState,
)
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.factories.campaigns import (
    RemedyFactory,
    ScheduledItemFactory,
    SpecialToolFactory,
    ToolAtStoreFactory,
    VariantFactory,
    VariantStepFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.factories.dealership import TODAY, StoreFactory
from tests.factories.inventory import PartFactory


pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_now")]


@pytest.fixture
def shop():
    return Shop()


@pytest.fixture
def bay(shop, signed_in):
    return signed_in(Role.TECHNICIAN, shop.store)


def address(name, *args):
    return reverse(f"campaigns:{name}", args=args)


def text_of(response):
    html = response.content.decode()
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def sign_off(bay, repair, **facts):
    part = repair.variant.parts.get().part
    data = {
        "key": "signed",
        "outcome": "remedied",
        "odometer": "41600",
        f"part_{part.pk}": "2",
        "operations": [line.pk for line in repair.variant.labour.all()],
        "done_on": TODAY.isoformat(),
        **facts,
    }
    return bay.post(address("complete_repair", repair.pk), data)


def test_a_walk_in_is_opened_from_the_counter(shop, bay):
    shop.shelf(2)
    row = shop.row()
    where = {"campaign_vehicle": row.pk}
    page = bay.get(address("open_repair"), where)
    assert "check the VIN on the vehicle" in text_of(page)
    answer = bay.post(address("open_repair"), {"key": "open", **where})
    repair = Repair.objects.get()
    assert answer.url == address("repair", repair.pk)
    assert (repair.campaign_vehicle, repair.variant) == (row, shop.variant)
    again = bay.post(address("open_repair"), {"key": "open", **where})
    assert again.url == answer.url
    assert Repair.objects.count() == 1


def test_a_visit_is_opened_by_one_press(shop, bay):
    row = shop.row()
    visit = VisitFactory.create(vehicle=row.vehicle, store=shop.store)
    job = VisitJobFactory.create(
        visit=visit, campaign_vehicle=row, variant=shop.variant
    )
    bay.post(address("open_repair"), {"key": "open", "visit_job": job.pk})
    assert Repair.objects.get().visit_job == job


def test_a_scheduled_item_is_opened(shop, bay):
    item = ScheduledItemFactory.create()
    VariantFactory.create(
        remedy=RemedyFactory.create(campaign=None, scheduled_item=item)
    )
    vehicle = shop.row().vehicle
    data = {"key": "open", "scheduled_item": item.pk, "vehicle": vehicle.pk}
    assert bay.get(address("open_repair"), data).status_code == 200
    bay.post(address("open_repair"), data)
    assert Repair.objects.get().scheduled_item == item


def test_a_repair_on_a_remedied_vehicle_is_refused_on_the_page(shop, bay):
    row = shop.row(work_state=WorkState.REMEDIED_HERE)
    answer = bay.post(
        address("open_repair"), {"key": "open", "campaign_vehicle": row.pk}
    )
    assert "the remedy is done once" in text_of(answer)
    assert not Repair.objects.exists()


@pytest.mark.parametrize("given", ["", "x", "9" * 30, "0", "-1"])
def test_an_address_that_names_nothing_is_not_found(shop, bay, given):
    assert (
        bay.get(address("open_repair"), {"campaign_vehicle": given}).status_code == 404
    )


def test_the_card_begins_with_what_can_hurt(shop, bay):
    shop.variant.remedy.tools = "Angle gauge T-12"
    shop.variant.remedy.save()
    shop.shelf(2)
    repair = shop.open()
    page = text_of(bay.get(address("repair", repair.pk)))
    assert "The manufacturer's instruction prevails" in page.replace("&#x27;", "'")
    assert "Support the seat before the last bolt is out." in page
    assert "Angle gauge T-12" in page
    assert "Published, h Paid, h Paid by Why" in page
    assert "0.70 0.70 manufacturer the campaign covers this vehicle;" in page


def test_the_card_goes_step_by_step_with_each_caution_in_its_place(shop, bay):
    shop.shelf(2)
    first = VariantStepFactory.create(
        variant=shop.variant, text="Unplug it.", caution="Wait five minutes first."
    )
    VariantStepFactory.create(variant=shop.variant, text="Fit it.", caution="")
    check = shop.check(title="Gap", after_step=first)
    shop.check(title="Torque")
    tool = SpecialToolFactory.create(number="T-12", name="Angle gauge")
    shop.variant.remedy.special_tools.add(tool)
    repair = shop.open()
    page = bay.get(address("repair", repair.pk))
    assert [title for title, _state, _url in page.context["steps"]] == [
        "Before you start",
        "Step 1",
        "Gap",
        "Step 2",
        "Torque",
        "Parts and sign-off",
    ]
    assert "T-12 Angle gauge not here borrow it before you start" in text_of(page)
    ToolAtStoreFactory.create(store=shop.store, tool=tool, place="Cage 2")
    assert "T-12 Angle gauge Cage 2" in text_of(bay.get(address("repair", repair.pk)))
    step = bay.get(f"{address('repair', repair.pk)}?step=work-{first.pk}")
    said = text_of(step)
    assert "Step 1 of 2" in said
    assert said.index("Wait five minutes first.") < said.index("Unplug it.")
    assert "To be measured after it: Gap" in said
    # a check that passed leads on to the next step of the work, not past it
    page = measured(bay, repair, check, "45", 1)
    second = shop.variant.steps.get(text="Fit it.")
    assert page.redirect_chain[-1][0].endswith(f"step=work-{second.pk}")


def test_the_card_warns_before_the_claim_date(shop, bay):
    for days, said in ((31, ""), (30, "30 days are left"), (1, "one day is left")):
        shop.campaign.claims_until = TODAY + dt.timedelta(days=days)
        shop.campaign.save()
        repair = Repair.objects.first() or shop.open()
        page = text_of(bay.get(address("repair", repair.pk)))
        assert ("The last day for claims is near" in page) is bool(said)
        assert said in page


def test_the_card_warns_after_the_claim_date(shop, bay):
    shop.campaign.claims_until = TODAY.replace(day=24)
    shop.campaign.save()
    page = text_of(bay.get(address("repair", shop.open().pk)))
    assert "The last day for claims has passed" in page
    shop.campaign.claims_until = TODAY
    shop.campaign.save()
    page = text_of(bay.get(address("repair", Repair.objects.get().pk)))
    assert "The last day for claims has passed" not in page


def measured(bay, repair, check, value, attempt, **facts):
    return bay.post(
        address("record_reading", repair.pk, check.pk),
        {"value": value, "unit": check.unit, "attempt": attempt, **facts},
        follow=True,
    )


def test_a_check_out_of_limits_is_said_in_words_and_repeated(shop, bay):
    check = shop.check()
    repair = shop.open()
    step = f"{address('repair', repair.pk)}?step=check-{check.pk}"
    assert "from 42 to 48 Nm" in text_of(bay.get(step))
    page = measured(bay, repair, check, "60", 1)
    assert "OUT OF LIMITS: do the step again and measure" in text_of(page)
    assert "2 attempts are left" in text_of(page)
    page = measured(bay, repair, check, "45", 2)
    assert page.redirect_chain[-1][0].endswith("step=finish")
    results = CheckReading.objects.order_by("attempt").values_list("result", flat=True)
    assert list(results) == [ReadingResult.REPEAT, ReadingResult.PASS]


def test_the_same_press_twice_is_one_attempt(shop, bay):
    check = shop.check()
    repair = shop.open()
    measured(bay, repair, check, "60", 1)
    measured(bay, repair, check, "60", 1)
    assert CheckReading.objects.count() == 1


def test_stop_asks_whom_was_asked(shop, bay):
    check = shop.check(attempts=1)
    repair = shop.open()
    page = text_of(measured(bay, repair, check, "60", 1))
    assert "OUT OF LIMITS: stop and ask" in page
    refused = text_of(measured(bay, repair, check, "45", 2))
    assert "enter whom you asked" in refused
    measured(bay, repair, check, "45", 2, asked="Technical line: go on")
    assert CheckReading.objects.count() == 2


def test_a_length_is_shown_and_typed_in_both_units(shop, bay):
    """Common practice, no source: a minimum of 60 mm is 2.4 in."""
    check = shop.check(unit="mm", low=60, high=None)
    repair = shop.open()
    page = bay.get(f"{address('repair', repair.pk)}?step=check-{check.pk}")
    assert "at least 60 mm (at least 2.4 in)" in text_of(page)
    page = measured(bay, repair, check, "22", 1)
    assert "22 mm (0.87 in)" in text_of(page)
    measured(bay, repair, check, "2.4", 2, unit="in")
    reading = CheckReading.objects.get(attempt=2)
    assert (reading.unit, reading.result) == ("in", ReadingResult.PASS)


@pytest.mark.parametrize("value", ["", "abc", "NaN", "1e9", "4,5,6"])
def test_what_is_no_number_is_told_at_the_field(shop, bay, value):
    check = shop.check()
    repair = shop.open()
    page = measured(bay, repair, check, value, 1)
    assert page.context["form"].errors["value"]
    assert not CheckReading.objects.exists()


def test_a_check_of_another_variant_is_not_found(shop, bay):
    other = Shop(store=shop.store).check()
    answer = measured(bay, shop.open(), other, "45", 1)
    assert answer.status_code == 404


def test_a_part_that_a_check_asks_for_is_suggested(shop, bay):
    clip = PartFactory.create(number="OW-CLIP")
    check = shop.check(outside=ReadingResult.REPLACE, replace_part=clip)
    repair = shop.open()
    page = text_of(measured(bay, repair, check, "60", 1))
    assert "Fit OW-CLIP" in page
    finish = bay.get(f"{address('repair', repair.pk)}?step=finish")
    assert finish.context["form"].fields[f"part_{clip.pk}"].initial == 1


def test_signed_off_and_the_claim_is_named(shop, bay):
    shop.shelf(2)
    repair = shop.open()
    answer = sign_off(bay, repair)
    assert answer.url == address("repair", repair.pk)
    sign_off(bay, repair)
    assert Claim.objects.count() == 1
    page = text_of(bay.get(address("repair", repair.pk)))
    assert "what the manufacturer pays is on a claim" in page
    assert "47.45" in page
    assert "99.75" in page
    repair.refresh_from_db()
    assert (repair.state, repair.odometer) == (RepairState.COMPLETED, 41_600)


def test_a_sign_off_with_a_check_open_is_refused_on_the_page(shop, bay):
    shop.check(title="Torque of the rail bolts")
    shop.shelf(2)
    repair = shop.open()
    page = text_of(sign_off(bay, repair))
    assert "Not every check is within its limits" in page
    repair.refresh_from_db()
    assert repair.state == RepairState.OPEN


def test_what_is_missing_or_negative_is_told_at_its_field(shop, bay):
    repair = shop.open()
    part = f"part_{shop.part.pk}"
    form = sign_off(bay, repair, odometer="", outcome="", **{part: "-2"}).context[
        "form"
    ]
    assert set(form.errors) == {"odometer", "outcome", part}
    assert not PartFitted.objects.exists()


def test_not_enough_pieces_is_told_and_nothing_is_lost(shop, bay):
    shop.shelf(1)
    repair = shop.open()
    page = sign_off(bay, repair, note="typed words")
    assert "2 pieces are wanted" in text_of(page)
    assert page.context["form"]["note"].value() == "typed words"


def test_an_odometer_below_the_last_asks_for_a_reason(shop, bay):
    shop.shelf(2)
    repair = shop.open()
    page = sign_off(bay, repair, odometer="41000")
    assert "41,500 was recorded before" in text_of(page)
    assert "odometer_why" in page.context["form"].fields
    sign_off(bay, repair, odometer="41000", odometer_why="New cluster")
    repair.refresh_from_db()
    assert repair.odometer == 41_000


def test_an_odometer_far_above_is_warned_of(shop, bay):
    shop.shelf(2)
    repair = shop.open()
    page = sign_off(bay, repair, odometer="415000")
    assert "far more than before" in text_of(page)
    sign_off(bay, repair, odometer="415000", odometer_sure="on")
    repair.refresh_from_db()
    assert repair.odometer == 415_000


def test_the_customers_lines_stand_on_the_repair(shop, bay):
    shop.campaign.campaign_class = CampaignClass.SATISFACTION
    shop.campaign.odometer_limit = 10
    shop.campaign.save()
    shop.shelf(2)
    repair = shop.open()
    sign_off(bay, repair)
    page = text_of(bay.get(address("repair", repair.pk)))
    assert "the manufacturer is asked for nothing" in page
    assert "customer" in page
    assert "47.45" in page


def test_a_repair_is_given_up_with_a_reason(shop, bay):
    repair = shop.open()
    where = address("abandon_repair", repair.pk)
    assert bay.get(where).status_code == 200
    assert bay.post(where, {"why": ""}).status_code == 200
    bay.post(where, {"why": "Wrong vehicle"})
    repair.refresh_from_db()
    assert repair.state == RepairState.ABANDONED
    assert "given up" in text_of(bay.get(address("repair", repair.pk)))


def test_the_job_card_is_a_paper(shop, bay):
    shop.check(title="Torque of the rail bolts")
    shop.shelf(2)
    repair = shop.open()
    paper = bay.get(address("job_card", repair.pk))
    assert paper["Content-Type"] == "application/pdf"
    pdf = pypdfium2.PdfDocument(paper.content)
    words = " ".join(pdf[0].get_textpage().get_text_range().split())
    assert "The manufacturer's instruction prevails" in words
    assert "Torque of the rail bolts" in words
    assert "from 42 to 48 Nm" in words
    assert repair.vehicle.vin[-4:] in words


def test_the_list_takes_the_queries_of_one(shop, bay, django_assert_num_queries):
    shop.open()
    for count in (1, 3):
        while Repair.objects.count() < count:
            shop.open()
        with django_assert_num_queries(8):
            page = bay.get(address("repairs"))
        assert len(page.context["page_obj"].object_list) == count


def test_those_that_are_over_are_listed_apart(shop, bay):
    shop.shelf(2)
    done = shop.complete()
    open_one = shop.open()
    assert bay.get(address("repairs")).context["page_obj"].object_list == [open_one]
    over = bay.get(address("repairs"), {"state": "done"})
    assert over.context["page_obj"].object_list == [done]


def test_another_stores_repair_is_not_found(shop, signed_in):
    repair = shop.open()
    row = repair.campaign_vehicle
    stranger = signed_in(Role.TECHNICIAN, StoreFactory.create())
    for where in (
        address("repair", repair.pk),
        address("job_card", repair.pk),
        address("abandon_repair", repair.pk),
        address("complete_repair", repair.pk),
        f"{address('open_repair')}?campaign_vehicle={row.pk}",
    ):
        assert stranger.get(where).status_code == 404, where
    assert sign_off(stranger, repair).status_code == 404
    assert not stranger.get(address("repairs")).context["page_obj"].object_list


@pytest.mark.parametrize("role", [Role.PARTS_MANAGER, Role.OFFICE, Role.OWNER])
def test_who_records_no_repairs_only_reads(shop, signed_in, role):
    reader = signed_in(role, shop.store)
    repair = shop.open()
    assert reader.get(address("repair", repair.pk)).status_code == 200
    assert sign_off(reader, repair).status_code == 403
    assert reader.get(address("abandon_repair", repair.pk)).status_code == 403
    assert reader.post(address("open_repair"), {}).status_code == 403


def test_a_stop_says_the_vehicle_is_still_open(shop, bay):
    repair = shop.open()
    sign_off(bay, repair, outcome="stopped", **{f"part_{shop.part.pk}": "0"})
    repair.refresh_from_db()
    repair.campaign_vehicle.refresh_from_db()
    assert repair.outcome == Outcome.STOPPED
    assert repair.campaign_vehicle.work_state == WorkState.OPEN
