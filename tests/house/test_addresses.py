"""All addresses, walked as nobody, as the wrong role, and as another store.

A new address without a guard fails here, and so does a new address of one thing for
which nobody has said how to make that thing (``THINGS``).
"""

import uuid

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from dealership.rules.roles import ROLE_CAPABILITIES, Capability, Role
from tests.factories import campaigns as c
from tests.factories import dealership as d
from tests.factories import inventory as i
from tests.factories import vehicles as v


# Open to everybody, with the reason; the back room has its own door (views of admin).
PUBLIC = {
    "account_login": "the door itself",
    "account_logout": "the way out",
    "account_signup": "says that nobody signs up",
    "account_inactive": "says that one is locked out",
    "mfa_authenticate": "the second step of the door",
    "dealership:health": "says ok or not ok to a machine",
}
# Everybody who is signed in, whatever the role.
SIGNED_IN = {
    "account_reauthenticate": "the own account",
    "account_change_password": "the own account",
    "account_set_password": "the own account",
    "mfa_index": "the own account",
    "mfa_reauthenticate": "the own account",
    "mfa_activate_totp": "the own account",
    "mfa_deactivate_totp": "the own account",
    "mfa_view_recovery_codes": "the own account",
    "mfa_generate_recovery_codes": "the own account",
    "mfa_download_recovery_codes": "the own account",
    "dealership:choose_store": "one of the own stores",
    "dealership:keys": "help on the keyboard",
    "api_docs": "a page for programmers",
}
# Guarded by MayUseApi instead.
API = {"api_vehicle", "api_schema"}


def walk(patterns, prefix="", space=""):
    for pattern in patterns:
        route = prefix + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            inner = f"{pattern.namespace}:" if pattern.namespace else ""
            yield from walk(pattern.url_patterns, route, space + inner)
        elif isinstance(pattern, URLPattern) and not route.startswith("admin/"):
            yield f"{space}{pattern.name}", pattern


ADDRESSES = dict(walk(get_resolver().url_patterns))
GUARDED = {
    name: pattern.callback.capability
    for name, pattern in ADDRESSES.items()
    if hasattr(pattern.callback, "capability")
}
OF_ONE_THING = sorted(
    name for name, pattern in ADDRESSES.items() if pattern.pattern.converters
)
PLAIN = sorted(set(ADDRESSES) - set(OF_ONE_THING))


# How to make the one thing of each address -------------------------------------------
#
# A maker takes a store and gives the words of the address. Campaigns are shared by all
# stores of a group: their pages show each store its own rows, so they are in SHARED.


def person(store):
    return {"pk": d.make_staff(Role.OFFICE, store).pk}


def post(store):
    staff = d.make_staff(Role.OFFICE, store)
    return {"pk": staff.pk, "post_pk": staff.posts.get().pk}


def job(store):
    return {"job_id": d.JobFactory.create(store=store).pk}


def vehicle(store):
    return {"vin": v.VehicleFactory.create(store=store).vin}


def population_row(store):
    row = c.CampaignVehicleFactory.create(vehicle__store=store)
    return {"code": row.campaign.code, "pk": row.pk}


def batch(store):
    allocation = c.AllocationFactory.create(store=store)
    return {"code": allocation.campaign.code, "pk": allocation.pk}


def upload(store):
    campaign = c.CampaignFactory.create()
    return {"code": campaign.code, "upload_id": d.UploadFactory.create(store=store).pk}


def visit(store):
    return {"pk": c.VisitJobFactory.create(visit__vehicle__store=store).visit_id}


def loan(store):
    return {"pk": c.LoanFactory.create(visit__vehicle__store=store).visit_id}


def differing_day(store):
    return {"pk": c.DifferingDayFactory.create(store=store).pk}


def request(store):
    row = c.PartRequestFactory.create(campaign_vehicle__vehicle__store=store)
    return {"pk": row.pk}


def repair(store):
    return {"pk": c.RepairFactory.create(campaign_vehicle__vehicle__store=store).pk}


def finished_repair(store):
    row = c.CampaignVehicleFactory.create(
        vehicle=v.VehicleFactory.create(store=store), work_state="remedied_here"
    )
    done = c.RepairFactory.create(
        campaign_vehicle=row,
        vehicle=row.vehicle,
        store=store,
        state="completed",
        outcome="remedied",
        odometer=9_000,
        done_on=d.TODAY,
    )
    return {"pk": done.pk}


