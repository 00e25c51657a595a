"""Logs computed without a file, and only as far as they differ from one that is computed already."""

import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from sheetcalc import compute, entries, files, layouts
from sheetcalc.entries import Entries
from sheetcalc.files import Cell, locate
from sheetcalc.making import new
from sheetcalc.stages import registry

EPOCH = datetime(1899, 12, 30)

Cells = dict[tuple[int, int], Cell]
# Sheet, record (None on a card) and key.
Place = tuple[str, int | None, str]


@dataclass(frozen=True)
class Blank:
    """A blank batch workbook: where everything stands, and what stands there already."""

    path: Path
    found: Mapping[str, locate.Found]
    cells: Mapping[str, Cells]


@cache
def blank(system: layouts.System, ending: str = ".xlsx") -> Blank:
    """The blank workbook of a unit system; made once a process."""
    path = Path(tempfile.mkdtemp(prefix="in-memory-")) / f"blank{ending}"
    new("batch", path, system)
    book, sheets = files.open_workbook(path), layouts.every_sheet()
    found = locate.find(book, [s for s in sheets.values() if (s.fields or s.columns) and s.key != "findings"])
    return Blank(path, found, {key: dict(book.cells(place.tab)) for key, place in found.items()})


def position(found: Mapping[str, locate.Found], place: Place) -> tuple[int, int]:
    """The row and column of a place in the log."""
    sheet, record, key = place
    row, column = found[sheet].cells[key]
    return (row, column) if record is None else (found[sheet].first_row + record, column)


def places(log: Mapping[str, Any]) -> Iterator[tuple[Place, Any]]:
    """Each value of a log with its place: of each sheet the lines of its card, or its records, or both."""
    for sheet, held in log.items():
        if isinstance(held, dict):
            yield from (((sheet, None, key), value) for key, value in held.items() if key != "records")
        records = held if isinstance(held, list) else held.get("records", [])
        for record, line in enumerate(records):
            yield from (((sheet, record, key), value) for key, value in line.items())


def cell(value: Any) -> Cell:
    """A value as it is read from a file."""
    if isinstance(value, datetime):
        return Cell((value - EPOCH) / timedelta(days=1), "moment")
    return Cell(value, "text") if isinstance(value, str) else Cell(float(value), "number")


def read(
    book: Blank, typed: Mapping[Place, Any], labels: Mapping[tuple[str, str], str] | None = None
) -> dict[str, Entries]:
    """Cells typed into the blank workbook, and other labels of units, as the program reads them."""
    cells = {sheet: dict(there) for sheet, there in book.cells.items()}
    for place, value in typed.items():
        if value is not None:
            cells[place[0]][position(book.found, place)] = cell(value)
    for (sheet, key), label in (labels or {}).items():
        cells[sheet][book.found[sheet].units[key]] = Cell(label, "text")
    sheets = layouts.every_sheet()
    return {key: entries.read(sheets[key], place, cells[key]) for key, place in book.found.items()}


class Again(compute.Values):
    """The values of a log that differs in a few cells from one that is computed: equal entries are the same
    objects, so that what comes from them alone is remembered."""

    def __init__(self, read: Mapping[str, Entries], before: compute.Values) -> None:
        super().__init__(read)
        self.before = before

    def _make(self, sheet: str, key: str) -> Any:
        made = super()._make(sheet, key)
        if key in registry.COLUMNS.get(sheet, {}):
            return made
        was = self.before.get(sheet, key)
        return was if _alike(made, was) else made


@contextmanager
def remembering() -> Iterator[None]:
    """Inside, no column and no check is computed twice from the very same values; results are as without."""
    columns, checks = registry.COLUMNS, registry.CHECKS
    registry.COLUMNS = {
        sheet: {key: replace(column, function=_remembered(column.function)) for key, column in held.items()}
        for sheet, held in columns.items()
    }
    registry.CHECKS = {
        sheet: [replace(check, function=_remembered(check.function)) for check in held]
        for sheet, held in checks.items()
    }
    try:
        yield
    finally:
        registry.COLUMNS, registry.CHECKS = columns, checks


def _remembered(function: Callable[..., Any]) -> Callable[..., Any]:
    known: dict[tuple[int, ...], tuple[Any, Any]] = {}

    def call(*values: Any) -> Any:
        same = tuple(map(id, values))
        if same not in known:
            # The values are kept beside the result, so that no other object takes over their identity.
            known[same] = (values, function(*values))
        return known[same][1]

    return call


def _alike(a: Any, b: Any) -> bool:
    a, b = np.asarray(a), np.asarray(b)
    return a.dtype == b.dtype and bool(np.array_equal(a, b, equal_nan=a.dtype == float))
