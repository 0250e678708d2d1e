"""The same table of capabilities, for the API."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.permissions import BasePermission

from dealership.rules.roles import Capability


if TYPE_CHECKING:
    from rest_framework.request import Request
    from rest_framework.views import APIView


class MayUseApi(BasePermission):
    """Let in who may use the API in any of their stores."""

    capability = Capability.USE_API

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Tell whether the signed-in person has the capability."""
        del view
        user = request.user
        return bool(user.is_authenticated and user.may(self.capability))
