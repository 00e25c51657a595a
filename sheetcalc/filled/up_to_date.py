"""Whether a workbook is as its last fill left it, so that nothing in it has to be computed again.

A fill leaves a fingerprint in the hidden sheet "As filled": of the version, the layouts and every cell of our
sheets. While it fits, the findings are what the findings sheet tells.
"""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache

from sheetcalc import __version__, files, layouts
from sheetcalc.build import as_filled
from sheetcalc.files import Place, Position
from sheetcalc.files.locate import Found
from sheetcalc.filled import edits
from sheetcalc.findings import LEVELS, Finding, address
from sheetcalc.stages import registry


def sign(book: files.Workbook, found: Mapping[str, Found], findings: Sequence[Finding]) -> None:
    """Leave the fingerprint of a workbook that was just filled.

    There is none where the findings can't be read back just as they are, or where a formula gives an entry,
    which shows something else once its program has computed it; the next fill computes then.
    """
    place = _place(book)
    if place and not book.has_formula(*place):
        sure = _read_back(book, found) == tuple(findings) and not _has_formulas(book, found)
        book.write(*place, _fingerprint(book, found, place) if sure else None)


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
    return (at[0], at[1], as_filled.UNIT_WAS) if at else None


def _fingerprint(book: files.Workbook, found: Mapping[str, Found], place: Place) -> str:
    made = hashlib.sha256(_layouts())
    # What was found tells the headings, the order of the columns and what was in doubt.
    made.update(
        repr((found, sorted(book.names.items()), book.sheets, book.signed)).encode("utf-8", "replace")
    )
    for tab in sorted({*(at.tab for at in found.values()), place[0]}):
        told = [tab]
        for position, (value, kind, formula) in sorted(book.cells(tab).items()):
            # What a formula shows may depend on our results, and differs in each program.
            if formula:
                told.append(f"\n{position}")
            elif (tab, *position) != place:
                shown = f"{value:.15g}" if isinstance(value, float) else str(value)
                told.append(f"\n{position} {kind} {len(shown)} {shown}")
        made.update("".join(told).encode("utf-8", "replace"))
    return made.hexdigest()


def _has_formulas(book: files.Workbook, found: Mapping[str, Found]) -> bool:
    """Whether a formula stands in a column, or on a line, of entries or units."""
    looks = layouts.every_sheet()
    for key, at in found.items():
        fields = (*looks[key].fields, *looks[key].columns)
        entries = [at.cells[f.key] for f in fields if f.role == "entry" and f.key in at.cells]
        columns = {column for _, column in (*entries, *at.units.values())}
        if any(cell.formula and column in columns for (_, column), cell in book.cells(at.tab).items()):
            return True
    return False


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


def _position(cell: str) -> Position:
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
