"""Pages: what the proposals would have said and cost in closed campaigns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from campaigns.documents.replay import replay_csv, replay_xlsx, rule_words
from campaigns.domain.replaying import REPLAY, ask_replay
from campaigns.models import StoreReplay
from campaigns.queries.replaying import closed_since, latest_replay
from dealership.models import Job
from dealership.rules.roles import Capability
from dealership.views.files import CSV, XLSX, file_answer
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.jobs import job_card
from dealership.views.presses import key_of
from inventory.forecasting.replay import Rule
from inventory.forms.fields import new_key
from inventory.views.places import parts_places


if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.http import HttpRequest, HttpResponse
    from django.urls import URLPattern


TOO_NARROW, TOO_WIDE = 0.74, 0.86
"""Between these the interval that should hold 8 of 10 outcomes is as good as said: a
judgement, no source."""


@require_safe
@guarded(Capability.SEE_PARTS)
def replay(request: HttpRequest) -> HttpResponse:
    """Show how past forecasts did, and what each rule would have come to."""
    staff, store = staff_of(request), store_of(request)
    found = latest_replay(store)
    new = closed_since(store, found.made_at if found else None)
    context = {
        "replay": found,
        "sentence": _sentence(found, new),
        "new": new,
        "store": store,
        "key": new_key(),
        "job": _running(request),
        "may_ask": staff.may(Capability.ORDER_PARTS, store.pk),
        "parts_places": parts_places(request),
        **(_told(found) if found and found.result.get("campaigns") else {}),
    }
    return render(request, "campaigns/replay.html", context)


def _sentence(found: StoreReplay | None, new: int) -> str:
    """Say how the forecasts did, and what to do."""
    if found is None or not found.result["campaigns"]:
        if not new:
            return _(
                "No campaign was closed at this store yet; the first that is can be"
                " played again here."
            )
        return ngettext(
            "One closed campaign can be played again: press “Play them again”.",
            "%(n)d closed campaigns can be played again: press “Play them again”.",
            new,
        ) % {"n": new}
    told = found.result["then"]
    count = len(found.result["campaigns"])
    if not told["forecasts"]:
        return _(
            "The closed campaigns were too short to hold a forecast against what came."
        )
    within = told["within"]
    facts = {"n": count, "within": round(100 * within)}
    if within < TOO_NARROW:
        return (
            ngettext(
                "In one closed campaign %(within)d of 100 outcomes fell where 80 should:"
                " forecasts were too sure. Where a missing part is dear, take the next"
                " higher row of a proposal.",
                "In %(n)d closed campaigns %(within)d of 100 outcomes fell where 80"
                " should: forecasts were too sure. Where a missing part is dear, take"
                " the next higher row of a proposal.",
                count,
            )
            % facts
        )
    if within > TOO_WIDE:
        return (
            ngettext(
                "In one closed campaign %(within)d of 100 outcomes fell where 80 should:"
                " forecasts were too careful, and proposals may keep more than you need.",
                "In %(n)d closed campaigns %(within)d of 100 outcomes fell where 80"
                " should: forecasts were too careful, and proposals may keep more than"
                " you need.",
                count,
            )
            % facts
        )
    return (
        ngettext(
            "In one closed campaign %(within)d of 100 outcomes fell where 80 should: the"
            " forecasts held, and there is nothing to do.",
            "In %(n)d closed campaigns %(within)d of 100 outcomes fell where 80 should:"
            " the forecasts held, and there is nothing to do.",
            count,
        )
        % facts
    )


def _told(found: StoreReplay) -> dict[str, Any]:
    """Give the rows of the tables."""
    result, words = found.result, rule_words()
    whole = {
        **result["then"],
        "vehicles": sum(one["vehicles"] for one in result["campaigns"]),
    }
    priced = all(one["cents"] is not None for one in whole["rules"].values())
    return {
        "campaigns": [
            {**one, "by_rule": _by_rule(one, words)} for one in result["campaigns"]
        ],
        "whole": {**whole, "by_rule": _by_rule(whole, words)},
        "rules": [_rule_row(words[rule], rule, whole) for rule in Rule],
        "rule_words": list(words.values()),
        "priced": priced,
        "forecasts": [
            (_("all forecasts"), whole),
            (_("up to week 12 after the letter"), whole["early"]),
            (_("later"), whole["late"]),
            (
                _("all, with what the other campaigns teach today"),
                result["others"],
            ),
        ],
        "learned": result["learned"],
    }


def _by_rule(one: Mapping[str, Any], words: Mapping[Rule, str]) -> list[dict[str, Any]]:
    return [{"words": words[rule], **one["rules"][rule]} for rule in Rule]


def _rule_row(words: str, rule: Rule, whole: Mapping[str, Any]) -> dict[str, Any]:
    one, base = whole["rules"][rule], whole["rules"][Rule.PROPOSALS]
    asked = whole["asked"]
    times = None
    if one["cents"] is not None and base["cents"]:
        times = f"{one['cents'] / base['cents']:.1f}"
    losses = whole.get("losses")
    return {
        "words": words,
        "served": 1 - one["missed"] / asked if asked else None,
        "times": times,
        "loss": f"{losses[rule]:.2f}" if losses else None,
        **one,
    }


def _running(request: HttpRequest) -> object:
    """Give the card of the latest replay of this store, if it still runs."""
    job = (
        Job.objects.filter(kind=REPLAY, store=store_of(request))
        .order_by("-created_at")
        .first()
    )
    if job is None or job.is_finished:
        return None
    return job_card(job, staff_of(request), timezone.now())


@require_POST
@guarded(Capability.ORDER_PARTS)
def ask(request: HttpRequest) -> HttpResponse:
    """Have the closed campaigns of this store played again."""
    job = ask_replay(
        key=key_of(request),
        store=store_of(request),
        by=staff_of(request),
        now=timezone.now(),
    )
    messages.info(request, _("The closed campaigns are being played again."))
    return redirect("dealership:job", job.pk)


def _kept(request: HttpRequest) -> StoreReplay:
    """Give the store's replay; an empty one where none was made yet."""
    store = store_of(request)
    empty: dict[str, Any] = {"campaigns": []}
    return latest_replay(store) or StoreReplay(
        store=store, made_at=timezone.now(), result=empty
    )


@require_safe
@guarded(Capability.SEE_PARTS)
def as_csv(request: HttpRequest) -> HttpResponse:
    """Give the table as CSV."""
    found = _kept(request)
    name = f"replay-{store_of(request).code}-{found.made_at:%Y-%m-%d}.csv"
    return file_answer(replay_csv(found.result), name, kind=CSV)


@require_safe
@guarded(Capability.SEE_PARTS)
def as_xlsx(request: HttpRequest) -> HttpResponse:
    """Give the table as a workbook."""
    found = _kept(request)
    name = f"replay-{store_of(request).code}-{found.made_at:%Y-%m-%d}.xlsx"
    content = replay_xlsx(found.result, made=timezone.localdate(found.made_at))
    return file_answer(content, name, kind=XLSX)


patterns: list[URLPattern] = [
    path("proposals/replay/", replay, name="replay"),
    path("proposals/replay/now/", ask, name="ask_replay"),
    path("proposals/replay/csv/", as_csv, name="replay_csv"),
    path("proposals/replay/xlsx/", as_xlsx, name="replay_xlsx"),
]
