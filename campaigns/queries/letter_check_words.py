"""The rules of the letter check in words: what is wrong, and what to do about it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.utils.translation import gettext_lazy as _

from campaigns.rules.letter_rules import Grade


if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    from campaigns.rules.letter_check import Finding


class RuleWords(NamedTuple):
    """A rule in words."""

    wrong: _StrPromise
    do: _StrPromise


GRADE_WORDS = {
    Grade.READ: _("read in the source"),
    Grade.OLDER: _("read in an older edition, so it only warns"),
    Grade.MEMORY: _("cited from memory, so it only warns"),
    Grade.PRACTICE: _("no rule found, good practice"),
}
_MISSING_NOTICE = _("The manufacturer's notice should say it.")

RULE_WORDS: dict[str, RuleWords] = {
    "may_exist": RuleWords(
        _("It says that the defect only may be there."),
        _("Say that the manufacturer has found it, or leave the sentence out."),
    ),
    "may_exist_but": RuleWords(
        _("It says that not every vehicle has the defect."),
        _("That sentence belongs to the manufacturer's notice; leave it out here."),
    ),
    "no_accidents": RuleWords(
        _("It says that nothing has happened so far; that counts as a disclaimer."),
        _("Leave it out."),
    ),
    "no_risk": RuleWords(
        _("It says that there is no risk, or that the vehicle is safe."),
        _("Leave it out; say what can happen instead."),
    ),
    "played_down": RuleWords(
        _("It plays the matter down."),
        _("Leave it out, or say why it must stand."),
    ),
    "expiry": RuleWords(
        _("It sets an end to a safety recall by date, time or distance."),
        _("A safety recall has no such end; leave it out."),
    ),
    "safety_words": RuleWords(
        _("It uses the words of a safety recall in a campaign that is none."),
        _("Say it without them, or mend the class of the campaign."),
    ),
    "recall_word": RuleWords(
        _("It calls a campaign a recall that is none."),
        _("Say campaign or service action."),
    ),
    "looks_official": RuleWords(
        _("It looks like the manufacturer's or the government's own notice."),
        _("A store writes in its own name; leave it out."),
    ),
    "label": RuleWords(
        _("It speaks of the label or the marks of the regulator."),
        _("Only the manufacturer may use them, also on the envelope."),
    ),
    "claims_decision": RuleWords(
        _("It says that the store has found the defect."),
        _("Say that the manufacturer has found it."),
    ),
    "paid_work": RuleWords(
        _("It offers work, goods or prices besides the campaign."),
        _("Send that in another letter."),
    ),
    "names_maker": RuleWords(
        _("It does not name the manufacturer."), _("Use the field {maker}.")
    ),
    "names_number": RuleWords(
        _("It does not name the number of the campaign."),
        _("Use the field {maker_number} or {campaign_number}."),
    ),
    "maker_pays": RuleWords(
        _("It does not say that the manufacturer pays."), _("Say who pays.")
    ),
    "free": RuleWords(
        _("It does not say that the work is free."), _("Say that it costs nothing.")
    ),
    "parts_here": RuleWords(
        _("It does not say that the parts are here."),
        _("Say so, or send the interim letter."),
    ),
    "parts_to_come": RuleWords(
        _("It does not say that the parts are still to come."),
        _("Say so, and how the owner hears of it."),
    ),
    "how_to_book": RuleWords(
        _("It does not say how to book a day."), _("Say whom to call.")
    ),
    "look_up": RuleWords(
        _("It does not say where the owner can check the VIN."),
        _("Name the look-up of the regulator or of the manufacturer."),
    ),
    "own_letter": RuleWords(
        _("It does not say whose letter it is."),
        _("Say that it is the store's, and not the manufacturer's notice."),
    ),
    "heading": RuleWords(
        _("The heading IMPORTANT SAFETY RECALL is missing."), _MISSING_NOTICE
    ),
    "applies": RuleWords(
        _("“This notice applies to your vehicle” with the VIN is missing."),
        _MISSING_NOTICE,
    ),
    "opening": RuleWords(
        _("The opening sentence that names the Safety Act is missing."),
        _MISSING_NOTICE,
    ),
    "decision": RuleWords(
        _("The sentence that the manufacturer has decided on the defect is missing."),
        _("It says that a defect which relates to motor vehicle safety exists."),
    ),
    "defect": RuleWords(
        _("Nothing says what is wrong: no defect, no failure to conform."),
        _("Describe the defect clearly."),
    ),
    "risk": RuleWords(
        _("Nothing says what can happen to people."),
        _("Say the risk: a crash, an injury, a fire."),
    ),
    "remedy": RuleWords(
        _("Nothing says what is done about it."), _("Say what the remedy is.")
    ),
    "available_from": RuleWords(
        _("No day from which the remedy can be had."),
        _("Name the first day; the field {parts_from} holds it."),
    ),
    "no_remedy_yet": RuleWords(
        _("The interim notice does not say that there is no remedy yet."),
        _MISSING_NOTICE,
    ),
    "second_letter": RuleWords(
        _("The interim notice does not promise a second one."), _MISSING_NOTICE
    ),
    "complaint": RuleWords(
        _("Nothing says whom to tell when it is not done free."),
        _("Name the Administrator of NHTSA."),
    ),
    "complaint_post": RuleWords(
        _("The regulator's postal address is missing."), _MISSING_NOTICE
    ),
    "complaint_phone": RuleWords(
        _("The regulator's telephone number is missing."), _MISSING_NOTICE
    ),
    "complaint_tty": RuleWords(
        _("The regulator's number for teletypewriters is missing."), _MISSING_NOTICE
    ),
    "complaint_web": RuleWords(
        _("The regulator's web address is missing."), _MISSING_NOTICE
    ),
    "reasonable_time": RuleWords(
        _("Nothing says within which time it must be done."),
        _("Say 60 days, or a reasonable time."),
    ),
    "time_needed": RuleWords(
        _("Nothing says how long the work takes."), _MISSING_NOTICE
    ),
    "paid_before": RuleWords(
        _("Nothing says that earlier repairs may be repaid."), _MISSING_NOTICE
    ),
    "lessor": RuleWords(
        _("The sentence for lessors is missing: pass it on within ten days."),
        _MISSING_NOTICE,
    ),
    "emissions_exceed": RuleWords(
        _("Nothing says that the vehicle may exceed the emission standards."),
        _MISSING_NOTICE,
    ),
    "if_sold": RuleWords(
        _("Nothing says what to do when the vehicle was sold."), _MISSING_NOTICE
    ),
    "inspection": RuleWords(
        _("Nothing says what it means for inspection or registration."),
        _MISSING_NOTICE,
    ),
    "order": RuleWords(
        _("It stands before something that should come first."),
        _("Put the paragraphs in the order of the rule."),
    ),
    "parts_not_here": RuleWords(
        _("It promises parts or a day that the promise line does not bear out."),
        _("Send the interim letter, or wait for the delivery."),
    ),
    "described": RuleWords(
        _("The campaign has no title, or does not say what can happen."),
        _("Write it on the campaign's page; it stands in each letter."),
    ),
    "left_empty": RuleWords(
        _("A field of the text has nothing to be filled in with."),
        _("Fill it in at the campaign or the store, or take it out of the text."),
    ),
}


def words_of_finding(finding: Finding) -> RuleWords:
    """Give a finding in words."""
    return RULE_WORDS[finding.rule.code]


def source_words(finding: Finding) -> str:
    """Give the source of a finding's rule and how well it is known."""
    source = finding.rule.source
    if source.grade is Grade.PRACTICE:
        return source.cite
    return f"{source.cite} ({GRADE_WORDS[source.grade]})"
