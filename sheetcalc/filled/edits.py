"""What was typed since the last fill: `fill` keeps a copy of each entry in the workbook to tell by."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

import numpy as np

from sheetcalc import files, layouts, units
from sheetcalc.build import as_filled
from sheetcalc.entries import Entries
from sheetcalc.files import Cell, Place, Position
from sheetcalc.findings import Finding
from sheetcalc.layouts import Field

Value = float | str | None


class Watched(NamedTuple):
    """A cell that the person types into, what it holds, and the places of its copy and of its column's tally
    of copies."""

    field: Field
    place: Position
    now: Value
    copy: Place
    tally: Place | None = None


def keep(book: files.Workbook, read: Mapping[str, Entries], version: str) -> None:
    """Copy every entry and unit; what has no place for its copy, as in an older workbook, is passed over."""
    at = all_edited(book)
    if at is None:
        return
    _put(book, (*at[:2], as_filled.WAS), version)
    counts: Counter[Place] = Counter()
    for entries in read.values():
        for watched in list(_watched(book, entries)):
            _put(book, watched.copy, watched.now)
            if watched.tally:
                counts[watched.tally] += watched.now is not None
    for place, count in counts.items():
        _put(book, place, count or None)


def last_records(book: files.Workbook, read: Mapping[str, Entries]) -> dict[str, int]:
    """The lowest row of each table, by sheet, that held an entry at the last fill, as far as that is kept."""
    rows: dict[str, int] = {}
    for key, entries in read.items():
        copies = (watched.copy for watched in _watched(book, entries) if entries.is_column(watched.field.key))
        kept = [
            row for tab, row, column in copies if tab == entries.found.tab and _was(book, (tab, row, column))
        ]
        if kept:
            rows[key] = max(kept)
    return rows


def all_edited(book: files.Workbook) -> Place | None:
    """The cell that counts what was edited since the last fill; None in a workbook that keeps no copies."""
    return book.named.get(as_filled.ALL)


def listed(book: files.Workbook) -> dict[str, Place] | None:
    """Each line and column of ours that the workbook ever had, `<sheet>_<key>`, with the cell that says so.

    None in a workbook that has no such list.
    """
    at = all_edited(book)
    if at is None:
        return None
    ours = frozenset().union(*(sheet.names for sheet in layouts.every_sheet().values()))
    names = {
        str(cell.value): (at[0], row, column)
        for (row, column), cell in book.cells(at[0]).items()
        if column == as_filled.NAME and cell.value in ours
    }
    return names or None


def add_to_list(book: files.Workbook, names: Iterable[str]) -> None:
    """List lines and columns that the workbook has now, in the free rows below the first that is listed."""
    there = listed(book)
    if there is None:
        return
    tab, first, column = min(there.values(), key=lambda place: place[1])
    free = (
        row
        for row in range(first + 1, files.MAX_ROW + 1)
        if (row, column) not in book.cells(tab) and not book.has_formula(tab, row, column)
    )
    for name, row in zip([name for name in dict.fromkeys(names) if name not in there], free, strict=False):
        book.write(tab, row, column, name)


def _put(book: files.Workbook, place: Place, value: Value) -> None:
    """Write a copy; where somebody put a formula over it, theirs stays."""
    if not book.has_formula(*place):
        book.write(*place, value)


def edited(book: files.Workbook, read: Mapping[str, Entries]) -> Iterator[Finding]:
    """A note for each record or line in which something was typed or changed since the last fill."""
    at = all_edited(book)
    if at is None or _was(book, (*at[:2], as_filled.WAS)) is None:
        return
    for entries in read.values():
        rows: dict[int, list[tuple[Watched, Value]]] = {}
        for watched in _watched(book, entries):
            was = _was(book, watched.copy)
            if _text(was) != _text(watched.now) and not book.has_formula(*watched.copy):
                rows.setdefault(watched.place[0], []).append((watched, was))
        for _, changes in sorted(rows.items()):
            yield _note(entries, changes)


def other_units(book: files.Workbook, read: Mapping[str, Entries]) -> Iterator[Finding]:
    """A warning at each unit cell in which another unit was chosen since the last fill."""
    for entries in read.values():
        was = units_were(book, entries)
        for column in entries.sheet.columns:
            if column.role != "entry" or column.key not in was or column.key not in entries.found.units:
                continue
            before, now = units.label_of(was[column.key], column.quantity), entries.units[column.key]
            typed = int(np.isfinite(entries.values[column.key]).sum())
            if typed and before and now and before != now:
                said = (
                    f"The unit was {before} at the last fill; {_numbers(typed)} below is read as {now} now."
                )
                yield Finding(
                    *("warning", entries.found.tab, entries.found.headings[column.key]),
                    *entries.found.units[column.key],
                    "unit_changed",
                    f"{said} Nothing was converted.",
                    f"If they are in {before}, choose that again.",
                )


def _numbers(count: int) -> str:
    return "the number" if count == 1 else f"each of the {count} numbers"


def units_were(book: files.Workbook, entries: Entries) -> dict[str, str]:
    """The unit each column of a sheet stood in when it was last written, by key, as far as that is kept."""
    lines = {
        f.key: book.named.get(as_filled.line_name(f, entries.sheet.key))
        for f in entries.sheet.columns
        if f.units
    }
    cells = {key: book.cells(at[0]).get((at[1], as_filled.UNIT_WAS)) for key, at in lines.items() if at}
    return {key: str(cell.value) for key, cell in cells.items() if cell}


def _note(entries: Entries, changes: list[tuple[Watched, Value]]) -> Finding:
    headings = entries.found.headings
    told = [f"{headings[watched.field.key]} (was {_as_seen(watched, was)})" for watched, was in changes]
    first = changes[0][0]
    return Finding(
        "note",
        entries.found.tab,
        headings[first.field.key],
        *first.place,
        "edited",
        f"Typed or changed since the last fill: {', '.join(told)}.",
        "Fill the workbook again; what stands grey in it is out of date.",
    )


def _as_seen(watched: Watched, was: Value) -> str:
    """What a cell held at the last fill, as it showed there."""
    if was is None:
        return "blank"
    if watched.field.quantity == "moment" and isinstance(was, float) and files.is_moment(was):
        return units.show(was, "moment", "")
    return units.short(_text(was))


def _watched(book: files.Workbook, entries: Entries) -> Iterator[Watched]:
    """Every entry cell, and every unit cell, of a sheet whose copy has a place."""
    sheet, found = entries.sheet, entries.found
    cells = book.cells(found.tab)
    by_column: dict[int, list[int]] = {}
    for row, column in cells:
        by_column.setdefault(column, []).append(row)
    for field in (*sheet.fields, *sheet.columns):
        line = book.named.get(as_filled.line_name(field, sheet.key))
        if line is None or field.key not in found.cells:
            continue
        tab, at, _ = line
        if field.key in found.units:
            unit = found.units[field.key]
            yield Watched(field, unit, _value(cells.get(unit)), (tab, at, as_filled.UNIT_WAS))
        row, column = found.cells[field.key]
        copy = book.named.get(as_filled.copy_name(sheet.key, field.key))
        if entries.is_column(field.key):
            if copy and copy[:2] == (found.tab, row) and _is_copy(cells.get(copy[1:])):
                # The first, too, so that a column that was emptied counts as holding nothing.
                rows = {found.first_row, *by_column.get(column, ()), *by_column.get(copy[2], ())}
                for row in sorted(row for row in rows if row >= found.first_row):
                    now = _value(cells.get((row, column)))
                    yield Watched(
                        field, (row, column), now, (found.tab, row, copy[2]), (tab, at, as_filled.WAS)
                    )
        elif field.role == "entry":
            yield Watched(field, (row, column), _value(cells.get((row, column))), (tab, at, as_filled.WAS))


def _is_copy(heading: Cell | None) -> bool:
    """Whether a copy's heading still stands there: people may have moved the table, or theirs, over it."""
    return heading is not None and str(heading.value).endswith(as_filled.AS_FILLED)


def _was(book: files.Workbook, copy: Place) -> Value:
    return _value(book.cells(copy[0]).get(copy[1:]))


def _value(cell: Cell | None) -> Value:
    """What a copy of the cell holds; None for a blank, and for a formula that shows nothing."""
    if cell is None or cell.value in ("", None):
        return None
    if isinstance(cell.value, bool):
        return str(cell.value).upper()
    return cell.value[: files.MAX_TEXT] if isinstance(cell.value, str) else cell.value


def _text(value: Value) -> str:
    return f"{value:.15g}" if isinstance(value, float) else str(value or "")
