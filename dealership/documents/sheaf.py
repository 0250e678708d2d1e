"""Many pages in one PDF, written in one go and never held in memory.

A finished PDF (backgrounds, fonts, pages that the layout engine set whole) is copied
as it is, and pages are added behind it as an incremental update (ISO 32000-1, 7.5.6):
of each only its own content is written; background and fonts are named.
"""

from __future__ import annotations

import io
import re
from array import array
from dataclasses import dataclass
from typing import BinaryIO

import pikepdf


A_NODE = 100
"""Pages under one node of the page tree."""

_PREVIOUS = re.compile(rb"startxref\s+(\d+)\s+%%EOF\s*$")


@dataclass(frozen=True, slots=True)
class BasePage:
    """What a page added here shares with one of the base: object numbers and box."""

    content: int
    resources: int
    box: str


class Sheaf:
    """A PDF that grows by pages."""

    def __init__(self, target: BinaryIO, base: bytes) -> None:
        """Copy the base; it was written with a plain table of objects."""
        previous = _PREVIOUS.search(base)
        if previous is None:
            raise ValueError(base[-40:])
        self._previous = int(previous[1])
        with pikepdf.open(io.BytesIO(base)) as paper:
            self.pages = [_base_page(page) for page in paper.pages]
            self._first = int(paper.trailer.Size)
        self._target = target
        self._start = target.tell()
        target.write(base)
        self._at = len(base)
        self._offsets = array("Q")
        self._root = self._number()
        self._nodes: list[tuple[int, array[int]]] = []
        self.count = 0

    def add(self, base: BasePage, content: bytes = b"") -> None:
        """Add a page: that of the base, and over it a deflated stream of its own."""
        if not self._nodes or len(self._nodes[-1][1]) == A_NODE:
            self._nodes.append((self._number(), array("L")))
        node, kids = self._nodes[-1]
        number = self._number()
        kids.append(number)
        own = f" {number + 1} 0 R" if content else ""
        self._write(
            number,
            f"<</Type/Page/Parent {node} 0 R/MediaBox{base.box}/Resources"
            f" {base.resources} 0 R/Contents[{base.content} 0 R{own}]>>".encode(),
        )
        if content:
            self._number()
            self._write(
                number + 1,
                b"<</Length %d/Filter/FlateDecode>>stream\n%b\nendstream"
                % (len(content), content),
            )
        self.count += 1

    def close(self, *, title: str) -> int:
        """Write the page tree, catalogue and table; give the number of pages."""
        tops = " ".join(f"{number} 0 R" for number, _kids in self._nodes)
        for number, kids in self._nodes:
            told = " ".join(f"{kid} 0 R" for kid in kids)
            self._write(
                number,
                f"<</Type/Pages/Parent {self._root} 0 R/Count {len(kids)}"
                f"/Kids[{told}]>>".encode(),
            )
        self._write(
            self._root,
            f"<</Type/Pages/Count {self.count}/Kids[{tops}]>>".encode(),
        )
        catalogue, info = self._number(), self._number()
        self._write(
            catalogue,
            f"<</Type/Catalog/Lang(en)/Pages {self._root} 0 R>>".encode(),
        )
        name = title.encode("utf-16-be").hex()
        self._write(info, f"<</Title<feff{name}>/Producer(Mendroll)>>".encode())
        self._close(catalogue, info)
        return self.count

    def _close(self, catalogue: int, info: int) -> None:
        """Write the table of what was added, and the trailer."""
        size = self._first + len(self._offsets)
        table = "".join(f"{offset:010} 00000 n \n" for offset in self._offsets)
        self._target.write(
            f"xref\n{self._first} {len(self._offsets)}\n{table}trailer\n"
            f"<</Size {size}/Root {catalogue} 0 R/Info {info} 0 R"
            f"/Prev {self._previous}>>\nstartxref\n{self._at}\n%%EOF\n".encode()
        )

    def _number(self) -> int:
        """Take the next object number."""
        self._offsets.append(0)
        return self._first + len(self._offsets) - 1

    def _write(self, number: int, body: bytes) -> None:
        """Write one object and note where it stands."""
        self._offsets[number - self._first] = self._at
        told = b"%d 0 obj\n%b\nendobj\n" % (number, body)
        self._target.write(told)
        self._at += len(told)


def _base_page(page: pikepdf.Page) -> BasePage:
    """Read what pages may share with this one."""
    box = [str(one) for one in page.mediabox]
    return BasePage(
        content=page.obj.Contents.objgen[0],
        resources=page.obj.Resources.objgen[0],
        box=f"[{' '.join(box)}]",
    )
