"""Parts and papers. Books in tests are filled through inventory.domain.ledger;
the factories of movements, entries and balances make bare rows and post nothing.
"""

import datetime as dt

import factory
from factory.django import DjangoModelFactory

from inventory.models import (
    Balance,
    Bill,
    BillLine,
    BinLocation,
    CostLayer,
    Credit,
    Dispute,
    Earmark,
    Entry,
    GoodsReturn,
    Movement,
    OrderLine,
    Part,
    PurchaseOrder,
    QuarantineLot,
    Reservation,
    ReturnLine,
    Shipment,
    ShipmentLine,
    StockCount,
    StockCountLine,
    Supplier,
    Transfer,
    TransferLine,
    WriteOff,
)
from inventory.rules.accounts import (
    Account,
    DisputeKind,
    LotKind,
    MovementKind,
    ReservationState,
)
from tests.factories.dealership import NOW, TODAY, StaffFactory, StoreFactory


class SupplierFactory(DjangoModelFactory[Supplier]):
    class Meta:
        model = Supplier

    code = factory.Sequence(lambda n: f"SUP{n + 1}")
    name = factory.Sequence(lambda n: f"Ostby Works Parts {n + 1}")


class PartFactory(DjangoModelFactory[Part]):
    class Meta:
        model = Part

    number = factory.Sequence(lambda n: f"OW-{n + 1:05}")
    name = "Seat rail bolt kit"
    supplier = factory.SubFactory(SupplierFactory)
    unit_cost_cents = 4_250


class EarmarkFactory(DjangoModelFactory[Earmark]):
    class Meta:
        model = Earmark

    code = factory.Sequence(lambda n: f"campaign-{n + 1}")
    words = "Seat rail bolts"


class BinLocationFactory(DjangoModelFactory[BinLocation]):
    class Meta:
        model = BinLocation

    store = factory.SubFactory(StoreFactory)
    code = factory.Sequence(lambda n: f"A-{n + 1:02}")


class BalanceFactory(DjangoModelFactory[Balance]):
    """An empty pocket without an earmark."""

    class Meta:
        model = Balance

    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)


class BillFactory(DjangoModelFactory[Bill]):
    class Meta:
        model = Bill

    store = factory.SubFactory(StoreFactory)
    supplier = factory.SubFactory(SupplierFactory)
    number = factory.Sequence(lambda n: f"B-{n + 1:05}")
    dated = TODAY
    entered_by = factory.SubFactory(StaffFactory)
    entered_at = NOW


class BillLineFactory(DjangoModelFactory[BillLine]):
    class Meta:
        model = BillLine

    bill = factory.SubFactory(BillFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 40
    unit_cost_cents = 4_250


class CostLayerFactory(DjangoModelFactory[CostLayer]):
    class Meta:
        model = CostLayer

    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)
    source = "bill B-1"
    unit_cost_cents = 4_250
    quantity = 40
    received_on = TODAY


class MovementFactory(DjangoModelFactory[Movement]):
    """The head of a movement, without entries."""

    class Meta:
        model = Movement

    key = factory.Sequence(lambda n: f"movement-{n + 1}")
    kind = MovementKind.RECEIVE
    store = factory.SubFactory(StoreFactory)
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW
    effective_on = TODAY


class EntryFactory(DjangoModelFactory[Entry]):
    """One line alone; no balance follows it."""

    class Meta:
        model = Entry

    movement = factory.SubFactory(MovementFactory)
    store = factory.SelfAttribute("movement.store")
    part = factory.SubFactory(PartFactory)
    account = Account.FREE
    quantity = 1


