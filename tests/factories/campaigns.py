"""Campaigns and the work that follows from them."""

import datetime as dt
from decimal import Decimal

import factory
from django.core.files.base import ContentFile
from factory.django import DjangoModelFactory

from campaigns.models import (
    AddressExport,
    Allocation,
    BookProof,
    Campaign,
    CampaignVehicle,
    CheckReading,
    Claim,
    ClaimAct,
    ClaimLine,
    ClosedResponse,
    Contact,
    CriteriaVersion,
    Criterion,
    DifferingDay,
    ExtraLimit,
    HoldingClaim,
    HoldingClaimLine,
    LabourDone,
    LearnedResponse,
    Letter,
    LetterCheckAnswer,
    LetterChunk,
    LetterFile,
    LetterOmission,
    LetterReprint,
    LetterRound,
    LetterText,
    ListedVin,
    Loan,
    MatchedChange,
    MoneyFile,
    NoticeGiven,
    PartFitted,
    PartRequest,
    PayerTerms,
    Payment,
    ReachFact,
    Reckoning,
    Remedy,
    RemedyPrice,
    Repair,
    RepairExtra,
    Replenishment,
    Report,
    ScheduledItem,
    SpecialTool,
    StateChange,
    StatusDifference,
    StatusList,
    StockAgreement,
    StockChange,
    StockCheck,
    StoreReplay,
    ToolAtStore,
    UnsoldVehicle,
    Variant,
    VariantCheck,
    VariantLabour,
    VariantPart,
    VariantStep,
    Visit,
    VisitJob,
    WorkshopHours,
)
from campaigns.rules.letter_wording import shipped_text
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
    ProposalKind,
    Reach,
    ReadingResult,
    RepairState,
    RequestState,
    RoundKind,
    ToldHow,
    WorkState,
)
from inventory.forecasting.response import built_in, experience_kept
from inventory.rules.accounts import MovementKind
from tests.factories.dealership import (
    NOW,
    TODAY,
    StaffFactory,
    StoreFactory,
    UploadFactory,
)
from tests.factories.inventory import (
    CostLayerFactory,
    EarmarkFactory,
    MovementFactory,
    PartFactory,
    SupplierFactory,
)
from tests.factories.vehicles import (
    AddressFactory,
    PartyFactory,
    VehicleFactory,
    invented_vin,
)


class CampaignFactory(DjangoModelFactory[Campaign]):
    """A running safety recall, shared by all stores."""

    class Meta:
        model = Campaign

    code = factory.Sequence(lambda n: f"C{n + 1:03}")
    maker = "Ostby Works"
    maker_number = factory.Sequence(lambda n: f"OW26-{n + 1:03}")
    regulator_number = factory.Sequence(lambda n: f"26V-{n + 1:03}")
    title = "Seat rail bolts"
    campaign_class = CampaignClass.SAFETY
    bulletin = "Bolts of the seat rail may loosen. Replace the bolt kit."
    risk = "The seat may move in a crash."
    state = CampaignState.RUNNING
    supplier = factory.SubFactory(SupplierFactory)
    earmark = factory.SubFactory(
        EarmarkFactory, code=factory.LazyAttribute(lambda row: row.factory_parent.code)
    )
    announced_on = TODAY - dt.timedelta(days=60)
    parts_available_on = TODAY - dt.timedelta(days=30)
    letters_on = TODAY - dt.timedelta(days=30)
    claims_until = TODAY + dt.timedelta(days=700)
    returns_until = TODAY + dt.timedelta(days=120)
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class CriteriaVersionFactory(DjangoModelFactory[CriteriaVersion]):
    class Meta:
        model = CriteriaVersion

    campaign = factory.SubFactory(CampaignFactory)
    number = 1
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class CriterionFactory(DjangoModelFactory[Criterion]):
    class Meta:
        model = Criterion

    version = factory.SubFactory(CriteriaVersionFactory)
    model_years = factory.LazyFunction(lambda: [2022])
    lines = factory.LazyFunction(lambda: ["Corvane"])


