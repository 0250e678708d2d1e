"""The books of pieces once more, slow and obvious, with nothing of the ledger in it.

Pieces are counted in a dictionary; cost layers, promises, lots and shipments are plain
records in plain lists. Each verb does what a person with a pencil would do. What the
books refuse raises ``Short`` here, before anything is changed.
"""

from collections import Counter
from dataclasses import dataclass, field


INSIDE = ("free", "held", "quarantine", "transit")
ON_HAND = ("free", "held", "quarantine")
SOON, FAR = 0, 30
"""Days from today: needed today, or after all deliveries that are on their way."""


class Short(Exception):
    """Fewer pieces than are wanted."""


@dataclass
class Layer:
    """Pieces that came in together, on the shelf and aside."""

    number: int
    store: int
    part: int
    mark: int
    cents: int
    day: int
    shelf: int = 0
    aside: int = 0


@dataclass
class Promise:
    """Pieces for somebody; one row a pocket, in the order in which they were made."""

    number: int
    who: str
    pocket: tuple[int, int, int]
    pieces: int
    day: int
    state: str
    used: int = 0


@dataclass
class Lot:
    """Pieces in quarantine under one reason: which layers they are of."""

    pocket: tuple[int, int, int]
    kind: str
    shares: list[list]

    @property
    def left(self) -> int:
        """Count them."""
        return sum(pieces for _layer, pieces in self.shares)


@dataclass
class Coming:
    """Pieces announced to a pocket; without a good day nobody counts on them."""

    pocket: tuple[int, int, int]
    pieces: int
    counted_on: bool
    cents: int
    billed: bool = False


@dataclass
class Disputed:
    """Pieces that are short or damaged, and the layer of the damaged ones."""

    pocket: tuple[int, int, int]
    pieces: int
    cents: int
    layer: Layer | None


