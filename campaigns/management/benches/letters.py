"""Owner letters as PDF, against the layout engine alone on the same pages."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from weasyprint import HTML

from campaigns.documents.letters import Sender, Sheet, lay_out_letters
from campaigns.management.benches.measuring import Result, seconds_of
from dealership.documents.pdf import count_pages, merge_pdfs


if TYPE_CHECKING:
    from collections.abc import Iterator

LETTERS = {"small": 100, "full": 1_000}
CHUNK = 50
_TEXT = (
    "The bolts of the seat rail in your vehicle may loosen. The seat may then move in"
    " a crash, and the risk of an injury is higher.",
    "Your dealer fits new bolts. The work takes about one hour and costs you nothing."
    " Please call to agree on a day; the parts are then laid aside for you.",
    "If you have sold the vehicle, please tell us who has it now. If the work was done"
    " already and you paid for it, you may ask for your money back.",
)
_PLAIN = """<style>@page {{ size: Letter; margin: 1in }} section {{ break-after: page }}
</style>{}"""


def run(size: str) -> Result:
    """Measure the way of our letters against bare pages of the same text."""
    count = LETTERS[size]
    sheets = [_sheet(number) for number in range(count)]
    _ours(sheets[:1])  # fonts and style sheets are read once, for both
    bare = seconds_of(lambda: _bare(sheets))
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
        paper="letter",
    )


def _chunks(sheets: list[Sheet]) -> Iterator[list[Sheet]]:
    for start in range(0, len(sheets), CHUNK):
        yield sheets[start : start + CHUNK]


def _ours(sheets: list[Sheet]) -> None:
    sender = Sender(
        name="Harrow Lane Motors",
        lines=("1 Harrow Lane", "Tannersby, IL 60000"),
        phone="+1 217 555 0100",
        email="service@harrow.example",
        signed_by="Mira Soldan",
        country="US",
        paper="letter",
    )
    laid = [
        lay_out_letters(
            sender,
            chunk,
            date="March 9, 2026",
            campaign="C001",
            numbers=(("Campaign", "C001"),),
        )
        for chunk in _chunks(sheets)
    ]
    _bind([paper.pdf for paper in laid], len(sheets))


def _bare(sheets: list[Sheet]) -> None:
    papers = []
    for chunk in _chunks(sheets):
        pages = "".join(_page(sheet) for sheet in chunk)
        papers.append(HTML(string=_PLAIN.format(pages)).write_pdf())
    _bind(papers, len(sheets))


def _page(sheet: Sheet) -> str:
    """Write the same words on a page without window, code and letterhead."""
    told = "".join(f"<p>{text}</p>" for text in sheet.paragraphs)
    lines = "<br>".join(sheet.lines)
    return (
        f"<section><p>{lines}</p><h1>{sheet.subject}</h1>"
        f"<p>{sheet.vehicle} {sheet.vin} {sheet.code}</p>{told}</section>"
    )


def _bind(papers: list[bytes], wanted: int) -> None:
    target = io.BytesIO()
    merge_pdfs([io.BytesIO(paper) for paper in papers], target, title="Letters")
    target.seek(0)
    pages = count_pages(target)
    assert pages >= wanted, f"{pages} pages for {wanted} letters"
