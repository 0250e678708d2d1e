"""Keeping the files that people hand in, and letting them go."""

from __future__ import annotations

import hashlib
from functools import partial
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from dealership.domain.audit import record
from dealership.models import Upload
from dealership.rules.refusals import Refusal
from dealership.rules.uploads import content_kind


if TYPE_CHECKING:
    import datetime as dt

    from django.core.files.base import File

    from dealership.models import StaffMember, Store

HEAD_BYTES = 4_096


class EmptyUpload(Refusal):
    """The file has no content."""

    def __init__(self, name: str) -> None:
        super().__init__(
            _("“%(name)s” is empty. Save the list again and choose the new file.")
            % {"name": name}
        )
        self.name = name


class UploadTooLarge(Refusal):
    """The file is larger than this house takes."""

    def __init__(self, name: str, limit_bytes: int) -> None:
        super().__init__(
            _(
                "“%(name)s” is larger than %(limit)d MB. Split it into smaller files"
                " and send them one by one."
            )
            % {"name": name, "limit": limit_bytes // (1024 * 1024)}
        )
        self.name = name
        self.limit_bytes = limit_bytes


class _Reading(NamedTuple):
    """What one reading of the whole file tells."""

    sha256: str
    size_bytes: int
    head: bytes


def _read_through(file: File[bytes], name: str) -> _Reading:
    """Read a file once, in pieces, and put it back to its beginning."""
    limit_bytes: int = settings.UPLOAD_LIMIT_BYTES
    digest = hashlib.sha256()
    size_bytes, head = 0, b""
    for piece in file.chunks():
        digest.update(piece)
        size_bytes += len(piece)
        head = head or piece[:HEAD_BYTES]
        if size_bytes > limit_bytes:
            raise UploadTooLarge(name, limit_bytes)
    if size_bytes == 0:
        raise EmptyUpload(name)
    file.seek(0)
    return _Reading(digest.hexdigest(), size_bytes, head)


def digest_of(*, file: File[bytes], name: str) -> str:
    """Give the SHA-256 of a file's content and put it back to its beginning.

    Raises EmptyUpload and UploadTooLarge, as ``keep_upload`` does.
    """
    return _read_through(file, name).sha256


def keep_upload(
    *,
    file: File[bytes],
    name: str,
    store: Store,
    by: StaffMember,
    at: dt.datetime,
    keep_until: dt.date,
) -> Upload:
    """Keep a file as it came and write it into the register.

    Reads the file in pieces, never whole. Raises EmptyUpload, and UploadTooLarge
    above ``settings.UPLOAD_LIMIT_BYTES``.
    """
    plain = PurePosixPath(name.replace("\\", "/").replace("\x00", "")).name[:255]
    reading = _read_through(file, plain)
    with transaction.atomic():
        upload = Upload(
            store=store,
            sha256=reading.sha256,
            size_bytes=reading.size_bytes,
            original_name=plain or "file",
            content_kind=content_kind(reading.head),
            by=by,
            at=at,
            keep_until=keep_until,
        )
        upload.file.save(plain, file, save=False)
        try:
            upload.save(force_insert=True)
            record(
                act="upload.kept",
                subject=upload,
                by=by,
                at=at,
                store=store,
                after={"sha256": upload.sha256, "size_bytes": upload.size_bytes},
            )
        except BaseException:
            # No row knows the file: it would lie there for ever.
            upload.file.storage.delete(upload.file.name or "")
            raise
    return upload


def erase_upload(*, upload: Upload, by: StaffMember | None, at: dt.datetime) -> None:
    """Let the file go and keep its line in the register. A second time does nothing."""
    with transaction.atomic():
        name, storage = upload.file.name or "", upload.file.storage
        erased = Upload.objects.filter(pk=upload.pk, erased_at__isnull=True).update(
            erased_at=at, file=""
        )
        if not erased:
            return
        record(act="upload.erased", subject=upload, by=by, at=at, store=upload.store)
        # After the commit: a row that still names the file never points to nothing.
        transaction.on_commit(partial(storage.delete, name))


def erase_lapsed_uploads(*, at: dt.datetime, today: dt.date) -> int:
    """Let go every file whose keep-until day has passed; gives how many."""
    lapsed = Upload.objects.filter(erased_at__isnull=True, keep_until__lt=today)
    rows = list(lapsed.select_related("store"))
    for upload in rows:
        erase_upload(upload=upload, by=None, at=at)
    return len(rows)
