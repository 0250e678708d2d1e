"""Opening a kept list, wherever the storage has put it."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from dealership.documents.tabular import Table, open_table


if TYPE_CHECKING:
    from collections.abc import Iterator

    from django.db.models.fields.files import FieldFile


@contextmanager
def opened_list(
    file: FieldFile,
    filename: str,
    *,
    sheet: str | None = None,
    header_row: int | None = None,
) -> Iterator[Table]:
    """Open a list for the length of the block.

    A storage without local paths gives its file into a scratch file first. Raises an
    UnreadableList as `open_table` does.
    """
    try:
        path = Path(file.path)
    except NotImplementedError:
        with tempfile.NamedTemporaryFile() as scratch, file.open("rb") as source:
            shutil.copyfileobj(source, scratch)
            scratch.flush()
            yield open_table(
                Path(scratch.name), filename, sheet=sheet, header_row=header_row
            )
    else:
        yield open_table(path, filename, sheet=sheet, header_row=header_row)
