"""Words and figures as pages show them."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.utils import timezone, translation

from dealership.templatetags import formats


TODAY = date(2026, 3, 9)


# Patterns of currency and percentage: Unicode CLDR, through Babel.
@pytest.mark.parametrize(
    ("cents", "currency", "shown"),
    [
        pytest.param(123450, "USD", "$1,234.50", id="dollars"),
        pytest.param(-300, "USD", "−$3.00", id="below-zero"),  # noqa: RUF001 -- U+2212 is meant
        pytest.param(5, "EUR", "€0.05", id="euro-cents"),
        pytest.param(0, "USD", "$0.00", id="zero"),
        pytest.param(None, "USD", "\N{EN DASH}", id="unknown"),
        pytest.param(9_999_999_999_999, "USD", "$99,999,999,999.99", id="largest"),
    ],
)
def test_money(cents, currency, shown):
    assert formats.money(cents, currency) == shown


def test_money_follows_the_language_of_the_page():
    with translation.override("de"):
        assert formats.money(123450, "EUR").replace("\xa0", " ") == "1.234,50 €"


def test_plain_money_has_no_currency():
    assert [formats.plain_money(c) for c in (123450, -1, None)] == [
        "1,234.50",
        "\N{MINUS SIGN}0.01",
        "\N{EN DASH}",
    ]


def test_quantity_and_share():
    assert formats.qty(12480) == "12,480"
    assert formats.qty(-3) == "\N{MINUS SIGN}3"
    assert formats.qty(None) == "\N{EN DASH}"
    assert formats.percent(Decimal("0.204")) == "20.4%"
    assert formats.percent(1) == "100%"
    assert formats.percent(None) == "\N{EN DASH}"


# ISO 8601-1, calendar date, extended format.
def test_iso_day():
    assert formats.iso(TODAY) == '<time datetime="2026-03-09">2026-03-09</time>'
    assert formats.iso(None) == "\N{EN DASH}"


def test_iso_moment_is_local():
    moment = datetime(2026, 1, 2, 3, 4, tzinfo=UTC)

    with timezone.override("America/Chicago"):
        shown = formats.iso(moment)

    assert shown == '<time datetime="2026-01-01T21:04-06:00">2026-01-01 21:04</time>'


def test_long_day():
    assert formats.long_day(TODAY) == "Mon 9 Mar 2026"
    assert formats.long_day(None) == "\N{EN DASH}"


@pytest.mark.parametrize(
    ("day", "words"),
    [
        pytest.param(date(2026, 3, 9), "today", id="today"),
        pytest.param(date(2026, 3, 10), "tomorrow", id="tomorrow"),
        pytest.param(date(2026, 3, 15), "in 6 days", id="ahead"),
        pytest.param(date(2026, 3, 8), "1 day over", id="one-over"),
        pytest.param(date(2026, 3, 6), "3 days over", id="over"),
        pytest.param(None, "\N{EN DASH}", id="none"),
    ],
)
def test_day_words(day, words):
    assert formats.day_words(day, TODAY) == words


# ISO 3779: 3 figures for the maker, 6 that describe, 8 that tell apart.
def test_vin_is_grouped_and_copies_as_one_word():
    shown = formats.vin("1ZZAB34C5D6789012")

    assert shown == (
        '<span class="vin" translate="no">1ZZ<span>AB34C5</span>'
        '<span class="vin-last">D6789012</span></span>'
    )


def test_a_vin_of_another_length_is_shown_whole_and_escaped():
    assert formats.vin("<b>") == '<span class="vin">&lt;b&gt;</span>'
    assert formats.vin("") == "\N{EN DASH}"


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({}, "\N{EN DASH}"),
        (None, "\N{EN DASH}"),
        ({"state": "open", "cents": 5}, "state open, cents 5"),
        (
            {"involved": 9, "by_category": {"remedied": 3, "open": 6}},
            "involved 9, by category (remedied 3, open 6)",
        ),
        (
            {"lines": ["a", "b"], "gone": True, "kept": False},
            "lines a, b, gone yes, kept no",
        ),
        ({"on": None}, "on \N{EN DASH}"),
    ],
)
def test_facts_of_the_trail_are_words(facts, words):
    assert formats.trail_facts(facts) == words
