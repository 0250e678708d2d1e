"""Binding the chunks of a round into the files that are printed, and sheets again."""

from __future__ import annotations

import io
import json
import tempfile
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, cast

import pikepdf
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from campaigns.domain.letter_chunks import folder_of, read
from campaigns.models import Letter, LetterFile, LetterReprint, LetterRound
from campaigns.rules.lifecycle import RoundState
from dealership.documents.frames import save_plain
from dealership.documents.sheaf import Sheaf
from dealership.domain.audit import record
from dealership.rules.refusals import Refusal


if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterator, Sequence
    from typing import BinaryIO

    from campaigns.domain.letter_chunks import Work
    from dealership.models import StaffMember

_AT_ONCE = 500


class NothingToReprint(Refusal):
    """None of the sheets asked for is in the round."""

    def __init__(self, asked: str) -> None:
        super().__init__(
            _(
                "No letter of this round is meant by “%(asked)s”. Write letter codes,"
                " or page numbers such as 12 or 12-15."
            )
            % {"asked": asked[:80]}
        )


@dataclass(frozen=True, slots=True)
class _Whole:
    """A letter that the layout engine set: its chunk's file, first page, pages."""

    file: str
    start: int
    pages: int


@dataclass
class _Plan:
    """Where the letters of a round are, and what is told of them."""

    whole: dict[int, _Whole] = field(default_factory=dict)
    filled: list[tuple[int, int, str]] = field(default_factory=list)
    tight: list[str] = field(default_factory=list)


def bind_round(*, work: Work) -> int:
    """Bind the chunks to one file or several, note each letter's page; give the sheets.

    A round that is bound already stays as it is. The files are written before the
    rows that name them, so a kill in between leaves the round to be bound again.
    """
    row = work.letter_round
    if not row.pdf:
        plan = _plan(row)
        size = row.letters_per_file or max(1, row.letters.count())
        last = row.letters.count()
        bound = [
            _bind_file(work, plan, number, first, min(first + size - 1, last))
            for number, first in enumerate(range(1, last + 1, size), start=1)
        ]
        _note(row, plan, bound or [_bind_nothing(row)])
        row.refresh_from_db()
    clear_away(row)
    return row.sheets


def _bind_nothing(row: LetterRound) -> _Bound:
    """Write the file of a round in which nobody is written to."""
    empty = io.BytesIO()
    with pikepdf.new() as paper:
        paper.save(empty)
    file = LetterFile(letter_round=row, number=1, first=0, last=0, sheets=0)
    empty.seek(0)
    name = f"{row.campaign.code}-{row.store.code}-{row.number}-1.pdf"
    file.pdf.save(name, File(empty), save=False)
    return _Bound(file, [])


def _plan(row: LetterRound) -> _Plan:
    """Read the heads of all chunks."""
    plan = _Plan()
    for chunk in row.chunks.order_by("number"):
        assert chunk.done_at is not None, chunk.number
        with default_storage.open(chunk.file) as kept:
            head = json.loads(kept.readline())
        plan.tight += head["tight"]
        if not chunk.whole:
            plan.filled.append((chunk.first, chunk.last, chunk.file))
            continue
        for position, start, pages in head["letters"]:
            plan.whole[position] = _Whole(chunk.file, start, pages)
    return plan


@dataclass(frozen=True, slots=True)
class _Bound:
    """A file that was written: its row, and how many pages each letter takes."""

    row: LetterFile
    pages: list[tuple[int, int]]


def _bind_file(work: Work, plan: _Plan, number: int, first: int, last: int) -> _Bound:
    """Write one file; gives its row, not kept yet."""
    row = work.letter_round
    base, starts = _base(work, plan, first, last)
    name = f"{row.campaign.code}-{row.store.code}-{row.number}-{number}.pdf"
    pages: list[tuple[int, int]] = []
    with tempfile.TemporaryFile() as target:
        sheaf = Sheaf(target, base)
        for position, filled in _in_order(plan, first, last):
            before = sheaf.count
            for background, content in filled:
                sheaf.add(sheaf.pages[background], content)
            if not filled:
                whole = plan.whole[position]
                for page in range(whole.pages):
                    sheaf.add(sheaf.pages[starts[position] + page])
            pages.append((position, sheaf.count - before))
        sheaf.close(title=f"{row.campaign.code} {row.number}")
        file = LetterFile(
            letter_round=row, number=number, first=first, last=last, sheets=sheaf.count
        )
        target.seek(0)
        file.pdf.save(name, File(target), save=False)
    return _Bound(file, pages)


