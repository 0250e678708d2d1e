"""Words that have no place in this repository, and addresses of one machine."""

import re
import subprocess
from pathlib import Path

import pytest


ROOT = Path(__file__).resolve().parents[2]
SELF = Path(__file__).name
# Written in halves so that this file does not fail itself elsewhere.
PAPERS = ("DESIGN", "MATHS", "REFERENCE", "STYLE", "STACK", "LOOK", "PERF")
FORBIDDEN = {
    "a paper that is not in the repository": rf"\b({'|'.join(PAPERS)})\.md\b",
    "a folder that is not in the repository": r"(?<![\w/])shared/[A-Z]",
    "the way the work was told": r"\b(transcripts?|voice recording|the brief)\b",
    "an issue by number": r"\bissue #?\d+\b",
    "a helper of another kind": r"\b(as an AI|AI assistant|language model|ChatGPT)\b",
    "a path of one machine": r"/work/main|/root/\.|/home/\w+/",
    "work left undone": r"\b(TODO|FIXME|XXX)\b(?! \w{2,3}\d)",
}
# What may hold anything: locks, binary and generated files.
SKIPPED = re.compile(r"(\.lock|\.png|\.svg|\.woff2?|\.ico|\.xlsx)$")


def tracked():
    told = subprocess.run(
        ["git", "ls-files", "-z"],  # noqa: S607 (git of the machine)
        cwd=ROOT,
        capture_output=True,
        check=False,
    )
    names = told.stdout.decode().split("\0")
    return [
        name
        for name in names
        if name and not SKIPPED.search(name) and Path(name).name != SELF
    ]


FILES = tracked()


@pytest.mark.skipif(not FILES, reason="not a git checkout: nothing to look through")
@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_holds(what):
    found = []
    for name in FILES:
        path = ROOT / name
        if not path.is_file():
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        found += [
            f"{name}: {match.group()}" for match in re.finditer(FORBIDDEN[what], text)
        ]

    assert found == []


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a paper that is not in the repository", "see MATHS" + ".md"),
        ("an issue by number", "as issue " + "12 says"),
        ("a path of one machine", "/work/" + "main/x"),
        ("work left undone", "TO" + "DO later"),
    ],
)
def test_the_look_through_sees_what_it_looks_for(what, text):
    assert re.search(FORBIDDEN[what], text)


@pytest.mark.skipif(not FILES, reason="not a git checkout: nothing to look through")
def test_a_seed_is_one_of_random_numbers():
    strange = [
        name
        for name in FILES
        if (ROOT / name).is_file()
        and re.search(
            r"(?i)\bseeds?\b", text := (ROOT / name).read_text("utf-8", "replace")
        )
        and not re.search(r"(?i)random|hypothesis|--seed|numpy|demo", text)
    ]

    assert strange == []