class ListedVinFactory(DjangoModelFactory[ListedVin]):
    class Meta:
        model = ListedVin

    campaign = factory.SubFactory(CampaignFactory)
    vin = factory.Sequence(lambda n: invented_vin(n + 700_001))
    store = factory.SubFactory(StoreFactory)
    listed_on = TODAY


class MatchedChangeFactory(DjangoModelFactory[MatchedChange]):
    class Meta:
        model = MatchedChange

    version = factory.SubFactory(CriteriaVersionFactory)
    vehicle = factory.SubFactory(VehicleFactory)
    change = Change.ADD
    outcome = "affected"


class AllocationFactory(DjangoModelFactory[Allocation]):
    class Meta:
        model = Allocation

    campaign = factory.SubFactory(CampaignFactory)
    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 40
    unit_cost_cents = 4_250
    announced_on = TODAY
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class CampaignVehicleFactory(DjangoModelFactory[CampaignVehicle]):
    """An open vehicle of the population; no StateChange is made."""

    class Meta:
        model = CampaignVehicle

    campaign = factory.SubFactory(CampaignFactory)
    vehicle = factory.SubFactory(VehicleFactory)
    store = factory.SelfAttribute("vehicle.store")
    work_state = WorkState.OPEN
    outcome = "affected"
    added_on = TODAY - dt.timedelta(days=60)


class StateChangeFactory(DjangoModelFactory[StateChange]):
    class Meta:
        model = StateChange

    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    after = WorkState.OPEN
    effective_on = TODAY - dt.timedelta(days=60)
    recorded_at = NOW
    why = "The criteria take it in"


class ReachFactFactory(DjangoModelFactory[ReachFact]):
    class Meta:
        model = ReachFact

    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    reach = Reach.EXPORTED
    effective_on = TODAY
    recorded_at = NOW
    source = "the owner by telephone"


class PartRequestFactory(DjangoModelFactory[PartRequest]):
    """A place on the waiting list."""

    class Meta:
        model = PartRequest

    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    asked_on = TODAY
    who = "Pernille Ashdown"
    contact = "+1 217 555 0134"
    met_at_once = False
    state = RequestState.WAITING
    key = factory.Sequence(lambda n: f"request-{n + 1}")
    recorded_by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class ScheduledItemFactory(DjangoModelFactory[ScheduledItem]):
    class Meta:
        model = ScheduledItem

    code = factory.Sequence(lambda n: f"SI{n + 1:02}")
    title = "Cabin filter"
    due_after_months = 24


class RemedyFactory(DjangoModelFactory[Remedy]):
    class Meta:
        model = Remedy

    campaign = factory.SubFactory(CampaignFactory)
    cautions = "Support the seat before the last bolt is out."


class VariantFactory(DjangoModelFactory[Variant]):
    class Meta:
        model = Variant

    remedy = factory.SubFactory(RemedyFactory)
    code = factory.Sequence(lambda n: f"V{n + 1}")
    title = "Replace the bolt kit"


class VariantPartFactory(DjangoModelFactory[VariantPart]):
    class Meta:
        model = VariantPart

    variant = factory.SubFactory(VariantFactory)
    part = factory.SubFactory(PartFactory)


class VariantLabourFactory(DjangoModelFactory[VariantLabour]):
    class Meta:
        model = VariantLabour

    variant = factory.SubFactory(VariantFactory)
    operation = "SR-10"
    title = "Replace the bolts of the front seat rails"
    hundredths_of_hour = 80


class VariantCheckFactory(DjangoModelFactory[VariantCheck]):
    class Meta:
        model = VariantCheck

    variant = factory.SubFactory(VariantFactory)
    title = "Torque of the rail bolts"
    unit = "Nm"
    low = Decimal("42.000")
    high = Decimal("48.000")


class RemedyPriceFactory(DjangoModelFactory[RemedyPrice]):
    class Meta:
        model = RemedyPrice

    variant = factory.SubFactory(VariantFactory)
    title = "Loan car, one day"
    cents = 3_500


