"""Owner letters as PDF, against the layout engine alone on the same pages."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from django.template.loader import render_to_string

from campaigns.documents.letters import (
    Sender,
    Sheet,
    drawn,
    lay_out_letters,
    measures,
)
from campaigns.management.benches.measuring import Result, seconds_of
from campaigns.rules.letter_window import layout_for
from dealership.documents.pdf import count_pages, lay_out, merge_pdfs


if TYPE_CHECKING:
    from collections.abc import Iterator

LETTERS = {"small": 50, "full": 1_000}
CHUNK = 50
_TEXT = (
    "The bolts of the seat rail in your vehicle may loosen and the seat may move.",
    "Your dealer fits new bolts. The work takes about one hour and costs you nothing.",
    "If you have sold the vehicle, please tell us who has it now.",
)
SENDER = Sender(
    name="Harrow Lane Motors",
    lines=("1 Harrow Lane", "Tannersby, IL 60000"),
    phone="+1 217 555 0100",
    email="service@harrow.example",
    signed_by="Mira Soldan",
    country="US",
    paper="letter",
    layout=layout_for("letter"),
)
_DATE, _CAMPAIGN = "March 9, 2026", "C001"


def run(size: str) -> Result:
    """Measure the way of our letters against the layout engine on the same pages."""
    count = LETTERS[size]
    sheets = [_sheet(number) for number in range(count)]
    _ours(sheets[:1])  # fonts and style sheets are read once, for both
    bare = seconds_of(lambda: _engine_alone(sheets))
    ours = seconds_of(lambda: _ours(sheets))
    return Result(
        name="letters",
        size=size,
        items=count,
        seconds=ours,
        yardsticks={"weasyprint_chunks": bare},
    )


def _sheet(number: int) -> Sheet:
    return Sheet(
        code=f"L{number:07}",
        name=f"Núria Ashdown-{number}",
        address={
            "street": f"{number} Quarry Road",
            "street2": "",
            "city": "Tannersby",
            "region": "IL",
            "postal_code": "60000",
            "country": "US",
        },
        home="US",
        vin=f"1U0KTRA40N1{number:06}",
        vehicle="2022 Corvane",
        subject="Safety recall",
        paragraphs=_TEXT,
        layout=layout_for("letter"),
        numbers=(("Campaign", _CAMPAIGN),),
    )


def _chunks(sheets: list[Sheet]) -> Iterator[list[Sheet]]:
    for start in range(0, len(sheets), CHUNK):
        yield sheets[start : start + CHUNK]


def _ours(sheets: list[Sheet]) -> None:
    laid = [
        lay_out_letters(SENDER, chunk, date=_DATE, campaign=_CAMPAIGN)
        for chunk in _chunks(sheets)
    ]
    _bind([paper.pdf for paper in laid], len(sheets))


def _engine_alone(sheets: list[Sheet]) -> None:
    """Give the same pages to the layout engine, 50 at a time: the yardstick."""
    layout = layout_for(SENDER.paper)
    papers = []
    for chunk in _chunks(sheets):
        context = {
            "sender": SENDER,
            "sheets": [drawn(one) for one in chunk],
            "layout": layout,
            "date": _DATE,
            "campaign": _CAMPAIGN,
        }
        html = render_to_string("documents/letters.html", context)
        laid = lay_out(
            html,
            page=SENDER.paper,
            css=("print/letter.css",),
            measures=measures(layout),
        )
        papers.append(laid.pdf)
    _bind(papers, len(sheets))


def _bind(papers: list[bytes], wanted: int) -> None:
    target = io.BytesIO()
    merge_pdfs([io.BytesIO(paper) for paper in papers], target, title="Letters")
    target.seek(0)
    pages = count_pages(target)
    assert pages >= wanted, f"{pages} pages for {wanted} letters"
