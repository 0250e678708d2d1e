"""Owners who call, come or do not come; repairs, claims, and what the payer answers."""

import datetime as dt
import io

from django.core.files import File

from campaigns.domain.booking import (
    PartsNotThere,
    book_visit,
    cancel_visit,
    lapse_missed,
    mark_missed,
    move_visit,
)
from campaigns.domain.claims import record_payment, reject, submit, write_off
from campaigns.domain.money_files import apply_money_file, keep_money_file
from campaigns.domain.repairs import abandon_repair, complete_repair, open_repair
from campaigns.domain.requests import record_request
from campaigns.models import (
    Campaign,
    CampaignVehicle,
    Claim,
    Repair,
    Visit,
)
from campaigns.rules.lifecycle import (
    ClaimState,
    Outcome,
    VisitState,
    WorkState,
)
from campaigns.rules.money_rows import FileKind
from dealership.models import Store
from dealership.rules.money import plain_money
from dealership.rules.roles import Role
from inventory.domain.lapsing import lapse_overdue
from inventory.models import Part, ShipmentLine
from tests.simulation.acting import Doer
from tests.simulation.stage import Stage
from tests.simulation.supply import Supply


NEVER_ASKS, MISSES, CALLS_OFF, WALKS_IN = 0.15, 0.12, 0.04, 0.06