@dataclass
class SlowBooks:
    """Two stores (0, 1), two part numbers (0, 1), two marks (0: none, 1: a campaign)."""

    pieces: Counter = field(default_factory=Counter)
    layers: list = field(default_factory=list)
    promises: list = field(default_factory=list)
    lots: list = field(default_factory=list)
    coming: list = field(default_factory=list)
    disputes: list = field(default_factory=list)
    received: int = 0
    money: Counter = field(default_factory=Counter)
    made: int = 0

    # What stands ------------------------------------------------------------

    def at(self, pocket, account) -> int:
        """Count the pieces of a pocket on one account."""
        return self.pieces[pocket, account]

    def total(self, *accounts) -> int:
        """Count all pieces on some accounts."""
        return sum(n for (_pocket, one), n in self.pieces.items() if one in accounts)

    def live(self, *states, pocket=None, who=None) -> list:
        """Give promises in some states."""
        return [
            one
            for one in self.promises
            if one.state in states
            and pocket in (None, one.pocket)
            and who in (None, one.who)
        ]

    def can_promise(self, store, part, marks, day) -> int:
        """Count what can be promised from some pockets, for today or for a far day."""
        pockets = [(store, part, mark) for mark in marks]
        free = sum(self.at(one, "free") for one in pockets)
        end = sum(self._end(one) for one in pockets)
        if 0 in marks:
            # what another mark has promised too much falls on the common stock
            others = {0, 1} - set(marks)
            end += sum(min(0, self._end((store, part, one))) for one in others)
        return max(0, end if day == FAR else min(free, end))

    def _end(self, pocket) -> int:
        """Count what is left when all has come and all is fetched."""
        coming = sum(
            one.pieces for one in self.coming if one.pocket == pocket and one.counted_on
        )
        promised = sum(one.pieces for one in self.live("promised", pocket=pocket))
        return self.at(pocket, "free") + coming - promised

    # Moving -----------------------------------------------------------------

    def move(self, pocket, source, target, pieces) -> None:
        """Take pieces from one account of a pocket to another."""
        self.pieces[pocket, source] -= pieces
        self.pieces[pocket, target] += pieces

    def take(self, pocket, pieces, place="shelf") -> list:
        """Take pieces out of their layers: the mark's own first, then the oldest."""
        store, part, mark = pocket
        of_part = [one for one in self.layers if (one.store, one.part) == (store, part)]
        of_part.sort(key=lambda one: (one.mark != mark, one.day, one.number))
        taken = []
        for layer in of_part:
            share = min(pieces, getattr(layer, place))
            if share:
                setattr(layer, place, getattr(layer, place) - share)
                taken.append([layer, share])
                pieces -= share
        assert not pieces, "more pieces than layers"
        return taken

    def new_layer(self, pocket, cents, day, **places) -> Layer:
        """Write down pieces that came in."""
        self.made += 1
        store, part, mark = pocket
        layer = Layer(self.made, store, part, mark, cents, day, **places)
        self.layers.append(layer)
        return layer

    def _draw(self, store, part, marks, pieces) -> list:
        """Share pieces over pockets, the first mark first."""
        shares = []
        for mark in marks:
            share = min(pieces, self.at((store, part, mark), "free"))
            if share:
                shares.append(((store, part, mark), share))
                pieces -= share
        return shares

    # Promises ---------------------------------------------------------------

    def promise(self, who, store, wanted, marks, day) -> None:
        """Promise pieces of several parts to somebody, all or nothing."""
        waits = any(
            one.pocket[0] == store and one.pocket[1] in wanted
            for one in self.live("promised")
        )
        rows = []
        for part in sorted(wanted):
            pieces = wanted[part]
            free = sum(self.at((store, part, mark), "free") for mark in marks)
            enough = free >= pieces and not waits
            if enough or self.can_promise(store, part, marks, SOON) >= pieces:
                shares, state = self._draw(store, part, marks, pieces), "held"
            elif self.can_promise(store, part, marks, day) >= pieces:
                shares, state = [((store, part, marks[0]), pieces)], "promised"
            else:
                raise Short
            rows += [(pocket, share, state) for pocket, share in shares]
        for pocket, share, state in rows:
            self._write(who, pocket, share, day, state)

    def _write(self, who, pocket, pieces, day, state) -> None:
        self.made += 1
        self.promises.append(Promise(self.made, who, pocket, pieces, day, state))
        if state == "held":
            self.move(pocket, "free", "held", pieces)

    def settle(self, who, store, used, marks) -> int:
        """Fit pieces: those held first, then free ones; let the rest go."""
        mine = self.live("held", "promised", who=who)
        beyond = {}
        shares = Counter()
        for part, pieces in used.items():
            left = pieces
            for one in mine:
                if one.state == "held" and one.pocket[1] == part:
                    shares[one.number] = min(left, one.pieces)
                    left -= shares[one.number]
            beyond[part] = self._draw(store, part, marks, left)
            if sum(share for _pocket, share in beyond[part]) < left:
                raise Short
        for one in mine:
            if one.state == "held":
                fitted = shares[one.number]
                self.take(one.pocket, fitted)
                self.move(one.pocket, "held", "used", fitted)
                self.move(one.pocket, "held", "free", one.pieces - fitted)
                one.state, one.used = "settled", fitted
            else:
                one.state = "released"
        for part in used:
            for pocket, share in beyond[part]:
                self.take(pocket, share)
                self.move(pocket, "free", "used", share)
        self._keep_for_others(mine)
        return sum(used.values())

    def let_go(self, who, state) -> None:
        """Give all that somebody was promised free again."""
        mine = self.live("held", "promised", who=who)
        self._give_up(mine, state)
        self._keep_for_others(mine)

    def _give_up(self, rows, state) -> None:
        for one in rows:
            if one.state == "held":
                self.move(one.pocket, "held", "free", one.pieces)
            one.state = state

    def _keep_for_others(self, rows) -> None:
        for store, part in sorted({one.pocket[:2] for one in rows}):
            self.keep(store, part)

    def keep(self, store, part) -> None:
        """Hold free pieces for who waits, first needed first; who cannot have all waits
        on, and nobody after takes what is there for them.
        """
        spoken_for = Counter()
        waiting = [
            one for one in self.live("promised") if one.pocket[:2] == (store, part)
        ]
        for one in sorted(waiting, key=lambda row: (row.day, row.number)):
            left, shares = one.pieces, []
            for mark in dict.fromkeys((one.pocket[2], 0)):
                pocket = (store, part, mark)
                share = min(left, self.at(pocket, "free") - spoken_for[pocket])
                if share > 0:
                    shares.append((pocket, share))
                    spoken_for[pocket] += share
                    left -= share
            if left:
                continue
            (pocket, share), *others = shares
            one.pocket, one.pieces, one.state = pocket, share, "held"
            for held, pieces in shares:
                spoken_for[held] -= pieces
            self.move(pocket, "free", "held", share)
            for pocket, share in others:
                self._write(one.who, pocket, share, one.day, "held")

    # Deliveries and disputes --------------------------------------------------

    def receive(self, coming, good, damaged, day, *, disputes_short) -> None:
        """Count a delivery."""
        self.coming.remove(coming)
        layer = None
        if good + damaged:
            layer = self.new_layer(
                coming.pocket, coming.cents, day, shelf=good, aside=damaged
            )
        self.move(coming.pocket, "supplier", "free", good)
        self.move(coming.pocket, "supplier", "quarantine", damaged)
        short = coming.pieces - good - damaged
        if damaged:
            self.disputes.append(Disputed(coming.pocket, damaged, coming.cents, layer))
        if short and disputes_short:
            self.disputes.append(Disputed(coming.pocket, short, coming.cents, None))

    def end_dispute(self, dispute, how, day) -> None:
        """Credited: damaged pieces go back; replaced: others come; or all is given up."""
        self.disputes.remove(dispute)
        layer, pocket = dispute.layer, dispute.pocket
        target = {"credited": "returned", "replaced": "supplier"}.get(how, "scrapped")
        if layer:
            layer.aside -= dispute.pieces
            self.move(pocket, "quarantine", target, dispute.pieces)
        if how == "replaced":
            self.new_layer(pocket, dispute.cents, day, shelf=dispute.pieces)
            self.move(pocket, "supplier", "free", dispute.pieces)
        elif pocket[2]:
            self.money[how] += dispute.pieces * dispute.cents

    # Quarantine, returns, sales -------------------------------------------------

    def aside(self, pocket, pieces) -> Lot:
        """Put free pieces aside."""
        if self.at(pocket, "free") < pieces:
            raise Short
        shares = self.take(pocket, pieces)
        for layer, share in shares:
            layer.aside += share
        self.move(pocket, "free", "quarantine", pieces)
        return Lot(pocket, "doubtful", shares)

    def out_of_lots(self, pocket, pieces, target, kinds) -> None:
        """Take pieces out of the oldest lots of a pocket."""
        lots = [one for one in self.lots if one.pocket == pocket and one.kind in kinds]
        if sum(one.left for one in lots) < pieces:
            raise Short
        self.move(pocket, "quarantine", target, pieces)
        for lot in lots:
            for share in sorted(lot.shares, key=lambda one: one[0].number):
                n = min(pieces, share[1])
                share[1] -= n
                share[0].aside -= n
                pieces -= n
                if target == "free":
                    share[0].shelf += n

    def spare(self, pocket, pieces) -> None:
        """See that nobody counts on these pieces."""
        if self.can_promise(*pocket[:2], [pocket[2]], SOON) < pieces:
            raise Short

    def leave(self, pocket, pieces, target) -> list:
        """Let spare pieces go; give the layers that they were of."""
        self.spare(pocket, pieces)
        taken = self.take(pocket, pieces)
        self.move(pocket, "free", target, pieces)
        return taken

    # Between stores, and counts ---------------------------------------------------

    def arrive(self, pocket, shares, good, damaged) -> Lot | None:
        """Count what another store has sent: the first pieces good, then damaged ones."""
        store, part, mark = pocket
        there = (1 - store, part, mark)
        layers: dict[str, list] = {"shelf": [], "aside": []}
        rest = [list(one) for one in shares]
        wanted = {"shelf": good, "aside": damaged}
        for place in ("shelf", "aside"):
            for share in rest:
                n = min(wanted[place], share[1])
                if n:
                    wanted[place] -= n
                    share[1] -= n
                    layers[place].append((share[0], n))
        made = {
            place: [
                [
                    self.new_layer(
                        (*there[:2], old.mark), old.cents, old.day, **{place: n}
                    ),
                    n,
                ]
                for old, n in layers[place]
            ]
            for place in ("shelf", "aside")
        }
        lost = sum(one[1] for one in shares) - good - damaged
        self.move(pocket, "transit", "supplier", good + damaged)
        self.move(pocket, "transit", "variance", lost)
        self.move(there, "supplier", "free", good)
        self.move(there, "supplier", "quarantine", damaged)
        if good:
            self.keep(*there[:2])
        return Lot(there, "damaged", made["aside"]) if damaged else None

    def book(self, pocket, difference, cents, day, *, take_back) -> int:
        """Book the difference of a count; give how many lose their promise for good."""
        broken = (
            self.live("held", pocket=pocket) if take_back and difference < 0 else []
        )
        there = self.at(pocket, "free") + sum(one.pieces for one in broken)
        if there < -difference:
            raise Short
        self._give_up(broken, "released")
        if difference < 0:
            self.take(pocket, -difference)
        elif difference:
            store, part, mark = pocket
            same = [
                one
                for one in self.layers
                if (one.store, one.part, one.mark) == (store, part, mark)
            ]
            last = max(same, key=lambda one: (one.day, one.number), default=None)
            price = last.cents if last else cents
            self.new_layer(pocket, price, day, shelf=difference)
        self.move(pocket, "variance", "free", difference)
        if difference:
            self.keep(*pocket[:2])
        told = 0
        for one in sorted(broken, key=lambda row: (row.day, row.number)):
            store, part, mark = one.pocket
            marks = list(dict.fromkeys((mark, 0)))
            try:
                self.promise(one.who, store, {part: one.pieces}, marks, one.day)
            except Short:
                told += 1
        return told
