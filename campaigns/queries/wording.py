"""What the counter says about a campaign, in plain words."""

from django.utils.translation import gettext_lazy

from campaigns.rules.claim_gaps import GapKind
from campaigns.rules.deadlines import HandOverReason
from campaigns.rules.eligibility import Cover, Reason
from campaigns.rules.labour_union import ShareReason
from campaigns.rules.lifecycle import CampaignClass, ClaimLineKind
from campaigns.rules.payer_reasons import PayerReason


URGENCY_WORDS = {
    CampaignClass.SAFETY: gettext_lazy(
        "Safety: tell the customer now, and do it as soon as the parts allow."
    ),
    CampaignClass.EMISSIONS: gettext_lazy(
        "Emissions: tell the customer now, and do it as soon as the parts allow."
    ),
    CampaignClass.SATISFACTION: gettext_lazy(
        "No safety matter: offer it to the customer at this visit."
    ),
    CampaignClass.SERVICE_ACTION: gettext_lazy(
        "No safety matter: do it when the vehicle is in the workshop."
    ),
}
COVER_WORDS = {
    Cover.COVERED: gettext_lazy("Covered: the manufacturer pays"),
    Cover.PAST_LIMIT: gettext_lazy("Past the limit: the customer pays"),
    Cover.FREE_NOT_REQUIRED: gettext_lazy(
        "The free remedy is not required: ask the manufacturer before the customer pays"
    ),
    Cover.ASK: gettext_lazy("Who pays is not known yet"),
}
REASON_WORDS = {
    Reason.NO_LIMIT: gettext_lazy("the campaign has no limit"),
    Reason.WITHIN_LIMITS: gettext_lazy("the vehicle is within the limits"),
    Reason.LAST_DAY_PASSED: gettext_lazy("the last day of the offer has passed"),
    Reason.ODOMETER_OVER: gettext_lazy("the odometer is over the limit"),
    Reason.TOO_OLD: gettext_lazy("too long since first use"),
    Reason.ODOMETER_UNKNOWN: gettext_lazy("read the odometer and enter it"),
    Reason.FIRST_USE_UNKNOWN: gettext_lazy("find out when it was first used"),
}
PAYER_REASON_WORDS = {
    PayerReason.CAMPAIGN: gettext_lazy("the campaign covers this vehicle"),
    PayerReason.PAST_LIMIT: gettext_lazy("the campaign no longer covers this vehicle"),
    PayerReason.ASK: gettext_lazy(
        "by the campaign; a fact is missing that could change it"
    ),
    PayerReason.SCHEDULED: gettext_lazy("scheduled service"),
    PayerReason.STATED: gettext_lazy("the remedy says so"),
    PayerReason.OWN_ACCOUNT: gettext_lazy("beyond what the remedy and its checks ask"),
    PayerReason.OVER_LIMIT: gettext_lazy("over the campaign's limit"),
    PayerReason.NOT_OFFERED: gettext_lazy("the campaign pays none of this"),
}
SHARE_WORDS = {
    ShareReason.IN_FULL: gettext_lazy("published time in full"),
    ShareReason.ONLY_ADDED: gettext_lazy("only what it adds"),
    ShareReason.ALL_SHARED: gettext_lazy("nothing: all of it is done with other work"),
}
EVIDENCE_WORDS = {
    ClaimLineKind.LOAN_CAR: gettext_lazy(
        "number and date of the loan or rental agreement, and the days"
    ),
    ClaimLineKind.TOWING: gettext_lazy("number and date of the tow bill"),
    ClaimLineKind.REPAID: gettext_lazy(
        "number and date of the owner's receipt for the earlier repair, which shows"
        " the vehicle, the work and what was paid"
    ),
}
GAP_WORDS = {
    GapKind.ODOMETER: gettext_lazy("the odometer is missing"),
    GapKind.DONE_ON: gettext_lazy("the day of the work is missing"),
    GapKind.PART: gettext_lazy("part %(about)s: fewer pieces than planned"),
    GapKind.CHECK: gettext_lazy("check “%(about)s”: no value within its limits"),
    GapKind.EVIDENCE: gettext_lazy("“%(about)s”: number or date of its paper"),
    GapKind.PAST_DATE: gettext_lazy(
        "the last day for claims was %(about)s: ask the manufacturer first"
    ),
}
HAND_OVER_WORDS = {
    HandOverReason.NEW_NOT_REMEDIED: gettext_lazy(
        "Do not deliver: a new vehicle in a safety recall is handed over only after"
        " the remedy."
    ),
    HandOverReason.STOP_SALE: gettext_lazy(
        "Do not deliver: the manufacturer has stopped the sale of new stock until the"
        " remedy is done."
    ),
    HandOverReason.RENTAL_NOT_REMEDIED: gettext_lazy(
        "Do not rent or lend it out before the remedy."
    ),
    HandOverReason.USED_NOT_REMEDIED: gettext_lazy(
        "Check state law and your agreements before you sell, rent or lend it."
    ),
    HandOverReason.TELL_THE_CUSTOMER: gettext_lazy(
        "It may be handed over; tell the customer that the campaign is open."
    ),
    HandOverReason.NOTHING_OPEN: gettext_lazy("It may be handed over."),
}
