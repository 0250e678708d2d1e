"""For what pieces move or are promised, said in words, with the page that tells more.

A movement or promise names its purpose as ``kind:id``. Who knows the rows of a kind
registers here: this app for its papers, other apps in their ``queries.subjects``.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, TypeAlias

from django.utils.module_loading import autodiscover_modules
from django.utils.translation import gettext as _

from inventory.models import GoodsReturn, QuarantineLot, Shipment, StockCount, Transfer


if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable

    Sayer: TypeAlias = Callable[[Collection[int]], dict[int, "Said"]]

_sayers: dict[str, Sayer] = {}


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A purpose in words; ``page`` is the name of its page, empty where it has none."""

    words: str
    page: str = ""
    pk: int = 0


def says(kind: str) -> Callable[[Sayer], Sayer]:
    """Register who can say what the purposes of one kind are, many in one query."""

    def register(function: Sayer) -> Sayer:
        _sayers[kind] = function
        return function

    return register


def words_of_subjects(subjects: Iterable[str]) -> dict[str, Said]:
    """Say each purpose once; one that nobody knows is given as it stands."""
    _find_sayers()
    wanted = set(subjects)
    ids: dict[str, set[int]] = defaultdict(set)
    for subject in wanted:
        kind, _colon, number = subject.partition(":")
        if kind in _sayers and number.isdecimal():
            ids[kind].add(int(number))
    found = {
        f"{kind}:{pk}": said
        for kind, numbers in ids.items()
        for pk, said in _sayers[kind](numbers).items()
    }
    return {subject: found.get(subject) or Said(words=subject) for subject in wanted}


@cache
def _find_sayers() -> None:
    """Let the other apps register, once."""
    autodiscover_modules("queries.subjects")


@says("shipment")
def _shipments(ids: Collection[int]) -> dict[int, Said]:
    return {
        one.pk: Said(
            words=_("delivery %(number)s") % {"number": one.number},
            page="inventory:shipment",
            pk=one.pk,
        )
        for one in Shipment.objects.filter(pk__in=ids)
    }


@says("return")
def _returns(ids: Collection[int]) -> dict[int, Said]:
    return {
        one.pk: Said(
            words=_("return %(number)s") % {"number": one.number},
            page="inventory:goods_return",
            pk=one.pk,
        )
        for one in GoodsReturn.objects.filter(pk__in=ids)
    }


@says("transfer")
def _transfers(ids: Collection[int]) -> dict[int, Said]:
    return {
        one.pk: Said(
            words=_("transfer %(number)s, %(here)s to %(there)s")
            % {
                "number": one.number,
                "here": one.store.code,
                "there": one.to_store.code,
            },
            page="inventory:transfer",
            pk=one.pk,
        )
        for one in Transfer.objects.filter(pk__in=ids).select_related(
            "store", "to_store"
        )
    }


@says("count")
def _counts(ids: Collection[int]) -> dict[int, Said]:
    return {
        one.pk: Said(
            words=_("count %(number)s, %(about)s")
            % {"number": one.number, "about": one.about},
            page="inventory:count",
            pk=one.pk,
        )
        for one in StockCount.objects.filter(pk__in=ids)
    }


@says("lot")
def _lots(ids: Collection[int]) -> dict[int, Said]:
    return {
        one.pk: Said(
            words=_("quarantine, %(kind)s") % {"kind": one.get_kind_display()},
            page="inventory:lot",
            pk=one.pk,
        )
        for one in QuarantineLot.objects.filter(pk__in=ids)
    }


@says("dispute")
def _disputes(ids: Collection[int]) -> dict[int, Said]:
    return {
        pk: Said(
            words=_("dispute %(number)s") % {"number": pk},
            page="inventory:dispute",
            pk=pk,
        )
        for pk in ids
    }
