"""The English wording of the letters that the house comes with.

Plain words for an owner: what it is, that it is free, how to book, where to check,
and whose letter it is. No safety words outside the safety class, nothing that plays a
risk down inside it, nothing that sells. The sentences that 49 CFR 577.5 asks of a
manufacturer's notice are written after it from memory; the regulator's address and
numbers too. The wording is ours; the manufacturer and counsel decide what is sent.
"""

from campaigns.rules.letter_frame import Frame, Wording
from campaigns.rules.lifecycle import CampaignClass, RoundKind


_SAFETY, _EMISSIONS = CampaignClass.SAFETY, CampaignClass.EMISSIONS
_SATISFACTION, _SERVICE = CampaignClass.SATISFACTION, CampaignClass.SERVICE_ACTION
_FIRST, _REMINDER = RoundKind.FIRST, RoundKind.REMINDER
_INTERIM, _SECOND = RoundKind.INTERIM, RoundKind.SECOND

FRAME = Frame(
    date="Date",
    campaign="Our campaign",
    maker_number="Manufacturer's number",
    regulator_number="Regulator's number",
    vehicle="Vehicle",
    vin="VIN",
    not_known="not known",
    dear="Dear {name},",
    yours="Yours sincerely",
    quote="Letter {code}. Please give this number when you call.",
    slip="If one of these is so, please tick it and send us this part:",
    answers=(
        "I have sold the vehicle",
        "The vehicle was scrapped",
        "It has left the country",
        "It was stolen",
        "The work was done elsewhere",
        "I have a new address",
        "Please send no more letters",
    ),
    room="New owner or new address, and since when:",
)

_HOW = (
    "To book a day, call {store_name} at {store_phone} and say campaign"
    " {campaign_number}. Please bring this letter."
)
_TAKE_IN = (
    "Please call {store_name} at {store_phone} or any store that sells vehicles of"
    " {maker} to arrange a day."
)

