"""The words that people read for each state."""

from django.utils.translation import gettext_lazy as _

from campaigns.rules.claim_gaps import EXTRA_KINDS
from campaigns.rules.hold_list import Stand
from campaigns.rules.letter_returns import ReturnReason
from campaigns.rules.lifecycle import (
    CampaignClass,
    CampaignState,
    Change,
    ClaimLineKind,
    ClaimState,
    ContactChannel,
    ExportPurpose,
    OmissionReason,
    Outcome,
    OwnerAnswer,
    Payer,
    PostedBy,
    ProposalKind,
    ProposalState,
    Reach,
    ReadingResult,
    RepairState,
    ReportState,
    RequestState,
    ReturnStep,
    RoundKind,
    RoundScope,
    RoundState,
    ToldHow,
    ToolStanding,
    VersionState,
    VisitState,
    WorkState,
)
from campaigns.rules.room import LoanState, Skill


CLASS_WORDS = {
    CampaignClass.SAFETY: _("Safety recall"),
    CampaignClass.EMISSIONS: _("Emissions recall"),
    CampaignClass.SATISFACTION: _("Customer satisfaction campaign"),
    CampaignClass.SERVICE_ACTION: _("Service action"),
}
CAMPAIGN_STATE_WORDS = {
    CampaignState.DRAFT: _("being entered"),
    CampaignState.RUNNING: _("running"),
    CampaignState.CLOSED: _("closed"),
}
WORK_WORDS = {
    WorkState.TO_VERIFY: _("to be verified"),
    WorkState.OPEN: _("open"),
    WorkState.NEEDS_REPAIR: _("inspected, needs repair"),
    WorkState.REMEDIED_HERE: _("remedied here"),
    WorkState.REMEDIED_ELSEWHERE: _("remedied elsewhere"),
    WorkState.INSPECTED_CLEAR: _("inspected, no repair needed"),
    WorkState.DISQUALIFIED: _("disqualified"),
    WorkState.REMOVED: _("removed by amendment"),
}
REACH_WORDS = {
    Reach.REACHABLE: _("reachable"),
    Reach.EXPORTED: _("exported"),
    Reach.STOLEN: _("stolen"),
    Reach.SCRAPPED: _("scrapped"),
    Reach.NOT_NOTIFIED: _("notice not received"),
    Reach.OTHER: _("not reachable, other reason"),
}
VERSION_WORDS = {
    VersionState.DRAFT: _("being written"),
    VersionState.MATCHING: _("being matched"),
    VersionState.MATCHED: _("matched, to be applied"),
    VersionState.APPLYING: _("being applied"),
    VersionState.APPLIED: _("applied"),
    VersionState.ABANDONED: _("abandoned"),
}
CHANGE_WORDS = {
    Change.ADD: _("added"),
    Change.TO_VERIFY: _("added, to be verified"),
    Change.CONFIRM: _("confirmed"),
    Change.REMOVE: _("removed"),
    Change.RESTORE: _("taken in again"),
}
PAYER_WORDS = {
    Payer.MANUFACTURER: _("manufacturer"),
    Payer.CUSTOMER: _("customer"),
    Payer.STORE: _("store"),
}
REQUEST_WORDS = {
    RequestState.WAITING: _("waiting for parts"),
    RequestState.OFFERED: _("parts are here, to be called"),
    RequestState.BOOKED: _("booked"),
    RequestState.DONE: _("done"),
    RequestState.WITHDRAWN: _("withdrawn"),
}
VISIT_WORDS = {
    VisitState.BOOKED: _("booked"),
    VisitState.ARRIVED: _("arrived"),
    VisitState.DONE: _("done"),
    VisitState.MISSED: _("did not come"),
    VisitState.CANCELLED: _("cancelled"),
}
REPAIR_WORDS = {
    RepairState.OPEN: _("in the workshop"),
    RepairState.COMPLETED: _("completed"),
    RepairState.ABANDONED: _("abandoned"),
}
OUTCOME_WORDS = {
    Outcome.REMEDIED: _("remedied"),
    Outcome.INSPECTED_CLEAR: _("inspected, no repair needed"),
    Outcome.NEEDS_REPAIR: _("inspected, needs repair"),
    Outcome.STOPPED: _("stopped"),
}
TOLD_WORDS = {
    ToldHow.SPOKEN: _("told at the counter"),
    ToldHow.PRINTED: _("handed a printed notice"),
}
READING_WORDS = {
    ReadingResult.PASS: _("within limits"),
    ReadingResult.REPEAT: _("do the step again and measure"),
    ReadingResult.REPLACE: _("replace the part"),
    ReadingResult.STOP: _("stop and ask"),
}
CLAIM_WORDS = {
    ClaimState.READY: _("ready to send"),
    ClaimState.SUBMITTED: _("sent"),
    ClaimState.PAID: _("paid"),
    ClaimState.SHORT_PAID: _("paid in part"),
    ClaimState.REJECTED: _("rejected"),
    ClaimState.WRITTEN_OFF: _("written off"),
}
CLAIM_LINE_WORDS = {
    ClaimLineKind.PART: _("part"),
    ClaimLineKind.LABOUR: _("labour"),
    ClaimLineKind.SUBLET: _("work by others"),
    ClaimLineKind.LOAN_CAR: _("loan car"),
    ClaimLineKind.TOWING: _("towing"),
    ClaimLineKind.REPAID: _("owner repaid"),
}
EXTRA_WORDS = {kind: CLAIM_LINE_WORDS[kind] for kind in EXTRA_KINDS}
TOOL_WORDS = {
    ToolStanding.OWNED: _("the store's own"),
    ToolStanding.BORROWED: _("borrowed"),
}
ROUND_KIND_WORDS = {
    RoundKind.FIRST: _("first letter"),
    RoundKind.REMINDER: _("reminder"),
    RoundKind.INTERIM: _("interim letter, parts not yet here"),
    RoundKind.SECOND: _("second letter after the interim, parts are here"),
}
POSTED_BY_WORDS = {
    PostedBy.STORE: _("the store's own letter"),
    PostedBy.MANUFACTURER: _("the manufacturer's notice"),
}
ROUND_SCOPE_WORDS = {
    RoundScope.ALL: _("all open vehicles"),
    RoundScope.RETURNED: _("letters that came back"),
}
ROUND_WORDS = {
    RoundState.DRAWN_UP: _("drawn up"),
    RoundState.PRINTING: _("being set"),
    RoundState.PRINTED: _("printed"),
    RoundState.POSTED: _("posted"),
    RoundState.CANCELLED: _("cancelled"),
}
OMISSION_WORDS = {
    OmissionReason.NO_OWNER: _("no owner known"),
    OmissionReason.NO_ADDRESS: _("no address known"),
    OmissionReason.UNDELIVERABLE: _("post came back"),
    OmissionReason.DO_NOT_WRITE: _("wants no letters"),
    OmissionReason.DECEASED: _("owner deceased"),
    OmissionReason.ADDRESS_NOT_ALLOWED: _("address may not be used for this"),
    OmissionReason.PAST_LIMIT: _("past the campaign's limit"),
    OmissionReason.OWN_STOCK: _("the store's own vehicle"),
    OmissionReason.OUT_OF_REACH: _("exported, stolen, scrapped or not reached"),
    OmissionReason.TO_VERIFY: _("still to be verified"),
    OmissionReason.WRITTEN_ALREADY: _("has had this letter"),
    OmissionReason.NOT_WRITTEN_YET: _("has not had the letter before this one"),
    OmissionReason.BOOKED: _("a visit is booked"),
}
RETURN_WORDS = {
    ReturnReason.UNKNOWN: _("not known at this address"),
    ReturnReason.MOVED: _("moved, no new address left"),
    ReturnReason.FORWARDING_ENDED: _("moved, the post no longer sends it on"),
    ReturnReason.NO_SUCH_ADDRESS: _("no such street or number"),
    ReturnReason.INCOMPLETE: _("address is not complete"),
    ReturnReason.VACANT: _("nobody lives there"),
    ReturnReason.NO_BOX: _("no letter box"),
    ReturnReason.BOX_CLOSED: _("post office box closed"),
    ReturnReason.AWAY: _("away for a time"),
    ReturnReason.UNCLAIMED: _("not picked up"),
    ReturnReason.REFUSED: _("not accepted"),
    ReturnReason.DECEASED: _("the person has died"),
    ReturnReason.NOT_MAILABLE: _("the post could not carry it"),
}
RETURN_STEP_WORDS = {
    ReturnStep.NEW_ADDRESS: _("new address, to be written again"),
    ReturnStep.SAME_ADDRESS: _("same address, to be written again"),
    ReturnStep.NOT_REACHED: _("counted as not reached"),
    ReturnStep.NO_MORE_POST: _("no more post to this person"),
}
CHANNEL_WORDS = {
    ContactChannel.CALL: _("telephone"),
    ContactChannel.MESSAGE: _("text message"),
    ContactChannel.EMAIL: _("e-mail"),
    ContactChannel.IN_PERSON: _("in person"),
    ContactChannel.SLIP: _("slip from the letter"),
    ContactChannel.LETTER: _("letter from the owner"),
}
ANSWER_WORDS = {
    OwnerAnswer.NO_ANSWER: _("nobody was reached"),
    OwnerAnswer.TOLD: _("was told of the campaign"),
    OwnerAnswer.WILL_BOOK: _("will call to book a day"),
    OwnerAnswer.DECLINED: _("does not want the work"),
    OwnerAnswer.SOLD: _("has sold the vehicle"),
    OwnerAnswer.SCRAPPED: _("the vehicle was scrapped"),
    OwnerAnswer.EXPORTED: _("the vehicle has left the country"),
    OwnerAnswer.STOLEN: _("the vehicle was stolen"),
    OwnerAnswer.DONE_ELSEWHERE: _("the work was done elsewhere"),
    OwnerAnswer.MOVED: _("has a new address"),
    OwnerAnswer.NO_LETTERS: _("wants no more letters"),
}
PURPOSE_WORDS = {
    ExportPurpose.RECALL_LETTERS: _("letters of this campaign (18 USC 2721(b)(2))"),
    ExportPurpose.ADDRESS_CHECK: _("check of addresses for this campaign"),
    ExportPurpose.MANUFACTURER: _("the manufacturer's duty to notify (49 USC 30117)"),
    ExportPurpose.OWN_CUSTOMERS: _("telling own customers of this campaign"),
}
PROPOSAL_KIND_WORDS = {
    ProposalKind.ORDER: _("order"),
    ProposalKind.RETURN: _("return"),
    ProposalKind.NOTHING: _("nothing to do"),
}
PROPOSAL_WORDS = {
    ProposalState.OPEN: _("open"),
    ProposalState.ACCEPTED: _("accepted"),
    ProposalState.CHANGED: _("changed"),
    ProposalState.DECLINED: _("declined"),
    ProposalState.SUPERSEDED: _("replaced by a newer one"),
}
REPORT_WORDS = {
    ReportState.WAITING: _("being made"),
    ReportState.MADE: _("made"),
    ReportState.FAILED: _("could not be made"),
}
SKILL_WORDS = {
    Skill.MECHANICAL: _("mechanical"),
    Skill.ELECTRICAL: _("electrical"),
    Skill.BODY: _("body"),
}
LOAN_WORDS = {
    LoanState.BOOKED: _("promised"),
    LoanState.OUT: _("out"),
    LoanState.BACK: _("back"),
    LoanState.DROPPED: _("not needed"),
}
STAND_WORDS = {
    Stand.HOLD: _("do not deliver"),
    Stand.HOLD_FROM: _("call in, then do not rent"),
    Stand.ASK_LAW: _("check state law and agreements"),
    Stand.TELL: _("may go out, tell the customer"),
    Stand.CLEAR: _("nothing open any more"),
    Stand.GONE: _("no longer in stock"),
}
