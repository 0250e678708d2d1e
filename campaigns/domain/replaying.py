"""Playing a store's closed campaigns again, and keeping what came of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from campaigns.domain.learning import learn_responses
from campaigns.models import StoreReplay
from campaigns.queries.experience import read_experience
from campaigns.queries.replaying import Taught, closed_rows, to_replay
from dealership.domain.audit import record
from dealership.domain.jobs import enqueue
from inventory.forecasting.calibration import calibrate
from inventory.forecasting.replay import Rule, replay


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Mapping, Sequence

    from campaigns.queries.experience import Scope
    from campaigns.queries.replaying import ToReplay
    from dealership.models import Job, StaffMember, Store
    from inventory.forecasting.calibration import Said
    from inventory.forecasting.replay import Conditions, Replayed
    from inventory.forecasting.response import Experience

REPLAY = "campaigns.replay"


def ask_replay(
    *, key: str, store: Store, by: StaffMember | None, now: dt.datetime
) -> Job:
    """Have a store's closed campaigns played again. The same key: the first job."""
    return enqueue(
        kind=REPLAY,
        arguments={"store_id": store.pk},
        by=by,
        store=store,
        now=now,
        unique_key=key,
    )


def replay_store(
    *,
    store: Store,
    by: StaffMember | None,
    at: dt.datetime,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> StoreReplay:
    """Play the store's closed campaigns again, and keep the result in the last one's place.

    Once with what was known on each day, once with what all other campaigns teach.
    The same closed campaigns and terms give the same result.
    """
    learn_responses(at=at)
    rows = closed_rows()
    mine, taught = to_replay(store, rows), Taught(rows)
    then = replay(
        [(one.closed.course, one.conditions, one.known(taught)) for one in mine],
        progress=lambda done, total: progress(done, 2 * total),
    )
    others = replay(
        [(one.closed.course, one.conditions, one.others(taught)) for one in mine],
        progress=lambda done, total: progress(done + total, 2 * total),
    )
    result = {
        "campaigns": [
            _campaign(one, played) for one, played in zip(mine, then, strict=True)
        ],
        "then": _total(mine, then),
        "others": _total(mine, others),
        "learned": _learned(read_experience(), store),
    }
    with transaction.atomic():
        kept, _made = StoreReplay.objects.update_or_create(
            store=store, defaults={"made_at": at, "by": by, "result": result}
        )
        record(
            act="replay.made",
            subject=kept,
            store=store,
            by=by,
            at=at,
            after={"campaigns": len(mine)},
        )
    return kept


def _campaign(one: ToReplay, played: Replayed) -> dict[str, Any]:
    terms, campaign = one.conditions, one.closed.campaign
    return {
        "code": campaign.code,
        "title": campaign.title,
        "start": one.start.isoformat(),
        "closed": one.closed.closed_on.isoformat(),
        "vehicles": played.vehicles,
        "asked": played.asked,
        "learned_from": played.learned_from,
        "unit_cents": terms.unit_cost_cents,
        "lead_days": terms.lead_days,
        "review_days": terms.review_days,
        "pack": terms.pack,
        "returns_day": terms.returns_day,
        **_forecasts(played.said),
        "rules": _rules([(terms, played)]),
    }


def _total(mine: Sequence[ToReplay], played: Sequence[Replayed]) -> dict[str, Any]:
    """Add campaigns up; the forecasts by age as well."""
    said = [row for one in played for row in one.said]
    return {
        "asked": sum(one.asked for one in played),
        "early": _forecasts([row for row in said if row.early]),
        "late": _forecasts([row for row in said if not row.early]),
        **_forecasts(said),
        "rules": _rules(
            [(one.conditions, each) for one, each in zip(mine, played, strict=True)]
        ),
    }


def _forecasts(said: Sequence[Said]) -> dict[str, Any]:
    """Give how the forecasts did, four decimals; only their number where it is none."""
    found = calibrate(said)
    if found is None:
        return {"forecasts": 0}
    return {
        "forecasts": found.forecasts,
        "within": round(found.within, 4),
        "said": round(found.said, 4),
        "was": round(found.was, 4),
        "usual_said": round(found.usual_said, 4),
        "usual_was": round(found.usual_was, 4),
        "expected": round(found.mean, 4),
        "came": round(found.came, 4),
        "losses": dict(zip(Rule, (round(one, 4) for one in found.losses), strict=True)),
    }


def _rules(rows: Sequence[tuple[Conditions, Replayed]]) -> dict[str, dict[str, Any]]:
    """Give pieces and whole cents of each rule; no cents where no cost was given."""
    found = {}
    for rule in Rule:
        tallies = [(terms, one.tally(rule)) for terms, one in rows]
        costs = [tally.cost_cents(terms) for terms, tally in tallies]
        known = [one for one in costs if one is not None]
        found[rule.value] = {
            "missed": sum(tally.missed for _terms, tally in tallies),
            "kit_days": sum(tally.kit_days for _terms, tally in tallies),
            "sent_back": sum(tally.sent_back for _terms, tally in tallies),
            "left_over": sum(tally.left_over for _terms, tally in tallies),
            "bought": sum(tally.bought for _terms, tally in tallies),
            "cents": round(sum(known)) if len(known) == len(costs) else None,
        }
    return found


def _learned(known: Mapping[Scope, Experience], store: Store) -> dict[str, Any] | None:
    """Give what forecasts take from these campaigns today; None: the built-in figures."""
    found = known.get((store.pk, ""))
    if found is None:
        return None
    return {
        "campaigns": found.campaigns,
        "prior": round(found.prior, 4),
        "early": round(found.errors.early, 4),
        "late": round(found.errors.late, 4),
        "rest": round(found.errors.rest, 4),
        "exits": round(found.exits, 6),
    }
