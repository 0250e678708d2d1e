"""Tables of the work."""

from campaigns.models.campaign import (
    Allocation,
    Campaign,
    CriteriaVersion,
    Criterion,
    ListedVin,
    MatchedChange,
)
from campaigns.models.claim import Claim, ClaimAct, ClaimLine, Payment
from campaigns.models.extra import ExtraLimit, RepairExtra
from campaigns.models.hold_list import StockChange, StockCheck
from campaigns.models.letter import (
    AddressExport,
    Contact,
    Letter,
    LetterCheckAnswer,
    LetterOmission,
    LetterRound,
    LetterText,
)
from campaigns.models.letter_batch import LetterChunk, LetterFile, LetterReprint
from campaigns.models.money_file import MoneyFile
from campaigns.models.outcome import Reckoning, Replenishment, Report
from campaigns.models.payer import PayerTerms, StockAgreement
from campaigns.models.population import (
    CampaignVehicle,
    PartRequest,
    ReachFact,
    StateChange,
)
from campaigns.models.proof import BookProof
from campaigns.models.remedy import (
    Remedy,
    RemedyPrice,
    ScheduledItem,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
)
from campaigns.models.replay import StoreReplay
from campaigns.models.response import ClosedResponse, LearnedResponse
from campaigns.models.room import DifferingDay, Loan, WorkshopHours
from campaigns.models.status_list import StatusDifference, StatusList
from campaigns.models.tool import SpecialTool, ToolAtStore
from campaigns.models.unsold import HoldingClaim, HoldingClaimLine, UnsoldVehicle
from campaigns.models.workshop import (
    CheckReading,
    LabourDone,
    NoticeGiven,
    PartFitted,
    Repair,
    Visit,
    VisitJob,
)


__all__ = [
    "AddressExport",
    "Allocation",
    "BookProof",
    "Campaign",
    "CampaignVehicle",
    "CheckReading",
    "Claim",
    "ClaimAct",
    "ClaimLine",
    "ClosedResponse",
    "Contact",
    "CriteriaVersion",
    "Criterion",
    "DifferingDay",
    "ExtraLimit",
    "HoldingClaim",
    "HoldingClaimLine",
    "LabourDone",
    "LearnedResponse",
    "Letter",
    "LetterCheckAnswer",
    "LetterChunk",
    "LetterFile",
    "LetterOmission",
    "LetterReprint",
    "LetterRound",
    "LetterText",
    "ListedVin",
    "Loan",
    "MatchedChange",
    "MoneyFile",
    "NoticeGiven",
    "PartFitted",
    "PartRequest",
    "PayerTerms",
    "Payment",
    "ReachFact",
    "Reckoning",
    "Remedy",
    "RemedyPrice",
    "Repair",
    "RepairExtra",
    "Replenishment",
    "Report",
    "ScheduledItem",
    "SpecialTool",
    "StateChange",
    "StatusDifference",
    "StatusList",
    "StockAgreement",
    "StockChange",
    "StockCheck",
    "StoreReplay",
    "ToolAtStore",
    "UnsoldVehicle",
    "Variant",
    "VariantCheck",
    "VariantLabour",
    "VariantPart",
    "VariantStep",
    "Visit",
    "VisitJob",
    "WorkshopHours",
]