def reading(store):
    row = c.RepairFactory.create(campaign_vehicle__vehicle__store=store)
    check = c.VariantCheckFactory.create(variant=row.variant)
    return {"pk": row.pk, "check_pk": check.pk}


def extra(store):
    row = c.RepairExtraFactory.create(repair__campaign_vehicle__vehicle__store=store)
    return {"pk": row.repair_id, "extra": row.pk}


def order(store):
    return {"pk": i.OrderLineFactory.create(order__store=store).order_id}


def goods_return(store):
    line = i.ReturnLineFactory.create(goods_return__store=store)
    return {"pk": line.goods_return_id}


def shipped_return(store):
    line = i.ReturnLineFactory.create(
        goods_return__store=store, goods_return__state="shipped"
    )
    return {"pk": line.goods_return_id}


def shipment(store):
    return {"pk": i.ShipmentLineFactory.create(shipment__store=store).shipment_id}


def dispute(store):
    row = i.DisputeFactory.create(shipment_line__shipment__store=store)
    return {"pk": row.pk}


def transfer(store):
    return {"pk": i.TransferLineFactory.create(transfer__store=store).transfer_id}


def transfer_here(store):
    return {"pk": i.TransferLineFactory.create(transfer__to_store=store).transfer_id}


def stock_count(store):
    return {"pk": i.StockCountLineFactory.create(count__store=store).count_id}


def lot(store):
    return {"pk": i.QuarantineLotFactory.create(store=store).pk}


def bin_of(store):
    return {"pk": i.BinLocationFactory.create(store=store).pk}


def movement(store):
    return {"pk": i.MovementFactory.create(store=store).pk}


def draft_line(store):
    line = i.OrderLineFactory.create(order__store=store)
    return {"pk": line.order_id, "line_pk": line.pk}


def claim(store):
    row = c.ClaimFactory.create(repair__campaign_vehicle__vehicle__store=store)
    c.ClaimLineFactory.create(claim=row)
    return {"pk": row.pk}


def unsold(store):
    row = c.CampaignVehicleFactory.create(vehicle__store=store)
    return {"code": row.campaign.code, "pk": row.pk}


def holding_claim(store):
    return {"pk": c.HoldingClaimFactory.create(store=store).pk}


def status_list(store):
    return {"pk": c.StatusListFactory.create(store=store).pk}


def status_difference(store):
    return {"pk": c.StatusDifferenceFactory.create(status_list__store=store).pk}


def money_file(store):
    return {"pk": c.MoneyFileFactory.create(store=store).pk}


def posted_letter(store):
    made = c.LetterRoundFactory.create(store=store)
    return {"pk": c.LetterFactory.create(letter_round=made, posted_on=d.TODAY).pk}


def letter_round(store):
    pdf = ContentFile(b"%PDF-1.7", "letters.pdf")
    return {"pk": c.LetterRoundFactory.create(store=store, pdf=pdf).pk}


def letter_file(store):
    file = c.LetterFileFactory.create(letter_round__store=store)
    return {"pk": file.letter_round_id, "number": file.number}


def letter_reprint(store):
    made = c.LetterReprintFactory.create(letter_round__store=store)
    return {"pk": made.letter_round_id, "reprint_id": made.pk}


def report(store):
    files = {
        kind: ContentFile(b"made", f"report.{kind}") for kind in ("pdf", "csv", "xlsx")
    }
    row = c.ReportFactory.create(store=store, state="made", made_at=d.NOW, **files)
    return {"pk": row.pk}


def waiting_report(store):
    return {"pk": c.ReportFactory.create(store=store).pk}


def proposal(store):
    return {"pk": c.ReplenishmentFactory.create(store=store).pk}


def vehicle_list(store):
    row = v.VehicleListFactory.create(store=store, state="staged")
    v.StagedRowFactory.create(vehicle_list=row)
    return {"pk": row.pk}


