"""The drawn pictures: sound SVG, the same facts as text, and readable on paper."""

import re
from datetime import date, timedelta
from xml.etree import ElementTree as ET

import pypdfium2
import pytest
from django.template import Context, Template
from weasyprint import HTML

from dealership.rules.pictures import FlagKind, RunwayFlag, RunwayPicture


MONDAY = date(2026, 3, 9)
COUNTS = [
    ("remedied", "remedied", 241, "/rows/"),
    ("inspected_clear", "inspected, no repair needed", 38),
    ("booked", "booked", 22),
    ("open", "open & <not> booked", 84),
    ("to_be_verified", "to be verified", 9),
    ("not_reachable", "not reachable", 0),
]


def runway_picture():
    return RunwayPicture(
        first_day=MONDAY,
        today=MONDAY,
        balance=(5, 3, 3, 43, 42, -1),
        bookings=(0, 2, 0, 0, 1, 43),
        deliveries=(0, 0, 0, 40, 0, 0),
        promise_line=(0, 0, 0, 0, 0, 0),
        risk_from=MONDAY + timedelta(days=4),
        flags=(
            RunwayFlag(
                day=MONDAY + timedelta(days=2),
                kind=FlagKind.CLAIM,
                words="claims until",
            ),
        ),
    )


def drawn(source, **facts):
    return Template("{% load pictures %}" + source).render(Context(facts))


def first_svg(html):
    ends = [html.index(end) for end in ("<ul", "<figcaption") if end in html]
    return ET.fromstring(html[html.index("<svg") : min(ends)])  # noqa: S314 -- our own drawing


def page_text(html):
    pdf = pypdfium2.PdfDocument(HTML(string=html).write_pdf())
    return pdf[0].get_textpage().get_text_bounded()


def test_bar_says_the_same_to_those_who_do_not_see_it():
    html = drawn("{% population_bar counts %}", counts=COUNTS)

    assert first_svg(html).find("desc").text == (
        "remedied 241, inspected, no repair needed 38, booked 22, "
        "open & <not> booked 84, to be verified 9"
    )
    assert first_svg(html).get("role") == "img"
    assert re.findall(r'<data value="(\d+)">', html) == [
        "241",
        "38",
        "22",
        "84",
        "9",
        "0",
    ]
    assert '<a href="/rows/">remedied' in html


def test_bar_stretches_reach_from_edge_to_edge():
    svg = first_svg(drawn("{% population_bar counts %}", counts=COUNTS))

    widths = [
        float(rect.get("width").rstrip("%"))
        for rect in svg.findall("rect")
        if rect.get("class") not in ("pop-edge", "pop-pattern")
    ]
    assert len(widths) == 5
    assert sum(widths) == pytest.approx(100, abs=0.01)


def test_small_bar_has_neither_figures_nor_list():
    html = drawn("{% population_bar counts small=True %}", counts=COUNTS)

    assert "<text" not in html
    assert "<ul" not in html


def test_two_pictures_on_a_page_share_no_id():
    html = drawn(
        "{% population_bar c %}{% population_bar c %}{% runway r %}",
        c=COUNTS,
        r=runway_picture(),
    )

    ids = re.findall(r' id="([^"]*)"', html)
    assert len(ids) == len(set(ids))


def test_bar_without_a_vehicle_says_so():
    svg = first_svg(drawn("{% population_bar counts %}", counts=[("open", "open", 0)]))

    assert svg.find("desc").text == "no vehicle"


def test_pictures_hold_no_inline_style():
    html = drawn("{% population_bar c %}{% runway r %}", c=COUNTS, r=runway_picture())

    assert "style=" not in html


def test_runway_is_said_in_words_and_days():
    html = drawn("{% runway picture %}", picture=runway_picture())

    assert first_svg(html).find("desc").text == (
        "5 free at the end of 9 Mar; 46 needed and 40 coming until 14 Mar. "
        "May run out from 13 Mar."
    )
    body = html.split("<tbody>")[1]
    cells = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", body)
    assert [re.sub("<[^>]*>", "", cell) for cell in cells] == [
        *("2026-03-10", "2", "0", "3", ""),
        *("2026-03-11", "0", "0", "3", "claims until"),
        *("2026-03-12", "0", "40", "43", ""),
        *("2026-03-13", "1", "0", "42", "may run out from here"),
        *("2026-03-14", "43", "0", "\N{MINUS SIGN}1", ""),
    ]


def test_bar_on_paper_shows_each_count():
    text = page_text(drawn("{% population_bar counts paper=True %}", counts=COUNTS))

    assert [n for n in ("241", "38", "22", "84", "9") if text.count(n) >= 2] == [
        "241",
        "38",
        "22",
        "84",
        "9",
    ]


def test_runway_on_paper_shows_today_deliveries_risk_and_flags():
    text = page_text(drawn("{% runway picture paper=True %}", picture=runway_picture()))

    words = ("today", "+40", "may run out from 13 Mar", "claims until 11 Mar")
    assert [word for word in words if word in text] == list(words)
