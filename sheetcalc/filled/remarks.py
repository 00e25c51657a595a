"""What is told of a workbook itself: signed, in doubt, a formula of the person's own, out of date."""

from collections.abc import Iterable, Iterator, Mapping

from sheetcalc import compute, files
from sheetcalc.entries import Entries
from sheetcalc.files.locate import Found
from sheetcalc.filled import writing
from sheetcalc.findings import Finding


def signed(book: files.Workbook) -> Iterator[Finding]:
    """A note on a digital signature."""
    if book.signed:
        yield Finding(
            *("note", book.sheets[0], "", 1, 1, "signed"),
            "The workbook is digitally signed; whatever changes it, a fill too, makes the signature invalid.",
            "Fill a copy with --to, or sign it anew.",
        )


def doubts(found: Iterable[Found]) -> Iterator[Finding]:
    """What was ambiguous where our sheets were looked for."""
    for at in found:
        for doubt in at.doubts:
            tab, row, column = doubt.place
            heading = next((at.headings[k] for k, c in at.cells.items() if (at.tab, *c) == doubt.place), "")
            yield Finding("warning", tab, heading, row, column, doubt.rule, doubt.message, doubt.advice)


def own_formulas(book: files.Workbook, read: Mapping[str, Entries]) -> Iterator[Finding]:
    """A note for each computed column in which the person put a formula: it stays theirs."""
    for sheet in read.values():
        for field in (*sheet.sheet.fields, *sheet.sheet.columns):
            if field.role == "entry" or field.key not in sheet.found.cells:
                continue
            places = writing.places(sheet, field)
            place = next((p for p in places if book.has_formula(sheet.found.tab, *p)), None)
            if place:
                yield Finding(
                    *("note", sheet.found.tab, sheet.found.headings[field.key], *place, "own_formula"),
                    "This computed cell holds a formula of your own; it is left as it is.",
                    "Delete the formula if the computed value should stand here.",
                )


def out_of_date(book: files.Workbook, values: compute.Values, new: set[tuple[str, int]]) -> Iterator[Finding]:
    """A note for the results of a row that a fill would change, one for all rows of which it is the same.

    Columns that are `new` (sheet and column) are left out; the opened workbook is spoilt by that.
    """
    there = [read for read in values.entries.values() if read.found.cells]
    before = {read.found.tab: dict(book.cells(read.found.tab)) for read in there}
    writing.results(book, values, ())
    for read in there:
        tab, now = read.found.tab, book.cells(read.found.tab)
        changed: dict[int, list[str]] = {}
        for field in read.sheet.columns:
            if field.role == "computed" and field.key in read.found.cells:
                for row, column in writing.places(read, field):
                    if (tab, column) not in new and before[tab].get((row, column)) != now.get((row, column)):
                        changed.setdefault(row, []).append(field.key)
        alike: dict[tuple[str, ...], list[int]] = {}
        for row, keys in sorted(changed.items()):
            alike.setdefault(tuple(keys), []).append(row)
        for together, rows in alike.items():
            named = ", ".join(f'"{read.found.headings[key]}"' for key in together)
            told = ", ".join(map(str, rows[:5])) + (" and more" * (len(rows) > 5))
            yield Finding(
                *("note", tab, read.found.headings[together[0]], rows[0], read.found.cells[together[0]][1]),
                "out_of_date",
                f"What stands in {named} is not what the readings give now, in row {told}.",
                "Fill the workbook again.",
            )
