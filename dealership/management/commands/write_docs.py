"""Write docs/states.md and docs/roles.md from the tables that the code reads."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import override

from dealership.models.staff import ROLE_WORDS
from dealership.queries.tables import APPS, ClosedList, closed_lists
from dealership.rules.roles import ROLE_CAPABILITIES, Capability, Role


if TYPE_CHECKING:
    from argparse import ArgumentParser
    from collections.abc import Iterable, Iterator

WRITTEN = "Written by `manage.py write_docs` from the code; do not edit by hand."


def states_page() -> str:
    """Write every list of states with its words and moves."""
    lines = ["# States", "", WRITTEN, ""]
    lists = [one for one in closed_lists() if one.is_state]
    for app in APPS:
        lines += [f"## {app}", ""]
        for one in lists:
            if one.app == app:
                lines += _state_section(one)
    return "\n".join(lines).rstrip() + "\n"


def _state_section(one: ClosedList) -> Iterator[str]:
    yield f"### {one.members.__name__}"
    yield ""
    yield inspect.cleandoc(one.members.__doc__ or "")
    yield ""
    yield from _table(["state", "in words", "may become"], _state_rows(one))
    if one.moves is not None:
        yield "```mermaid"
        yield "stateDiagram-v2"
        for before in one.members:
            for after in one.members:
                if after in one.moves[before]:
                    yield f"  {before.value} --> {after.value}"
        yield "```"
        yield ""


def _state_rows(one: ClosedList) -> Iterator[list[str]]:
    for member in one.members:
        after = one.moves[member] if one.moves is not None else None
        if after is None:
            words = "as its act says"
        else:
            words = ", ".join(s.value for s in one.members if s in after) or "its end"
        yield [f"`{member.value}`", str(one.words.get(member, member.value)), words]


def roles_page() -> str:
    """Write who may do what."""
    said = (
        "A person has posts: a role in a store. A page asks for one capability, in the"
        " store that is chosen."
    )
    lines = ["# Roles", "", WRITTEN, "", said, ""]
    head = ["may", *(str(ROLE_WORDS[role]) for role in Role)]
    rows = (
        [
            capability.value.replace("_", " "),
            *("yes" if capability in ROLE_CAPABILITIES[role] else "" for role in Role),
        ]
        for capability in Capability
    )
    lines += _table(head, rows)
    return "\n".join(lines).rstrip() + "\n"


def _table(head: list[str], rows: Iterable[list[str]]) -> Iterator[str]:
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"
    yield ""


def pages() -> dict[str, str]:
    """Give the text of each page by its name."""
    with override("en"):
        return {"states.md": states_page(), "roles.md": roles_page()}


class Command(BaseCommand):
    """Write the pages, or tell which are out of step."""

    help = __doc__

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take ``--check``."""
        parser.add_argument(
            "--check",
            action="store_true",
            help="change nothing; exit 1 when a page is out of step",
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ANN401 (Django's)
        """Write or check each page."""
        del args
        folder = Path(settings.ROOT) / "docs"
        stale = []
        for name, text in pages().items():
            page = folder / name
            if page.exists() and page.read_text(encoding="utf-8") == text:
                continue
            stale.append(name)
            if not options["check"]:
                page.write_text(text, encoding="utf-8")
        if stale and options["check"]:
            raise CommandError(
                f"Out of step with the code: {', '.join(stale)}."
                " Run manage.py write_docs and commit what it writes."
            )
        self.stdout.write(f"Written: {', '.join(stale) or 'nothing; all in step'}.")
