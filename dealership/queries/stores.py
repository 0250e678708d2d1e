"""Which stores and people somebody may see."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Prefetch

from dealership.models import Post, StaffMember, Store
from dealership.rules.roles import Capability


if TYPE_CHECKING:
    from django.db.models import QuerySet


def people_in_reach(staff: StaffMember) -> QuerySet[StaffMember]:
    """Give the people who have a post in a store of this person, posts and all.

    Somebody without any post is seen only by who sees every store.
    """
    people = StaffMember.objects.prefetch_related(
        Prefetch(
            "posts", Post.objects.select_related("store").order_by("store", "role")
        )
    ).order_by("last_name", "first_name", "username")
    if staff.in_all_stores:
        return people
    return people.filter(
        pk__in=Post.objects.filter(store__in=staff.store_ids()).values("staff")
    )


def stores_kept_by(staff: StaffMember) -> list[Store]:
    """Give the stores whose settings and staff list this person keeps."""
    return [
        store
        for store in Store.objects.for_staff(staff)
        if staff.may(Capability.EDIT_SETTINGS, store.pk)
    ]