def _base(
    work: Work, plan: _Plan, first: int, last: int
) -> tuple[bytes, dict[int, int]]:
    """Put backgrounds and the letters set whole into one PDF; tell where each begins.

    Only what belongs to the letters from ``first`` to ``last``.
    """
    wanted = sorted(position for position in plan.whole if first <= position <= last)
    target, starts = io.BytesIO(), {}
    with pikepdf.new() as paper:
        if work.press:
            with pikepdf.open(io.BytesIO(work.press.pdf)) as press:
                paper.pages.extend(press.pages)
        opened: dict[str, pikepdf.Pdf] = {}
        for position in wanted:
            whole = plan.whole[position]
            if whole.file not in opened:
                body = read(whole.file).partition(b"\n")[2]
                opened[whole.file] = pikepdf.open(io.BytesIO(body))
            starts[position] = len(paper.pages)
            source = opened[whole.file].pages
            paper.pages.extend(source[whole.start : whole.start + whole.pages])
        for page in paper.pages:
            page.obj.Resources = paper.make_indirect(page.obj.Resources)
        save_plain(paper, target)
        for one in opened.values():
            one.close()
    return target.getvalue(), starts


def _in_order(
    plan: _Plan, first: int, last: int
) -> Iterator[tuple[int, list[tuple[int, bytes]]]]:
    """Give the letters of a stretch in order: position, and its pages if filled in."""
    whole = iter(sorted(one for one in plan.whole if first <= one <= last))
    next_whole = next(whole, None)
    for position, pages in _filled(plan, first, last):
        while next_whole is not None and next_whole < position:
            yield next_whole, []
            next_whole = next(whole, None)
        yield position, pages
    while next_whole is not None:
        yield next_whole, []
        next_whole = next(whole, None)


def _filled(
    plan: _Plan, first: int, last: int
) -> Iterator[tuple[int, list[tuple[int, bytes]]]]:
    """Read the letters of a stretch that were filled in, chunk after chunk."""
    for chunk_first, chunk_last, file in plan.filled:
        if chunk_last < first or last < chunk_first:
            continue
        head, _newline, body = read(file).partition(b"\n")
        at = 0
        for position, told in json.loads(head)["letters"]:
            pages = []
            for background, length in told:
                pages.append((background, body[at : at + length]))
                at += length
            if first <= position <= last:
                yield position, pages


# Noting ----------------------------------------------------------------------------


def _note(row: LetterRound, plan: _Plan, bound: Sequence[_Bound]) -> None:
    """Keep files and pages in one transaction; another worker's binding stays."""
    with transaction.atomic():
        held = LetterRound.objects.select_for_update().get(pk=row.pk)
        if held.pdf or held.state != RoundState.PRINTING:
            for one in bound:
                default_storage.delete(str(one.row.pdf.name))
            return
        held.letters.update(page=None, address_fits=False)
        for one in bound:
            one.row.save()
            _note_pages(held, one.pages)
        for start in range(0, len(plan.tight), _AT_ONCE):
            codes = plan.tight[start : start + _AT_ONCE]
            held.letters.filter(code__in=codes).update(address_fits=False)
        held.sheets = sum(one.row.sheets for one in bound)
        held.set_whole = len(plan.whole)
        if bound:
            held.pdf = bound[0].row.pdf.name
        held.save(update_fields=["sheets", "set_whole", "pdf"])


def _note_pages(row: LetterRound, pages: Sequence[tuple[int, int]]) -> None:
    """Write each letter's first page, one statement for each even stretch.

    In a stretch the positions follow each other and all letters have as many pages.
    """
    at, page = 0, 1
    while at < len(pages):
        first, each = pages[at]
        end = at
        while end < len(pages) and pages[end] == (first + end - at, each):
            end += 1
        row.letters.filter(position__gte=first, position__lt=first + end - at).update(
            page=page + (F("position") - first) * each, address_fits=True
        )
        page += each * (end - at)
        at = end


