"""Filling the slots of a page: the operators that stand on top of its background."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dealership.documents.frames import FrameRefused
from dealership.documents.shaping import NotExact


if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from dealership.documents.frames import FramePage, Setters, Slot
    from dealership.documents.shaping import LineSetter

CLOSE = 0.5
"""A line that comes nearer than this to its limit, in pixels, is the engine's."""


class LineStamp:
    """Sets text in one slot."""

    def __init__(self, slot: Slot, setter: LineSetter, limit: float) -> None:
        self.look = slot.look
        self._set_line = setter.line
        self._head = f"{slot.place} Tm\n{slot.type} Tf\n"
        self._limit = limit - CLOSE

    def shown(self, text: str) -> str:
        """Give the operators that show a text; raises NotExact."""
        operand, width = self._set_line(text)
        if width > self._limit:
            raise NotExact(text)
        return f"{self._head}{operand} TJ"


class PageStamp:
    """Fills the slots of one page.

    ``limits`` tell by name how wide a line may get, in pixels. Raises FrameRefused
    when a line of text stands in a turned or scaled part of the page.
    """

    def __init__(
        self,
        page: FramePage,
        setters: Setters,
        limits: Mapping[str, float],
        *,
        language: str,
        more: Mapping[str, Slot] | None = None,
    ) -> None:
        lines = {**page.slots, **(more or {})}
        self.number = page.number
        self.names = frozenset(page.slots)
        self._drawings = {
            name: f"q\n{slot.chain}\n{slot.look}\n"
            for name, slot in lines.items()
            if not slot.type
        }
        texts = {name: slot for name, slot in lines.items() if slot.type}
        chains = {slot.chain for slot in texts.values()}
        if len(chains) > 1:
            raise FrameRefused(chains)
        self._head = "".join(f"q\n{chain}\n" for chain in chains)
        self._texts = {
            name: LineStamp(slot, setters.of(slot, language), limits[name])
            for name, slot in texts.items()
        }

    def fill(
        self, lines: Iterable[tuple[str, str]], drawings: Iterable[tuple[str, str]]
    ) -> bytes:
        """Give the operators of a page's particular content; raises NotExact."""
        parts = []
        look = None
        texts = self._texts
        for name, text in lines:
            stamp = texts[name]
            if stamp.look != look:
                look = stamp.look
                parts.append(look)
            parts.append(stamp.shown(text))
        told = []
        if parts:
            # Colour may be set inside a text object (ISO 32000-1, figure 9).
            told.append(self._head + "BT\n" + "\n".join(parts) + "\nET\nQ")
        told += [f"{self._drawings[name]}{path}\nf\nQ" for name, path in drawings]
        return "\n".join(told).encode("ascii")
