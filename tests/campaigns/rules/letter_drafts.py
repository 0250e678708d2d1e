"""Letters to be checked: the shipped ones with invented facts, and others of one's own."""

from campaigns.rules.letter_check import Draft, Promise
from campaigns.rules.letter_text import fill, paragraphs
from campaigns.rules.letter_wording import shipped_text
from campaigns.rules.lifecycle import CampaignClass, PostedBy, RoundKind


HERE = Promise(ready=True, earliest=None)
NOT_HERE = Promise(ready=False, earliest=None)
_FACTS = {
    "campaign_number": "SR-26-01",
    "maker": "Tarrow",
    "maker_number": "TR-0412",
    "regulator_number": "26V-000",
    "vehicle": "2022 Corvane",
    "vin": "1U0KTRA40N1000001",
    "owner_name": "Ana Ruiz",
    "store_name": "Harrow Lane Motors",
    "store_phone": "+1 217 555 0100",
    "store_email": "service@harrow.example",
    "parts_from": "2026-11-20",
}
FACTS = {
    "en": _FACTS
    | {
        "campaign_title": "Bolts of the seat rail",
        "risk": "The seat can move in a crash, which raises the risk of injury.",
        "bulletin": "The bolts of the front seat rail were not tightened enough.",
    },
    "es": _FACTS
    | {
        "campaign_title": "Tornillos del riel del asiento",
        "risk": "El asiento puede moverse en un choque, lo que aumenta el riesgo de"
        " lesiones.",
        "bulletin": "Los tornillos del riel delantero no fueron bien apretados.",
    },
}
MILD = {"en": "The fan can be loud.", "es": "El ventilador puede hacer ruido."}


def draft(
    campaign_class=CampaignClass.SAFETY,
    kind=RoundKind.FIRST,
    posted_by=PostedBy.STORE,
    language="en",
    *,
    subject=None,
    body=None,
    more="",
    promise=HERE,
    **facts,
):
    """Give the shipped letter, or another, filled in; ``more`` is added at its end."""
    values = FACTS[language] | facts
    if campaign_class is not CampaignClass.SAFETY and "risk" not in facts:
        values = values | {"risk": MILD[language]}
    shipped = shipped_text(campaign_class, kind, posted_by, language)
    text = (shipped[1] if body is None else body) + f"\n\n{more}"
    return Draft(
        campaign_class=campaign_class,
        kind=kind,
        posted_by=posted_by,
        language=language,
        subject=fill(shipped[0] if subject is None else subject, values),
        paragraphs=tuple(fill(one, values) for one in paragraphs(text)),
        values=values,
        promise=promise,
    )