class VisitFactory(DjangoModelFactory[Visit]):
    class Meta:
        model = Visit

    key = factory.Sequence(lambda n: f"visit-{n + 1}")
    vehicle = factory.SubFactory(VehicleFactory)
    store = factory.SelfAttribute("vehicle.store")
    on = TODAY
    at = dt.time(9, 30)
    who = "Pernille Ashdown"
    booked_by = factory.SubFactory(StaffFactory)
    booked_at = NOW


class VisitJobFactory(DjangoModelFactory[VisitJob]):
    """The remedy of a campaign on a visit; visit, vehicle and campaign agree."""

    class Meta:
        model = VisitJob

    class Params:
        of_campaign = factory.SubFactory(CampaignFactory)

    visit = factory.SubFactory(VisitFactory)
    campaign_vehicle = factory.SubFactory(
        CampaignVehicleFactory,
        vehicle=factory.SelfAttribute("..visit.vehicle"),
        campaign=factory.SelfAttribute("..of_campaign"),
    )
    variant = factory.SubFactory(
        VariantFactory,
        remedy=factory.SubFactory(
            RemedyFactory, campaign=factory.SelfAttribute("...of_campaign")
        ),
    )


class RepairFactory(DjangoModelFactory[Repair]):
    """A repair that is open."""

    class Meta:
        model = Repair

    class Params:
        done = factory.Trait(
            state=RepairState.COMPLETED,
            outcome=Outcome.REMEDIED,
            done_on=TODAY,
            odometer=41_500,
            completed_at=NOW,
        )

    key = factory.Sequence(lambda n: f"repair-{n + 1}")
    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    vehicle = factory.SelfAttribute("campaign_vehicle.vehicle")
    store = factory.SelfAttribute("vehicle.store")
    variant = factory.SubFactory(
        VariantFactory,
        remedy=factory.SubFactory(
            RemedyFactory,
            campaign=factory.SelfAttribute("...campaign_vehicle.campaign"),
        ),
    )
    repair_order = factory.Sequence(lambda n: f"RO{n + 1:05}")
    opened_at = NOW
    technician = factory.SubFactory(StaffFactory)


class ExtraLimitFactory(DjangoModelFactory[ExtraLimit]):
    class Meta:
        model = ExtraLimit

    campaign = factory.SubFactory(CampaignFactory)
    kind = ClaimLineKind.LOAN_CAR
    day_cents = 4_000


class RepairExtraFactory(DjangoModelFactory[RepairExtra]):
    class Meta:
        model = RepairExtra

    key = factory.Sequence(lambda n: f"extra-{n + 1}")
    repair = factory.SubFactory(RepairFactory)
    kind = ClaimLineKind.TOWING
    title = "Towed in"
    cents = 8_900
    evidence = "TB-204"
    dated = TODAY
    recorded_at = NOW


class SpecialToolFactory(DjangoModelFactory[SpecialTool]):
    class Meta:
        model = SpecialTool

    number = factory.Sequence(lambda n: f"T-{n + 1:03}")
    name = "Rail gauge"


class ToolAtStoreFactory(DjangoModelFactory[ToolAtStore]):
    class Meta:
        model = ToolAtStore

    store = factory.SubFactory(StoreFactory)
    tool = factory.SubFactory(SpecialToolFactory)
    place = "Cage, shelf 2"


class VariantStepFactory(DjangoModelFactory[VariantStep]):
    class Meta:
        model = VariantStep

    variant = factory.SubFactory(VariantFactory)
    position = factory.Sequence(lambda n: n + 1)
    text = "Take the seat out."
    caution = "Switch the ignition off first."


class LabourDoneFactory(DjangoModelFactory[LabourDone]):
    class Meta:
        model = LabourDone

    repair = factory.SubFactory(RepairFactory)
    labour = factory.SubFactory(
        VariantLabourFactory, variant=factory.SelfAttribute("..repair.variant")
    )
    operation = factory.SelfAttribute("labour.operation")
    title = factory.SelfAttribute("labour.title")
    hundredths_of_hour = factory.SelfAttribute("labour.hundredths_of_hour")
    includes = factory.SelfAttribute("labour.includes")
    payer = Payer.MANUFACTURER