THINGS = {
    "api_vehicle": vehicle,
    "campaigns:abandon_repair": repair,
    "campaigns:batch_bill": batch,
    "campaigns:batch_receive": batch,
    "campaigns:batch_slip": batch,
    "campaigns:book": vehicle,
    "campaigns:complete_repair": repair,
    "campaigns:counter": vehicle,
    "campaigns:customer_told": vehicle,
    "campaigns:forget_day_hours": differing_day,
    "campaigns:job_card": repair,
    "campaigns:loan_back": loan,
    "campaigns:loan_out": loan,
    "campaigns:notice_paper": lambda s: {
        "pk": c.NoticeGivenFactory.create(
            vehicle=v.VehicleFactory.create(store=s), store=s
        ).pk
    },
    "campaigns:proof_paper": finished_repair,
    "campaigns:population_act": lambda s: population_row(s) | {"act": "confirm"},
    "campaigns:population_vehicle": population_row,
    "campaigns:found_out": population_row,
    "campaigns:record_reading": reading,
    "campaigns:repair_extras": repair,
    "campaigns:extra_paper": extra,
    "campaigns:tool_gone": lambda s: {"pk": c.ToolAtStoreFactory.create(store=s).pk},
    "campaigns:repair": repair,
    "campaigns:request_remedy": vehicle,
    "campaigns:vin_list_choices": upload,
    "campaigns:vin_list_refused": upload,
    "campaigns:visit": visit,
    "campaigns:visit_arrived": visit,
    "campaigns:visit_cancelled": visit,
    "campaigns:visit_missed": visit,
    "campaigns:visit_moved": visit,
    "campaigns:withdraw_request": request,
    "dealership:give_post": person,
    "dealership:job": job,
    "dealership:job_cancel": job,
    "dealership:job_pause": job,
    "dealership:job_requeue": job,
    "dealership:job_resume": job,
    "dealership:let_in": person,
    "dealership:lock_out": person,
    "dealership:person": person,
    "dealership:renew_password": person,
    "dealership:take_post": post,
    "inventory:add_order_line": order,
    "inventory:announce_delivery": order,
    "inventory:bin": bin_of,
    "inventory:book_count": stock_count,
    "inventory:call_back_transfer": transfer,
    "inventory:change_order_line": draft_line,
    "inventory:close_order": order,
    "inventory:count": stock_count,
    "inventory:count_again": stock_count,
    "inventory:count_sheet": stock_count,
    "inventory:drop_count": stock_count,
    "inventory:enter_count": stock_count,
    "inventory:expect_replacement": dispute,
    "inventory:fill_bin": bin_of,
    "inventory:free_lot": lot,
    "inventory:give_up_pieces": movement,
    "inventory:lot": lot,
    "inventory:move_last_date": dispute,
    "inventory:receive_transfer": transfer_here,
    "inventory:rename_bin": bin_of,
    "inventory:return_lot": lot,
    "inventory:scrap_lot": lot,
    "inventory:send_order": order,
    "inventory:take_down_bin": bin_of,
    "inventory:transfer": transfer,
    "inventory:cancel_order": order,
    "inventory:cancel_return": shipped_return,
    "inventory:confirm_order": order,
    "inventory:credit_return": goods_return,
    "inventory:dispute": dispute,
    "inventory:goods_return": goods_return,
    "inventory:order": order,
    "inventory:order_bill": order,
    "inventory:redate_shipment": shipment,
    "inventory:ship_return": goods_return,
    "inventory:shipment": shipment,
    "campaigns:claim": claim,
    "campaigns:pay_claim": claim,
    "campaigns:reject_claim": claim,
    "campaigns:submit_claim": claim,
    "campaigns:write_off_claim": claim,
    "campaigns:edit_unsold": unsold,
    "campaigns:apply_status_list": status_list,
    "campaigns:status_faults": status_list,
    "campaigns:status_list": status_list,
    "campaigns:settle_status_difference": status_difference,
    "campaigns:apply_money_file": money_file,
    "campaigns:money_file": money_file,
    "campaigns:money_file_source": money_file,
    "campaigns:holding_claim": holding_claim,
    "campaigns:holding_claim_pdf": holding_claim,
    "campaigns:addresses": letter_round,
    "campaigns:contacts": lambda s: {
        "pk": c.CampaignVehicleFactory.create(
            vehicle=v.VehicleFactory.create(store=s)
        ).pk
    },
    "campaigns:letter": posted_letter,
    "campaigns:letter_answered": posted_letter,
    "campaigns:letter_returned": posted_letter,
    "campaigns:letter_settled": posted_letter,
    "campaigns:cancel_round": letter_round,
    "campaigns:letter_file": letter_file,
    "campaigns:letter_round": letter_round,
    "campaigns:register_pdf": letter_round,
    "campaigns:reprint_sheets": letter_round,
    "campaigns:reprinted": letter_reprint,
    "campaigns:register_csv": letter_round,
    "campaigns:register_xlsx": letter_round,
    "campaigns:round_check": letter_round,
    "campaigns:round_pdf": letter_round,
    "campaigns:set_round": letter_round,
    "campaigns:report": waiting_report,
    "campaigns:report_csv": report,
    "campaigns:report_pdf": report,
    "campaigns:report_xlsx": report,
    "campaigns:accept_proposal": proposal,
    "campaigns:change_proposal": proposal,
    "campaigns:decline_proposal": proposal,
    "campaigns:proposal": proposal,
    "campaigns:proposal_paper": proposal,
    "vehicles:abandon_list": vehicle_list,
    "vehicles:apply_list": vehicle_list,
    "vehicles:decide_all": vehicle_list,
    "vehicles:decide_row": vehicle_list,
    "vehicles:list_columns": vehicle_list,
    "vehicles:list_sheet": vehicle_list,
    "vehicles:refused_rows": vehicle_list,
    "vehicles:vehicle_list": vehicle_list,
    "vehicles:edit_vehicle": vehicle,
    "vehicles:new_owner": vehicle,
    "vehicles:vehicle": vehicle,
    "campaigns:step_round": lambda s: letter_round(s) | {"step": "printed"},
}
CAMPAIGN = "a campaign belongs to all stores; its pages show each store its own rows"
REMEDY = "the remedy of a campaign, which belongs to all stores"
PART = "a part number belongs to all stores; its page shows each store its own pieces"
SHARED = {
    "campaigns:abandon_amendment": CAMPAIGN,
    "campaigns:add_line": REMEDY,
    "campaigns:amendments": CAMPAIGN,
    "campaigns:bill_over_parts": CAMPAIGN,
    "campaigns:slip_over_parts": CAMPAIGN,
    "campaigns:campaign": CAMPAIGN,
    "campaigns:campaign_parts": CAMPAIGN,
    "campaigns:campaign_visits": CAMPAIGN,
    "campaigns:close_campaign": CAMPAIGN,
    "campaigns:criteria": CAMPAIGN,
    "campaigns:drop_criterion": CAMPAIGN,
    "campaigns:drop_line": REMEDY,
    "campaigns:drop_variant": REMEDY,
    "campaigns:edit_campaign": CAMPAIGN,
    "campaigns:edit_criterion": CAMPAIGN,
    "campaigns:look_at_criterion": CAMPAIGN,
    "campaigns:look_at_new_criterion": CAMPAIGN,
    "campaigns:edit_line": REMEDY,
    "campaigns:extra_limits": REMEDY,
    "campaigns:match": CAMPAIGN,
    "campaigns:new_batch": CAMPAIGN,
    "campaigns:new_criterion": CAMPAIGN,
    "campaigns:new_variant": REMEDY,
    "campaigns:open_questions": CAMPAIGN,
    "campaigns:decide_questions": CAMPAIGN,
    "campaigns:population": CAMPAIGN,
    "campaigns:remedy": REMEDY,
    "campaigns:remind_owners": CAMPAIGN,
    "campaigns:reopen_campaign": CAMPAIGN,
    "campaigns:start_match": CAMPAIGN,
    "campaigns:unknown_vins": CAMPAIGN,
    "campaigns:variant": REMEDY,
    "campaigns:variant_facts": REMEDY,
    "campaigns:vin_list": CAMPAIGN,
    "campaigns:account": CAMPAIGN,
    "campaigns:draw_claim": CAMPAIGN,
    "campaigns:payer": "a manufacturer belongs to all stores; its agreement to each one",
    "campaigns:unsold": CAMPAIGN,
    "campaigns:campaign_letters": CAMPAIGN,
    "campaigns:campaign_report": CAMPAIGN,
    "campaigns:letter_text": "texts belong to all stores",
    "campaigns:text_preview": "texts belong to all stores",
    "campaigns:text_pdf": "texts belong to all stores",
    "campaigns:statement": CAMPAIGN,
    "campaigns:statement_pdf": CAMPAIGN,
    "campaigns:statement_xlsx": CAMPAIGN,
    "inventory:part": PART,
    "inventory:part_chain": PART,
    "inventory:put_aside": PART,
    "inventory:recall_part": PART,
    "inventory:sell_part": PART,
}


