"""States of the work: closed lists, and tables of the moves between them."""

from enum import StrEnum


class CampaignClass(StrEnum):
    """What kind of campaign the manufacturer has announced."""

    SAFETY = "safety"
    EMISSIONS = "emissions"
    SATISFACTION = "satisfaction"
    SERVICE_ACTION = "service_action"


class CampaignState(StrEnum):
    """How far a campaign is in our house."""

    DRAFT = "draft"
    RUNNING = "running"
    CLOSED = "closed"


CAMPAIGN_MOVES: dict[CampaignState, frozenset[CampaignState]] = {
    CampaignState.DRAFT: frozenset({CampaignState.RUNNING}),
    CampaignState.RUNNING: frozenset({CampaignState.CLOSED}),
    CampaignState.CLOSED: frozenset({CampaignState.RUNNING}),
}


class WorkState(StrEnum):
    """What has been done on one vehicle for one campaign."""

    TO_VERIFY = "to_verify"
    OPEN = "open"
    NEEDS_REPAIR = "needs_repair"
    REMEDIED_HERE = "remedied_here"
    REMEDIED_ELSEWHERE = "remedied_elsewhere"
    INSPECTED_CLEAR = "inspected_clear"
    DISQUALIFIED = "disqualified"
    REMOVED = "removed"


_W = WorkState
WORK_MOVES: dict[WorkState, frozenset[WorkState]] = {
    _W.TO_VERIFY: frozenset({_W.OPEN, _W.REMOVED, _W.REMEDIED_ELSEWHERE}),
    _W.OPEN: frozenset(
        {
            _W.TO_VERIFY,
            _W.NEEDS_REPAIR,
            _W.REMEDIED_HERE,
            _W.REMEDIED_ELSEWHERE,
            _W.INSPECTED_CLEAR,
            _W.DISQUALIFIED,
            _W.REMOVED,
        }
    ),
    _W.NEEDS_REPAIR: frozenset(
        {_W.REMEDIED_HERE, _W.REMEDIED_ELSEWHERE, _W.DISQUALIFIED, _W.REMOVED}
    ),
    # A finished remedy is undone only by a person's decision (a repair refused).
    _W.REMEDIED_HERE: frozenset({_W.OPEN}),
    _W.REMEDIED_ELSEWHERE: frozenset({_W.OPEN}),
    _W.INSPECTED_CLEAR: frozenset({_W.OPEN, _W.NEEDS_REPAIR}),
    _W.DISQUALIFIED: frozenset({_W.OPEN}),
    _W.REMOVED: frozenset({_W.OPEN, _W.TO_VERIFY}),
}
# These still want work: the counter shows them as open, whatever their reach.
STILL_OPEN = frozenset({_W.TO_VERIFY, _W.OPEN, _W.NEEDS_REPAIR})


class Reach(StrEnum):
    """Whether the vehicle and its owner can be reached."""

    REACHABLE = "reachable"
    EXPORTED = "exported"
    STOLEN = "stolen"
    SCRAPPED = "scrapped"
    NOT_NOTIFIED = "not_notified"
    OTHER = "other"


class VersionState(StrEnum):
    """How a set of criteria stands."""

    DRAFT = "draft"
    MATCHING = "matching"
    MATCHED = "matched"
    APPLYING = "applying"
    APPLIED = "applied"
    ABANDONED = "abandoned"


class Change(StrEnum):
    """What a match would change about one vehicle."""

    ADD = "add"
    TO_VERIFY = "to_verify"
    CONFIRM = "confirm"
    REMOVE = "remove"
    RESTORE = "restore"


class Payer(StrEnum):
    """Who pays for one line."""

    MANUFACTURER = "manufacturer"
    CUSTOMER = "customer"
    STORE = "store"


class RequestState(StrEnum):
    """How a request for the remedy stands."""

    WAITING = "waiting"
    OFFERED = "offered"
    BOOKED = "booked"
    DONE = "done"
    WITHDRAWN = "withdrawn"


class VisitState(StrEnum):
    """How a visit stands."""

    BOOKED = "booked"
    ARRIVED = "arrived"
    DONE = "done"
    MISSED = "missed"
    CANCELLED = "cancelled"


VISIT_MOVES: dict[VisitState, frozenset[VisitState]] = {
    VisitState.BOOKED: frozenset(
        {
            VisitState.ARRIVED,
            VisitState.DONE,
            VisitState.MISSED,
            VisitState.CANCELLED,
        }
    ),
    VisitState.ARRIVED: frozenset({VisitState.DONE, VisitState.CANCELLED}),
    VisitState.DONE: frozenset(),
    VisitState.MISSED: frozenset(),
    VisitState.CANCELLED: frozenset(),
}


class RepairState(StrEnum):
    """How a repair stands."""

    OPEN = "open"
    COMPLETED = "completed"
    ABANDONED = "abandoned"


class Outcome(StrEnum):
    """What came of a repair."""

    REMEDIED = "remedied"
    INSPECTED_CLEAR = "inspected_clear"
    NEEDS_REPAIR = "needs_repair"
    STOPPED = "stopped"


