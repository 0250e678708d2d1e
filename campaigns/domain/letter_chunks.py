"""Setting a round of letters in chunks: any worker takes one, each is set once.

A chunk is claimed by a conditional update and finished by another; its file bears a
name of its own until then, so a worker that was thought lost overwrites nothing. What
a killed worker had begun is simply begun again.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from campaigns.documents.letter_press import Press, make_press
from campaigns.documents.letters import lay_out_letters
from campaigns.models import LetterChunk, LetterRound
from campaigns.queries.letters import SheetMaker, letters_at, sender_of
from campaigns.queries.round_samples import (
    characters_of,
    letters_to_compare,
    sample_letters,
)
from campaigns.rules.letter_pace import (
    FILLED_AT_ONCE,
    FILLED_FROM,
    WHOLE_AT_ONCE,
    WHOLE_FROM,
)
from dealership.documents.frames import FrameRefused
from dealership.documents.likeness import differences
from dealership.documents.shaping import NotExact
from dealership.domain.leases import lease_length
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from campaigns.documents.letters import Sheet
    from dealership.documents.pdf import LaidOut
    from dealership.models import Job


class SheetsDiffer(Refusal):
    """Letters as filled in and as laid out whole are not alike."""

    def __init__(self, codes: Sequence[str]) -> None:
        super().__init__(
            _(
                "A sample of the letters does not look as it would when each is laid"
                " out by itself: %(codes)s. Nothing was set. Set each letter by itself:"
                " it takes longer. Tell whoever looks after the server."
            )
            % {"codes": ", ".join(codes[:5])}
        )
        self.codes = tuple(codes)


@dataclass(frozen=True, slots=True)
class Work:
    """What it takes to set chunks of one round; made once in each worker."""

    letter_round: LetterRound
    press: Press | None
    make: SheetMaker

    @property
    def date(self) -> str:
        """Give the day that the letters bear: the store's own."""
        return timezone.localdate(self.letter_round.made_at).isoformat()

    def whole(self, sheets: Sequence[Sheet]) -> LaidOut:
        """Have the layout engine set letters, one after the other."""
        return lay_out_letters(
            sender_of(self.letter_round.store),
            sheets,
            date=self.date,
            campaign=self.letter_round.campaign.code,
        )


def folder_of(letter_round: LetterRound) -> str:
    """Name the folder of what is being set."""
    return f"letters/being-set/{letter_round.pk}"


# Cutting up ------------------------------------------------------------------------


def cut_up(*, letter_round: LetterRound, whole: bool) -> Work:
    """Cut a round into chunks and make its press, unless that is done; give both.

    ``whole`` has the layout engine set every letter. Raises SheetsDiffer, and the
    engine's own refusals.
    """
    if whole:
        _forget_filled(letter_round)
    if not letter_round.chunks.exists():
        letters = letter_round.letters.count()
        few = letters < FILLED_FROM
        press = None if whole or few else _new_press(letter_round)
        size = FILLED_AT_ONCE if press else WHOLE_AT_ONCE
        LetterChunk.objects.bulk_create(
            [
                LetterChunk(
                    letter_round=letter_round,
                    number=number,
                    first=first,
                    last=min(first + size - 1, letters),
                    whole=press is None,
                    positions=(
                        []
                        if press
                        else list(range(first, min(first + size, letters + 1)))
                    ),
                )
                for number, first in enumerate(range(1, letters + 1, size), start=1)
            ],
            ignore_conflicts=True,
        )
    return work_of(letter_round=letter_round)


def work_of(*, letter_round: LetterRound) -> Work:
    """Give what a worker needs to go on with a round that was cut up."""
    names = _press_names(letter_round)
    press = None
    if all(default_storage.exists(name) for name in names):
        pdf, table = (read(name) for name in names)
        press = Press.from_table(pdf, table, sender_of(letter_round.store).layout)
    return Work(letter_round, press, SheetMaker(letter_round))


def _press_names(letter_round: LetterRound) -> tuple[str, str]:
    folder = folder_of(letter_round)
    return f"{folder}/press.pdf", f"{folder}/press.json"


def _forget_filled(letter_round: LetterRound) -> None:
    """Drop chunks that were filled in: every letter is to be set whole."""
    if letter_round.chunks.filter(whole=False).exists():
        letter_round.chunks.all().delete()
    for name in _press_names(letter_round):
        default_storage.delete(name)


def _new_press(letter_round: LetterRound) -> Press | None:
    """Make the press of a round and compare a sample; None where it has no use."""
    make = SheetMaker(letter_round)
    samples = [make.sheet(letter) for letter in sample_letters(letter_round)]
    sender = sender_of(letter_round.store)
    work = Work(letter_round, None, make)
    try:
        press = make_press(
            sender,
            samples,
            characters=characters_of(letter_round),
            date=work.date,
            campaign=letter_round.campaign.code,
        )
    except FrameRefused:
        return None
    compared = _compare(work, press)
    pdf, table = _press_names(letter_round)
    keep(pdf, press.pdf)
    keep(table, press.table())
    LetterRound.objects.filter(pk=letter_round.pk).update(compared=compared)
    return press


def _compare(work: Work, press: Press) -> int:
    """Set a sample both ways and give its number; raises SheetsDiffer."""
    sheets, filled = [], []
    for letter in letters_to_compare(work.letter_round):
        sheet = work.make.sheet(letter)
        try:
            filled.append(press.fill(sheet))
        except NotExact:
            continue
        if not sheet.missing:
            sheets.append(sheet)
        else:
            filled.pop()
    if not sheets:
        return 0
    laid = work.whole(sheets)
    pdf = press.bound([page for pages in filled for page in pages])
    pages = [(page, page) for page in range(laid.pages)]
    found = differences(laid.pdf, pdf, pages)
    if found:
        starts = {start: code for code, start in laid.starts.items()}
        raise SheetsDiffer([starts.get(one.place, "?") for one in found])
    return len(sheets)


