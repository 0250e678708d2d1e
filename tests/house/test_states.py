"""Closed lists: each has its words, the database knows them, and states have moves."""

import pytest
from django.db.models import CheckConstraint

from dealership.queries.tables import closed_lists, own_models


FIELDS = {
    f"{model._meta.label}.{field.name}": field
    for model in own_models()
    for field in model._meta.concrete_fields
    if field.choices
}
STATES = {
    f"{one.app}.{one.members.__name__}": one for one in closed_lists() if one.is_state
}
STORED = {frozenset(value for value, _words in f.choices) for f in FIELDS.values()}
# Changed in one place each, which looks at the state it starts from.
WITHOUT_MOVES = {
    "campaigns.ProposalState": "open once, then answered once or replaced",
    "campaigns.ReportState": "made once by its job",
    "campaigns.RequestState": "follows the visit that answers it",
    "campaigns.RepairState": "open once, then completed or abandoned",
    "campaigns.RoundState": "forwards only: drawn up, printed, posted",
    "campaigns.VersionState": "forwards only: written, matched, applied",
    "inventory.ReturnState": "forwards only: prepared, shipped, credited",
    "vehicles.ListState": "forwards only: read, reviewed, applied",
    "vehicles.RowState": "what is to become of a row; not a life",
    "vehicles.OrderState": "how sure a column's order of dates is; never stored",
}
# A choice of two that the printer's driver would show as well.
WITHOUT_CHECK = {"dealership.Store.paper"}


@pytest.mark.parametrize("name", FIELDS)
def test_each_choice_has_its_words(name):
    assert all(str(words).strip() for _value, words in FIELDS[name].choices)


@pytest.mark.parametrize("name", sorted(set(FIELDS) - WITHOUT_CHECK))
def test_the_database_refuses_what_is_no_choice(name):
    field = FIELDS[name]
    checks = " ".join(
        str(constraint.condition)
        for constraint in field.model._meta.constraints
        if isinstance(constraint, CheckConstraint)
    )

    assert f"('{field.name}__in'" in checks, f"{name} has no check of its values"


@pytest.mark.parametrize("name", STATES)
def test_each_state_is_in_its_table_of_moves(name):
    one = STATES[name]

    if name in WITHOUT_MOVES:
        assert one.moves is None, f"{name} has a table now: no exception needed"
    else:
        assert one.moves is not None, f"{name} has no table of moves"
        assert list(one.moves) == list(one.members)
        assert frozenset(m.value for m in one.members) in STORED
        assert one.words or name == "dealership.JobState"


@pytest.mark.parametrize("name", sorted(set(STATES) - set(WITHOUT_MOVES)))
def test_each_state_can_be_reached(name):
    one = STATES[name]
    # A vehicle comes into a campaign open, or to be verified.
    reached = {next(iter(one.members))}
    to_visit = list(reached)
    while to_visit:
        for after in one.moves[to_visit.pop()] - reached:
            reached.add(after)
            to_visit.append(after)

    assert reached == set(one.members)


def test_the_exceptions_still_stand():
    assert set(WITHOUT_MOVES) <= set(STATES)
    assert set(FIELDS) >= WITHOUT_CHECK
