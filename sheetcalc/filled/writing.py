"""What a fill writes into an opened workbook, and clears in it; a formula of the person's stays."""

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from sheetcalc import compute, files, units
from sheetcalc.entries import Entries
from sheetcalc.files import ALIKE, Look, Position, locate
from sheetcalc.findings import Finding, flag_text
from sheetcalc.layouts import Field

Flags = Mapping[tuple[str, int], Sequence[Finding]]  # the findings by sheet and row

LEAST = 1e-9  # in any unit


def results(
    book: files.Workbook,
    values: compute.Values,
    findings: Sequence[Finding],
    last_records: Mapping[str, int] = MappingProxyType({}),
) -> None:
    """Write the results and flags of all sheets, and clear those of records that were deleted since.

    last_records: the lowest row that held a record at the last fill, by sheet.
    """
    flags: dict[tuple[str, int], list[Finding]] = {}
    for finding in findings:
        flags.setdefault((finding.sheet, finding.row), []).append(finding)
    for read in values.entries.values():
        one_sheet(book, values, read, flags)
        _clear_leftovers(book, read, last_records.get(read.sheet.key, 0))


def one_sheet(book: files.Workbook, values: compute.Values, read: Entries, flags: Flags) -> None:
    """Write the computed cells and the flags of one sheet."""
    for field in (*read.sheet.fields, *read.sheet.columns):
        if field.key not in read.found.cells or field.role == "entry":
            continue
        spots = places(read, field)
        if not spots:
            continue
        if field.role == "flag":
            texts: list[Any] = [_flags(read, flags.get((read.found.tab, row), ()), field) for row, _ in spots]
        else:
            texts = _written(field, values.get(read.sheet.key, field.key), read)
        # A table that is computed as a whole may need fewer lines than are ready.
        texts += [None] * (len(spots) - len(texts))
        for place, value in zip(spots, texts, strict=True):
            if not book.has_formula(read.found.tab, *place):
                like, look = _model(read, field, place)
                book.write(read.found.tab, *place, value, like=like, look=look)


def _flags(read: Entries, findings: Sequence[Finding], field: Field) -> str | None:
    """What is found on a row: of tables side by side, only on the columns of this one."""
    if read.is_column(field.key):
        columns = {column for _, column in read.found.cells.values()}
        findings = [finding for finding in findings if finding.place in columns]
    return flag_text(findings, read.theirs.between) or None


def places(read: Entries, field: Field) -> list[Position]:
    """The cells a computed or flag field is written to."""
    row, column = read.found.cells[field.key]
    if read.is_column(field.key):
        return [(record, column) for record in read.rows]
    if field.role == "flag":
        lines = [f for f in read.sheet.fields if f.role != "flag" and f.key in read.found.cells]
        return [(read.found.cells[f.key][0], column) for f in lines]
    return [(row, column)]


def _written(field: Field, values: Any, read: Entries) -> list[Any]:
    """Computed values as they go into the cells: in the column's unit, None for a blank."""
    flat, unit = np.atleast_1d(values), read.units[field.key]
    if flat.dtype == object:
        return [value or None for value in flat]
    if field.units and not unit:
        return [None] * len(flat)
    if field.quantity == "moment":
        return [units.moment(value) if np.isfinite(value) else None for value in flat]
    held = units.from_base(flat, field.quantity, unit).tolist()
    numbers = [as_written(value) if math.isfinite(value) else None for value in held]
    digits = read.theirs.digits.get(field.key)
    return numbers if digits is None else [n if n is None else round(n, digits) for n in numbers]


def as_written(value: float) -> float:
    """A result the same on every machine: to nine digits, which is more than any reading holds; and nothing
    instead of the rounding error of a difference."""
    return float(f"{value:.9g}") if abs(value) >= LEAST else 0.0


def _model(read: Entries, field: Field, place: Position) -> tuple[Position | None, Look]:
    """The cell whose look a result takes over, and how much of it: in a table of theirs one in the same row,
    in ours, below the ready rows, the one on the first record row."""
    if field.key in read.theirs.looks:
        column, look = read.theirs.looks[field.key]
        return (place[0], column), look
    first = read.found.first_row
    return ((first, place[1]) if first and place[0] > first else None), ALIKE


def _clear_leftovers(book: files.Workbook, read: Entries, last_record: int) -> None:
    """Results of records that were deleted since: on rows with no entry left, ready or once a record."""
    columns = [(read.found.cells[c.key][1], c.role) for c in read.sheet.columns if c.key in read.found.cells]
    typed = {column for column, role in columns if role == "entry"}
    written = {column for column, role in columns if role != "entry"}
    if not written:
        return
    first = read.found.first_row
    last = max((first + read.sheet.records - 1, last_record, *read.rows))
    cells = book.cells(read.found.tab)
    # A row with anything in an entry column is a record, or the person's own totals; the lines of a table
    # that is computed as a whole are records without one.
    kept = {row for row, column in cells if column in typed} | set(read.rows) | read.theirs.left
    for (row, column), cell in list(cells.items()):
        if column in written and first <= row <= last and row not in kept and not cell.formula:
            book.write(read.found.tab, row, column, None)


def list_findings(book: files.Workbook, place: locate.Found, findings: Sequence[Finding]) -> None:
    """Write the findings sheet: one line a finding, and nothing left below of an earlier fill."""
    first = place.first_row
    columns = {key: column for key, (_, column) in place.cells.items()}
    for row, finding in enumerate(findings, start=first):
        texts = {
            "level": finding.level.upper(),
            "cell": f"{finding.sheet} {finding.cell}",
            "column": finding.column,
            "message": finding.message,
            "advice": finding.advice,
            "rule": finding.rule,
        }
        for key, text in texts.items():
            if key in columns and not book.has_formula(place.tab, row, columns[key]):
                link = (finding.sheet, finding.row, finding.place) if key == "cell" else None
                book.write(place.tab, row, columns[key], text, like=(first, columns[key]), link=link)
    clear_below(book, place, first + len(findings))


def clear_below(book: files.Workbook, place: locate.Found, first: int) -> None:
    """Clear the cells of a table's columns from row `first` on."""
    columns = {column for _, column in place.cells.values()}
    for (row, column), cell in list(book.cells(place.tab).items()):
        if row >= first and column in columns and not cell.formula:
            book.write(place.tab, row, column, None)
