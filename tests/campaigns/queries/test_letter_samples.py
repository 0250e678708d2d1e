"""A letter to nobody: of a real campaign where there is one, else invented."""

import pytest

from campaigns.queries.letter_samples import (
    draft_of,
    lay_out_sample,
    sample_campaign,
    sample_letter,
)
from campaigns.queries.letters import shipped_row
from campaigns.rules.letter_check import check_letter
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind
from tests.factories.campaigns import CampaignFactory
from tests.factories.dealership import TODAY, StoreFactory


pytestmark = pytest.mark.django_db


def sample(posted_by=PostedBy.STORE, language="en"):
    text = shipped_row(CampaignClass.SAFETY, RoundKind.FIRST, posted_by, language)
    campaign = sample_campaign(CampaignClass.SAFETY)
    return sample_letter(text, campaign, StoreFactory.create())


def test_takes_the_newest_running_campaign_of_the_class():
    CampaignFactory.create(state="closed")
    CampaignFactory.create(campaign_class=CampaignClass.EMISSIONS)
    newest = CampaignFactory.create()

    assert sample_campaign(CampaignClass.SAFETY) == newest
    assert sample_campaign(CampaignClass.SERVICE_ACTION).pk is None


@pytest.mark.parametrize("posted_by", PostedBy)
@pytest.mark.parametrize("language", ["en", "es"])
def test_an_invented_campaign_makes_a_sound_letter(posted_by, language):
    letter = sample(posted_by, language)

    assert {one.severity for one in check_letter(draft_of(letter))} <= {"warn"}
    pages = lay_out_sample(letter, day=TODAY).pages
    assert pages == (1 if posted_by is PostedBy.STORE else 2)