class ToldHow(StrEnum):
    """How somebody at the counter was told what is open on the vehicle."""

    SPOKEN = "spoken"
    PRINTED = "printed"


class ReadingResult(StrEnum):
    """What a measured value means."""

    PASS = "pass"  # noqa: S105 (not a password)
    REPEAT = "repeat"
    REPLACE = "replace"
    STOP = "stop"


class ClaimState(StrEnum):
    """How a claim stands."""

    READY = "ready"
    SUBMITTED = "submitted"
    PAID = "paid"
    SHORT_PAID = "short_paid"
    REJECTED = "rejected"
    WRITTEN_OFF = "written_off"


CLAIM_MOVES: dict[ClaimState, frozenset[ClaimState]] = {
    ClaimState.READY: frozenset({ClaimState.SUBMITTED, ClaimState.WRITTEN_OFF}),
    ClaimState.SUBMITTED: frozenset(
        {ClaimState.PAID, ClaimState.SHORT_PAID, ClaimState.REJECTED}
    ),
    ClaimState.PAID: frozenset(),
    ClaimState.SHORT_PAID: frozenset(
        {ClaimState.SUBMITTED, ClaimState.WRITTEN_OFF, ClaimState.PAID}
    ),
    ClaimState.REJECTED: frozenset({ClaimState.SUBMITTED, ClaimState.WRITTEN_OFF}),
    ClaimState.WRITTEN_OFF: frozenset(),
}


class ClaimLineKind(StrEnum):
    """What one line of a claim asks for."""

    PART = "part"
    LABOUR = "labour"
    SUBLET = "sublet"
    LOAN_CAR = "loan_car"
    TOWING = "towing"
    REPAID = "repaid"


class ToolStanding(StrEnum):
    """Whose a special tool in the store is."""

    OWNED = "owned"
    BORROWED = "borrowed"


class RoundKind(StrEnum):
    """Which letter of a campaign this is."""

    FIRST = "first"
    REMINDER = "reminder"
    INTERIM = "interim"
    SECOND = "second"


class PostedBy(StrEnum):
    """Whose letter it is: the manufacturer's own notice, or the store's letter."""

    STORE = "store"
    MANUFACTURER = "manufacturer"


class RoundScope(StrEnum):
    """Which vehicles a round looks at."""

    ALL = "all"
    RETURNED = "returned"


class RoundState(StrEnum):
    """How a round of letters stands."""

    DRAWN_UP = "drawn_up"
    PRINTING = "printing"
    PRINTED = "printed"
    POSTED = "posted"
    CANCELLED = "cancelled"


class OmissionReason(StrEnum):
    """Why an open vehicle gets no letter in a round."""

    NO_OWNER = "no_owner"
    NO_ADDRESS = "no_address"
    UNDELIVERABLE = "undeliverable"
    DO_NOT_WRITE = "do_not_write"
    DECEASED = "deceased"
    ADDRESS_NOT_ALLOWED = "address_not_allowed"
    PAST_LIMIT = "past_limit"
    OWN_STOCK = "own_stock"
    OUT_OF_REACH = "out_of_reach"
    TO_VERIFY = "to_verify"
    WRITTEN_ALREADY = "written_already"
    NOT_WRITTEN_YET = "not_written_yet"
    BOOKED = "booked"


class ReturnStep(StrEnum):
    """What was done about a letter that came back."""

    NEW_ADDRESS = "new_address"
    SAME_ADDRESS = "same_address"
    NOT_REACHED = "not_reached"
    NO_MORE_POST = "no_more_post"


class ContactChannel(StrEnum):
    """How somebody was spoken to, or answered."""

    CALL = "call"
    MESSAGE = "message"
    EMAIL = "email"
    IN_PERSON = "in_person"
    SLIP = "slip"
    LETTER = "letter"


class OwnerAnswer(StrEnum):
    """What came of it. Those from ``SOLD`` on change vehicle, owner or address."""

    NO_ANSWER = "no_answer"
    TOLD = "told"
    WILL_BOOK = "will_book"
    DECLINED = "declined"
    SOLD = "sold"
    SCRAPPED = "scrapped"
    EXPORTED = "exported"
    STOLEN = "stolen"
    DONE_ELSEWHERE = "done_elsewhere"
    MOVED = "moved"
    NO_LETTERS = "no_letters"


class ExportPurpose(StrEnum):
    """For what an address list is handed out.

    18 USC 2721(b)(2) allows recalls, advisories, safety and emissions; a store's own
    customers may be written to about their own vehicles.
    """

    RECALL_LETTERS = "recall_letters"
    ADDRESS_CHECK = "address_check"
    MANUFACTURER = "manufacturer"
    OWN_CUSTOMERS = "own_customers"


class ProposalKind(StrEnum):
    """What the reconcile job proposes."""

    ORDER = "order"
    RETURN = "return"
    NOTHING = "nothing"


class ProposalState(StrEnum):
    """What became of a proposal."""

    OPEN = "open"
    ACCEPTED = "accepted"
    CHANGED = "changed"
    DECLINED = "declined"
    SUPERSEDED = "superseded"


class ReportState(StrEnum):
    """How a report stands."""

    WAITING = "waiting"
    MADE = "made"
    FAILED = "failed"
