"""Whether a workbook is as its last fill left it, so that nothing in it has to be computed again.

A fill leaves a fingerprint in the hidden sheet "As filled": of the version, the layouts and every cell of our
sheets. While it fits, the findings are what the findings sheet tells.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache

from sheetcalc import __version__, edits, files, layouts
from sheetcalc.build import stale
from sheetcalc.files.locate import Found
from sheetcalc.findings import LEVELS, Finding, address
from sheetcalc.stages import registry

Place = tuple[str, int, int]


def sign(book: files.Workbook, found: Mapping[str, Found], findings: Sequence[Finding]) -> None:
    """Leave the fingerprint of a workbook that was just filled.

    There is none where the findings can't be read back just as they are, so that the next fill computes.
    Where nothing else had to change, an old one stays: it can't fit because formulas wait for their program.
    """
    place = _place(book)
    if place and not book.has_formula(*place) and (book.changed or place[1:] not in book.cells(place[0])):
        told = _read_back(book, found)
        book.write(*place, _fingerprint(book, found, place) if told == tuple(findings) else None)


def findings(book: files.Workbook, found: Mapping[str, Found]) -> tuple[Finding, ...] | None:
    """What the last fill found, where the workbook is as it left it; None where it has to be filled."""
    place = _place(book)
    cell = book.cells(place[0]).get(place[1:]) if place else None
    if place is None or cell is None or cell.value != _fingerprint(book, found, place):
        return None
    return _read_back(book, found)


def _place(book: files.Workbook) -> Place | None:
    """Beside the version; None in a workbook without the hidden sheet."""
    at = edits.all_edited(book)
    return (at[0], at[1], stale.UNIT_WAS) if at else None


def _fingerprint(book: files.Workbook, found: Mapping[str, Found], place: Place) -> str:
    made = hashlib.sha256(_layouts())
    # What was found tells the headings, the order of the columns and what was in doubt.
    made.update(
        repr((found, sorted(book.names.items()), book.sheets, book.signed)).encode("utf-8", "replace")
    )
    read = _read_columns(found)
    for tab in sorted({*read, place[0]}):
        made.update(tab.encode("utf-8", "replace"))
        for position, cell in sorted(book.cells(tab).items()):
            if (tab, *position) != place:
                # What other formulas show may depend on our results, and differs in each program.
                counts = not cell.formula or position[1] in read.get(tab, ())
                shown = f"{cell.kind} {edits.text(cell)}" if counts else ""
                told = f"\n{position} {cell.formula} {len(shown)} {shown}"
                made.update(told.encode("utf-8", "replace"))
    return made.hexdigest()


def _read_columns(found: Mapping[str, Found]) -> dict[str, set[int]]:
    """The columns of each tab in which entries and units stand."""
    looks = layouts.every_sheet()
    columns: dict[str, set[int]] = {}
    for key, at in found.items():
        fields = (*looks[key].fields, *looks[key].columns)
        entries = [at.cells[f.key] for f in fields if f.role == "entry" and f.key in at.cells]
        columns[at.tab] = {column for _, column in (*entries, *at.units.values())}
    return columns


@cache
def _layouts() -> bytes:
    """The version, and the layouts as they are now: people set limits there."""
    return f"{__version__} {layouts.every_sheet()}".encode()


def _read_back(book: files.Workbook, found: Mapping[str, Found]) -> tuple[Finding, ...] | None:
    """The findings as the findings sheet has them; None where it has them not, or not for certain."""
    place = found.get("findings")
    if place is None:
        return None
    columns = [place.cells.get(key) for key in ("level", "cell", "column", "message", "advice", "rule")]
    try:
        return tuple(_lines(book, place, [column[1] for column in columns if column]))
    except ValueError:
        return None


def _lines(book: files.Workbook, place: Found, columns: list[int]) -> Iterator[Finding]:
    """Raises ValueError where a line is not as a fill writes it."""
    tabs = {" ".join(tab.split()): tab for tab in book.sheets}
    cells = book.cells(place.tab)
    row = place.first_row
    while any((row, column) in cells for column in columns):
        line = [cells.get((row, column)) for column in columns]
        if any(cell and (cell.formula or cell.kind != "text") for cell in line):
            raise ValueError(row)
        level, cell, column, message, advice, rule = (str(cell.value) if cell else "" for cell in line)
        title, _, at = cell.rpartition(" ")
        kind = next((kind for kind in LEVELS if kind.upper() == level), None)
        if kind is None or title not in tabs:
            raise ValueError(row)
        yield Finding(
            kind, tabs[title], column, *_position(at), rule, message, advice, _is_danger(rule, kind)
        )
        row += 1


def _position(cell: str) -> tuple[int, int]:
    """B7 -> row 7 and column 2; raises ValueError for anything else."""
    letters = cell.rstrip("0123456789")
    row, column = int(cell[len(letters) :]), 0
    for letter in letters:
        column = 26 * column + ord(letter) - 64
    if not letters or address(row, column) != cell:
        raise ValueError(cell)
    return row, column


def _is_danger(rule: str, level: str) -> bool:
    """The findings sheet does not tell it, but the check does."""
    return any(
        c.rule == rule and c.level == level and c.danger for cs in registry.CHECKS.values() for c in cs
    )
