"""The house's closed lists, found where they stand: states, moves, words.

Found by looking through the modules of each app, so that a new list cannot be
forgotten, and so that this lowest app need not import the ones above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import TYPE_CHECKING, Any

from django.apps import apps


if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from types import ModuleType

APPS = ("dealership", "vehicles", "inventory", "campaigns")


@dataclass(frozen=True)
class ClosedList:
    """One enumeration of an app, its words, and its table of moves if it has one."""

    app: str
    members: type[StrEnum]
    words: Mapping[StrEnum, Any]
    moves: Mapping[StrEnum, frozenset[StrEnum]] | None

    @property
    def is_state(self) -> bool:
        """Tell whether rows move from one of its members to another."""
        return self.members.__name__.endswith("State")


@cache
def closed_lists() -> tuple[ClosedList, ...]:
    """Give every enumeration of the apps' rules, in the order of apps and names."""
    found = []
    for app in APPS:
        rules = list(_modules(f"{app}.rules"))
        models = list(_modules(f"{app}.models"))
        for members in _enums(rules):
            tables = list(_tables_of(members, [*rules, *models]))
            moves = [table for table in tables if _holds_sets(table)]
            words = [table for table in tables if not _holds_sets(table)]
            found.append(
                ClosedList(
                    app=app,
                    members=members,
                    words=words[0] if words else {},
                    moves=moves[0] if moves else None,
                )
            )
    return tuple(found)


def _modules(package: str) -> Iterator[ModuleType]:
    root = import_module(package)
    for found in iter_modules(root.__path__):
        yield import_module(f"{package}.{found.name}")


def _enums(modules: list[ModuleType]) -> list[type[StrEnum]]:
    """Give the enumerations that these modules define, by name."""
    found = {
        value.__name__: value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, type)
        and issubclass(value, StrEnum)
        and value.__module__ == module.__name__
    }
    return [found[name] for name in sorted(found)]


def _tables_of(
    members: type[StrEnum], modules: list[ModuleType]
) -> Iterator[Mapping[StrEnum, Any]]:
    """Give the module-level tables whose keys are members of an enumeration."""
    for module in modules:
        for name, value in sorted(vars(module).items()):
            if (
                name.isupper()
                and isinstance(value, dict)
                and value
                and all(isinstance(key, members) for key in value)
                and name.strip("_").endswith(("_WORDS", "MOVES"))
            ):
                yield value


def _holds_sets(table: Mapping[StrEnum, Any]) -> bool:
    return all(isinstance(value, frozenset) for value in table.values())


def own_models() -> list[type[Any]]:
    """Give every model of the house's own apps."""
    return [model for app in APPS for model in apps.get_app_config(app).get_models()]
