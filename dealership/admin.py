"""The back room: tables as they are, behind the same door as every page.

What is only added to can be read here and not changed; the books are changed by acts
of the house, never here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin

from dealership.models import (
    AuditEntry,
    Job,
    Post,
    Series,
    StaffMember,
    Store,
    Upload,
    WorkerBeat,
)


if TYPE_CHECKING:
    from django.http import HttpRequest

admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]
admin.site.site_header = "Mendroll"
admin.site.site_title = "Mendroll"


class ReadOnly(admin.ModelAdmin):  # type: ignore[type-arg]
    """A table to look into."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Refuse to add."""
        del request
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ANN401 (Django's)
        """Refuse to change."""
        del request, obj
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:  # noqa: ANN401 (Django's)
        """Refuse to delete."""
        del request, obj
        return False


class PostInline(admin.TabularInline):  # type: ignore[type-arg]
    """The posts of a person."""

    model = Post
    extra = 0


@admin.register(StaffMember)
class StaffAdmin(UserAdmin):  # type: ignore[type-arg]
    """People, with their posts."""

    inlines = (PostInline,)
    list_display = ("username", "first_name", "last_name", "is_active", "in_all_stores")
    fieldsets = (
        *(UserAdmin.fieldsets or ()),
        (None, {"fields": ("in_all_stores",)}),
    )


@admin.register(Store)
class StoreAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Stores: a new one begins here."""

    list_display = ("code", "name", "city", "market", "currency")


@admin.register(AuditEntry)
class AuditEntryAdmin(ReadOnly):
    """The trail."""

    list_display = ("at", "act", "subject", "by", "store")
    list_filter = ("act", "store")
    list_select_related = ("by", "store")
    search_fields = ("subject",)


@admin.register(Job)
class JobAdmin(ReadOnly):
    """Work in the background, with the fault in full."""

    list_display = ("kind", "state", "created_at", "attempts", "error")
    list_filter = ("state", "kind")


@admin.register(Upload)
class UploadAdmin(ReadOnly):
    """The register of files handed in."""

    list_display = ("original_name", "store", "at", "size_bytes", "keep_until")
    list_select_related = ("store",)


@admin.register(Series, WorkerBeat)
class CounterAdmin(ReadOnly):
    """Running numbers and signs of life."""
