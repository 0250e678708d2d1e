"""Each named constraint of the database is broken on purpose, and holds.

Checks of one column are broken by what their condition says; the rest stands in
``BREAKS``: the facts that break it. Unique keys are broken by a second row with the
same values. A new constraint that is not in here fails.
"""

import datetime as dt
import uuid

import pytest
from django.db import IntegrityError, transaction
from django.db.models import CheckConstraint, Q, UniqueConstraint

from campaigns.rules.lifecycle import (
    ClaimLineKind,
    Outcome,
    ProposalState,
    Reach,
    RepairState,
    RequestState,
    RoundState,
    VersionState,
)
from dealership.queries.tables import own_models
from dealership.rules.jobs import JobState, Wanted
from tests.factories.campaigns import ScheduledItemFactory
from tests.factories.dealership import NOW, TODAY, StoreFactory
from tests.factories.inventory import (
    DisputeFactory,
    EarmarkFactory,
    QuarantineLotFactory,
)
from tests.house.test_factories import FACTORIES


pytestmark = pytest.mark.django_db

YESTERDAY = TODAY - dt.timedelta(days=1)
CONSTRAINTS = {
    constraint.name: (model, constraint)
    for model in own_models()
    for constraint in model._meta.constraints
}
CHECKS = sorted(
    n for n, (_m, c) in CONSTRAINTS.items() if isinstance(c, CheckConstraint)
)
UNIQUE = sorted(
    n for n, (_m, c) in CONSTRAINTS.items() if isinstance(c, UniqueConstraint)
)

# What breaks a check that looks at more than one column, or at none by itself.
BREAKS = {
    "agreement_rate_at_most_all": lambda: {"rate_basis_points": 10_001},
    "holding_claim_paid_when_settled": lambda: {"settled_on": TODAY},
    "money_file_has_key_when_applied": lambda: {"applied_at": NOW},
    "settled_difference_says_how_and_why": lambda: {"settled_at": NOW},
    "holding_line_runs_forwards": lambda: {"until": YESTERDAY},
    "campaign_restocking_at_most_all": lambda: {"restocking_basis_points": 10_001},
    "check_answer_has_a_reason": lambda: {"why": ""},
    "check_has_a_limit": lambda: {"low": None, "high": None},
    "claim_line_not_overpaid": lambda: {"claimed_cents": 100, "paid_cents": 101},
    "completed_repair_has_its_facts": lambda: {"state": RepairState.COMPLETED},
    "credit_settles_one_thing": lambda: {"dispute": DisputeFactory.create()},
    "criterion_build_window_in_order": lambda: {
        "build_from": TODAY,
        "build_to": YESTERDAY,
    },
    "staged_pack_holds_rows": lambda: {"rows": 0},
    "entry_moves_pieces": lambda: {"quantity": 0},
    "export_names_who_got_it": lambda: {"recipient": ""},
    "job_attempts_within_bound": lambda: {"attempts": 4, "max_attempts": 3},
    "job_end_known_when_finished_only": lambda: {"state": JobState.DONE},
    "job_has_lease_while_running_only": lambda: {
        "lease_token": uuid.uuid4(),
        "lease_until": NOW,
    },
    "job_wish_while_running_only": lambda: {"wanted": Wanted.PAUSE},
    "layer_not_overdrawn": lambda: {"quantity": 40, "taken": 41},
    "loan_ends_after_it_begins": lambda: {"first_day": TODAY, "last_day": YESTERDAY},
    "loan_is_out_since_and_back_since": lambda: {"out_at": NOW},
    "lot_not_overdrawn": lambda: {"quantity": 4, "left": 5},
    "back_ordered_line_has_no_day": lambda: {
        "back_ordered": True,
        "expected_on": TODAY,
    },
    "borrowed_tool_names_lender_and_day": lambda: {"standing": "borrowed"},
    "count_line_has_both_figures": lambda: {"found": 3},
    "other_reach_says_which": lambda: {"reach": Reach.OTHER, "say_which": ""},
    "letter_chunk_is_a_stretch": lambda: {"first": 4, "last": 3},
    "letter_chunk_done_with_its_file": lambda: {"done_at": NOW},
    "letter_file_is_a_stretch": lambda: {"first": 4, "last": 3},
    "letter_reprint_has_a_reason": lambda: {"why": ""},
    "part_line_names_its_pieces": lambda: {"kind": ClaimLineKind.PART},
    "part_not_superseded_by_itself": lambda: {"id": 77, "superseded_by_id": 77},
    "payment_cost_within_amount": lambda: {"cents": 100, "at_cost_cents": 101},
    "remedy_belongs_to_one_thing": lambda: {
        "scheduled_item": ScheduledItemFactory.create()
    },
    "repair_outcome_is_known": lambda: {"outcome": "nothing"},
    "reservation_not_overused": lambda: {"quantity": 1, "used": 2},
    "restocking_at_most_all": lambda: {"restocking_basis_points": 10_001},
    "return_step_is_of_a_returned_letter": lambda: {"return_step": "new_address"},
    "safety_recall_has_no_last_date_or_odometer_limit": lambda: {
        "eligible_until": TODAY
    },
    "scheduled_item_is_due_by_something": lambda: {
        "due_after_months": None,
        "due_after_miles": None,
    },
    "stock_change_before_is_known": lambda: {"before": "?"},
    "store_costs_not_negative": lambda: {"order_cost_cents": -1},
    "store_letter_layout_is_known": lambda: {"letter_fold_thousandths": 3_900},
    "store_shares_in_range": lambda: {"service_limit_basis_points": 9_901},
    "shipment_line_adds_up": lambda: {
        "sent": 40,
        "good": 38,
        "damaged": 1,
        "short": 0,
    },
    "transfer_goes_elsewhere": lambda: dict.fromkeys(
        ("store", "to_store"), StoreFactory.create()
    ),
    "transfer_line_adds_up": lambda: {
        "quantity": 3,
        "good": 1,
        "damaged": 1,
        "lost": 0,
    },
    "tenure_ends_after_it_begins": lambda: {"since": TODAY, "until": YESTERDAY},
    "upload_has_file_until_erased": lambda: {"erased_at": NOW},
    "upload_is_not_empty": lambda: {"size_bytes": 0},
    "variant_part_share_is_a_share": lambda: {"share_basis_points": 10_001},
    "vehicle_vin_has_17_characters": lambda: {"vin": "1U0KTRA4"},
    "workshop_hours_weekday_is_known": lambda: {"weekday": 8},
    "visit_job_is_one_thing": lambda: {"scheduled_item": ScheduledItemFactory.create()},
}
IMPLIED = {
    # free and quarantine are not negative, so held is within their sum already.
    "balance_held_within_on_hand",
}
# The facts with which a condition of a unique key holds.
HOLDS = {
    "one_unsettled_difference_per_vehicle": {"settled_at": None},
    "one_completed_remedy_per_campaign_vehicle": {
        "state": RepairState.COMPLETED,
        "outcome": Outcome.REMEDIED,
        "done_on": TODAY,
        "odometer": 41_500,
    },
    "one_learned_response_of_the_group_per_class": {"store": None},
    "one_job_per_kind_and_key": {"unique_key": "2026-11-25"},
    "one_criteria_version_in_work": {"state": VersionState.DRAFT},
    "one_live_booking_per_campaign_vehicle": {"live": True},
    "one_open_proposal_per_store_and_part": {"state": ProposalState.OPEN},
    "one_open_repair_per_campaign_vehicle": {"state": RepairState.OPEN},
    "one_open_tenure_per_vehicle_and_role": {"until": None},
    "one_place_on_the_waiting_list": {"state": RequestState.WAITING},
    "one_round_in_work": {"state": RoundState.DRAWN_UP},
}