class Workshop:
    """The desk, the workshop and the office of each store."""

    def __init__(self, stage: Stage, doer: Doer, supply: Supply) -> None:
        self.stage = stage
        self.doer = doer
        self.supply = supply

    def by(self, store: Store, role: Role = Role.SERVICE_MANAGER):
        """Give who does it."""
        return self.stage.staff[store.pk][role]

    def let_owners_ask(self, campaign: Campaign, *, within: int) -> None:
        """Draw for each vehicle when its owner asks, most of them early."""
        doer = self.doer
        for row in campaign.vehicles.order_by("pk").select_related("vehicle", "store"):
            if not doer.maybe(NEVER_ASKS):
                day = int(within * doer.chance.random() ** 1.7) + 3
                doer.later(day, lambda row=row: self._ask(row))

    def _ask(self, row: CampaignVehicle) -> None:
        """Book the day wanted, else the earliest, else put the owner on the list."""
        doer = self.doer
        row.refresh_from_db()
        if row.work_state != WorkState.OPEN:
            return
        if doer.maybe(WALKS_IN):
            self._walk_in(row)
            return
        wanted = doer.today + dt.timedelta(days=doer.chance.randint(1, 8))
        refusal = self._book(row, wanted)
        earliest = getattr(refusal, "earliest", None)
        if earliest and (earliest - doer.today).days < 30:
            refusal = self._book(row, earliest)
        if isinstance(refusal, PartsNotThere):
            doer.do(
                record_request,
                key=doer.key("request"),
                campaign_vehicle=row,
                who="Pernille Ashdown",
                contact="+1 217 555 0134",
                asked_on=doer.today,
                by=self.by(row.store),
            )
            variant = row.campaign.remedy.variants.get()
            for line in variant.parts.select_related("part").order_by("pk"):
                newest = line.part.superseded_by or line.part
                self.supply.order(row.store, newest, row.campaign.earmark)

    def _book(self, row: CampaignVehicle, on: dt.date) -> Exception | None:
        """Book all that is open on the vehicle; give the refusal, None when booked."""
        doer = self.doer
        while on.weekday() > 4:
            on += dt.timedelta(days=1)
        others = CampaignVehicle.objects.filter(
            vehicle=row.vehicle, work_state=WorkState.OPEN
        ).exclude(visit_jobs__live=True)
        jobs = list(others.order_by("pk").select_related("campaign", "vehicle"))
        kept: list[Exception] = []

        def book_or_hear_why(**facts: object):
            try:
                return book_visit(**facts)
            except PartsNotThere as refusal:
                kept.append(refusal)
                raise

        book_or_hear_why.__name__ = "book_visit"
        visit = doer.do(
            book_or_hear_why,
            key=doer.key("visit"),
            vehicle=row.vehicle,
            store=row.store,
            on=on,
            jobs=jobs,
            by=self.by(row.store),
            today=doer.today,
        )
        if visit is None:
            return kept[0] if kept else RuntimeError("refused otherwise")
        doer.later((on - doer.today).days, lambda: self._day_of(visit))
        return None

    def _day_of(self, visit: Visit) -> None:
        """Let a vehicle come, or not, or on another day."""
        doer, store = self.doer, visit.store
        visit.refresh_from_db()
        if visit.state != VisitState.BOOKED or visit.on != doer.today:
            return
        rows = [job.campaign_vehicle for job in visit.jobs.order_by("pk")]
        again = doer.chance.randint(5, 40)
        if doer.maybe(MISSES):
            doer.faults["missed visit"] += 1
            if doer.maybe(0.5):  # the others lapse after the days of grace
                doer.do(mark_missed, visit=visit, by=self.by(store), today=doer.today)
            doer.later(again, lambda: self._ask(rows[0]))
        elif doer.maybe(CALLS_OFF):
            doer.do(cancel_visit, visit=visit, by=self.by(store), today=doer.today)
            doer.later(again, lambda: self._ask(rows[0]))
        elif doer.maybe(CALLS_OFF):
            to = doer.today + dt.timedelta(days=doer.chance.randint(2, 6))
            moved = doer.do(
                move_visit,
                key=doer.key("move"),
                visit=visit,
                to=to,
                by=self.by(store),
                today=doer.today,
            )
            if moved:
                doer.later((to - doer.today).days, lambda: self._day_of(moved))
        else:
            for job in visit.jobs.order_by("pk"):
                repair = doer.do(
                    open_repair,
                    key=doer.key("open"),
                    store=store,
                    visit_job=job,
                    by=self.by(store),
                )
                if repair:
                    self._work(repair, rows[0])

    def _walk_in(self, row: CampaignVehicle) -> None:
        """Open the work on a vehicle that just came; what is missing stops it."""
        doer = self.doer
        repair = doer.do(
            open_repair,
            key=doer.key("walk-in"),
            store=row.store,
            campaign_vehicle=row,
            variant=row.campaign.remedy.variants.get(),
            by=self.by(row.store),
        )
        if repair and not self._work(repair, row):
            doer.do(
                abandon_repair,
                repair=repair,
                why="no parts",
                by=self.by(row.store),
            )
            doer.later(9, lambda: self._ask(row))

    def _work(self, repair: Repair, row: CampaignVehicle) -> bool:
        """Do the work and sign it off; now and then it stops, or takes more pieces."""
        doer, store = self.doer, repair.store
        lines = repair.variant.parts.select_related("part").order_by("pk")
        used: dict[Part, int] = {}
        for line in lines:
            used[self._serving(line.part, repair)] = line.quantity
        outcome, note = Outcome.REMEDIED, ""
        if doer.maybe(0.04):
            outcome, used, note = Outcome.STOPPED, {}, "a stud broke"
            doer.later(12, lambda: self._ask(row))
        elif doer.maybe(0.04):
            first = next(iter(used))
            used[first] += 1
            note = "one was dropped"
        done = doer.do(
            complete_repair,
            key=doer.key("done"),
            repair=repair,
            outcome=outcome,
            used=used,
            odometer=repair.vehicle.odometer,
            done_on=doer.today,
            technician=self.by(store, Role.TECHNICIAN),
            note=note,
            by=self.by(store, Role.TECHNICIAN),
        )
        if done is None:
            return False
        doer.did[store.pk, "fitted"] += sum(used.values())
        claim = Claim.objects.filter(repair=done).first()
        if claim:
            doer.later(doer.chance.randint(1, 5), lambda: self._send(claim))
        return True

    def _serving(self, part: Part, repair: Repair) -> Part:
        """Take the old number while it is held for the job, else the new one."""
        job = repair.visit_job
        subject = job.subject if job else f"repair:{repair.pk}"
        numbers = {part.pk: part}
        if part.superseded_by:
            numbers[part.superseded_by.pk] = part.superseded_by
        held = (
            part.reservations.model.objects.filter(
                subject=subject, part__in=numbers, state="held"
            )
            .order_by("pk")
            .values_list("part_id", flat=True)
        )
        return numbers[next(iter(held), part.pk)]

    def _send(self, claim: Claim) -> None:
        doer = self.doer
        sent = doer.do(
            submit,
            key=doer.key("claim"),
            claim=claim,
            dated=doer.today,
            by=self.by(claim.store),
        )
        if sent and doer.maybe(0.4):  # the others are in the payer's file
            doer.later(doer.chance.randint(5, 20), lambda: self._answer(claim))

    def _answer(self, claim: Claim) -> None:
        """Answer one claim by hand: paid, paid short or refused."""
        doer = self.doer
        claim.refresh_from_db()
        if claim.state != ClaimState.SUBMITTED:
            return
        by = self.by(claim.store)
        if doer.maybe(0.1):
            doer.faults["claim refused"] += 1
            doer.do(
                reject,
                key=doer.key("refused"),
                claim=claim,
                why="odometer differs",
                dated=doer.today,
                by=by,
            )
            self._go_on(claim)
            return
        left = {
            line.pk: line.claimed_cents - line.paid_cents
            for line in claim.lines.order_by("pk")
        }
        if doer.maybe(0.15):
            doer.faults["claim paid short"] += 1
            first = min(left)
            left[first] = left[first] * doer.chance.randint(1, 9) // 10
            self._go_on(claim)
        paid = {pk: cents for pk, cents in left.items() if cents}
        done = doer.do(
            record_payment,
            key=doer.key("payment"),
            claim=claim,
            paid=paid,
            dated=doer.today,
            advice=doer.key("A"),
            by=by,
        )
        if done:
            doer.did[claim.store_id, "paid cents"] += sum(paid.values())

    def _go_on(self, claim: Claim) -> None:
        """Send a refused or cut claim again, or give the rest up."""
        doer = self.doer
        if doer.maybe(0.6):
            doer.later(6, lambda: self._send(claim))
            return

        def give_up() -> None:
            doer.do(
                write_off,
                key=doer.key("give up"),
                claim=claim,
                why="not worth the post",
                dated=doer.today,
                by=self.by(claim.store),
            )

        doer.later(20, give_up)

    def take_advice(self, store: Store) -> None:
        """Take the payer's file in: claims sent a week ago; some files twice."""
        doer = self.doer
        due = Claim.objects.filter(
            store=store,
            state=ClaimState.SUBMITTED,
            submitted_on__lte=doer.today - dt.timedelta(days=7),
        ).order_by("number")
        rows = ["Claim,Paid,Advice,Date,Reason"]
        advice, cents, cut = doer.key("ADV"), 0, []
        for claim in due[:12]:
            left = sum(one.claimed_cents - one.paid_cents for one in claim.lines.all())
            paid, reason = left, ""
            if doer.maybe(0.05):
                paid, reason = 0, "not covered"
                cut.append((claim, "claim refused"))
            elif doer.maybe(0.1):
                paid, reason = left * 8 // 10, "labour cut"
                cut.append((claim, "claim paid short"))
            cents += paid
            rows.append(
                f"{claim.number},{plain_money(paid, grouped=False)},{advice},"
                f"{doer.today},{reason}"
            )
        rows.append(f"999999,10.00,{advice},{doer.today},")  # a claim of nobody's
        if len(rows) > 2:
            self._take_file(store, rows, FileKind.PAYMENTS, "paid cents", cents)
            for claim, fault in cut:
                doer.faults[fault] += 1
                self._go_on(claim)

    def take_bills(self, store: Store) -> None:
        """Take a bill file in for deliveries whose bill is still to come."""
        doer = self.doer
        waiting = ShipmentLine.objects.filter(
            shipment__store=store,
            shipment__order__isnull=False,
            shipment__announced_on__lt=doer.today - dt.timedelta(days=6),
            bill_line__isnull=True,
        ).select_related("part", "shipment")
        rows, billed = ["Bill,Date,Part,Quantity,Price,Slip"], set()
        for line in waiting.order_by("pk"):
            if line.shipment.number in self._billed(store):
                continue
            cents = line.order_line.unit_cost_cents
            if doer.maybe(0.15):
                doer.faults["bill at another price"] += 1
                cents += doer.chance.choice([-11, 25])
            dated = doer.today - dt.timedelta(days=doer.chance.randint(0, 9))
            rows.append(
                f"L-{line.shipment.number},{dated},{line.part.number},{line.sent},"
                f"{plain_money(cents, grouped=False)},{line.shipment.number}"
            )
            billed.add(line.shipment.number)
        if billed:
            self._take_file(store, rows, FileKind.BILLS, "bills by file", len(billed))

    def _billed(self, store: Store) -> set[str]:
        """Name the slips that a bill file has billed already."""
        numbers = store.bills.filter(number__startswith="L-")
        return {one[2:] for one in numbers.values_list("number", flat=True)}

    def _take_file(
        self, store: Store, rows: list[str], kind: FileKind, what: str, amount: int
    ) -> None:
        """Keep and apply a file; then perhaps once more, as it was or under new bytes."""
        doer, by = self.doer, self.by(store)
        content = ("\n".join(rows) + "\n").encode()

        def keep_file(*, content: bytes, at: dt.datetime):
            file = File(io.BytesIO(content), "file.csv")
            return keep_money_file(
                file=file, name="file.csv", kind=kind, store=store, by=by, at=at
            )

        def apply(kept):
            return doer.do(
                apply_money_file,
                key=doer.key("file"),
                money_file=kept,
                dated=doer.today,
                by=by,
            )

        kept = doer.do(keep_file, content=content)
        if apply(kept) is None:
            return
        doer.did[store.pk, what] += amount
        if doer.maybe(0.3):
            doer.faults["same file twice"] += 1
            again = doer.do(keep_file, content=content)
            assert again == kept
            apply(again)
        if doer.maybe(0.3):
            doer.faults["same rows in another file"] += 1
            other = doer.do(keep_file, content=content + b"\n")
            assert other != kept
            apply(other)

    def close_the_day_before(self, store: Store) -> None:
        """Do what the nightly jobs do: end visits and promises nobody came for."""
        doer = self.doer
        doer.do(lapse_missed, store=store, by=None)
        doer.do(lapse_overdue, store=store, today=doer.today, by=None)
