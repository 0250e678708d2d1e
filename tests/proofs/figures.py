"""What a run of the mutants has shown: kept, judged, and written into the page."""

import datetime as dt
import json
import os
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.proofs.mutants import ROOT, Mutant
from tests.proofs.survivors import WHY


FIGURES = Path(os.environ.get("MENDROLL_DATA") or tempfile.gettempdir())
PAGE = ROOT / "docs" / "algorithms" / "ledger.md"
BEGIN, END = "<!-- mutants: begin -->", "<!-- mutants: end -->"
LEAST = 90
"""Of a hundred mutants, so many must be seen by a test."""


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What became of one mutant: the test that failed, or nothing."""

    mutant: Mutant
    killed_by: str
    tests: int

    @property
    def killed(self) -> bool:
        """Tell whether anything saw it."""
        return bool(self.killed_by)


class Run:
    """The verdicts of a run, kept in a file between its two databases."""

    path = FIGURES / "mutants.json"

    @classmethod
    def read(cls, path: Path | None = None) -> list[Verdict]:
        """Give the verdicts so far; none where there is no file."""
        path = path or cls.path
        if not path.exists():
            return []
        return [
            Verdict(**{**one, "mutant": Mutant(**one["mutant"])})
            for one in json.loads(path.read_text(encoding="utf-8"))
        ]

    @classmethod
    def forget(cls) -> None:
        """Begin anew."""
        cls.path.unlink(missing_ok=True)


def page_of(verdicts: list[Verdict], on: dt.date) -> str:
    """Write the table of the modules and the list of what survives, with its reason."""
    every = Counter(one.mutant.module for one in verdicts)
    killed = Counter(one.mutant.module for one in verdicts if one.killed)
    share = 100 * killed.total() / every.total()
    command = "./mendroll prove mutants --size full"
    lines = [
        f"{killed.total()} of {every.total()} killed, {share:.1f} of a hundred.",
        f"Run on {on.isoformat()} by `{command}`.",
        "",
        "| module | mutants | killed |",
        "|---|---|---|",
        *(f"| `{name}` | {n} | {killed[name]} |" for name, n in every.items()),
        "",
        "What survives, and why:",
        "",
    ]
    alive = [one.mutant for one in verdicts if not one.killed]
    for one in alive:
        why = WHY.get(one.name, "no reason is known")
        lines.append(
            f"- `{one.function}` in `{one.module}`: `{one.was}` for `{one.now}`. {why}"
        )
    return "\n".join(lines)


def write_mutants(verdicts: list[Verdict], *, into_the_page: bool) -> int:
    """Tell the figures; gives 1 where too many survive, or one without a reason."""
    text = page_of(verdicts, dt.datetime.now(tz=dt.UTC).date())
    print(text)
    if into_the_page:
        page = PAGE.read_text(encoding="utf-8")
        head, _begin, rest = page.partition(BEGIN)
        _old, _end, tail = rest.partition(END)
        new = f"{head}{BEGIN}\n{text}\n{END}{tail}"
        PAGE.write_text(new, encoding="utf-8")
    killed = sum(one.killed for one in verdicts)
    unknown = [
        one.mutant.name
        for one in verdicts
        if not one.killed and one.mutant.name not in WHY
    ]
    for name in unknown:
        print(f"No reason is known why this survives: {name}")
    return 1 if unknown or 100 * killed < LEAST * len(verdicts) else 0
