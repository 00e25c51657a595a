"""Where each sheet stood at the last fill, told beside its step on the first sheet."""

from collections.abc import Iterable

from sheetcalc import compute, files, layouts
from sheetcalc.build.as_filled import STANDS
from sheetcalc.findings import Finding, tally

NOTHING = "Nothing yet."
ARROW = "→"  # ends the text of a link to a sheet


def leave(book: files.Workbook, values: compute.Values, findings: Iterable[Finding]) -> None:
    """Write where the sheets stand, as far as the workbook has places for it and no formula stands there."""
    told = list(findings)
    for name, place in book.named.items():
        key = name.removeprefix(STANDS)
        if key != name and key in layouts.every_sheet() and not book.has_formula(*place):
            book.write(*place, _words(values, key, told) or None)
            _lead(book, place, values, key)


def _lead(book: files.Workbook, place: tuple[str, int, int], values: compute.Values, sheet: str) -> None:
    """Have the link left of it lead to the sheet as it is called now."""
    tab, row, column = place
    link = book.cells(tab).get((row, column - 1))
    if sheet in values.entries and link and str(link.value).endswith(ARROW) and not link.formula:
        called = values.entries[sheet].found.tab
        book.write(tab, row, column - 1, f"{called} {ARROW}", link=(called, 1, 1))


def _words(values: compute.Values, sheet: str, findings: list[Finding]) -> str:
    """What a sheet holds, in its own words, and how much was found in it."""
    if sheet == "findings":
        return f"{tally(f.level for f in findings).capitalize()}."
    if sheet not in values.entries:
        return ""
    entries = values.entries[sheet]
    levels = [finding.level for finding in findings if finding.sheet == entries.found.tab]
    found = f"{tally(levels).capitalize()}." if levels else ""
    return f"{compute.in_words(values, sheet, entries.sheet.stands) or NOTHING} {found}".rstrip()