class ReservationFactory(DjangoModelFactory[Reservation]):
    """A promise on a coming delivery, so that no piece need stand on HELD."""

    class Meta:
        model = Reservation

    key = factory.Sequence(lambda n: f"reservation-{n + 1}")
    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 1
    state = ReservationState.PROMISED
    subject = factory.Sequence(lambda n: f"visit_job:{n + 1}")
    needed_on = TODAY + dt.timedelta(days=7)
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class PurchaseOrderFactory(DjangoModelFactory[PurchaseOrder]):
    class Meta:
        model = PurchaseOrder

    store = factory.SubFactory(StoreFactory)
    supplier = factory.SubFactory(SupplierFactory)
    number = factory.Sequence(lambda n: n + 1)
    key = factory.Sequence(lambda n: f"order-{n + 1}")
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class OrderLineFactory(DjangoModelFactory[OrderLine]):
    class Meta:
        model = OrderLine

    order = factory.SubFactory(PurchaseOrderFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 20
    unit_cost_cents = 4_250


class ShipmentFactory(DjangoModelFactory[Shipment]):
    """A delivery that is announced and not yet counted."""

    class Meta:
        model = Shipment

    store = factory.SubFactory(StoreFactory)
    supplier = factory.SubFactory(SupplierFactory)
    number = factory.Sequence(lambda n: f"PS-{n + 1:05}")
    announced_on = TODAY
    expected_on = TODAY + dt.timedelta(days=3)


class ShipmentLineFactory(DjangoModelFactory[ShipmentLine]):
    class Meta:
        model = ShipmentLine

    shipment = factory.SubFactory(ShipmentFactory)
    part = factory.SubFactory(PartFactory)
    sent = 40


class DisputeFactory(DjangoModelFactory[Dispute]):
    class Meta:
        model = Dispute

    shipment_line = factory.SubFactory(ShipmentLineFactory)
    store = factory.SelfAttribute("shipment_line.shipment.store")
    kind = DisputeKind.SHORT
    quantity = 2
    unit_cost_cents = 4_250
    opened_on = TODAY
    last_date = TODAY + dt.timedelta(days=10)


class GoodsReturnFactory(DjangoModelFactory[GoodsReturn]):
    class Meta:
        model = GoodsReturn

    store = factory.SubFactory(StoreFactory)
    supplier = factory.SubFactory(SupplierFactory)
    number = factory.Sequence(lambda n: n + 1)
    key = factory.Sequence(lambda n: f"return-{n + 1}")
    last_date = TODAY + dt.timedelta(days=30)
    made_by = factory.SubFactory(StaffFactory)
    made_at = NOW


class ReturnLineFactory(DjangoModelFactory[ReturnLine]):
    class Meta:
        model = ReturnLine

    goods_return = factory.SubFactory(GoodsReturnFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 5
    unit_cost_cents = 4_250


class CreditFactory(DjangoModelFactory[Credit]):
    """The credit of one line of a return."""

    class Meta:
        model = Credit

    return_line = factory.SubFactory(ReturnLineFactory)
    store = factory.SelfAttribute("return_line.goods_return.store")
    number = factory.Sequence(lambda n: f"C-{n + 1:05}")
    dated = TODAY
    at_cost_cents = 21_250
    amount_cents = 18_062
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class WriteOffFactory(DjangoModelFactory[WriteOff]):
    class Meta:
        model = WriteOff

    store = factory.SubFactory(StoreFactory)
    key = factory.Sequence(lambda n: f"write-off-{n + 1}")
    of = factory.Sequence(lambda n: f"inventory.dispute:{n + 1}")
    cents = 8_500
    why = "Two pieces lost on the way"
    dated = TODAY
    by = factory.SubFactory(StaffFactory)
    recorded_at = NOW


class TransferFactory(DjangoModelFactory[Transfer]):
    """Pieces on their way to a store of their own; the books are not moved."""

    class Meta:
        model = Transfer

    store = factory.SubFactory(StoreFactory)
    to_store = factory.SubFactory(StoreFactory)
    number = factory.Sequence(lambda n: n + 1)
    key = factory.Sequence(lambda n: f"transfer-{n + 1}")
    expected_on = TODAY + dt.timedelta(days=2)
    sent_by = factory.SubFactory(StaffFactory)
    sent_at = NOW


class TransferLineFactory(DjangoModelFactory[TransferLine]):
    class Meta:
        model = TransferLine

    transfer = factory.SubFactory(TransferFactory)
    part = factory.SubFactory(PartFactory)
    quantity = 3


class StockCountFactory(DjangoModelFactory[StockCount]):
    """A count that is prepared and not counted yet."""

    class Meta:
        model = StockCount

    store = factory.SubFactory(StoreFactory)
    number = factory.Sequence(lambda n: n + 1)
    key = factory.Sequence(lambda n: f"count-{n + 1}")
    about = "bin A-01"
    prepared_by = factory.SubFactory(StaffFactory)
    prepared_at = NOW


class StockCountLineFactory(DjangoModelFactory[StockCountLine]):
    class Meta:
        model = StockCountLine

    count = factory.SubFactory(StockCountFactory)
    part = factory.SubFactory(PartFactory)


class QuarantineLotFactory(DjangoModelFactory[QuarantineLot]):
    """A lot on paper alone; no piece is moved."""

    class Meta:
        model = QuarantineLot

    store = factory.SubFactory(StoreFactory)
    part = factory.SubFactory(PartFactory)
    key = factory.Sequence(lambda n: f"lot-{n + 1}")
    kind = LotKind.DOUBTFUL
    quantity = 4
    left = 4
    why = "Bent flange"
    opened_by = factory.SubFactory(StaffFactory)
    opened_at = NOW
