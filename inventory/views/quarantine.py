"""Pages: quarantine, what is in it and why, and what may leave it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from inventory.domain.givingback import prepare_lot_return
from inventory.domain.quarantine import (
    NeverFreed,
    lift_recall,
    put_aside,
    put_back,
    recall_part,
    scrap,
    take_in_removed,
)
from inventory.domain.reserving import PartRecalled
from inventory.domain.writingoff import write_off_pieces
from inventory.forms.shelves import (
    AsideForm,
    LeaveForm,
    LotReturnForm,
    RemovedForm,
    WhyForm,
)
from inventory.models import Balance, Movement, Part, QuarantineLot
from inventory.queries.shelves import (
    boxed_for_return,
    in_dispute,
    lost_pieces,
    lots_left,
    movements_after,
)
from inventory.queries.stock import pockets
from inventory.queries.subjects import words_of_subjects
from inventory.rules.accounts import NEVER_FREED, LotKind
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from django.db.models import QuerySet
    from django.http import HttpRequest, HttpResponse


def _lots(request: HttpRequest) -> QuerySet[QuarantineLot]:
    mine = QuarantineLot.objects.for_staff(staff_of(request))
    return mine.in_store(store_of(request)).select_related(
        "part", "earmark", "store", "opened_by"
    )


@require_safe
@guarded(Capability.SEE_PARTS)
def quarantine(request: HttpRequest) -> HttpResponse:
    """Show everything in quarantine with its why, and what is lost and not given up."""
    store = store_of(request)
    lots = list(lots_left(store))
    disputed, boxed = in_dispute(store), boxed_for_return(store)
    context = {
        "lots": lots,
        "disputed": disputed,
        "boxed": boxed,
        "lost": lost_pieces(store),
        "pieces": sum(one.quarantine for one in Balance.objects.in_store(store)),
        "today": timezone.localdate(),
        "may_move": _may(request, Capability.MOVE_PARTS),
        "may_give_up": _may(request, Capability.EDIT_MONEY),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/quarantine.html", context)


@require_safe
@guarded(Capability.SEE_PARTS)
def lot(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one lot and what may become of it."""
    return _lot_page(request, get_object_or_404(_lots(request), pk=pk))


def _lot_page(
    request: HttpRequest,
    row: QuarantineLot,
    **bound: Any,  # noqa: ANN401 (forms)
) -> HttpResponse:
    never = row.kind in NEVER_FREED or row.part.recalled
    start = {"quantity": row.left}
    context = {
        "lot": row,
        "never": never,
        "moves": movements_after(row),
        "may_free": not never and _may(request, Capability.FREE_QUARANTINE),
        "may_move": _may(request, Capability.MOVE_PARTS),
        "may_return": _may(request, Capability.ORDER_PARTS),
        "free": LeaveForm(initial=start, auto_id="id_free_%s"),
        "scrap": LeaveForm(initial=start, auto_id="id_scrap_%s"),
        "send": LotReturnForm(initial=start, auto_id="id_send_%s"),
        "parts_places": parts_places(request),
        **bound,
    }
    return render(request, "inventory/lot.html", context)


def _leave(request: HttpRequest, pk: int, name: str) -> HttpResponse:
    """Free or scrap pieces of a lot."""
    row = get_object_or_404(_lots(request), pk=pk)
    form = LeaveForm(request.POST, auto_id=f"id_{name}_%s")
    act = {"free": put_back, "scrap": scrap}[name]
    if form.is_valid():
        try:
            act(
                **form.cleaned_data,
                store=row.store,
                part=row.part,
                earmark=row.earmark,
                lot=row,
                by=staff_of(request),
                at=timezone.now(),
            )
        except (NeverFreed, PartRecalled):
            raise  # there is no form to mend
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("It is in the books."))
            return redirect("inventory:lot", pk=row.pk)
    return _lot_page(request, row, **{name: form})


@require_POST
@guarded(Capability.FREE_QUARANTINE)
def free_lot(request: HttpRequest, pk: int) -> HttpResponse:
    """Free pieces that were looked at and are in order."""
    return _leave(request, pk, "free")


@require_POST
@guarded(Capability.MOVE_PARTS)
def scrap_lot(request: HttpRequest, pk: int) -> HttpResponse:
    """Scrap pieces of a lot."""
    return _leave(request, pk, "scrap")