class CheckReadingFactory(DjangoModelFactory[CheckReading]):
    class Meta:
        model = CheckReading

    repair = factory.SubFactory(RepairFactory)
    check_of = factory.SubFactory(
        VariantCheckFactory, variant=factory.SelfAttribute("..repair.variant")
    )
    attempt = 1
    value = Decimal("45.000")
    unit = "Nm"
    result = ReadingResult.PASS
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class PartFittedFactory(DjangoModelFactory[PartFitted]):
    """One piece of a layer; the books are not touched."""

    class Meta:
        model = PartFitted

    repair = factory.SubFactory(RepairFactory, done=True)
    part = factory.SubFactory(PartFactory)
    layer = factory.SubFactory(
        CostLayerFactory,
        store=factory.SelfAttribute("..repair.store"),
        part=factory.SelfAttribute("..part"),
    )
    movement = factory.SubFactory(
        MovementFactory,
        kind=MovementKind.USE,
        store=factory.SelfAttribute("..repair.store"),
    )
    quantity = 1
    unit_cost_cents = 4_250
    payer = Payer.MANUFACTURER


class ClaimFactory(DjangoModelFactory[Claim]):
    """A claim that is ready, without lines."""

    class Meta:
        model = Claim

    repair = factory.SubFactory(RepairFactory, done=True)
    store = factory.SelfAttribute("repair.store")
    campaign = factory.SelfAttribute("repair.campaign_vehicle.campaign")
    number = factory.Sequence(lambda n: n + 1)
    made_on = TODAY


class ClaimLineFactory(DjangoModelFactory[ClaimLine]):
    """A line of labour; a line of parts wants its ``part_fitted``."""

    class Meta:
        model = ClaimLine

    claim = factory.SubFactory(ClaimFactory)
    kind = ClaimLineKind.LABOUR
    title = "Replace the bolts of the front seat rails"
    quantity = 80
    claimed_cents = 11_200


class ClaimActFactory(DjangoModelFactory[ClaimAct]):
    """A claim that was sent."""

    class Meta:
        model = ClaimAct

    key = factory.Sequence(lambda n: f"claim-act-{n + 1}")
    claim = factory.SubFactory(ClaimFactory)
    state = ClaimState.SUBMITTED
    dated = TODAY
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class PaymentFactory(DjangoModelFactory[Payment]):
    class Meta:
        model = Payment

    key = factory.Sequence(lambda n: f"payment-{n + 1}")
    line = factory.SubFactory(ClaimLineFactory)
    advice = "PA-1"
    dated = TODAY
    cents = 11_200
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class LetterTextFactory(DjangoModelFactory[LetterText]):
    class Meta:
        model = LetterText

    campaign_class = CampaignClass.SAFETY
    kind = RoundKind.FIRST
    number = factory.Sequence(lambda n: n + 1)
    subject, body = shipped_text(CampaignClass.SAFETY, RoundKind.FIRST)
    effective_from = TODAY - dt.timedelta(days=365)
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class LetterRoundFactory(DjangoModelFactory[LetterRound]):
    class Meta:
        model = LetterRound

    key = factory.Sequence(lambda n: f"round-{n + 1}")
    campaign = factory.SubFactory(CampaignFactory)
    store = factory.SubFactory(StoreFactory)
    kind = RoundKind.FIRST
    number = 1
    text = factory.SubFactory(LetterTextFactory)
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class LetterChunkFactory(DjangoModelFactory[LetterChunk]):
    class Meta:
        model = LetterChunk

    letter_round = factory.SubFactory(LetterRoundFactory)
    number = factory.Sequence(lambda n: n + 1)
    first = 1
    last = 3


