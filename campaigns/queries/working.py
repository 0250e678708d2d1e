"""How a proposal was worked out, step by step, and what to be careful about."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from campaigns.queries.doubts import empty_weeks, old_lists
from campaigns.rules.lifecycle import ProposalKind
from dealership.rules.money import plain_money


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Mapping

    from campaigns.models import Replenishment
    from dealership.models import Store

SLOWEST, FASTEST = Decimal("0.5"), Decimal(2)
"""Paces outside which something else is likely at work: a judgement, no source."""

AT_RISK = Decimal("0.05")


def steps_of(proposal: Replenishment) -> list[str]:
    """Tell each step with its numbers: who comes, how many that takes, what is there."""
    groups = _by_label(proposal)
    whole = groups.get("", {})
    steps = [
        step
        for label, facts in groups.items()
        if "pace" in facts
        for step in _campaign_steps(label, facts)
    ]
    if "window_mean" in whole:
        steps += _levels(whole)
        steps += list(_order(proposal, whole))
    return steps


def _by_label(proposal: Replenishment) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for fact in proposal.told():
        found.setdefault(fact.label, {})[fact.code] = fact.value
    return found


def _campaign_steps(label: str, facts: Mapping[str, str]) -> list[str]:
    """Tell pace and pieces of one campaign."""
    named = {"label": label, **facts}
    learned = facts.get("learned_from", "0")
    named["from"] = (
        _("learned from %(n)s closed campaigns") % {"n": learned}
        if learned != "0"
        else _("the built-in one")
    )
    return [
        _(
            "%(label)s: %(asked)s owners asked where the curve (%(from)s) expected"
            " %(expected)s. The campaign's own count weighs %(pace_weight)s of 1, the"
            " usual pace the rest: together %(pace)s times the usual."
        )
        % named,
        _(
            "%(label)s: %(booked_vehicles)s booked vehicles take %(booked_pieces)s"
            " pieces on average (%(show_rate)s of such visits happen), those not booked"
            " yet %(unbooked_pieces)s."
        )
        % named,
    ]


def _levels(whole: Mapping[str, str]) -> list[str]:
    return [
        _(
            "Until the delivery after next, %(window_days)s days off, %(window_mean)s"
            " pieces are wanted on average, give or take %(window_spread)s."
            " %(window_level)s pieces cover %(window_service)s of all outcomes."
        )
        % whole,
        _(
            "Until the end %(rest_mean)s pieces are wanted on average; up to"
            " %(rest_level)s are worth having (%(rest_service)s of all outcomes)."
        )
        % whole,
    ]


def _order(proposal: Replenishment, whole: Mapping[str, str]) -> Iterator[str]:
    """Tell how stock, packs and costs turn a level into an order."""
    if proposal.kind == ProposalKind.RETURN:
        yield _(
            "There are %(have)s pieces, those on order included and those that"
            " customers wait for taken off. %(kept)s are kept; %(back)d go back for"
            " %(credit)s."
        ) % {
            "have": whole["have_in_all"],
            "kept": int(whole["have_in_all"]) - proposal.quantity,
            "back": proposal.quantity,
            "credit": plain_money(int(whole.get("return_credit", "0"))),
        }
        return
    window = int(whole["window_level"]) - int(whole["have_in_window"])
    rest = int(whole["rest_level"]) - int(whole["have_in_all"])
    yield _(
        "%(window_level)s less the %(have_in_window)s there by then is %(window)d;"
        " %(rest_level)s less the %(have_in_all)s there and on order is %(rest)d. The"
        " smaller counts, in packs of %(pack)s, at least %(minimum)s: %(quantity)d."
    ) % {**whole, "window": window, "rest": rest, "quantity": proposal.quantity}
    if "cost_short" in whole:
        money = {
            name: plain_money(int(whole[name]))
            for name in ("cost_short", "cost_hold", "cost_loss", "order_cost")
        }
        yield (
            _(
                "A customer who finds no part costs %(cost_short)s, a piece kept to the"
                " next order %(cost_hold)s, a piece that nobody uses %(cost_loss)s, an"
                " order %(order_cost)s; both shares of outcomes follow from these."
            )
            % money
        )


def doubts_of(proposal: Replenishment, *, store: Store, today: dt.date) -> list[str]:
    """Tell what the record behind the proposal may hide: empty shelves, old lists."""
    codes = proposal.facts.get("campaigns", [])
    found = []
    weeks = empty_weeks(part=proposal.part, store=store, codes=codes, today=today)
    if weeks.empty:
        found.append(
            _(
                "In %(n)d of the last %(weeks)d weeks the shelf was empty at the end of"
                " a day. Owners who saw that may not have asked, so more may be wanted"
                " than was counted."
            )
            % {"n": weeks.empty, "weeks": weeks.weeks}
        )
    found += [
        _(
            "%(label)s: the last list of vehicles is of %(day)s, %(n)d days old."
            " Vehicles that were done elsewhere or are gone since then still count as"
            " open. Take in a new list."
        )
        % {
            "label": one.code,
            "day": one.day.isoformat(),
            "n": (today - one.day).days,
        }
        for one in old_lists(store=store, codes=codes, today=today)
    ]
    return found


def cautions_of(proposal: Replenishment) -> list[str]:
    """Tell what makes the proposal less sure than it looks."""
    groups = _by_label(proposal)
    whole = groups.get("", {})
    found = []
    for label, facts in groups.items():
        if facts.get("learned_from") == "0":
            found.append(
                _(
                    "%(label)s: owners are expected by the built-in curve, because"
                    " fewer than three campaigns were closed; its pace corrects it as"
                    " owners ask."
                )
                % {"label": label}
            )
        if "pace" in facts and not SLOWEST <= Decimal(facts["pace"]) <= FASTEST:
            found.append(
                _(
                    "%(label)s runs at %(pace)s times the usual pace. Look whether"
                    " letters are missing or the list was incomplete before you rely"
                    " on it."
                )
                % {"label": label, "pace": facts["pace"]}
            )
    if whole.get("overdue", "0") != "0":
        found.append(
            _("%(n)s pieces are late and not counted; give them a new day first.")
            % {"n": whole["overdue"]}
        )
    risk = Decimal(whole.get("unavoidable_risk", "0"))
    if risk >= AT_RISK:
        found.append(
            _(
                "No order placed now can arrive before %(days)s days; until then stock"
                " runs out with a chance of %(risk)d in 100. Book later, or ask"
                " another store."
            )
            % {"days": whole["lead_days"], "risk": round(risk * 100)}
        )
    return found
