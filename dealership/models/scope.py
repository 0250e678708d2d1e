"""The one door to rows of a store: what this person may see."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from django.db import models


if TYPE_CHECKING:
    from typing import Self

RowT = TypeVar("RowT", bound=models.Model)


class StoreScopedQuerySet(models.QuerySet[RowT]):
    """Rows that belong to stores.

    A subclass says in ``store_path`` how its rows lead to their store.
    """

    store_path = "store"

    def for_staff(self, staff: Any) -> Self:  # noqa: ANN401 (request.user)
        """Keep the rows of the stores in which this person has a role."""
        if not getattr(staff, "is_authenticated", False):
            return self.none()
        if staff.in_all_stores:
            return self
        return self.filter(**{f"{self.store_path}__in": staff.store_ids()})

    def in_store(self, store: models.Model) -> Self:
        """Keep the rows of one store."""
        return self.filter(**{self.store_path: store.pk})