class LetterFileFactory(DjangoModelFactory[LetterFile]):
    class Meta:
        model = LetterFile

    letter_round = factory.SubFactory(LetterRoundFactory)
    number = factory.Sequence(lambda n: n + 1)
    pdf = factory.LazyFunction(lambda: ContentFile(b"%PDF-1.7", "letters-1.pdf"))
    first = 1
    last = 3
    sheets = 3


class LetterReprintFactory(DjangoModelFactory[LetterReprint]):
    class Meta:
        model = LetterReprint

    key = factory.Sequence(lambda n: f"reprint-{n + 1}")
    letter_round = factory.SubFactory(LetterRoundFactory)
    codes = factory.LazyFunction(lambda: ["L0000100001"])
    why = "The printer jammed"
    by = factory.SubFactory(StaffFactory)
    at = NOW


class LetterFactory(DjangoModelFactory[Letter]):
    """A letter about a vehicle of the round's campaign and store."""

    class Meta:
        model = Letter

    letter_round = factory.SubFactory(LetterRoundFactory)
    campaign_vehicle = factory.SubFactory(
        CampaignVehicleFactory,
        campaign=factory.SelfAttribute("..letter_round.campaign"),
        vehicle=factory.SubFactory(
            VehicleFactory, store=factory.SelfAttribute("...letter_round.store")
        ),
    )
    party = factory.SubFactory(
        PartyFactory, store=factory.SelfAttribute("..letter_round.store")
    )
    address = factory.SubFactory(AddressFactory, party=factory.SelfAttribute("..party"))
    code = factory.Sequence(lambda n: f"L{n + 1:06}")
    position = factory.Sequence(lambda n: n + 1)


class LetterOmissionFactory(DjangoModelFactory[LetterOmission]):
    class Meta:
        model = LetterOmission

    letter_round = factory.SubFactory(LetterRoundFactory)
    campaign_vehicle = factory.SubFactory(
        CampaignVehicleFactory,
        campaign=factory.SelfAttribute("..letter_round.campaign"),
        vehicle=factory.SubFactory(
            VehicleFactory, store=factory.SelfAttribute("...letter_round.store")
        ),
    )
    reason = OmissionReason.NO_ADDRESS


class LetterCheckAnswerFactory(DjangoModelFactory[LetterCheckAnswer]):
    class Meta:
        model = LetterCheckAnswer

    letter_round = factory.SubFactory(LetterRoundFactory)
    text = factory.SelfAttribute("letter_round.text")
    rule = "heading"
    why = "The manufacturer's own heading stands above it."
    by = factory.SubFactory(StaffFactory)
    at = NOW


class ContactFactory(DjangoModelFactory[Contact]):
    """A call about an open vehicle."""

    class Meta:
        model = Contact

    key = factory.Sequence(lambda n: f"contact-{n + 1}")
    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    channel = ContactChannel.CALL
    answer = OwnerAnswer.TOLD
    on = TODAY
    by = factory.SubFactory(StaffFactory)
    at = NOW


class AddressExportFactory(DjangoModelFactory[AddressExport]):
    """A list handed to a printer's shop."""

    class Meta:
        model = AddressExport

    letter_round = factory.SubFactory(LetterRoundFactory)
    store = factory.SelfAttribute("letter_round.store")
    purpose = ExportPurpose.RECALL_LETTERS
    recipient = "Quillgate Print"
    file_kind = "csv"
    rows = 84
    by = factory.SubFactory(StaffFactory)
    at = NOW
    keep_until = TODAY + dt.timedelta(days=5 * 366)


class ReckoningFactory(DjangoModelFactory[Reckoning]):
    """A store whose proposals were worked out this morning."""

    class Meta:
        model = Reckoning

    store = factory.SubFactory(StoreFactory)
    worked_on = TODAY
    seen_until = NOW


class ReplenishmentFactory(DjangoModelFactory[Replenishment]):
    """A proposal to order, still open."""

    class Meta:
        model = Replenishment

    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)
    made_on = TODAY
    made_at = NOW
    kind = ProposalKind.ORDER
    quantity = 20
    act_by = TODAY + dt.timedelta(days=2)
    sentence = "Order 20 pieces by Friday: the shelf lasts 9 days."
    fingerprint = factory.Sequence(lambda n: f"{n + 1:064}")


