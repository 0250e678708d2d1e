"""The workshop's hours, and refusing what finds no hour."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext as _

from campaigns.models import DifferingDay, WorkshopHours
from campaigns.queries.room import hours_of, loads, skill_words, usual_week
from campaigns.rules.room import lacking
from dealership.domain.audit import record
from dealership.models import Store
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from campaigns.rules.room import Skill, SkillHours
    from dealership.models import StaffMember


class HoursUsedUp(Refusal):
    """The day has not the hours for the work; who knows better may book all the same."""

    field = "over_hours"

    def __init__(self, on: dt.date, short: Sequence[SkillHours], wanted: int) -> None:
        told = ", ".join(
            _("%(planned)s of %(there)s h %(skill)s are planned")
            % {
                "planned": hours_of(one.planned),
                "there": hours_of(one.there),
                "skill": skill_words(one.skill),
            }
            for one in short
        ).replace(" h  ", " h ")
        super().__init__(
            _(
                "The hours of %(day)s do not suffice: %(told)s, and this work takes"
                " %(wanted)s h. Choose another day, or book it although the hours are"
                " used up."
            )
            % {"day": on.isoformat(), "told": told, "wanted": hours_of(wanted)}
        )
        self.on = on
        self.skills = tuple(one.skill for one in short)


def hold_room(store: Store) -> Store:
    """Let nobody else take hours or loan cars of a store until the transaction ends.

    Always the first lock of a booking, so that two of them cannot wait for each other.
    """
    return Store.objects.select_for_update(no_key=True).get(pk=store.pk)


def refuse_without_hours(
    *, store: Store, on: dt.date, wanted: Mapping[Skill, int], today: dt.date
) -> None:
    """Raise HoursUsedUp where a day has not the hours for further work.

    ``wanted``: hundredths of an hour by skill. Work without published time finds room
    on every day.
    """
    (load,) = loads(store=store, first=on, days=1, today=today)
    short = lacking(load.hours, wanted)
    if short:
        raise HoursUsedUp(on, short, sum(wanted.values()))


def set_week(
    *,
    store: Store,
    week: Mapping[tuple[Skill, int], int],
    by: StaffMember,
    at: dt.datetime,
) -> bool:
    """Say the hours of a usual week: hundredths by skill and day, Monday is 1.

    A skill of which every day is 0 is left out; without any, the store's hours a day
    count for all skills together. Gives False where nothing has changed.
    """
    skills = {skill for (skill, _day), hundredths in week.items() if hundredths}
    kept = {place: week[place] for place in week if place[0] in skills}
    with transaction.atomic():
        hold_room(store)
        before = usual_week(store)
        if before == kept:
            return False
        WorkshopHours.objects.in_store(store).delete()
        WorkshopHours.objects.bulk_create(
            WorkshopHours(
                store=store, skill=skill, weekday=day, hundredths_of_hour=hundredths
            )
            for (skill, day), hundredths in kept.items()
        )
        record(
            act="workshop.week_set",
            subject=store,
            by=by,
            at=at,
            store=store,
            before=_told(before),
            after=_told(kept),
        )
    return True


def _told(week: Mapping[tuple[Skill, int], int]) -> dict[str, Any]:
    return {f"{skill}-{day}": hundredths for (skill, day), hundredths in week.items()}


def set_day(
    *,
    store: Store,
    day: dt.date,
    skill: Skill,
    hundredths: int,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> DifferingDay:
    """Say the hours of one skill on one day, whatever its week says."""
    with transaction.atomic():
        hold_room(store)
        found, _made = DifferingDay.objects.update_or_create(
            store=store,
            day=day,
            skill=skill,
            defaults={"hundredths_of_hour": hundredths, "why": why.strip()[:120]},
        )
        record(
            act="workshop.day_set",
            subject=found,
            by=by,
            at=at,
            store=store,
            after={"day": day.isoformat(), "skill": skill, "hundredths": hundredths},
            why=why,
        )
    return found


def forget_day(*, differing: DifferingDay, by: StaffMember, at: dt.datetime) -> None:
    """Let a day have the hours of its week again. A repeat changes nothing."""
    with transaction.atomic():
        found = DifferingDay.objects.filter(pk=differing.pk).first()
        if found is None:
            return
        record(
            act="workshop.day_forgotten",
            subject=found,
            by=by,
            at=at,
            store=found.store,
            before={
                "day": found.day.isoformat(),
                "skill": found.skill,
                "hundredths": found.hundredths_of_hour,
            },
        )
        found.delete()