def words_of(name, store):
    return THINGS[name](store)


def any_words(pattern):
    """Give words that fit the address and name nothing."""
    examples = {
        "IntConverter": 0,
        "UUIDConverter": uuid.UUID(int=0),
        "StringConverter": "x",
        "SlugConverter": "x",
    }
    return {
        word: examples[type(converter).__name__]
        for word, converter in pattern.pattern.converters.items()
    }


# The walks -----------------------------------------------------------------------------


def test_each_address_is_guarded_or_said_to_be_open():
    known = set(GUARDED) | set(PUBLIC) | set(SIGNED_IN) | API

    assert sorted(set(ADDRESSES) - known) == []


def test_what_is_said_to_be_open_is_there_and_not_guarded():
    # The help on the keyboard comes with the look.
    assert (set(PUBLIC) | set(SIGNED_IN) | API) - set(ADDRESSES) <= {"dealership:keys"}
    assert not (set(PUBLIC) | set(SIGNED_IN) | API) & set(GUARDED)


def test_each_address_of_one_thing_says_how_it_is_made():
    assert sorted(set(OF_ONE_THING) - set(THINGS) - set(SHARED)) == []
    assert sorted((set(THINGS) | set(SHARED)) - set(OF_ONE_THING)) == []


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(set(ADDRESSES) - set(PUBLIC) - API))
def test_nobody_is_asked_to_sign_in(name):
    address = reverse(name, kwargs=any_words(ADDRESSES[name]))

    for ask in (Client().get, Client().post):
        response = ask(address)
        assert response.status_code == 302
        assert response.url.startswith("/accounts/login/")


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(API))
def test_no_program_is_answered_without_a_key(name):
    address = reverse(name, kwargs=any_words(ADDRESSES[name]))

    assert Client().get(address).status_code == 401


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(GUARDED))
def test_each_wrong_role_is_sent_away(name, signed_in):
    address = reverse(name, kwargs=any_words(ADDRESSES[name]))
    wrong = [r for r in Role if GUARDED[name] not in ROLE_CAPABILITIES[r]]

    for role in wrong:
        client = signed_in(role)
        assert client.get(address).status_code in {403, 405}, role
        assert client.post(address).status_code in {403, 405}, role


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(set(THINGS) & set(GUARDED)))
def test_a_thing_of_another_store_is_not_found(name, signed_in):
    address = reverse(name, kwargs=words_of(name, d.StoreFactory.create()))
    client = signed_in(Role.ADMINISTRATOR)

    answers = {client.get(address).status_code, client.post(address).status_code}

    assert answers <= {404, 405}
    assert 404 in answers


