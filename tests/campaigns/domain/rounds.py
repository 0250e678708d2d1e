"""Rounds of letters for tests: open vehicles with owners, and letters to them."""

import datetime as dt

from campaigns.domain import letters
from campaigns.models import Letter, LetterRound, LetterText
from campaigns.rules.lifecycle import RoundKind, RoundState
from dealership.rules.roles import Role
from tests.factories.campaigns import CampaignVehicleFactory
from tests.factories.dealership import NOW, TODAY, make_staff
from tests.factories.shelves import campaign_with_remedy
from tests.factories.vehicles import AddressFactory, TenureFactory, VehicleFactory


def owned(campaign, store, *, name="Pernille Ashdown", address=None, **facts):
    """Add an open vehicle with an owner and an address."""
    row = CampaignVehicleFactory.create(
        campaign=campaign,
        vehicle=VehicleFactory.create(
            store=store, **{k: v for k, v in facts.items() if k == "standing"}
        ),
        **{k: v for k, v in facts.items() if k != "standing"},
    )
    tenure = TenureFactory.create(vehicle=row.vehicle, party__name=name)
    if address is not False:
        AddressFactory.create(party=tenure.party, **(address or {}))
    return row


def drawn(campaign, store, *, key="k", kind=RoundKind.FIRST):
    return letters.draw_up_round(
        key=key,
        campaign=campaign,
        store=store,
        kind=kind,
        today=TODAY,
        by=make_staff(Role.OFFICE, store),
        at=NOW,
    )


def posted(letter_round, day):
    """Let a round have gone to the post on a day."""
    LetterRound.objects.filter(pk=letter_round.pk).update(
        state=RoundState.POSTED, posted_on=day, printed_on=day
    )
    Letter.objects.filter(letter_round=letter_round).update(posted_on=day)


def written_to(store, part, *, vehicles=20, weeks=20):
    """Make open vehicles that take a part; their owners had a letter weeks ago."""
    day = TODAY - dt.timedelta(weeks=weeks)
    campaign = campaign_with_remedy(part, letters_on=day)
    for _number in range(vehicles):
        owned(campaign, store, added_on=day)
    posted(drawn(campaign, store, key=campaign.code), day)
    return campaign


def with_text(letter_round, **facts):
    """Let the letters of a round have a text of their own, past the letter check."""
    before = letter_round.text
    text = LetterText.objects.create(
        **{
            "campaign_class": before.campaign_class,
            "kind": before.kind,
            "posted_by": before.posted_by,
            "language": before.language,
            "number": before.number + 100,
            "subject": before.subject,
            "body": before.body,
            "effective_from": before.effective_from,
            "made_at": before.made_at,
        }
        | facts
    )
    letter_round.letters.update(text=text)
    LetterRound.objects.filter(pk=letter_round.pk).update(text=text)
    letter_round.refresh_from_db()
