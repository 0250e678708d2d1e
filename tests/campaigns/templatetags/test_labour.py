"""Hours in templates."""

import pytest
from django.template import Context, Template


@pytest.mark.parametrize(
    ("time", "words"), [(None, "0.00"), (80, "0.80"), (1_250, "12.50")]
)
def test_hundredths_become_hours(time, words):
    template = Template("{% load labour %}{{ time|hours }}")

    assert template.render(Context({"time": time})) == words
