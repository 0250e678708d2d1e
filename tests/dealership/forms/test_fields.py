import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from dealership.forms.fields import MoneyField, PercentField


@given(st.integers(min_value=0, max_value=10**12))
def test_a_sum_shown_and_read_again_is_the_same(cents):
    field = MoneyField()

    assert field.clean(field.prepare_value(cents)) == cents


@pytest.mark.parametrize(
    ("text", "cents"), [("$1,234.50", 123_450), ("12", 1_200), ("USD 0.05", 5)]
)
def test_a_sum_may_be_written_as_people_do(text, cents):
    assert MoneyField().clean(text) == cents


def test_a_sum_in_another_currency_is_refused_in_the_rule_s_own_words():
    with pytest.raises(ValidationError) as refused:
        MoneyField(currency="USD").clean("€ 5")

    assert refused.value.messages == ["“€ 5” is in EUR, but this store counts in USD."]


def test_an_empty_sum_is_none_only_where_it_may_be_empty():
    assert MoneyField(required=False).clean("") is None
    with pytest.raises(ValidationError):
        MoneyField().clean("")


@given(st.integers(min_value=0, max_value=10_000))
def test_a_share_shown_and_read_again_is_the_same(hundredths):
    field = PercentField()

    assert field.clean(field.prepare_value(hundredths)) == hundredths


@pytest.mark.parametrize(
    ("text", "hundredths"), [("30", 3_000), ("12.5 %", 1_250), ("100%", 10_000)]
)
def test_a_share_may_be_written_with_its_sign(text, hundredths):
    assert PercentField().clean(text) == hundredths


@pytest.mark.parametrize(
    "text", ["-1", "100.01", "0.001", "much", "NaN", "Infinity", "1e999"]
)
def test_what_is_no_share_is_refused(text):
    with pytest.raises(ValidationError):
        PercentField().clean(text)
