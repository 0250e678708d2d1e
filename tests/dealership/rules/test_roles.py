"""The table of roles, as the people of a store would say it (no outside source)."""

import pytest

from dealership.rules.roles import ROLE_CAPABILITIES, Capability, Role, may


C = Capability


def roles_with(capability):
    return {role for role in Role if may(frozenset({role}), capability)}


def test_each_role_has_its_row():
    assert set(ROLE_CAPABILITIES) == set(Role)


def test_each_capability_is_somebody_s():
    assert {c for role in ROLE_CAPABILITIES.values() for c in role} == set(Capability)


@pytest.mark.parametrize(
    ("capability", "roles"),
    [
        (C.EDIT_SETTINGS, {Role.ADMINISTRATOR}),
        (C.ORDER_PARTS, {Role.PARTS_MANAGER, Role.ADMINISTRATOR}),
        (C.COUNT_PARTS, {Role.PARTS_MANAGER, Role.TECHNICIAN, Role.ADMINISTRATOR}),
        (
            C.APPROVE_COUNTS,
            {Role.PARTS_MANAGER, Role.SERVICE_MANAGER, Role.ADMINISTRATOR},
        ),
        (C.SELL_SET_APART, {Role.SERVICE_MANAGER, Role.ADMINISTRATOR}),
        (C.FREE_QUARANTINE, {Role.SERVICE_MANAGER, Role.ADMINISTRATOR}),
        (C.PRINT_LETTERS, {Role.OFFICE, Role.ADMINISTRATOR}),
        (
            C.RECORD_REPAIRS,
            {
                Role.SERVICE_MANAGER,
                Role.SERVICE_ADVISOR,
                Role.TECHNICIAN,
                Role.ADMINISTRATOR,
            },
        ),
        (C.SEE_TODAY, set(Role)),
    ],
)
def test_who_may_do_what(capability, roles):
    assert roles_with(capability) == roles


def test_an_owner_looks_and_changes_nothing_but_asks_for_reports():
    changes = {
        c for c in ROLE_CAPABILITIES[Role.OWNER] if not c.value.startswith("see_")
    }

    assert changes == {C.MAKE_REPORTS, C.USE_API}


def test_without_a_role_nothing_may_be_done():
    assert not any(may(frozenset(), capability) for capability in Capability)


def test_several_roles_add_up():
    both = frozenset({Role.TECHNICIAN, Role.OFFICE})

    assert may(both, C.RECORD_REPAIRS)
    assert may(both, C.PRINT_LETTERS)
    assert not may(both, C.ORDER_PARTS)