class ClosedResponseFactory(DjangoModelFactory[ClosedResponse]):
    """Forty vehicles of a closed campaign: 24 came, six left, ten stayed away."""

    class Meta:
        model = ClosedResponse

    campaign = factory.SubFactory(
        CampaignFactory, state=CampaignState.CLOSED, closed_at=NOW
    )
    store = factory.SubFactory(StoreFactory)
    made_at = NOW

    @factory.lazy_attribute
    def seen(self) -> list[list[object]]:
        return [
            [10, [0], 12, True],
            [8, [0], 31, True],
            [6, [0], 75, True],
            [6, [0], 150, False],
            [10, [0], 400, False],
        ]


class LearnedResponseFactory(DjangoModelFactory[LearnedResponse]):
    """What one store learned of one class."""

    class Meta:
        model = LearnedResponse

    store = factory.SubFactory(StoreFactory)
    campaign_class = CampaignClass.SAFETY
    fingerprint = factory.Sequence(lambda n: f"{n + 1:064}")
    made_at = NOW

    @factory.lazy_attribute
    def learned(self) -> dict[str, object]:
        return experience_kept(built_in())


class StoreReplayFactory(DjangoModelFactory[StoreReplay]):
    """A replay of a store that has closed no campaign."""

    class Meta:
        model = StoreReplay

    store = factory.SubFactory(StoreFactory)
    made_at = NOW

    @factory.lazy_attribute
    def result(self) -> dict[str, object]:
        return {"campaigns": [], "then": {"forecasts": 0}, "learned": None}


class ReportFactory(DjangoModelFactory[Report]):
    """A report that waits to be made."""

    class Meta:
        model = Report

    key = factory.Sequence(lambda n: f"report-{n + 1}")
    campaign = factory.SubFactory(CampaignFactory)
    store = factory.SubFactory(StoreFactory)
    as_of = TODAY
    asked_by = factory.SubFactory(StaffFactory)
    asked_at = NOW


class BookProofFactory(DjangoModelFactory[BookProof]):
    """A proof that found nothing."""

    class Meta:
        model = BookProof

    made_at = NOW
    entries = 40
    accounts = 3
    fault_count = 0


class PayerTermsFactory(DjangoModelFactory[PayerTerms]):
    """The standard rounding."""

    class Meta:
        model = PayerTerms

    supplier = factory.SubFactory(SupplierFactory)


class StockAgreementFactory(DjangoModelFactory[StockAgreement]):
    """What the Act says."""

    class Meta:
        model = StockAgreement

    store = factory.SubFactory(StoreFactory)
    supplier = factory.SubFactory(SupplierFactory)


class UnsoldVehicleFactory(DjangoModelFactory[UnsoldVehicle]):
    class Meta:
        model = UnsoldVehicle

    campaign_vehicle = factory.SubFactory(CampaignVehicleFactory)
    selling_price_cents = 3_000_000
    notice_on = TODAY


class HoldingClaimFactory(DjangoModelFactory[HoldingClaim]):
    """A claim that waits for its payment, without lines."""

    class Meta:
        model = HoldingClaim

    store = factory.SubFactory(StoreFactory)
    campaign = factory.SubFactory(CampaignFactory)
    number = factory.Sequence(lambda n: n + 1)
    key = factory.Sequence(lambda n: f"holding-{n + 1}")
    dated = TODAY
    terms = {
        "monthly_rate": "0.01",
        "base": "selling_price",
        "start": "notice",
        "grace_days": 0,
        "end": "corrected",
        "day_count": "anniversary_months",
    }
    made_at = NOW


class HoldingClaimLineFactory(DjangoModelFactory[HoldingClaimLine]):
    class Meta:
        model = HoldingClaimLine

    claim = factory.SubFactory(HoldingClaimFactory)
    unsold = factory.SubFactory(UnsoldVehicleFactory)
    start = TODAY
    until = TODAY
    months = "0.0000"
    base_cents = 3_000_000
    cents = 0


