"""Choices from enumerations, and the database's own check of them."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, TypeVar

from django.db import models


if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.utils.functional import _StrPromise


MemberT = TypeVar("MemberT", bound=StrEnum)


def choices_of(
    words: Mapping[MemberT, _StrPromise],
) -> list[tuple[str, _StrPromise]]:
    """Give (value, words) pairs in the table's order."""
    return [(str(member.value), label) for member, label in words.items()]


def known(field: str, members: type[StrEnum], name: str) -> models.CheckConstraint:
    """Make the database refuse a value outside the enumeration."""
    return models.CheckConstraint(
        condition=models.Q(**{f"{field}__in": [m.value for m in members]}), name=name
    )


def not_negative(field: str, name: str) -> models.CheckConstraint:
    """Make the database refuse a negative number."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__gte": 0}), name=name)
