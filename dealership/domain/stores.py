"""What a store says of itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.forms.models import model_to_dict

from dealership.domain.audit import record
from dealership.models import Store


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from dealership.models import StaffMember

# The trail holds figures; how the letterhead reads, it only says has changed.
_PERSONAL = frozenset({"letter_signed_by", "phone", "email"})


def _for_the_trail(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {name: "…" if name in _PERSONAL else facts[name] for name in facts}


def change_store(
    *, store: Store, facts: Mapping[str, Any], by: StaffMember, at: dt.datetime
) -> list[str]:
    """Write what has changed about a store; gives the names of the fields.

    Raises Django's ValidationError where a value does not fit.
    """
    with transaction.atomic():
        kept = Store.objects.select_for_update().get(pk=store.pk)
        old = model_to_dict(kept)
        changed = {name: value for name, value in facts.items() if old[name] != value}
        if not changed:
            return []
        for name, value in changed.items():
            setattr(kept, name, value)
        kept.full_clean()
        kept.save(update_fields=list(changed))
        record(
            act="store.changed",
            subject=kept,
            by=by,
            at=at,
            store=kept,
            before=_for_the_trail({name: old[name] for name in changed}),
            after=_for_the_trail(changed),
        )
    return list(changed)
