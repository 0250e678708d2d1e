"""What each person has to do today, by post."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from campaigns.queries.chores import desk, office, owner, parts, service, workshop
from dealership.rules.roles import Role


if TYPE_CHECKING:
    import datetime as dt

    from campaigns.queries.chores.row import Chore, Kind, Target
    from dealership.models import StaffMember, Store


class Finds(Protocol):
    """Gives the rows of one kind for one store."""

    def __call__(self, *, store: Store, today: dt.date) -> Kind:
        """Give them."""


CHORES: dict[Role, tuple[Finds, ...]] = {
    Role.PARTS_MANAGER: (
        parts.failed_proof,
        parts.proposals,
        parts.running_out,
        parts.shipments,
        parts.returns,
        parts.disputes,
        parts.late_orders,
        parts.drafts,
        parts.transfers,
        parts.counts_to_take,
        parts.counts_to_approve,
        desk.without_parts,
        service.unsent_claims,
    ),
    Role.SERVICE_MANAGER: (
        parts.failed_proof,
        service.stopped_stock,
        service.reports,
        service.matched,
        service.to_verify,
        parts.doubtful,
        parts.counts_to_approve,
        desk.overdue,
        desk.missed,
        service.claims_end_soon,
        service.unsent_claims,
        service.ready_to_close,
    ),
    Role.SERVICE_ADVISOR: (
        desk.visits,
        desk.without_parts,
        desk.offers,
        desk.overdue,
        desk.missed,
    ),
    Role.TECHNICIAN: (
        workshop.repeats,
        workshop.open_repairs,
        workshop.arrived,
        parts.counts_to_take,
    ),
    Role.OFFICE: (
        office.rounds_due,
        office.rounds_in_work,
        office.reminders_due,
        office.returned,
        office.lists,
    ),
    Role.OWNER: (parts.failed_proof, owner.claims, owner.accounts),
    Role.ADMINISTRATOR: (parts.failed_proof, office.lists),
}
"""Which kinds of rows belong to which post. Somebody with several posts gets each kind
once, under the first post that has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The rows of one post, the nearest last day first, and the pages with all rows."""

    role: Role
    chores: tuple[Chore, ...]
    full: tuple[tuple[str, Target], ...]


def today_rows(
    *, staff: StaffMember, store: Store, today: dt.date
) -> tuple[Group, ...]:
    """Give a person's rows in one store, by post.

    The number of queries does not grow with the rows.
    """
    roles = staff.roles_in(store.pk)
    done: set[Finds] = set()
    groups = []
    for role, finders in CHORES.items():
        if role not in roles:
            continue
        mine = [find for find in finders if find not in done]
        done.update(mine)
        kinds = [find(store=store, today=today) for find in mine]
        groups.append(_group(role, kinds))
    return tuple(groups)


def _group(role: Role, kinds: list[Kind]) -> Group:
    """Put the kinds of one post together; without a last day they keep their place."""
    chores = [one for kind in kinds for one in kind.chores]
    with_day = sorted(
        (one for one in chores if one.deadline is not None),
        key=lambda one: one.deadline.toordinal() if one.deadline else 0,
    )
    without = [one for one in chores if one.deadline is None]
    urgent = [one for one in without if one.tone == "bad"]
    calm = [one for one in without if one.tone != "bad"]
    full = {kind.full: (kind.full_words, kind.full) for kind in kinds if kind.more}
    return Group(
        role=role,
        chores=(*urgent, *with_day, *calm),
        full=tuple(full.values()),
    )
