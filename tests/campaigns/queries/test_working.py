"""Each step of a proposal with its numbers, and what to be careful about."""

import pytest

from campaigns.domain.reckoning import reconcile
from campaigns.models import Replenishment
from campaigns.queries.working import cautions_of, steps_of
from campaigns.rules.lifecycle import ProposalKind
from tests.factories.campaigns import ReplenishmentFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import PartFactory
from tests.factories.shelves import campaign_with_remedy, open_vehicle


def row(code, value, label=""):
    return {"code": code, "value": value, "unit": "", "label": label}


OF_CAMPAIGN = {
    "asked": "36", "expected": "30.0", "pace": "1.17", "pace_weight": "0.83",
    "learned_from": "4", "booked_vehicles": "9", "booked_pieces": "8.1",
    "show_rate": "0.90", "unbooked_pieces": "5.9",
}  # fmt: skip
WHOLE = {
    "window_days": "9", "window_mean": "14.02", "window_spread": "2.98",
    "window_level": "21", "window_service": "0.980", "rest_mean": "45.80",
    "rest_level": "51", "rest_service": "0.850", "have_in_window": "6",
    "have_in_all": "6", "pack": "5", "minimum": "1", "overdue": "0",
    "lead_days": "2", "unavoidable_risk": "0.020",
}  # fmt: skip


def proposal(campaign=None, whole=None, **facts):
    rows = [row(code, value, "OW-31") for code, value in (campaign or {}).items()]
    rows += [row(code, value) for code, value in (WHOLE | (whole or {})).items()]
    return ReplenishmentFactory.build(
        **{"store": None, "part": None, "quantity": 15, "facts": {"rows": rows}} | facts
    )


def test_the_worked_screen_step_by_step():
    """The figures of tests/inventory/forecasting/test_worked_screen.py."""
    assert steps_of(proposal(OF_CAMPAIGN)) == [
        (
            "OW-31: 36 owners asked where the curve (learned from 4 closed campaigns)"
            " expected 30.0. The campaign's own count weighs 0.83 of 1, the usual pace the"
            " rest: together 1.17 times the usual."
        ),
        (
            "OW-31: 9 booked vehicles take 8.1 pieces on average (0.90 of such visits"
            " happen), those not booked yet 5.9."
        ),
        (
            "Until the delivery after next, 9 days off, 14.02 pieces are wanted on average,"
            " give or take 2.98. 21 pieces cover 0.980 of all outcomes."
        ),
        (
            "Until the end 45.80 pieces are wanted on average; up to 51 are worth having"
            " (0.850 of all outcomes)."
        ),
        (
            "21 less the 6 there by then is 15; 51 less the 6 there and on order is 45. The"
            " smaller counts, in packs of 5, at least 1: 15."
        ),
    ]


def test_costs_and_returns_have_steps_of_their_own():
    costs = {"cost_short": "8387", "cost_hold": "46", "cost_loss": "1500",
             "order_cost": "0"}  # fmt: skip
    assert steps_of(proposal(whole=costs))[-1] == (
        "A customer who finds no part costs 83.87, a piece kept to the next order 0.46,"
        " a piece that nobody uses 15.00, an order 0.00; both shares of outcomes follow"
        " from these."
    )
    back = proposal(
        whole={"have_in_all": "26", "return_credit": "119000"},
        kind=ProposalKind.RETURN,
        quantity=14,
    )
    assert steps_of(back)[-1] == (
        "There are 26 pieces, those on order included and those that customers wait for"
        " taken off. 12 are kept; 14 go back for 1,190.00."
    )
    assert steps_of(proposal(facts={})) == []


def test_what_makes_it_less_sure():
    assert cautions_of(proposal(OF_CAMPAIGN)) == []
    built_in = OF_CAMPAIGN | {"learned_from": "0", "pace": "2.40"}
    risky = {"overdue": "5", "unavoidable_risk": "0.124"}
    assert cautions_of(proposal(built_in, risky)) == [
        (
            "OW-31: owners are expected by the built-in curve, because fewer than three"
            " campaigns were closed; its pace corrects it as owners ask."
        ),
        (
            "OW-31 runs at 2.40 times the usual pace. Look whether letters are missing or"
            " the list was incomplete before you rely on it."
        ),
        "5 pieces are late and not counted; give them a new day first.",
        (
            "No order placed now can arrive before 2 days; until then stock runs out with a"
            " chance of 12 in 100. Book later, or ask another store."
        ),
    ]


@pytest.mark.django_db
def test_a_real_proposal_has_all_the_facts_for_its_steps():
    store = StoreFactory.create(second_visit_cents=9_000, labour_margin_cents=6_000)
    campaign = campaign_with_remedy(PartFactory.create(pack=5))
    for _number in range(20):
        open_vehicle(campaign, store)
    reconcile(today=TODAY, at=NOW)
    found = Replenishment.objects.get()
    steps = steps_of(found)
    assert len(steps) == 6
    assert steps[0].startswith(f"{campaign.code}: 0 owners asked")
    assert found.facts["curve"][0][0] == 0
