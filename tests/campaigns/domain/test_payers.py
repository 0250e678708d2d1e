"""How a manufacturer rounds, on claims made from real repairs."""

import pytest

from campaigns.domain.payers import set_payer
from campaigns.models import Claim, PayerTerms
from campaigns.queries.payers import agreement_of, profile_of, terms_of
from campaigns.rules.holding import Terms
from dealership.models import AuditEntry
from dealership.rules.money import STANDARD_PROFILE, RoundedOn, Rounding
from dealership.rules.roles import Role
from tests.campaigns.domain.shop import Shop
from tests.campaigns.domain.test_holding import AGREED
from tests.factories.campaigns import VariantLabourFactory
from tests.factories.dealership import NOW, StoreFactory, make_staff


pytestmark = pytest.mark.django_db


def set_for(shop, **facts):
    set_payer(
        supplier=shop.campaign.supplier,
        store=shop.store,
        facts=AGREED | facts,
        by=make_staff(Role.ADMINISTRATOR, shop.store),
        at=NOW,
    )


def claimed(shop):
    claim = Claim.objects.get(repair=shop.complete())
    return [line.claimed_cents for line in claim.lines.order_by("pk")]


@pytest.mark.parametrize(
    ("rounding", "cents"), [(Rounding.HALF_UP, 2_373), (Rounding.HALF_EVEN, 2_372)]
)
def test_half_a_cent_goes_as_the_payer_says(rounding, cents):
    """18.25 x 1.30 = 23.725; half up by Reg. (EC) 1103/97, art. 5."""
    shop = Shop(pieces_each=1, hundredths=0)
    shop.shelf(2)
    set_for(shop, rounding=rounding)
    assert claimed(shop) == [cents]


def test_lines_add_up_to_a_total_that_is_rounded_once():
    """By hand: 23.725 and twice 0.01 h x 142.50 = 1.425 are 26.575, so 26.58.

    Rounded by line it would be 23.73 + 1.43 + 1.43 = 26.59 (EN 16931, BR-CO-10).
    """
    shop = Shop(pieces_each=1, hundredths=1)
    VariantLabourFactory.create(
        variant=shop.variant, hundredths_of_hour=1, payer=shop.payer
    )
    shop.shelf(4)
    assert claimed(shop) == [2_373, 143, 143]
    set_for(shop, rounded_on=RoundedOn.TOTAL)
    assert sum(claimed(shop)) == 2_658


def test_nothing_set_is_the_standard_and_what_the_act_says():
    shop = Shop()
    assert profile_of(shop.campaign.supplier_id) == STANDARD_PROFILE
    assert terms_of(agreement_of(shop.store, shop.campaign.supplier)) == Terms()


def test_the_rounding_is_for_all_stores_the_agreement_for_one():
    shop = Shop()
    set_for(shop, rounding=Rounding.HALF_EVEN, grace_days=30)
    set_for(shop, rounding=Rounding.HALF_EVEN, grace_days=30)
    supplier = shop.campaign.supplier
    assert profile_of(supplier.pk).rounding is Rounding.HALF_EVEN
    assert agreement_of(shop.store, supplier).grace_days == 30
    assert agreement_of(StoreFactory.create(), supplier).grace_days == 0
    assert PayerTerms.objects.count() == 1
    acts = AuditEntry.objects.filter(act="payer.changed")
    assert [
        (one.after.get("grace_days"), one.store) for one in acts.order_by("pk")
    ] == [
        (None, None),
        (30, shop.store),
    ]
