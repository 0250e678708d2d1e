"""Pages keep to the content security policy and to their first sentence."""

import re
from pathlib import Path

import pytest


ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
# Laid out for paper by WeasyPrint, or sent as they are: no policy reads them.
PAPER = ("letters/", "paper/", "pdf/")
PAGES = [
    page
    for page in TEMPLATES
    if '{% extends "base.html" %}' in page.read_text(encoding="utf-8")
    and "base" not in page.stem  # a frame that other pages fill
]


def name(page):
    return page.relative_to(ROOT / "templates").as_posix()


@pytest.mark.parametrize("page", TEMPLATES, ids=name)
def test_nothing_is_styled_or_scripted_in_line(page):
    text = re.sub(r"{#.*?#}", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)

    if not name(page).startswith(PAPER) and "css/paper.css" not in text:
        assert not re.search(r"<style|\sstyle\s*=", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"<[a-z][^>]*\son[a-z]+\s*=", text)


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_each_page_has_a_name_and_opens_with_a_sentence(page):
    text = page.read_text(encoding="utf-8")

    assert "{% block title %}" in text
    assert "{% block sentence %}" in text


@pytest.mark.parametrize("page", TEMPLATES, ids=name)
def test_nobody_is_shouted_at(page):
    words = re.sub(r"<!.*?>|{[{%#].*?[}%#]}|<[^>]*>", "", page.read_text("utf-8"))

    assert "!" not in words
