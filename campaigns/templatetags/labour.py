"""How the time of work and its skills are written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template

from campaigns.queries.room import hours_of
from campaigns.queries.room import skill_words as words_of_skill


if TYPE_CHECKING:
    from campaigns.rules.room import Skill

register = template.Library()


@register.filter
def hours(hundredths: int | None) -> str:
    """Write hundredths of an hour as hours: 80 gives 0.80; None gives 0.00."""
    return hours_of(hundredths or 0)


@register.filter
def skill_words(skill: Skill | None) -> str:
    """Name a skill; nothing for a workshop whose hours are one pool."""
    return words_of_skill(skill)


@register.filter
def unlocalized(number: int) -> str:
    """Write a whole number as programs read it, without marks between digits."""
    return str(number)
