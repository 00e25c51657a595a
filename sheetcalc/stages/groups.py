"""Records that carry the same name and so belong together: the parts of a lot, the ratings of a sample."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheetcalc.liquids import Array

Rows = NDArray[np.int64]


def plain(name: Any) -> str:
    """A name as it is compared: capitals and spaces make no difference; '' where there is none."""
    return " ".join(name.split()).casefold() if isinstance(name, str) else ""


def first_rows(names: Any) -> Rows:
    """For each record the row in which its name stands first; -1 where it has none.

    names: texts over the records, compared as `plain` has them.
    """
    seen: dict[str, int] = {}
    first = np.full(len(names), -1)
    for row, name in enumerate(names):
        if key := plain(name):
            first[row] = seen.setdefault(key, row)
    return first


def members(first: Rows) -> list[Rows]:
    """The rows of each name, in the order in which the names come; first: as `first_rows` gives it."""
    by_name = np.argsort(first, kind="stable")
    _, starts = np.unique(first[by_name], return_index=True)
    groups = np.split(by_name, starts[1:])
    return [rows for rows in groups if len(rows) and first[rows[0]] >= 0]


def shared(first: Rows, values: Array) -> Array:
    """For each record the first number that any record of its name holds; NaN where none does."""
    found = np.full(len(first), np.nan)
    for rows in members(first):
        known = values[rows][np.isfinite(values[rows])]
        found[rows] = known[0] if len(known) else np.nan
    return found


def once(first: Rows, values: Array) -> Array:
    """Values over the records, kept only in the first row of each name; NaN elsewhere."""
    return np.where(first == np.arange(len(first)), values, np.nan)
