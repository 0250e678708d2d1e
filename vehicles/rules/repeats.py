"""Which rows of a long list say something of a vehicle that came before.

Twenty bytes a row, so that a list of a million rows needs 20 MB for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np


if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt


class Earlier(NamedTuple):
    """For each row the number of the first row with its key, 0 for a first one.

    ``same`` tells whether the two say the very same.
    """

    rows: npt.NDArray[np.int64]
    same: npt.NDArray[np.bool_]


class SeenRows:
    """Keeps the keys of the rows seen so far, each with its row number and mark.

    Keys and marks are numbers of 64 bits, as `hash` gives them: that two different
    keys of a million rows share one has a chance of less than 1 in 10 million.
    """

    def __init__(self) -> None:
        self._keys = np.empty(0, dtype=np.int64)
        self._rows = np.empty(0, dtype=np.int32)
        self._marks = np.empty(0, dtype=np.int64)

    def look(
        self, keys: Sequence[int], marks: Sequence[int], rows: Sequence[int]
    ) -> Earlier:
        """Look rows up, in the order of the list, and remember those that are new."""
        key = np.array(keys, dtype=np.int64)
        mark = np.array(marks, dtype=np.int64)
        row = np.array(rows, dtype=np.int32)
        order = np.argsort(key, kind="stable")
        ordered = key[order]
        fresh = np.ones(len(key), dtype=np.bool_)
        fresh[1:] = ordered[1:] != ordered[:-1]
        heads = np.maximum.accumulate(np.where(fresh, np.arange(len(key)), 0))
        first_row, first_mark = row[order][heads], mark[order][heads]
        place = np.searchsorted(self._keys, ordered)
        known = np.zeros(len(key), dtype=np.bool_)
        inside = place < len(self._keys)
        known[inside] = self._keys[place[inside]] == ordered[inside]
        first_row[known] = self._rows[place[known]]
        first_mark[known] = self._marks[place[known]]
        new = fresh & ~known
        self._keys = np.insert(self._keys, place[new], ordered[new])
        self._rows = np.insert(self._rows, place[new], row[order][new])
        self._marks = np.insert(self._marks, place[new], mark[order][new])
        told = np.zeros(len(key), dtype=np.int64)
        told[order] = np.where(new, 0, first_row)
        same = np.zeros(len(key), dtype=np.bool_)
        same[order] = first_mark == mark[order]
        return Earlier(told, same)
