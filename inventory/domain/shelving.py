"""Bins: made, renamed, taken down, and which pocket lies in which."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.rules.refusals import Refusal
from inventory.domain.ledger import keep_in_bin
from inventory.models import Balance, BinLocation, ShipmentLine, StockCountLine


if TYPE_CHECKING:
    import datetime as dt

    from dealership.models import StaffMember, Store
    from inventory.models import Earmark, Part

CODE_LENGTH = 20


class BinCodeTaken(Refusal):
    """Another bin of the store has this code."""

    def __init__(self, code: str) -> None:
        super().__init__(
            _("There is a bin %(code)s already. Choose another code.") % {"code": code}
        )
        self.code = code


class BinNotEmpty(Refusal):
    """Pieces lie in a bin that is to be taken down."""

    def __init__(self, place: BinLocation, lines: int) -> None:
        super().__init__(
            _(
                "In bin %(code)s lie the pieces of %(lines)d parts. Put them into "
                "another bin first."
            )
            % {"code": place.code, "lines": lines}
        )
        self.place = place
        self.lines = lines


class BadBinCode(Refusal):
    """A code that cannot be printed as a barcode."""

    def __init__(self, code: str) -> None:
        super().__init__(
            _(
                "A bin's code is made of letters, digits and signs of a plain keyboard, "
                "1 to 20 of them."
            )
        )
        self.code = code


def clean_code(code: str) -> str:
    """Write a bin's code as it is kept. Raises BadBinCode."""
    wanted = " ".join(code.split()).upper()
    printable = wanted.isascii() and wanted.isprintable()
    if not wanted or not printable or len(wanted) > CODE_LENGTH:
        raise BadBinCode(code)
    return wanted


def add_bin(
    *, store: Store, code: str, by: StaffMember | None, at: dt.datetime
) -> BinLocation:
    """Make a bin; one that is there is given back. Raises BadBinCode."""
    wanted = clean_code(code)
    with transaction.atomic():
        place, made = BinLocation.objects.get_or_create(store=store, code=wanted)
        if made:
            record(act="bin.added", subject=place, by=by, at=at, store=store)
        return place


def rename_bin(
    *, place: BinLocation, code: str, by: StaffMember | None, at: dt.datetime
) -> BinLocation:
    """Give a bin another code; what lies in it stays. Raises BadBinCode, BinCodeTaken."""
    wanted = clean_code(code)
    with transaction.atomic():
        place = BinLocation.objects.select_related("store").get(pk=place.pk)
        if place.code == wanted:
            return place
        others = BinLocation.objects.filter(store=place.store, code=wanted)
        if others.exists():
            raise BinCodeTaken(wanted)
        before, place.code = place.code, wanted
        place.save(update_fields=["code"])
        record(
            act="bin.renamed",
            subject=place,
            by=by,
            at=at,
            store=place.store,
            before={"code": before},
            after={"code": wanted},
        )
        return place


def take_down_bin(
    *, place: BinLocation, by: StaffMember | None, at: dt.datetime
) -> None:
    """Take an empty bin down; papers that named it no longer do. Raises BinNotEmpty."""
    with transaction.atomic():
        lying = Balance.objects.filter(bin=place)
        full = lying.filter(on_hand__gt=0).count()
        if full:
            raise BinNotEmpty(place, full)
        lying.update(bin=None)
        ShipmentLine.objects.filter(bin=place).update(bin=None)
        StockCountLine.objects.filter(bin=place).update(bin=None)
        record(
            act="bin.taken_down",
            subject=place,
            by=by,
            at=at,
            store=place.store,
            before={"code": place.code},
        )
        place.delete()


def put_in_bin(
    *,
    store: Store,
    part: Part,
    earmark: Earmark | None,
    code: str,
    by: StaffMember | None,
    at: dt.datetime,
) -> BinLocation:
    """Note in which bin the pieces of a pocket lie; the bin is made where new.

    A repeat changes nothing. Raises BadBinCode.
    """
    with transaction.atomic():
        place = add_bin(store=store, code=code, by=by, at=at)
        mine = Balance.objects.filter(store=store, part=part, earmark=earmark)
        before = mine.values_list("bin__code", flat=True).first()
        if before != place.code:
            keep_in_bin(store=store, part=part, earmark=earmark, place=place)
            record(
                act="bin.filled",
                subject=place,
                by=by,
                at=at,
                store=store,
                before={"bin": before},
                after={"part": part.pk, "earmark": earmark.pk if earmark else None},
            )
        return place
