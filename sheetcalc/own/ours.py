"""The columns that fill added to a person's own workbook, known by their defined names."""

import re
from typing import NamedTuple

from sheetcalc import files
from sheetcalc.files import Cell, Place, Position
from sheetcalc.layouts import Field
from sheetcalc.own import adopted

_BATCH = re.compile("(.+)_[0-9a-f]{8}")


class Ours(NamedTuple):
    """A column of ours: its name, the cell of its heading, the sheet it belongs to, and what it holds."""

    name: str
    place: Place
    sheet: str
    field: Field


def columns(book: files.Workbook) -> list[Ours]:
    """The columns of ours in a workbook, in the order of their places; one that has two names, for each."""
    fields = {
        f"{adopted.NAMED}{sheet.key}_{field.key}": (sheet.key, field)
        for sheet in adopted.tables()
        for field in sheet.columns
        if field.role != "entry"
    }
    found = []
    for name, place in book.named.items():
        of_batch = _BATCH.fullmatch(name)
        known = fields.get(name) or (fields.get(of_batch[1]) if of_batch else None)
        if known and place[0] in book.sheets:
            found.append(Ours(name, place, *known))
    return sorted(found, key=lambda one: (one.place, one.name))


def left_out(book: files.Workbook, tab: str) -> dict[Position, Cell]:
    """The cells of a tab without those columns, each down to the headings of another table."""
    tops = {one.place[2]: one.place[1] for one in reversed(columns(book)) if one.place[0] == tab}
    if not tops:
        return dict(book.cells(tab))
    worded: dict[int, bool] = {}  # by row, whether there is nothing but words beside the columns of ours
    for (row, column), cell in book.cells(tab).items():
        if column not in tops:
            worded[row] = worded.get(row, True) and isinstance(cell.value, str)
    ends: dict[int, int] = {}
    for (row, column), cell in sorted(book.cells(tab).items()):
        if row > tops.get(column, row) and worded.get(row) and isinstance(cell.value, str):
            ends.setdefault(column, row)
    return {
        (row, column): cell
        for (row, column), cell in book.cells(tab).items()
        if not tops.get(column, row + 1) <= row < ends.get(column, row + 1)
    }
