"""A store's replay as a table to save."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from dealership.documents.sheets import to_csv, to_xlsx
from inventory.forecasting.replay import Rule


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

    from dealership.documents.sheets import Cell

_FIRST_CENTS = 14


def rows_of(result: Mapping[str, Any]) -> tuple[list[str], list[list[Cell]]]:
    """Give the head, and a row for each campaign and one for all; cents are whole."""
    head = [
        _("Campaign"), _("Vehicles"), _("Asked"), _("Learned from, campaigns"),
        _("Forecasts"), _("Between the bounds"), _("Level said"), _("Level was"),
    ]  # fmt: skip
    for words in (
        _("Customers without a kit, %(rule)s"),
        _("Kits never used, %(rule)s"),
        _("Cost, %(rule)s"),
    ):
        head += [words % {"rule": name} for name in rule_words().values()]
    campaigns = result["campaigns"]
    if not campaigns:
        return head, []
    rows = [_row(one["code"], one) for one in campaigns]
    whole = {
        "vehicles": sum(one["vehicles"] for one in campaigns),
        "learned_from": None,
        **result["then"],
    }
    return head, [*rows, _row(_("All"), whole)]


def _row(name: str, one: Mapping[str, Any]) -> list[Cell]:
    rules = [one["rules"][rule] for rule in Rule]
    return [
        name,
        one["vehicles"],
        one["asked"],
        one["learned_from"],
        one["forecasts"],
        one.get("within"),
        one.get("said"),
        one.get("was"),
        *(rule["missed"] for rule in rules),
        *(rule["left_over"] for rule in rules),
        *(rule["cents"] for rule in rules),
    ]


def rule_words() -> dict[Rule, str]:
    """Name the rules in the words of the page."""
    return {
        Rule.PROPOSALS: _("proposals"),
        Rule.EVERY_VEHICLE: _("one for every open vehicle"),
        Rule.LAST_WEEKS: _("last four weeks"),
    }


def replay_csv(result: Mapping[str, Any]) -> bytes:
    """Write the table as CSV; money as 12.50."""
    head, rows = rows_of(result)
    return to_csv(head, [_money(row) for row in rows])


def _money(row: Sequence[Cell]) -> list[Cell]:
    return [
        f"{cell / 100:.2f}" if place >= _FIRST_CENTS and isinstance(cell, int) else cell
        for place, cell in enumerate(row)
    ]


def replay_xlsx(result: Mapping[str, Any], *, made: dt.date) -> bytes:
    """Write the table as a workbook; ``made`` stands in its properties."""
    head, rows = rows_of(result)
    return to_xlsx(
        head,
        rows,
        sheet=_("Replay"),
        made=made,
        money_columns=range(_FIRST_CENTS, len(head)),
    )
