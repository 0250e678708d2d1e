"""Pages: the special tools of a store, owned or borrowed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from campaigns.domain.tools import keep_tool, let_tool_go, tool_by_number
from campaigns.forms.tools import ToolForm
from campaigns.models import ToolAtStore
from campaigns.queries.tools import all_tools
from campaigns.rules.lifecycle import ToolStanding
from campaigns.views.places import add_refusal, posted
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse


@require_http_methods(["GET", "HEAD", "POST"])
@guarded(Capability.SEE_VEHICLES)
def tools(request: HttpRequest) -> HttpResponse:
    """List the special tools with their places in the store, and note one."""
    staff, store, now = staff_of(request), store_of(request), timezone.now()
    may_keep = staff.may(Capability.RECORD_REPAIRS, store.pk)
    form = ToolForm(posted(request), initial={"number": request.GET.get("number", "")})
    if request.method == "POST":
        if not may_keep:
            raise PermissionDenied
        if form.is_valid() and _keep(request, form):
            messages.success(request, _("The tool's place is written down."))
            return redirect("campaigns:tools")
    listed = all_tools(staff=staff, store=store, today=timezone.localdate(now))
    context = {
        "tools": listed,
        "overdue": [one for one in listed if one.is_overdue],
        "missing": [one for one in listed if one.place is None],
        "form": form,
        "may_keep": may_keep,
    }
    status = 400 if form.errors else 200
    return render(request, "campaigns/tools.html", context, status=status)


def _keep(request: HttpRequest, form: ToolForm) -> bool:
    """Write the tool of a valid form down; a refusal goes into the form."""
    given, staff, now = form.cleaned_data, staff_of(request), timezone.now()
    try:
        keep_tool(
            store=store_of(request),
            tool=tool_by_number(
                number=given["number"], name=given["name"], by=staff, at=now
            ),
            standing=ToolStanding(given["standing"]),
            place=given["place"],
            lender=given["lender"],
            back_by=given["back_by"],
            by=staff,
            at=now,
        )
    except Refusal as refusal:
        add_refusal(form, refusal)
        return False
    return True


@require_POST
@guarded(Capability.RECORD_REPAIRS)
def tool_gone(request: HttpRequest, pk: int) -> HttpResponse:
    """Note that a tool has left the store."""
    staff = staff_of(request)
    kept = get_object_or_404(
        ToolAtStore.objects.for_staff(staff).select_related("tool", "store"), pk=pk
    )
    if not staff.may(Capability.RECORD_REPAIRS, kept.store_id):
        raise PermissionDenied
    let_tool_go(kept=kept, by=staff, at=timezone.now())
    messages.success(request, _("The tool is noted as gone."))
    return redirect("campaigns:tools")


patterns = [
    path("tools/", tools, name="tools"),
    path("tools/<int:pk>/gone/", tool_gone, name="tool_gone"),
]