# Setting ---------------------------------------------------------------------------


def take_chunk(
    *, letter_round: LetterRound, job: Job, now: dt.datetime, insist: bool = False
) -> LetterChunk | None:
    """Claim the next chunk that nobody works at, or None.

    ``insist`` takes also one that another worker holds, so that the one who binds the
    round never waits: set twice it is still kept once.
    """
    free = letter_round.chunks.filter(done_at=None)
    if not insist:
        free = free.filter(Q(taken_at=None) | Q(taken_at__lt=now - lease_length()))
    for chunk in free.order_by("number")[:20]:
        claimed = LetterChunk.objects.filter(
            pk=chunk.pk, done_at=None, taken_at=chunk.taken_at
        ).update(taken_at=now, job=job)
        if claimed:
            return chunk
    return None


def set_chunk(
    *, work: Work, chunk: LetterChunk, now: dt.datetime, tick: Callable[[], None]
) -> bool:
    """Set a chunk and keep it, unless another worker has; ``tick`` between steps.

    A letter whose name or address no font can draw, or whose address is far too long,
    is left out and told. Gives whether this worker's result was kept.
    """
    if chunk.whole:
        head, body, left = _set_whole(work, chunk, tick)
    else:
        head, body, left = _fill_in(work, chunk)
    name = f"{folder_of(work.letter_round)}/{chunk.number:05}-{uuid.uuid4().hex}"
    name = default_storage.save(
        name, ContentFile(json.dumps(head).encode() + b"\n" + body)
    )
    facts: dict[str, Any] = {"done_at": now, "file": name}
    if not chunk.whole:
        facts["positions"] = left
    kept = LetterChunk.objects.filter(pk=chunk.pk, done_at=None).update(**facts)
    if not kept:
        default_storage.delete(name)
    return bool(kept)


def _fill_in(work: Work, chunk: LetterChunk) -> tuple[dict[str, Any], bytes, list[int]]:
    """Fill in the letters of a stretch; those that cannot be are left over."""
    assert work.press is not None
    letters, tight, left = [], [], []
    body = bytearray()
    positions = range(chunk.first, chunk.last + 1)
    for letter in letters_at(work.letter_round, positions):
        sheet = work.make.sheet(letter)
        try:
            pages = work.press.fill(sheet)
        except NotExact:
            left.append(letter.position)
            continue
        letters.append(
            [letter.position, [[page.number, len(page.content)] for page in pages]]
        )
        for page in pages:
            body += page.content
        if not sheet.setting.fits:
            tight.append(sheet.code)
    return {"letters": letters, "tight": tight}, bytes(body), left


def _set_whole(
    work: Work, chunk: LetterChunk, tick: Callable[[], None]
) -> tuple[dict[str, Any], bytes, list[int]]:
    """Have the engine set letters; those that it cannot set are left out."""
    letters = letters_at(work.letter_round, chunk.positions)
    sheets = {one.position: work.make.sheet(one) for one in letters}
    fit = {
        position: sheet
        for position, sheet in sheets.items()
        if not sheet.missing and not sheet.too_long
    }
    if not fit:
        return {"letters": [], "tight": [], "pages": 0}, b"", []
    tick()
    laid = work.whole(list(fit.values()))
    starts = [laid.starts[sheet.code] for sheet in fit.values()]
    ends = [*starts[1:], laid.pages]
    head = {
        "letters": [
            [position, start, end - start]
            for position, start, end in zip(fit, starts, ends, strict=True)
        ],
        "tight": [sheet.code for sheet in fit.values() if not sheet.setting.fits],
        "pages": laid.pages,
    }
    return head, laid.pdf, []


def cut_up_the_rest(*, letter_round: LetterRound) -> int:
    """Cut what could not be filled in into chunks for the engine; give how many.

    Asked again it adds none.
    """
    with transaction.atomic():
        filled = letter_round.chunks.filter(whole=False)
        positions = sorted(
            position
            for left in filled.values_list("positions", flat=True)
            for position in left
        )
        made = LetterChunk.objects.bulk_create(
            [
                LetterChunk(
                    letter_round=letter_round,
                    number=WHOLE_FROM + start // WHOLE_AT_ONCE,
                    first=positions[start],
                    last=positions[min(start + WHOLE_AT_ONCE, len(positions)) - 1],
                    whole=True,
                    positions=positions[start : start + WHOLE_AT_ONCE],
                )
                for start in range(0, len(positions), WHOLE_AT_ONCE)
            ],
            ignore_conflicts=True,
        )
    return len(made)


def letters_set(*, letter_round: LetterRound) -> int:
    """Count the letters that are set so far."""
    done = letter_round.chunks.exclude(done_at=None)
    return sum(
        len(positions) if whole else last - first + 1 - len(positions)
        for whole, first, last, positions in done.values_list(
            "whole", "first", "last", "positions"
        )
    )


# Files -----------------------------------------------------------------------------


def keep(name: str, content: bytes) -> None:
    """Write a file in the place of one of the same name."""
    if default_storage.exists(name):
        default_storage.delete(name)
    default_storage.save(name, ContentFile(content))


def read(name: str) -> bytes:
    """Read a kept file."""
    with default_storage.open(name) as kept:
        content: bytes = kept.read()
    return content
