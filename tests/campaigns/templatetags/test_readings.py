from decimal import Decimal

import pytest

from campaigns.templatetags.readings import measured


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (Decimal("39.500"), "39.5"),
        (Decimal("51.000"), "51"),
        (Decimal("100.000"), "100"),
        (Decimal("-0.125"), "-0.125"),
        (None, ""),
    ],
)
def test_measured(value, written):
    assert measured(value) == written
