"""Which store the person works in now: asked once, kept in the session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect
from django.urls import path
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from dealership.models import Store


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

SESSION_KEY = "store"


class ChosenStoreMiddleware:
    """Put ``request.store`` and ``request.stores`` on each request.

    Days and hours are those of the chosen store's time zone while it is answered.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Choose the store of the session, else the first of the person."""
        stores = list(Store.objects.for_staff(request.user))
        wanted = request.session.get(SESSION_KEY)
        chosen = next((s for s in stores if s.pk == wanted), None)
        request.stores = stores  # type: ignore[attr-defined]
        request.store = chosen or next(iter(stores), None)  # type: ignore[attr-defined]
        if request.store is None:  # type: ignore[attr-defined]
            return self.get_response(request)
        with timezone.override(request.store.time_zone):  # type: ignore[attr-defined]
            return self.get_response(request)


@require_POST
def choose_store(request: HttpRequest) -> HttpResponse:
    """Work in another of one's stores from now on."""
    wanted = request.POST.get("store", "")
    store = get_object_or_404(
        Store.objects.for_staff(request.user),
        pk=int(wanted) if wanted.isdecimal() else 0,
    )
    request.session[SESSION_KEY] = store.pk
    messages.info(request, _("You now work in %(store)s.") % {"store": store.name})
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    return redirect(back)


patterns = [path("store/", choose_store, name="choose_store")]
