"""Accounts are made by an administrator; nobody signs up."""

from __future__ import annotations

from typing import TYPE_CHECKING

from allauth.account.adapter import DefaultAccountAdapter


if TYPE_CHECKING:
    from django.http import HttpRequest


class StaffOnlyAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    """Sign-in without sign-up."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """Refuse every sign-up."""
        del request
        return False
