"""How people's own sheets are laid out: their headings, labels and the values beside them."""

import math
import re
from collections.abc import Mapping
from datetime import timedelta

from sheetcalc import units
from sheetcalc.files import Cell, Cells, Position

MOST_LINES = 4  # of headings, one below the other
BLANK_ROWS = 3  # so many end a table
SECONDS = 24 * 60 * 60  # of a day
_HYPHEN = re.compile(
    r"(?<=[^\W\d]{2})- (?!(?:und|oder|bzw|and|or|et|ou|y|e|o|i|en|of)\b)(?=[^\W\d_]{2})(?=[^A-ZÄÖÜ])"
)
NUMBERED = re.compile(r"^\W*\d[\d.,'/: -]*\W*\w{0,6}\W*$")
_ORDINAL = re.compile(r"^\W*[12](?:\.|st|nd|re|er|ère|e|ª|º|a|o)\s+[^\W\d]", re.IGNORECASE)
RIGHT_OF_LABEL = 3  # cells in which a card's value is looked for


def rows_of_texts(cells: Cells) -> dict[int, dict[int, str]]:
    """The texts of a tab, each on one line, by row and column."""
    rows: dict[int, dict[int, str]] = {}
    for (row, column), cell in cells.items():
        if isinstance(cell.value, str) and cell.value.strip():
            rows.setdefault(row, {})[column] = " ".join(cell.value[:255].split())
    return rows


def joined(
    rows: Mapping[int, Mapping[int, str]], merged: Mapping[Position, int], top: int, lines: int
) -> dict[int, str]:
    """The headings that begin in row `top`, by column: their lines joined, merged cells spread."""
    found: dict[int, list[str]] = {}
    for row in range(top, top + lines):
        for column, text in rows.get(row, {}).items():
            for each in range(column, merged.get((row, column), column) + 1):
                words = found.setdefault(each, [])
                if text not in words:
                    words.append(text)
    return {column: _HYPHEN.sub("", " ".join(words)) for column, words in sorted(found.items())}


def value_of(page: Cells, label: Position) -> Position:
    """The cell that holds the value of a label: the first right of it that is not blank, or the next."""
    row, column = label
    right = range(column + 1, column + 1 + RIGHT_OF_LABEL)
    return row, next((c for c in right if (row, c) in page), column + 1)


def at_time(day: Cell | None, clock: Cell | None) -> Cell | None:
    """The moment that a date and a time of day in two cells are; the date where there is no time.

    None where the date is missing or one of them can't be read as such.
    """
    if day is None or clock is None or clock.value in ("", None):
        return day
    seconds = time_of_day(clock)
    if seconds is not None and isinstance(day.value, float):
        return Cell(math.floor(day.value) + seconds / SECONDS, "moment")
    if seconds is not None and isinstance(day.value, str):
        return Cell(f"{day.value} {timedelta(seconds=seconds)}", "text")
    return None


def time_of_day(cell: Cell) -> int | None:
    """The seconds since midnight of a cell that holds a time of day and no date; None for anything else."""
    if isinstance(cell.value, float):
        return min(round(cell.value * SECONDS), SECONDS - 1) if 0 <= cell.value < 1 else None
    try:
        return units.read_clock(cell.value).seconds if isinstance(cell.value, str) and cell.value else None
    except ValueError:
        return None


def plain(text: str) -> str:
    """A heading as it is compared: capitals, blanks and words parted by a hyphen make no difference."""
    return _HYPHEN.sub("", " ".join(text.split())).casefold()


def is_measured(cell: Cell) -> bool:
    """Whether a cell holds a number or a date, perhaps as text; "1. drop" is a heading."""
    if isinstance(cell.value, str):
        return bool(NUMBERED.match(cell.value[:60])) and not _ORDINAL.match(cell.value)
    return isinstance(cell.value, float)