def clear_away(row: LetterRound) -> None:
    """Take away what was being set: files first, then the rows that name them."""
    folder = folder_of(row)
    try:
        _folders, files = default_storage.listdir(folder)
    except FileNotFoundError:
        files = []
    for name in files:
        default_storage.delete(f"{folder}/{name}")
    row.chunks.all().delete()


# Again -----------------------------------------------------------------------------


def reprint_sheets(
    *,
    key: str,
    letter_round: LetterRound,
    asked: str,
    why: str,
    by: StaffMember,
    at: dt.datetime,
) -> LetterReprint:
    """Note that some letters are printed again, as after a jam.

    ``asked`` holds letter codes and page numbers, as "L0000100002, 12, 15-17"; pages
    are those of the first file, or of file n in "n:12-15". The same key gives the
    first reprint. Raises NothingToReprint.
    """
    known = LetterReprint.objects.filter(key=key).first()
    if known:
        return known
    codes = _meant(letter_round, asked)
    if not codes:
        raise NothingToReprint(asked)
    with transaction.atomic():
        made, new = LetterReprint.objects.get_or_create(
            key=key,
            defaults={
                "letter_round": letter_round,
                "codes": codes,
                "why": why,
                "by": by,
                "at": at,
            },
        )
        if new:
            record(
                act="letter_round.reprinted",
                subject=letter_round,
                by=by,
                at=at,
                store=letter_round.store,
                after={"letters": len(codes), "why": why},
            )
    return made


def _meant(row: LetterRound, asked: str) -> list[str]:
    """Find the letters that are meant by codes and pages; in order."""
    found: set[int] = set()
    printed = row.letters.filter(page__isnull=False)
    for word in asked.replace(",", " ").split():
        if word[:1].upper() == "L":
            found |= set(
                printed.filter(code=word.upper()).values_list("position", flat=True)
            )
            continue
        file, _colon, pages = word.rpartition(":")
        low, _dash, high = pages.partition("-")
        if not (low.isdecimal() and (high or low).isdecimal()):
            continue
        number = int(file) if file.isdecimal() else 1
        for one in row.files.filter(number=number):
            found |= _on_pages(one, int(low), int(high or low))
    letters = row.letters.filter(position__in=sorted(found)).order_by("position")
    return list(letters.values_list("code", flat=True))


def _on_pages(file: LetterFile, low: int, high: int) -> set[int]:
    """Give the positions of the letters that stand on some pages of a file."""
    letters = Letter.objects.filter(
        letter_round_id=file.letter_round_id,
        position__gte=file.first,
        position__lte=file.last,
        page__isnull=False,
    )
    begun = letters.filter(page__lte=low).order_by("-page").first()
    on = set(
        letters.filter(page__gt=low, page__lte=high).values_list("position", flat=True)
    )
    return on | ({begun.position} if begun and low <= file.sheets else set())


def sheets_again(reprint: LetterReprint, target: BinaryIO) -> int:
    """Write the PDF of sheets that are printed again; give the number of pages."""
    letters = reprint.letter_round.letters.filter(code__in=reprint.codes)
    wanted = sorted(letters.values_list("position", "page"))
    with pikepdf.new() as paper:
        for file in reprint.letter_round.files.all():
            here = [(at, page) for at, page in wanted if file.first <= at <= file.last]
            if not here:
                continue
            with (
                file.pdf.open() as kept,
                pikepdf.open(cast("BinaryIO", kept)) as source,
            ):
                for at, page in here:
                    assert page is not None, at
                    end = _end_of(reprint, file, at)
                    paper.pages.extend(source.pages[page - 1 : end])
        paper.save(target, deterministic_id=True)
        return len(paper.pages)


def _end_of(reprint: LetterReprint, file: LetterFile, position: int) -> int:
    """Give the last page of a letter in its file."""
    later: Any = reprint.letter_round.letters.filter(
        position__gt=position, position__lte=file.last, page__isnull=False
    ).order_by("position")
    follower = later.values_list("page", flat=True).first()
    return int(follower) - 1 if follower else file.sheets