WORDING = Wording(
    subjects={
        (_SAFETY, _FIRST): "Safety recall on your vehicle: the repair is free",
        (_SAFETY, _REMINDER): "Safety recall: your vehicle has not been repaired yet",
        (_SAFETY, _INTERIM): "Safety recall on your vehicle: parts are on their way",
        (_SAFETY, _SECOND): "Safety recall: the parts for your vehicle are here",
        (_EMISSIONS, _FIRST): "Emissions recall on your vehicle: the repair is free",
        (_EMISSIONS, _REMINDER): "Emissions recall: the free repair of your vehicle is"
        " still open",
        (_EMISSIONS, _INTERIM): "Emissions recall on your vehicle: parts are on their"
        " way",
        (_EMISSIONS, _SECOND): "Emissions recall: the parts for your vehicle are here",
        (_SATISFACTION, _FIRST): "Free work on your vehicle, paid by its manufacturer",
        (_SATISFACTION, _REMINDER): "The free work on your vehicle is still open",
        (_SATISFACTION, _INTERIM): "Free work on your vehicle: parts are on their way",
        (_SATISFACTION, _SECOND): "Free work on your vehicle: the parts are here",
        (_SERVICE, _FIRST): "Service action for your vehicle: free of charge",
        (_SERVICE, _REMINDER): "The service action for your vehicle is still open",
        (_SERVICE, _INTERIM): "Service action for your vehicle: parts are on their way",
        (_SERVICE, _SECOND): "Service action for your vehicle: the parts are here",
    },
    found={
        _SAFETY: "{maker} has issued a safety recall for certain vehicles, and yours is"
        " one of them: {vehicle}. Its recall {maker_number} is about: {campaign_title}.",
        _EMISSIONS: "{maker} has found that certain vehicles may give off more"
        " pollution than the law allows, and yours is one of them: {vehicle}. Its"
        " emissions recall {maker_number} is about: {campaign_title}.",
        _SATISFACTION: "{maker} wants certain vehicles to be improved at its own cost,"
        " and yours is one of them: {vehicle}. Its campaign {maker_number} is about:"
        " {campaign_title}.",
        _SERVICE: "{maker} has asked us to do some work on certain vehicles, and yours"
        " is one of them: {vehicle}. Its service action {maker_number} is about:"
        " {campaign_title}.",
    },
    waiting={
        _FIRST: "The parts are here. " + _HOW,
        _REMINDER: "We wrote to you before, and by our records the work has not been"
        " done. The parts are here. If it was done somewhere else, please call us, so"
        " that we can put our records right. " + _HOW,
        _INTERIM: "The parts are not here yet. Call {store_name} at {store_phone}, say"
        " campaign {campaign_number}, and we will put you on the list and call you"
        " when they come. We will also write again.",
        _SECOND: "We wrote to you before that the parts were still to come. They are"
        " here now. " + _HOW,
    },
    soon="Please have the repair done as soon as you can. ",
    paid="{maker} pays for parts and work. You pay nothing, whether or not you bought"
    " the vehicle from us.",
    report="If the work is not done free of charge and within a reasonable time, you"
    " may tell the National Highway Traffic Safety Administration of the United"
    " States.",
    look_up="To see what is open on your vehicle, enter its VIN, shown above, in the"
    " VIN look-up of the federal regulator or in the one of {maker}. If you no longer"
    " have this vehicle, please tell us, so that we can write to the right person.",
    ours="This letter is from {store_name}, the store that looks after your vehicle."
    " It is not the notice of {maker}; that notice comes, or has come, from {maker}"
    " itself.",
    notice_subjects={
        _SAFETY: "IMPORTANT SAFETY RECALL. This notice applies to your vehicle, {vin}",
        _EMISSIONS: "Emissions recall notice for your vehicle, {vin}",
        _SATISFACTION: "Free work on your vehicle, {vin}",
        _SERVICE: "Service action for your vehicle, {vin}",
    },
    notice_opening={
        _SAFETY: "This notice is sent to you in accordance with the National Traffic"
        " and Motor Vehicle Safety Act.",
        _EMISSIONS: "This notice is sent to you in accordance with the emissions rules"
        " of the United States.",
        _SATISFACTION: "{maker} wants you to be content with your vehicle.",
        _SERVICE: "{maker} asks its stores to do some work on your vehicle.",
    },
    notice_found={
        _SAFETY: "{maker} has decided that a defect which relates to motor vehicle"
        " safety exists in certain vehicles, among them yours: {vehicle}. The recall"
        " {maker_number} is about: {campaign_title}. {bulletin}",
        _EMISSIONS: "{maker} has determined that certain vehicles, among them yours,"
        " {vehicle}, may be releasing more pollution than federal standards allow. The"
        " recall {maker_number} is about: {campaign_title}. {bulletin}",
        _SATISFACTION: "The campaign {maker_number} concerns your vehicle, {vehicle}:"
        " {campaign_title}. {bulletin}",
        _SERVICE: "The service action {maker_number} concerns your vehicle, {vehicle}:"
        " {campaign_title}. {bulletin}",
    },
    notice_remedy={
        _FIRST: "{maker} will have this put right at no charge to you for parts and"
        " work. Parts can be had from {parts_from} on. " + _TAKE_IN,
        _REMINDER: "By our records this has not been put right on your vehicle yet."
        " {maker} will have it done at no charge to you for parts and work. Parts can"
        " be had from {parts_from} on. " + _TAKE_IN,
        _INTERIM: "The remedy is not available yet. {maker} will have this put right"
        " at no charge to you for parts and work, and will write to you a second time"
        " when it is. " + _TAKE_IN,
        _SECOND: "We wrote to you that the remedy was not available yet. It is now."
        " {maker} will have this put right at no charge to you for parts and work."
        " Parts can be had from {parts_from} on. " + _TAKE_IN,
    },
    notice_complaint="If the store fails to do this without charge, or within 60 days"
    " of the day on which you first brought the vehicle in, you may submit a complaint"
    " to the Administrator, National Highway Traffic Safety Administration, 1200 New"
    " Jersey Avenue SE, Washington, DC 20590; or call the toll-free Vehicle Safety"
    " Hotline at 1-888-327-4236 (TTY 1-800-424-9153); or go to www.nhtsa.gov.",
    notice_paid_before="If you have paid for this repair before, you may be repaid:"
    " call {store_name} at {store_phone}.",
    notice_lessor="If you have leased this vehicle to somebody, federal law asks you"
    " to forward this notice to the lessee within ten days.",
    notice_time="The store can tell you how long the work takes.",
    notice_proof="Ask the store for a proof of the work and keep it: your State may"
    " want to see it at an inspection or when the vehicle is registered.",
    notice_ended="If you no longer have this vehicle, please send the slip below to"
    " {store_name}.",
)
