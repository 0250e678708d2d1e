"""The page of promises names only constraints, columns, tables and tests that exist."""

import re
from pathlib import Path

import pytest
from django.apps import apps

from dealership.queries.tables import APPS, own_models
from tests.conftest import append_only_tables


ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "invariants.md").read_text(encoding="utf-8")
HEAD, *PROMISES = re.split(r"^## ", PAGE, flags=re.MULTILINE)
TEST = re.compile(r"tests/[\w/]+\.py::test_\w+")
KEPT = re.compile(r"^- Kept by.*?(?=^- |\Z)", re.MULTILINE | re.DOTALL)


def names_in(text):
    return re.findall(r"`([^`]+)`", text)


def constraints():
    return {one.name for model in own_models() for one in model._meta.constraints}


def is_unique_column(name):
    app, model, column = name.split(".")
    return apps.get_model(app, model)._meta.get_field(column).unique


def exists(name):
    """Tell whether a name of the page stands for something of the house."""
    if "::" in name:
        path, _colons, test = name.partition("::")
        file = ROOT / path
        return file.exists() and f"\ndef {test}(" in file.read_text(encoding="utf-8")
    if "/" in name:
        return (ROOT / name).exists()
    if name.partition(".")[0] in APPS:
        return is_unique_column(name)
    return name in constraints() or name in append_only_tables()


def title(promise):
    return promise.splitlines()[0]


def test_there_are_eleven_in_order():
    assert [title(one).partition(".")[0] for one in PROMISES] == [
        str(number) for number in range(1, 12)
    ]


@pytest.mark.parametrize("promise", PROMISES, ids=title)
def test_each_names_what_keeps_it_and_what_tries_it(promise):
    kept = KEPT.search(promise)
    assert kept is not None
    assert names_in(kept[0]) != []
    assert TEST.findall(promise) != []


@pytest.mark.parametrize("name", [n for one in PROMISES for n in names_in(one)])
def test_each_name_stands_for_something(name):
    assert exists(name)


@pytest.mark.parametrize("name", TEST.findall(HEAD))
def test_the_tests_above_the_list_are_there(name):
    assert exists(name)


def test_every_table_that_is_only_added_to_is_named():
    third = PROMISES[2]
    assert {name for name in names_in(third) if name in append_only_tables()} == set(
        append_only_tables()
    )


@pytest.mark.parametrize(
    "name",
    [
        "one_row_per_nothing",
        "campaigns.Visit.store",
        "tests/house/test_invariants.py::test_that_is_not_there",
        "docs/nowhere.md",
    ],
)
def test_a_name_for_nothing_is_seen(name):
    assert not exists(name)
