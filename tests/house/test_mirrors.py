"""Each module of the apps has its test where one would look for it.

That is the file that mirrors it, else a test of its app that takes it by name (a small
module is tested with the one that it was cut from). Forms and tags of templates are
tested through the pages that show them.
"""

import re
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
    "campaigns/queries/vehicle_answer.py": "tests/campaigns/api/test_vehicles.py",
    "dealership/domain/leases.py": "tests/dealership/domain/test_jobs.py",
    "dealership/documents/workbooks.py": (
        "every spreadsheet of tests/dealership/documents/test_tabular.py"
    ),
    "vehicles/domain/batch.py": "tests/vehicles/domain/test_merging.py",
    "inventory/domain/sending.py": "tests/inventory/views/test_orders.py",
    "inventory/views/places.py": (
        "links of each page: tests/inventory/views/test_parts.py"
    ),
    "campaigns/queries/curve.py": ("by hand in tests/campaigns/domain/test_reports.py"),
    "campaigns/queries/idle.py": (
        "beside a slow reading in tests/campaigns/queries/test_demand.py"
    ),
    "campaigns/queries/records.py": (
        "beside a slow reading in tests/campaigns/queries/test_demand.py"
    ),
    "campaigns/queries/touched.py": (
        "runs over all stores in tests/campaigns/domain/test_reckoning.py"
    ),
    "campaigns/queries/plans.py": (
        "every count of tests/campaigns/queries/test_demand.py, on PostgreSQL too"
    ),
    "campaigns/queries/uses.py": (
        "beside a slow reading in tests/campaigns/queries/test_demand.py"
    ),
    "campaigns/domain/remedies_entry.py": "tests/campaigns/views/test_remedy.py",
    "campaigns/domain/vin_lists.py": "tests/campaigns/views/test_vin_list.py",
    "campaigns/views/criteria.py": "tests/campaigns/views/test_matching.py",
    "campaigns/views/places.py": (
        "links of each page: tests/campaigns/views/test_campaigns.py"
    ),
    "campaigns/queries/account_rows.py": "tests/campaigns/queries/test_account.py",
    "campaigns/queries/account_bills.py": "tests/campaigns/queries/test_account.py",
    "campaigns/queries/account_papers.py": "tests/campaigns/queries/test_account.py",
    "campaigns/queries/account_pieces.py": "tests/campaigns/queries/test_account.py",
    "campaigns/documents/holding.py": "tests/campaigns/views/test_holding.py",
    "campaigns/views/money_places.py": (
        "links of each page: tests/campaigns/views/test_proofs.py"
    ),
    "campaigns/tasks/proving.py": "tests/campaigns/domain/test_proving.py",
    "campaigns/tasks/lapsing.py": "run with the job: tests/inventory/test_tasks.py",
    "campaigns/tasks/matching.py": (
        "its jobs run in tests/campaigns/views/test_matching.py and"
        " tests/campaigns/views/test_vin_list.py"
    ),
}


def modules():
    for app in APPS:
        for floor in FLOORS:
            yield from sorted((ROOT / app / floor).glob("*.py"))


def taken_by_name():
    """Give all that tests import, as text."""
    return "\n".join(
        test.read_text(encoding="utf-8") for test in (ROOT / "tests").rglob("test_*.py")
    )


def untested():
    imports = taken_by_name()
    for module in modules():
        name = module.relative_to(ROOT).as_posix()
        test = ROOT / "tests" / Path(name).parent / f"test_{module.name}"
        if module.name == "__init__.py" or test.exists():
            continue
        if any(name.startswith(one) for one in ELSEWHERE if one.endswith("/")):
            continue
        if module.parent.name in {"forms", "templatetags"}:
            continue
        package = name.rpartition("/")[0].replace("/", ".")
        by_name = (
            rf"from {package}(\.{module.stem} import| import [^\n]*\b{module.stem}\b)"
        )
        if re.search(by_name, imports):
            continue
        if name not in ELSEWHERE:
            yield name


def test_each_module_has_its_test():
    assert list(untested()) == []


@pytest.mark.parametrize("name", ELSEWHERE)
def test_the_exceptions_still_stand(name):
    assert (ROOT / name).exists()
    for test in re.findall(r"tests/[\w/]+\.py", ELSEWHERE[name]):
        assert (ROOT / test).exists()


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
        "tests/campaigns/queries/test_account_verbs.py",
        "tests/inventory/domain/test_books_machine.py",
        "tests/inventory/forecasting/test_published_policies.py",
        "tests/inventory/forecasting/test_worked_screen.py",
        "tests/vehicles/tasks/test_tasks.py",
    }
    assert set(lost) - allowed == set()