class NoticeGivenFactory(DjangoModelFactory[NoticeGiven]):
    """A customer who was told."""

    class Meta:
        model = NoticeGiven

    key = factory.Sequence(lambda n: f"notice-{n}")
    vehicle = factory.SubFactory(VehicleFactory)
    store = factory.SelfAttribute("vehicle.store")
    campaigns = factory.LazyFunction(lambda: ["SR-26-01"])
    how = ToldHow.SPOKEN
    at = NOW


class MoneyFileFactory(DjangoModelFactory[MoneyFile]):
    """A payment advice that is not applied yet."""

    class Meta:
        model = MoneyFile

    store = factory.SubFactory(StoreFactory)
    kind = "payments"
    upload = factory.SubFactory(
        UploadFactory,
        store=factory.SelfAttribute("..store"),
        content=b"Claim,Paid\n1,2",
    )
    sha256 = factory.Sequence(lambda n: f"{n + 1:064}")
    made_at = NOW


class WorkshopHoursFactory(DjangoModelFactory[WorkshopHours]):
    """Hours of one skill on Mondays, or on another day of the week."""

    class Meta:
        model = WorkshopHours

    store = factory.SubFactory(StoreFactory)
    skill = "mechanical"
    weekday = 1
    hundredths_of_hour = 1_600


class DifferingDayFactory(DjangoModelFactory[DifferingDay]):
    """A day with hours of its own."""

    class Meta:
        model = DifferingDay

    store = factory.SubFactory(StoreFactory)
    skill = "mechanical"
    day = TODAY
    hundredths_of_hour = 400
    why = "Training"


class LoanFactory(DjangoModelFactory[Loan]):
    """A loan car promised for the day of a visit."""

    class Meta:
        model = Loan

    visit = factory.SubFactory(VisitFactory)
    store = factory.SelfAttribute("visit.store")
    first_day = factory.SelfAttribute("visit.on")
    last_day = factory.SelfAttribute("first_day")


class StockCheckFactory(DjangoModelFactory[StockCheck]):
    """A check of a store's own vehicles, of today."""

    class Meta:
        model = StockCheck

    store = factory.SubFactory(StoreFactory)
    made_at = NOW
    on = TODAY
    vehicles = 3
    held = 1


class StockChangeFactory(DjangoModelFactory[StockChange]):
    """A vehicle of the store's own that a check put on the hold list."""

    class Meta:
        model = StockChange

    check_of = factory.SubFactory(StockCheckFactory)
    vehicle = factory.SubFactory(
        VehicleFactory, store=factory.SelfAttribute("..check_of.store"), standing="new"
    )
    after = "hold"
    campaigns = factory.LazyFunction(lambda: ["SR-26-01"])


class StatusListFactory(DjangoModelFactory[StatusList]):
    """A list about one campaign that is not applied yet."""

    class Meta:
        model = StatusList

    store = factory.SubFactory(StoreFactory)
    campaign = factory.SubFactory(CampaignFactory)
    upload = factory.SubFactory(
        UploadFactory,
        store=factory.SelfAttribute("..store"),
        content=b"VIN,Status\n1,done",
    )
    sha256 = factory.Sequence(lambda n: f"{n + 1:064}")
    listed_on = TODAY
    made_at = NOW


class StatusDifferenceFactory(DjangoModelFactory[StatusDifference]):
    """A repair recorded here that the list calls open."""

    class Meta:
        model = StatusDifference

    status_list = factory.SubFactory(StatusListFactory)
    campaign_vehicle = factory.SubFactory(
        CampaignVehicleFactory,
        campaign=factory.SelfAttribute("..status_list.campaign"),
        vehicle=factory.SubFactory(
            VehicleFactory, store=factory.SelfAttribute("...status_list.store")
        ),
        work_state=WorkState.REMEDIED_HERE,
    )
    row_number = 2
    said = "open"
    work_state = WorkState.REMEDIED_HERE
