"""The people who work in the stores."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from dealership.models.store import Store
from dealership.rules.roles import Capability, Role, may


ROLE_WORDS = {
    Role.PARTS_MANAGER: _("Parts manager"),
    Role.SERVICE_MANAGER: _("Service manager"),
    Role.SERVICE_ADVISOR: _("Service advisor"),
    Role.TECHNICIAN: _("Technician"),
    Role.OFFICE: _("Office"),
    Role.OWNER: _("Owner of the group"),
    Role.ADMINISTRATOR: _("Administrator"),
}


class StaffMember(AbstractUser):
    """Somebody who signs in. What they may do follows from their posts."""

    in_all_stores = models.BooleanField(
        _("sees every store"),
        default=False,
        help_text=_("Owners of the group and administrators."),
    )

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @cached_property
    def posts_by_store(self) -> dict[int, frozenset[Role]]:
        """Read the roles of this person, by store id, once a request."""
        found: dict[int, set[Role]] = {}
        for store_id, role in self.posts.values_list("store_id", "role"):
            found.setdefault(store_id, set()).add(Role(role))
        return {store_id: frozenset(roles) for store_id, roles in found.items()}

    def store_ids(self) -> list[int]:
        """Give the stores in which this person has a role."""
        return sorted(self.posts_by_store)

    def roles_in(self, store_id: int | None) -> frozenset[Role]:
        """Give this person's roles in a store, or in any where None."""
        everywhere: frozenset[Role] = frozenset().union(*self.posts_by_store.values())
        if store_id is None or self.in_all_stores:
            return everywhere
        return self.posts_by_store.get(store_id, frozenset())

    def may(self, capability: Capability, store_id: int | None = None) -> bool:
        """Tell whether this person may do it in that store (or in any)."""
        return self.is_active and may(self.roles_in(store_id), capability)


class Post(models.Model):
    """One role of one person in one store."""

    staff = models.ForeignKey(
        StaffMember, on_delete=models.CASCADE, related_name="posts"
    )
    store = models.ForeignKey(Store, on_delete=models.PROTECT, related_name="posts")
    role = models.CharField(
        _("role"), max_length=20, choices=[(r.value, ROLE_WORDS[r]) for r in Role]
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["staff", "store", "role"], name="one_post_per_role_and_store"
            ),
            models.CheckConstraint(
                condition=models.Q(role__in=[r.value for r in Role]),
                name="post_role_is_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.staff} {self.role} {self.store.code}"