# Found by what is posted with it; its own test is that of the counter's view.
BY_WHAT_IS_POSTED = {"campaigns:request_remedy", "vehicles:decide_row"}


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(set(THINGS) & set(GUARDED) - BY_WHAT_IS_POSTED))
def test_the_same_thing_of_one_s_own_store_is_found(name, signed_in):
    """Without this, the walk above could pass by a misspelt maker."""
    client = signed_in(Role.ADMINISTRATOR)
    address = reverse(name, kwargs=words_of(name, client.store))

    answers = {client.get(address).status_code, client.post(address).status_code}

    assert 404 not in answers


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(set(GUARDED) & set(PLAIN)))
def test_each_plain_page_opens_on_an_empty_house(name, signed_in):
    client = signed_in(Role.ADMINISTRATOR)

    response = client.get(reverse(name))

    # The job card asks for the job in its question: without one there is none.
    expected = {404} if name == "campaigns:open_repair" else {200, 302, 405}
    assert response.status_code in expected


def test_every_capability_opens_something():
    # One page shows reports to who may see them and a form to who may make them.
    # Who sells at the counter may sell what is set apart if this stands beside it.
    inside = {
        Capability.USE_API,
        Capability.MAKE_REPORTS,
        Capability.SELL_SET_APART,
    }
    opened = set(GUARDED.values()) | inside

    assert set(Capability) - opened == set()
