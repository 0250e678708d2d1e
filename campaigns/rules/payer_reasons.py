"""Why one payer pays a line of a job: said on the job card beside every line."""

from enum import StrEnum

from campaigns.rules.eligibility import Cover, Verdict
from campaigns.rules.lifecycle import Payer


class PayerReason(StrEnum):
    """Why a line has the payer that it has."""

    CAMPAIGN = "campaign"
    PAST_LIMIT = "past_limit"
    ASK = "ask"
    SCHEDULED = "scheduled"
    STATED = "stated"
    OWN_ACCOUNT = "own_account"
    OVER_LIMIT = "over_limit"
    NOT_OFFERED = "not_offered"


def payer_reason(
    stated: Payer | None, verdict: Verdict, *, of_campaign: bool
) -> PayerReason:
    """Say why a line has its payer.

    ``stated`` is who pays by the remedy as it is written down; None for a piece beyond
    plan and checks. ``verdict`` is the cover of the vehicle by the campaign.
    """
    if stated is None:
        return PayerReason.OWN_ACCOUNT
    if not of_campaign:
        scheduled = stated in {Payer.MANUFACTURER, Payer.CUSTOMER}
        return PayerReason.SCHEDULED if scheduled else PayerReason.STATED
    if stated is not Payer.MANUFACTURER:
        return PayerReason.STATED
    if verdict.payer is None:
        return PayerReason.ASK
    if verdict.cover is Cover.COVERED:
        return PayerReason.CAMPAIGN
    return PayerReason.PAST_LIMIT