def broken_by_itself(constraint):
    """Give facts that break a check of one column: a list of values, or a least."""
    condition = constraint.condition
    if not isinstance(condition, Q) or condition.negated or len(condition) != 1:
        return None
    ((test, value),) = [child for child in condition.children if len(child) == 2]
    field, _, kind = test.partition("__")
    if kind == "in":
        return {field: "?"}
    if kind == "gte" and isinstance(value, int):
        return {field: value - 1}
    return None


def facts_that_break(name):
    if name in BREAKS:
        return BREAKS[name]()
    return broken_by_itself(CONSTRAINTS[name][1])


@pytest.mark.parametrize("name", [n for n in CHECKS if n not in IMPLIED])
def test_a_check_is_broken_and_holds(name):
    facts = facts_that_break(name)
    assert facts is not None, f"say in BREAKS what breaks {name}"
    model, _constraint = CONSTRAINTS[name]

    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        FACTORIES[model].create(**facts)


@pytest.mark.parametrize("name", UNIQUE)
def test_a_unique_key_is_broken_and_holds(name):
    model, constraint = CONSTRAINTS[name]
    facts = dict(HOLDS.get(name, {}))
    if name in {"one_pocket_per_earmark", "one_count_line_per_earmark"}:
        facts["earmark"] = EarmarkFactory.create()
    if name == "one_count_line_per_lot":
        facts["lot"] = QuarantineLotFactory.create()
    assert constraint.condition is None or facts or name.endswith("_without_earmark")
    first = FACTORIES[model].create(**facts)
    same = {field: getattr(first, field) for field in constraint.fields}

    with pytest.raises(IntegrityError, match=r"(?i)unique"), transaction.atomic():
        FACTORIES[model].create(**(facts | same))


def test_the_lists_hold_no_constraint_that_is_gone():
    assert set(BREAKS) | IMPLIED <= set(CHECKS)
    assert set(HOLDS) <= set(UNIQUE)
