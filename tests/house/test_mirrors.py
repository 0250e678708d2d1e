"""Each module of the apps has its test where one would look for it."""

from pathlib import Path

import pytest

from dealership.queries.tables import APPS


ROOT = Path(__file__).resolve().parents[2]
FLOORS = (
    "rules",
    "forecasting",
    "models",
    "documents",
    "queries",
    "domain",
    "forms",
    "views",
    "api",
    "tasks",
    "templatetags",
)
# Tested elsewhere, with the reason. A floor ends with a slash.
ELSEWHERE = {
    "dealership/models/": "tables: tests/house breaks each constraint and trigger",
    "vehicles/models/": "tables: tests/house breaks each constraint and trigger",
    "inventory/models/": "tables: tests/house breaks each constraint and trigger",
    "campaigns/models/": "tables: tests/house breaks each constraint and trigger",
    "dealership/rules/refusals.py": "a base class; each refusal has its own test",
    "vehicles/rules/standing.py": "closed lists: tests/house/test_states.py",
    "campaigns/rules/lifecycle.py": "closed lists: tests/house/test_states.py",
    "inventory/rules/accounts.py": "closed lists: tests/house/test_states.py",
    "dealership/views/places.py": "one record",
    "dealership/queries/tables.py": "tests/house/test_states.py reads all through it",
    "dealership/domain/leases.py": "tests/dealership/domain/test_jobs.py",
}


def modules():
    for app in APPS:
        for floor in FLOORS:
            yield from sorted((ROOT / app / floor).glob("*.py"))


def untested():
    for module in modules():
        name = module.relative_to(ROOT).as_posix()
        test = ROOT / "tests" / Path(name).parent / f"test_{module.name}"
        if module.name == "__init__.py" or test.exists():
            continue
        if any(name.startswith(one) for one in ELSEWHERE if one.endswith("/")):
            continue
        if name not in ELSEWHERE:
            yield name


def test_each_module_has_its_test():
    assert list(untested()) == []


@pytest.mark.parametrize("name", ELSEWHERE)
def test_the_exceptions_still_stand(name):
    assert (ROOT / name).exists()


def test_no_test_mirrors_a_module_that_is_gone():
    lost = [
        test.relative_to(ROOT).as_posix()
        for app in APPS
        for floor in FLOORS
        for test in (ROOT / "tests" / app / floor).glob("test_*.py")
        if not (ROOT / app / floor / test.name.removeprefix("test_")).exists()
    ]

    allowed = {
        "tests/dealership/models/test_append_only.py",
        "tests/campaigns/api/test_schema.py",
        "tests/inventory/domain/test_books_machine.py",
    }
    assert set(lost) - allowed == set()
