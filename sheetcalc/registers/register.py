"""A register workbook: its lines read from it, and written into it; what people added stays."""

import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from sheetcalc import __version__, build, compute, entries, files, layouts
from sheetcalc.entries import Entries
from sheetcalc.files import locate
from sheetcalc.filled import edits, writing
from sheetcalc.layouts import REGISTER, Layout, System
from sheetcalc.registers import batches
from sheetcalc.registers.batches import Value

TOLD = "told"  # the sheet of all findings
ROOM = 10  # lines that stay ready in a new register, beside those it begins with
NEEDED = ("file", "batch_code")  # what a batch is known by


@dataclass
class Line:
    """A line: its values in base units by key, and its row in the register; 0 where it has none yet."""

    values: dict[str, Value]
    row: int = 0

    @property
    def file(self) -> str:
        """The batch's workbook, as a path from the register's folder."""
        return str(self.values["file"])

    @property
    def code(self) -> str:
        """The batch code as it is compared: capitals and blanks make no difference."""
        return batches.plain(self.values["batch_code"])


@dataclass(frozen=True)
class Register:
    """An opened register: where its sheets stand, and its lines."""

    book: files.Workbook
    read: Mapping[str, Entries]
    lines: list[Line]


def make(path: Path, system: System, count: int) -> None:
    """Make a new register with room for so many lines and some more.

    Raises what build.new_workbook raises.
    """
    layout = _layout()
    sheets = tuple(
        replace(s, records=max(s.records, count + ROOM)) if s.key == REGISTER else s for s in layout.sheets
    )
    build.new_workbook(replace(layout, sheets=sheets), compute.needs(layout), system, path)


def opened(path: Path) -> Register:
    """Open a register and read its lines.

    Raises files.BadWorkbook where it is none, or where the columns that batches are known by are gone.
    """
    book = files.open_workbook(path)
    sheets = [s for s in _layout().sheets if s.columns]
    found = locate.find(book, sheets)
    if REGISTER not in found:
        raise files.BadWorkbook("This is no register; name one that gathering made, or a new file.")
    headings = [f'"{c.heading}"' for c in batches.sheet().columns if c.key in NEEDED]
    if not found[REGISTER].cells.keys() >= set(NEEDED):
        raise files.BadWorkbook(
            f'Of the sheet "{files.brief(found[REGISTER].tab)}" a column is gone by which batches are known; '
            f"type the headings {' and '.join(headings)} over their columns again."
        )
    read = {
        s.key: entries.read(s, found[s.key], book.cells(found[s.key].tab)) for s in sheets if s.key in found
    }
    return Register(book, read, [Line(v, row) for row, v in stored(book, read[REGISTER], NEEDED)])


def stored(
    book: files.Workbook, read: Entries, known_by: Sequence[str]
) -> Iterator[tuple[int, dict[str, Value]]]:
    """The records of a table of ours that hold a text in one of the columns `known_by`: row and values.

    The values are in base units, by the units they were written in.
    """
    cells, place = book.cells(read.found.tab), read.found
    by_column = {column: key for key, (_, column) in place.cells.items()}
    rows: dict[int, dict[str, files.Cell]] = {}
    for (row, column), cell in cells.items():
        if row >= place.first_row and column in by_column:
            rows.setdefault(row, {})[by_column[column]] = cell
    were = edits.units_were(book, read)
    for row, held in sorted(rows.items()):
        if any(_is_text(held.get(key)) for key in known_by):
            yield (
                row,
                {
                    field.key: _stored(
                        held.get(field.key), field, were.get(field.key) or read.units.get(field.key, "")
                    )
                    for field in read.sheet.columns
                },
            )


def _is_text(cell: files.Cell | None) -> bool:
    return cell is not None and not cell.formula and bool(str(cell.value or "").strip())


def _stored(cell: files.Cell | None, field: layouts.Field, unit: str) -> Value:
    blank: Value = "" if field.quantity == "text" else np.nan
    if cell is None or (field.units and not unit):
        return blank
    return entries.read_cell(cell, field, unit)[0]


def write(register: Register, key: str, lines: Iterable[Line]) -> None:
    """Write lines into one of the tables, those without a row below all that is there; each gets its row."""
    read = register.read.get(key)
    if read is None:
        return
    lines = list(lines)
    free = next_row(register.book, read)
    for line in lines:
        if not line.row:
            line.row, free = free, free + 1
    lines.sort(key=lambda line: line.row)
    columns = {c.key: _column(c, lines) for c in read.sheet.columns}
    known = {(key, field): values for field, values in columns.items()}
    mine = replace(read, rows=tuple(line.row for line in lines), values=columns)
    writing.one_sheet(register.book, compute.Values({key: mine}, known), mine, {})
    if key == REGISTER:
        _link(register.book, mine)


def _link(book: files.Workbook, read: Entries) -> None:
    """Let each line's file be a link to it, where there is a way from the register's folder."""
    column = read.found.cells["file"][1]
    for row, file in zip(read.rows, read.values["file"], strict=True):
        way = PurePath(file)
        # A link makes one blank of two.
        if not (way.root or way.drive or book.has_formula(read.found.tab, row, column)) and _is_plain(file):
            book.write(read.found.tab, row, column, file, link=files.File(file))


def _is_plain(text: str) -> bool:
    return " ".join(text.split()) == text


def _column(field: layouts.Field, lines: Sequence[Line]) -> Any:
    values = [line.values[field.key] for line in lines]
    return np.array(values, dtype=object if field.quantity == "text" else float)


def clear_below(register: Register, key: str, first: int) -> None:
    """Clear one of the tables from row `first` on; only our columns, and no formulas."""
    writing.clear_below(register.book, register.read[key].found, first)


def next_row(book: files.Workbook, read: Entries) -> int:
    """The first row below everything that stands in the columns of a table of ours."""
    ours = {column for _, column in read.found.cells.values()}
    used = [row for row, column in book.cells(read.found.tab) if column in ours]
    return max([read.found.first_row - 1, *used]) + 1


def save(register: Register, to: Path | None = None) -> bool:
    """Save in place where anything changed, or to the new file `to`; tells whether a file was written.

    Raises files.BadWorkbook.
    """
    edits.keep(register.book, register.read, __version__)
    if to is None and not register.book.changed:
        return False
    register.book.save(to)
    return True


def scratch(folder: Path) -> tempfile.TemporaryDirectory[str]:
    """A hidden folder beside the register, in which a new one is made."""
    return tempfile.TemporaryDirectory(prefix=".sheetcalc-", dir=folder)


def _layout() -> Layout:
    return layouts.load(REGISTER)
