"""Prove the books again, small or in full, on SQLite and then on PostgreSQL.

``./mendroll prove NAME --size small|full`` calls this with servers at hand. NAME is
``machine`` (any history against slow books), ``crowd`` (many hands at one shelf),
``kills`` (processes killed in the middle of an act) or ``mutants`` (faults in the
ledger that a test must see; in full it renews the list in docs/algorithms/ledger.md).
"""

import argparse
import os
import subprocess
import sys

from tests.proofs.figures import FIGURES, Run, write_mutants
from tests.proofs.mutants import ROOT


TESTS = {
    "machine": ["tests/inventory/domain/test_books_machine.py"],
    "crowd": ["tests/proofs/test_crowd_and_kills.py", "-k", "crowd"],
    "kills": ["tests/proofs/test_crowd_and_kills.py", "-k", "killed"],
}


def environment(size: str, *, on_postgres: bool) -> dict[str, str]:
    """Say to the tests how much and on which database."""
    return {
        **os.environ,
        "MENDROLL_PROOF_SIZE": size,
        "MENDROLL_TEST_ON_POSTGRES": "1" if on_postgres else "",
    }


def prove(name: str, size: str) -> int:
    """Run one proof on both databases; gives the exit code."""
    codes = []
    for on_postgres in (False, True):
        if name == "mutants":
            words = ["-m", "tests.proofs.mutation", str(FIGURES / "mutants.json"), size]
        else:
            words = ["-m", "pytest", "-q", "-s", *TESTS[name]]
            words += ["--hypothesis-profile=long"] if size == "full" else []
        env = environment(size, on_postgres=on_postgres)
        run = subprocess.run([sys.executable, *words], cwd=ROOT, env=env, check=False)  # noqa: S603 (our own words)
        codes.append(run.returncode)
    if name == "mutants" and not any(codes):
        codes.append(write_mutants(Run.read(), into_the_page=size == "full"))
    return max(codes)


def main(words: list[str]) -> int:
    """Answer the command line."""
    parser = argparse.ArgumentParser(prog="./mendroll prove")
    parser.add_argument("name", choices=(*TESTS, "mutants"))
    parser.add_argument("--size", choices=("small", "full"), default="small")
    options = parser.parse_args(words)
    if options.name == "mutants":
        Run.forget()
    return prove(options.name, options.size)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
