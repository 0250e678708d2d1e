"""Components keep the address, say their state in words, and escape what they show."""

import re
from datetime import date
from pathlib import Path

import pytest
from django import forms
from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.core.paginator import Paginator
from django.template import Context, Template, TemplateSyntaxError
from django.template.loader import get_template, render_to_string

from dealership.templatetags.components import TONE_OF_VALUE, TONES


TODAY = date(2026, 3, 9)


def rendered(source, request=None, **facts):
    context = Context({"request": request, "today": TODAY, **facts})
    return Template("{% load components formats i18n %}" + source).render(context)


def text_of(html):
    return " ".join(re.sub(r"<[^>]*>", " ", html).split())


class Receipt(forms.Form):
    key = forms.CharField(widget=forms.HiddenInput)
    quantity = forms.IntegerField(
        label="Arrived, pieces", help_text="Damaged ones too."
    )
    remark = forms.CharField(label="Remark", required=False)


class PartFilter(forms.Form):
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("short", "Short"), ("enough", "Enough")],
    )
    late = forms.BooleanField(label="Only with a deadline", required=False)
    sort = forms.CharField(required=False)


def test_sort_head_keeps_the_filter_turns_round_and_starts_at_the_first_page(rf):
    request = rf.get("/parts/?state=short&sort=free&page=3")

    html = rendered('{% sort_head "free" "Free" number=True %}', request)

    assert 'aria-sort="ascending"' in html
    assert 'href="?state=short&amp;sort=-free"' in html


def test_sort_head_of_another_column_is_not_sorted(rf):
    html = rendered('{% sort_head "name" "Name" %}', rf.get("/parts/?sort=-free"))

    assert "aria-sort" not in html
    assert 'href="?sort=name"' in html


def test_pages_keep_the_address_and_say_how_many(rf):
    page = Paginator(range(60), 25).page(2)

    html = rendered("{% pages page %}", rf.get("/parts/?sort=free&page=2"), page=page)

    assert re.findall(r'href="([^"]*)"', html) == [
        "?sort=free&amp;page=1",
        "?sort=free&amp;page=1",
        "?sort=free&amp;page=3",
        "?sort=free&amp;page=3",
    ]
    assert text_of(html) == "Previous Page 1 2 Page 3 Next 26 to 50 of 60"


def test_one_page_needs_no_way_through():
    page = Paginator(range(3), 25).page(1)

    assert rendered("{% pages page %}", page=page).strip() == ""


def test_filter_is_said_in_words_and_each_part_can_be_dropped(rf):
    request = rf.get("/parts/?state=short&late=on&sort=free&page=2")
    form = PartFilter(request.GET)

    html = rendered("{% filter_words form %}", request, form=form)

    assert re.findall(r"<li>([^<]*)<a[^>]*href=\"([^\"]*)\"", html) == [
        ("State: Short", "?late=on&amp;sort=free"),
        ("Only with a deadline", "?state=short&amp;sort=free"),
    ]


def test_filter_parts_may_be_given_as_pairs(rf):
    request = rf.get("/vehicles/?line=A&built_min=2024")

    html = rendered(
        "{% filter_words parts %}", request, parts=[("built", "built from 2024")]
    )

    assert re.findall(r"<li>([^<]*)<a[^>]*href=\"([^\"]*)\"", html) == [
        ("built from 2024", "?line=A")
    ]


def test_filter_not_in_use_says_nothing(rf):
    form = PartFilter({})

    assert rendered("{% filter_words form %}", rf.get("/"), form=form).strip() == ""


@pytest.mark.parametrize(
    ("day", "mark", "words"),
    [
        pytest.param(date(2026, 3, 6), "over", "2026-03-06 3 days over", id="over"),
        pytest.param(date(2026, 3, 23), "soon", "2026-03-23 in 14 days", id="soon"),
        pytest.param(date(2026, 3, 24), "far", "2026-03-24 in 15 days", id="far"),
    ],
)
def test_deadline_has_a_shape_a_day_and_words(day, mark, words):
    html = rendered("{% deadline day %}", day=day)

    assert f"deadline-{mark}" in html
    assert "<svg" in html
    assert text_of(html) == words


def test_every_known_state_has_a_known_tone():
    assert set(TONE_OF_VALUE.values()) <= set(TONES)


def test_state_is_a_shape_and_an_escaped_word():
    html = rendered("{% state value word %}", value="paid", word="<Paid>")

    assert html.startswith('<span class="state state-done"><svg')
    assert "&lt;Paid&gt;" in html


def test_an_unknown_tone_is_our_own_mistake():
    with pytest.raises(TemplateSyntaxError, match="'loud' is none of"):
        rendered('{% mark "loud" "Word" %}')


def test_table_box_can_be_scrolled_by_keyboard_and_is_named_by_its_caption():
    html = rendered(
        '{% tablebox said id="t" %}<tbody></tbody>{% endtablebox %}', said="A < B"
    )

    assert 'role="region" aria-labelledby="t-caption" tabindex="0"' in html
    assert '<caption id="t-caption">A &lt; B</caption><tbody></tbody>' in html


def test_form_says_errors_on_top_with_a_link_and_beside_the_field():
    form = Receipt({"key": "k", "quantity": "many", "remark": ""})

    html = render_to_string(
        "components/form.html", {"form": form, "label": "Receive 40 pieces"}
    )

    assert '<a href="#id_quantity">Arrived, pieces: Enter a whole number.</a>' in html
    assert '<ul class="errors" id="id_quantity_error">' in html
    assert 'aria-describedby="id_quantity_helptext id_quantity_error"' in html
    assert 'aria-invalid="true"' in html
    assert 'value="many"' in html
    assert html.count('name="key"') == 1


def test_field_puts_label_then_hint_then_field():
    html = str(Receipt()["quantity"].as_field_group())

    order = [html.index(s) for s in ("<label", "id_quantity_helptext", "<input")]
    assert order == sorted(order)
    assert text_of(Receipt()["remark"].as_field_group()) == "Remark (optional)"


def test_caution_names_itself():
    html = rendered('{% caution "Air bag" %}<p>Wait.</p>{% endcaution %}')

    assert 'class="note note-caution" role="group" aria-label="Air bag"' in html
    assert "<p>Wait.</p>" in html


TEMPLATES = Path(settings.TEMPLATES[0]["DIRS"][0])
SOURCES = {
    str(file.relative_to(TEMPLATES)): file.read_text(encoding="utf-8")
    for file in sorted(TEMPLATES.rglob("*.html"))
}
# A sheet for the PDF engine is a document of its own; no browser's policy holds there.
FOR_BROWSERS = [
    name
    for name, source in SOURCES.items()
    if name in {"base.html", "errors/500.html"} or "<!doctype" not in source.lower()
]


@pytest.mark.parametrize("name", SOURCES)
def test_every_template_compiles(name):
    assert get_template(name).template.nodelist


@pytest.mark.parametrize("name", FOR_BROWSERS)
def test_pages_hold_nothing_that_the_content_policy_refuses(name):
    refused = r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+="

    assert re.findall(refused, SOURCES[name]) == []


def test_spare_codes_are_counted_in_words():
    html = render_to_string(
        "mfa/recovery_codes/index.html",
        {"unused_codes": ["11111111"], "total_count": 10, "user": AnonymousUser()},
    )

    assert "1 of 10 spare codes is left;" in text_of(html)
