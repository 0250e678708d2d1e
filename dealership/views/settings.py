"""Settings: the store, the trail, work in the background, the own key for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe
from rest_framework.authtoken.models import Token

from dealership.domain.staff import drop_token, make_token
from dealership.domain.stores import change_store
from dealership.forms.settings import OrderingForm, StoreForm, TrailForm
from dealership.models import Job
from dealership.queries.audit import acts_known, trail
from dealership.queries.jobs import queue_alive
from dealership.queries.stores import people_in_reach
from dealership.rules.jobs import JobState
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.jobs import job_card
from dealership.views.places import Place


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

ENTRIES_A_PAGE = 50
JOBS_A_PAGE = 25

_PLACES = (
    ("settings", Capability.SEE_SETTINGS, gettext_lazy("Store")),
    ("ordering", Capability.SEE_SETTINGS, gettext_lazy("Costs of ordering")),
    ("staff", Capability.SEE_SETTINGS, gettext_lazy("Staff")),
    ("trail", Capability.SEE_SETTINGS, gettext_lazy("Trail")),
    ("work", Capability.SEE_SETTINGS, gettext_lazy("Background work")),
    ("token", Capability.USE_API, gettext_lazy("Key for programs")),
)


def settings_places(request: HttpRequest) -> list[Place]:
    """Give the places of the settings that this person may use."""
    staff, store = staff_of(request), store_of(request)
    return [
        Place(
            label=label,
            url=url,
            current=request.path == url,
        )
        for name, capability, label in _PLACES
        if staff.may(capability, store.pk)
        for url in [reverse(name if ":" in name else f"dealership:{name}")]
    ]


@require_safe
@guarded(Capability.SEE_SETTINGS)
def settings_page(request: HttpRequest) -> HttpResponse:
    """Show what the store says of itself, and who works in it."""
    store = store_of(request)
    context = {
        "store": store,
        "handling": store.parts_handling_basis_points / 10_000,
        "people": people_in_reach(staff_of(request)).filter(is_active=True).count(),
        "may_edit": staff_of(request).may(Capability.EDIT_SETTINGS, store.pk),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/settings.html", context)


@guarded(Capability.EDIT_SETTINGS)
def edit_store(request: HttpRequest) -> HttpResponse:
    """Change the store that one works in."""
    store = store_of(request)
    form = StoreForm(request.POST or None, instance=store)
    if request.method == "POST" and form.is_valid():
        facts = {name: form.cleaned_data[name] for name in form.Meta.fields}
        changed = change_store(
            store=store, facts=facts, by=staff_of(request), at=timezone.now()
        )
        messages.info(
            request,
            ngettext("%(n)d fact changed.", "%(n)d facts changed.", len(changed))
            % {"n": len(changed)},
        )
        return redirect("dealership:settings")
    context = {"form": form, "setting_places": settings_places(request)}
    return render(request, "dealership/store.html", context)


@require_safe
@guarded(Capability.SEE_SETTINGS)
def ordering_page(request: HttpRequest) -> HttpResponse:
    """Show what ordering and running out cost this store."""
    store = store_of(request)
    shares = {
        "lost": store.lost_share_basis_points,
        "limit": store.service_limit_basis_points,
        "show": store.show_rate_basis_points,
    }
    context = {
        "store": store,
        "with_costs": store.second_visit_cents is not None,
        "shares": {name: points / 10_000 for name, points in shares.items()},
        "may_edit": staff_of(request).may(Capability.EDIT_SETTINGS, store.pk),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/ordering.html", context)


@guarded(Capability.EDIT_SETTINGS)
def edit_ordering(request: HttpRequest) -> HttpResponse:
    """Change what ordering and running out cost this store."""
    store = store_of(request)
    form = OrderingForm(request.POST or None, instance=store)
    if request.method == "POST" and form.is_valid():
        facts = {name: form.cleaned_data[name] for name in form.Meta.fields}
        change_store(store=store, facts=facts, by=staff_of(request), at=timezone.now())
        messages.info(
            request, _("Saved. The next proposals are worked out with these costs.")
        )
        return redirect("dealership:ordering")
    context = {"form": form, "setting_places": settings_places(request)}
    return render(request, "dealership/ordering_edit.html", context)


@require_safe
@guarded(Capability.SEE_SETTINGS)
def trail_page(request: HttpRequest) -> HttpResponse:
    """Show who did what; the filter stands in the address."""
    staff = staff_of(request)
    form = TrailForm(request.GET or None, acts=acts_known(staff))
    wanted = form.cleaned_data if form.is_valid() else {}
    entries = trail(
        staff=staff,
        act=wanted.get("act", ""),
        subject=wanted.get("subject", ""),
        since=wanted.get("since"),
    )
    page = Paginator(entries, ENTRIES_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page_obj": page,
        "filtered": any(wanted.values()),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/audit.html", context)


@require_safe
@guarded(Capability.SEE_SETTINGS)
def work_page(request: HttpRequest) -> HttpResponse:
    """Show work in the background: what runs, what waits, what stopped and why."""
    staff, now = staff_of(request), timezone.now()
    alive = queue_alive(now)
    jobs = Job.objects.for_staff(staff).select_related("asked_by", "store")
    page = Paginator(jobs, JOBS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "cards": [job_card(job, staff, now, alive=alive) for job in page],
        "page_obj": page,
        "failed": jobs.filter(state=JobState.FAILED).count(),
        "under_way": jobs.filter(
            state__in=[JobState.WAITING, JobState.RUNNING, JobState.PAUSED]
        ).count(),
        "alive": alive,
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/settings_work.html", context)


def _token_page(request: HttpRequest, key: str = "") -> HttpResponse:
    """Show the key once, right after it was made; later only that there is one."""
    context = {
        "key": key,
        "made": Token.objects.filter(user=staff_of(request)).first(),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/settings_token.html", context)


@require_safe
@never_cache
@guarded(Capability.USE_API)
def token_page(request: HttpRequest) -> HttpResponse:
    """Tell whether a program may read in this person's name."""
    return _token_page(request)


@require_POST
@never_cache
@sensitive_variables("key")
@guarded(Capability.USE_API)
def new_token(request: HttpRequest) -> HttpResponse:
    """Make a key and show it, this once."""
    key = make_token(person=staff_of(request), at=timezone.now())
    return _token_page(request, key)


@require_POST
@guarded(Capability.USE_API)
def end_token(request: HttpRequest) -> HttpResponse:
    """End the key."""
    drop_token(person=staff_of(request), at=timezone.now())
    messages.info(request, _("The key has ended: programs cannot use it any more."))
    return redirect("dealership:token")


patterns = [
    path("settings/", settings_page, name="settings"),
    path("settings/store/", edit_store, name="edit_store"),
    path("settings/ordering/", ordering_page, name="ordering"),
    path("settings/ordering/edit/", edit_ordering, name="edit_ordering"),
    path("settings/trail/", trail_page, name="trail"),
    path("settings/work/", work_page, name="work"),
    path("settings/key/", token_page, name="token"),
    path("settings/key/new/", new_token, name="new_token"),
    path("settings/key/end/", end_token, name="end_token"),
]