@require_POST
@guarded(Capability.ORDER_PARTS)
def return_lot(request: HttpRequest, pk: int) -> HttpResponse:
    """Box pieces of a lot for their return."""
    row = get_object_or_404(_lots(request), pk=pk)
    form = LotReturnForm(request.POST, auto_id="id_send_%s")
    if form.is_valid():
        try:
            made = prepare_lot_return(
                lot=row, **form.cleaned_data, by=staff_of(request), at=timezone.now()
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:goods_return", pk=made.pk)
    return _lot_page(request, row, send=form)


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def aside(request: HttpRequest, pk: int) -> HttpResponse:
    """Put free pieces of a part into quarantine."""
    part = get_object_or_404(Part, pk=pk)
    form = AsideForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        facts = dict(form.cleaned_data)
        try:
            row = put_aside(
                **{**facts, "kind": LotKind(facts["kind"])},
                store=store_of(request),
                part=part,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("Nobody can issue these pieces now."))
            return redirect("inventory:lot", pk=row.pk)
    context = {
        "form": form,
        "part": part,
        "back_url": reverse("inventory:part", args=[part.pk]),
        "parts_places": parts_places(request),
        "pockets": pockets(store=store_of(request), part=part),
    }
    return render(request, "inventory/aside.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def removed(request: HttpRequest) -> HttpResponse:
    """Take parts that came out of a vehicle into quarantine."""
    asked = {name: request.GET[name] for name in ("part", "why") if name in request.GET}
    form = RemovedForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        try:
            row = take_in_removed(
                **form.cleaned_data,
                store=store_of(request),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return redirect("inventory:lot", pk=row.pk)
    context = {
        "form": form,
        "back_url": reverse("inventory:quarantine"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/removed.html", context)


@require_http_methods(["GET", "POST"])
@guarded(Capability.MOVE_PARTS)
def recall(request: HttpRequest, pk: int) -> HttpResponse:
    """Mark a part as under a recall itself, or take the mark off."""
    part = get_object_or_404(Part, pk=pk)
    form = WhyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        facts = {
            "part": part,
            "why": form.cleaned_data["why"],
            "by": staff_of(request),
            "at": timezone.now(),
        }
        if request.POST.get("lift"):
            lift_recall(**facts)
            messages.success(request, _("The mark is off; quarantine stays as it is."))
        else:
            _tell_broken(request, recall_part(**facts).broken)
        return redirect("inventory:part", pk=part.pk)
    rows = Balance.objects.filter(part=part)
    context = {
        "form": form,
        "part": part,
        "free": sum(row.free for row in rows),
        "held": sum(row.held for row in rows),
        "back_url": reverse("inventory:part", args=[part.pk]),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/recall.html", context)


def _tell_broken(request: HttpRequest, broken: Any) -> None:  # noqa: ANN401 (promises)
    """Say whose promise was taken back, in the stores that one may see."""
    messages.success(request, _("All of it is in quarantine, in every store."))
    mine = [one for one in broken if one.store_id == store_of(request).pk]
    words = words_of_subjects([one.subject for one in mine])
    for one in mine:
        messages.warning(
            request,
            _("No part is left for %(whom)s: call and agree on another day.")
            % {"whom": words[one.subject].words},
        )


@require_http_methods(["GET", "POST"])
@guarded(Capability.EDIT_MONEY)
def give_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Write off the cents of pieces that are scrapped or missing."""
    mine = Movement.objects.for_staff(staff_of(request)).in_store(store_of(request))
    movement = get_object_or_404(mine, pk=pk)
    form = WhyForm(request.POST or None, initial={"why": movement.why})
    if request.method == "POST" and form.is_valid():
        try:
            write_off_pieces(
                movement=movement,
                **form.cleaned_data,
                dated=timezone.localdate(),
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            messages.success(request, _("The money is written off."))
            return redirect("inventory:quarantine")
    found = [one for one in lost_pieces(store_of(request)) if one.movement == movement]
    context = {
        "form": form,
        "lost": found[0] if found else None,
        "back_url": reverse("inventory:quarantine"),
        "parts_places": parts_places(request),
    }
    return render(request, "inventory/give_up.html", context)


def _may(request: HttpRequest, capability: Capability) -> bool:
    return staff_of(request).may(capability, store_of(request).pk)


patterns: list[URLPattern] = [
    path("quarantine/", quarantine, name="quarantine"),
    path("quarantine/removed/", removed, name="take_in_removed"),
    path("quarantine/<int:pk>/", lot, name="lot"),
    path("quarantine/<int:pk>/free/", free_lot, name="free_lot"),
    path("quarantine/<int:pk>/scrap/", scrap_lot, name="scrap_lot"),
    path("quarantine/<int:pk>/return/", return_lot, name="return_lot"),
    path("lost/<int:pk>/", give_up, name="give_up_pieces"),
    path("<int:pk>/quarantine/", aside, name="put_aside"),
    path("<int:pk>/recall/", recall, name="recall_part"),
]
