"""The wording of the letters that the house comes with, by class and round.

Plain words for an owner: what it is, that it is free, how to book, where to check,
and whose letter it is. No safety words outside the safety class, nothing that plays a
risk down inside it, nothing that sells. The wording is ours; the manufacturer and
counsel decide what is sent.
"""

import datetime as dt

from campaigns.rules.lifecycle import CampaignClass, RoundKind


SHIPPED_FROM = dt.date(2020, 1, 1)
"""From when the shipped wording is in force: before any campaign of this house."""

_HOW = (
    "To book a day, call {store_name} at {store_phone} and say campaign"
    " {campaign_number}. Please bring this letter."
)
_OURS = (
    "This letter is from {store_name}, the store that looks after your vehicle. It is"
    " not the notice of {maker}; that notice comes, or has come, from {maker} itself."
)
_LOOK_UP = (
    "To see what is open on your vehicle, enter its VIN, shown above, in the VIN"
    " look-up of the federal regulator or in the one of {maker}. If you no longer have"
    " this vehicle, please tell us, so that we can write to the right person."
)
_PAID = (
    "{maker} pays for parts and work. You pay nothing, whether or not you bought the"
    " vehicle from us."
)
_REPORT = (
    "If the work is not done free of charge and within a reasonable time, you may tell"
    " the National Highway Traffic Safety Administration of the United States."
)

SAFETY_FOUND = (
    "{maker} has issued a safety recall for certain vehicles, and yours is one of"
    " them: {vehicle}. Its recall {maker_number} is about: {campaign_title}."
)
EMISSIONS_FOUND = (
    "{maker} has found that certain vehicles may give off more pollution than the law"
    " allows, and yours is one of them: {vehicle}. Its emissions recall"
    " {maker_number} is about: {campaign_title}."
)
SATISFACTION_FOUND = (
    "{maker} wants certain vehicles to be improved at its own cost, and yours is one"
    " of them: {vehicle}. Its campaign {maker_number} is about: {campaign_title}."
)
SERVICE_FOUND = (
    "{maker} has asked us to do some work on certain vehicles, and yours is one of"
    " them: {vehicle}. Its service action {maker_number} is about: {campaign_title}."
)

_SUBJECTS = {
    (CampaignClass.SAFETY, RoundKind.FIRST): "Safety recall on your vehicle:"
    " the repair is free",
    (CampaignClass.SAFETY, RoundKind.REMINDER): "Safety recall: your vehicle has not"
    " been repaired yet",
    (CampaignClass.SAFETY, RoundKind.INTERIM): "Safety recall on your vehicle:"
    " parts are on their way",
    (CampaignClass.EMISSIONS, RoundKind.FIRST): "Emissions recall on your vehicle:"
    " the repair is free",
    (CampaignClass.EMISSIONS, RoundKind.REMINDER): "Emissions recall: the free repair"
    " of your vehicle is still open",
    (CampaignClass.EMISSIONS, RoundKind.INTERIM): "Emissions recall on your vehicle:"
    " parts are on their way",
    (CampaignClass.SATISFACTION, RoundKind.FIRST): "Free work on your vehicle, paid"
    " by its manufacturer",
    (CampaignClass.SATISFACTION, RoundKind.REMINDER): "The free work on your vehicle"
    " is still open",
    (CampaignClass.SATISFACTION, RoundKind.INTERIM): "Free work on your vehicle: parts"
    " are on their way",
    (CampaignClass.SERVICE_ACTION, RoundKind.FIRST): "Service action for your vehicle:"
    " free of charge",
    (CampaignClass.SERVICE_ACTION, RoundKind.REMINDER): "The service action for your"
    " vehicle is still open",
    (CampaignClass.SERVICE_ACTION, RoundKind.INTERIM): "Service action for your"
    " vehicle: parts are on their way",
}
_FOUND = {
    CampaignClass.SAFETY: SAFETY_FOUND,
    CampaignClass.EMISSIONS: EMISSIONS_FOUND,
    CampaignClass.SATISFACTION: SATISFACTION_FOUND,
    CampaignClass.SERVICE_ACTION: SERVICE_FOUND,
}
_WAITING = {
    RoundKind.FIRST: "The parts are here. " + _HOW,
    RoundKind.REMINDER: "We wrote to you before, and by our records the work has not"
    " been done. The parts are here. If it was done somewhere else, please call us, so"
    " that we can put our records right. " + _HOW,
    RoundKind.INTERIM: "The parts are not here yet. Call {store_name} at"
    " {store_phone}, say campaign {campaign_number}, and we will put you on the list"
    " and call you when they come. We will also write again.",
}


def shipped_text(campaign_class: CampaignClass, kind: RoundKind) -> tuple[str, str]:
    """Give subject and body of the text that the house comes with."""
    parts = [_FOUND[campaign_class]]
    if campaign_class is CampaignClass.SAFETY:
        parts.append("{risk}")
        parts.append("Please have the repair done as soon as you can. " + _PAID)
    else:
        parts.append("{risk} " + _PAID)
    parts.append(_WAITING[kind])
    if campaign_class is CampaignClass.SAFETY:
        parts.append(_REPORT)
    parts += [_LOOK_UP, _OURS]
    return _SUBJECTS[campaign_class, kind], "\n\n".join(parts)
