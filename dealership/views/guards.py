"""The guard at each address: who may come in, and into which store."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar, cast

from django.core.exceptions import PermissionDenied


if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponseBase

    from dealership.models import StaffMember, Store
    from dealership.rules.roles import Capability

    View = Callable[..., HttpResponseBase]

ViewT = TypeVar("ViewT", bound="Callable[..., Any]")


def staff_of(request: HttpRequest) -> StaffMember:
    """Give the signed-in person; the login middleware has let nobody else in."""
    return cast("StaffMember", request.user)


def store_of(request: HttpRequest) -> Store:
    """Give the store the person works in now.

    Raises PermissionDenied (403) for somebody who has no post in any store.
    """
    store = getattr(request, "store", None)
    if store is None:
        raise PermissionDenied("You have no post in any store yet.")
    return cast("Store", store)


def guarded(capability: Capability) -> Callable[[ViewT], ViewT]:
    """Let in only who may do this in the store that is chosen now.

    The capability stays on the view, so that a test can walk all addresses.
    """

    def guard(view: ViewT) -> ViewT:
        @wraps(view)
        def guarded_view(
            request: HttpRequest, *args: object, **kwargs: object
        ) -> HttpResponseBase:
            if not staff_of(request).may(capability, store_of(request).pk):
                raise PermissionDenied
            return cast("HttpResponseBase", view(request, *args, **kwargs))

        guarded_view.capability = capability  # type: ignore[attr-defined]
        return cast("ViewT", guarded_view)

    return guard


def hold_to_store(request: HttpRequest, store_id: int) -> None:
    """Ask the capability of this address also in the store of a row.

    Somebody may have posts in several stores; what they may do in the chosen one says
    nothing of the others. Raises PermissionDenied (403).
    """
    match = request.resolver_match
    assert match is not None, "a view that answers was resolved"
    capability: Capability = match.func.capability  # type: ignore[attr-defined]
    if not staff_of(request).may(capability, store_id):
        raise PermissionDenied
