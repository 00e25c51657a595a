"""One workbook from start to finish: read, compute, check, write back only what is ours."""

import contextlib
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sheetcalc import (
    __version__,
    adopted,
    compute,
    edits,
    entries,
    files,
    forward,
    layouts,
    lost,
    own_tables,
    stamp,
    stands,
    units,
    up_to_date,
)
from sheetcalc.entries import Entries
from sheetcalc.files import locate
from sheetcalc.findings import Finding, by_weight, flag_text
from sheetcalc.layouts import Field

# What --backup puts behind the name of the version before. Neither a folder nor a pattern such as *.xlsx
# means such a file, so that the next fill leaves it alone.
BACKUP_ENDING = ".before"
# How often a fill is begun when somebody changes the workbook under it.
ATTEMPTS = 3


@dataclass(frozen=True)
class Examined:
    """An opened workbook, the values of its sheets and what was found in them."""

    book: files.Workbook
    found: Mapping[str, locate.Found]
    values: compute.Values
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Filled:
    """What was found in a workbook, and whether nothing of ours in it had to change."""

    findings: tuple[Finding, ...]
    up_to_date: bool = False


def examine(path: Path) -> Examined:
    """Read a workbook, compute its columns and check them; writes nothing.

    Raises files.BadWorkbook with one clear sentence where the file can't be used.
    """
    book = files.open_workbook(path)
    return _compute(book, _find(book))


def _find(book: files.Workbook) -> dict[str, locate.Found]:
    sheets = layouts.every_sheet()
    found = locate.find(book, [sheet for sheet in sheets.values() if sheet.fields or sheet.columns])
    if not found.keys() - {"findings"}:
        register = locate.find(book, layouts.load(layouts.REGISTER).sheets[:1]).get(layouts.REGISTER)
        if register:
            return {layouts.REGISTER: register}
        raise files.BadWorkbook(
            "It is not one of our workbooks: no sheet has our names or headings. "
            "Make one with 'sheetcalc new batch FILE' and copy your readings into it."
        )
    return forward.only_ours(book, found)


def _compute(
    book: files.Workbook, found: Mapping[str, locate.Found], brought: Sequence[Finding] = ()
) -> Examined:
    if layouts.REGISTER in found:
        return Examined(book, {}, compute.Values({}), (_is_a_register(found[layouts.REGISTER]),))
    sheets = layouts.every_sheet()
    read = {
        key: entries.read(sheets[key], place, book.cells(place.tab))
        for key, place in found.items()
        if key != "findings"
    }
    values = compute.Values(read)
    doubts = [_doubt(place, doubt) for place in found.values() for doubt in place.doubts]
    gone = lost.findings(values, found, forward.had(book))
    told = [*_signature(book), *doubts, *brought, *gone]
    findings = by_weight([*told, *compute.findings(values), *_own_formulas(book, read)])
    return Examined(book, found, values, tuple(findings))


def _compute_adopted(
    book: files.Workbook, layout: adopted.Adopted
) -> tuple[list[Examined], list[own_tables.NewHeading]]:
    """A person's own workbook by its layout, batch by batch, and the headings to add."""
    seen: list[Examined] = []
    added: list[own_tables.NewHeading] = []
    for batch in own_tables.read(layout, book):
        values = compute.Values(batch.read)
        told = [*batch.findings, *compute.findings(values), *own_tables.findings(layout, values)]
        told += [*_signature(book), *_own_formulas(book, batch.read)]
        found = {key: read.found for key, read in batch.read.items()}
        seen.append(Examined(book, found, values, tuple(by_weight(told))))
        added += batch.added
    return seen, added


def check(path: Path | str, layout: adopted.Adopted | None = None) -> tuple[Finding, ...]:
    """What was found in a workbook, and what was typed since it was last filled; writes nothing.

    layout: of a person's own workbook, of which is told which results are not those of its entries. Raises
    files.BadWorkbook as `examine` does, and where the workbook does not fit its layout.
    """
    path = Path(path)
    if layout:
        batches, added = _compute_adopted(files.open_workbook(path), layout)
        new = {(heading.tab, heading.column) for heading in added}
        return tuple(by_weight([*_together(batches), *_out_of_date(batches, new)]))
    seen = examine(path)
    news = (*edits.edited(seen.book, seen.values.entries), *forward.waiting(seen.book, seen.found))
    return tuple(by_weight([*seen.findings, *news]))


def _together(seen: Iterable[Examined]) -> tuple[Finding, ...]:
    """The findings of all batches of a workbook; what several of them tell, once."""
    return tuple(by_weight(dict.fromkeys(finding for one in seen for finding in one.findings)))


def _out_of_date(batches: Iterable[Examined], new: set[tuple[str, int]]) -> Iterable[Finding]:
    """A note for each column of results that a fill would change; the opened workbook is spoilt by that."""
    for seen in batches:
        for read in seen.values.entries.values():
            tab = read.found.tab
            before = dict(seen.book.cells(tab)) if tab else {}
            write_results(seen, read)
            for field in read.sheet.columns:
                if field.role != "computed" or field.key not in read.found.cells:
                    continue
                places = [read.cell(field.key, record) for record in range(len(read.rows))]
                changed = [at for at in places if before.get(at) != seen.book.cells(tab).get(at)]
                if changed and (tab, changed[0][1]) not in new:
                    rows = ", ".join(str(row) for row, _ in changed[:5]) + (" and more" * (len(changed) > 5))
                    yield Finding(
                        *("note", tab, read.found.headings[field.key], *changed[0], "out_of_date"),
                        f"What stands here is not what the readings give now, in row {rows}.",
                        "Fill the workbook again.",
                    )


def fill(
    path: Path | str,
    to: Path | None = None,
    backup: bool = False,
    again: bool = False,
    layout: adopted.Adopted | None = None,
) -> tuple[Finding, ...]:
    """Fill one workbook as `bring_up_to_date` does, and tell what was found, the most serious first."""
    return bring_up_to_date(Path(path), to, backup, again, layout).findings


def bring_up_to_date(
    path: Path,
    to: Path | None = None,
    backup: bool = False,
    again: bool = False,
    layout: adopted.Adopted | None = None,
) -> Filled:
    """Fill one workbook in place, or into the new file `to`, and tell what was found.

    Only our own cells are rewritten. A workbook that is as its last fill left it is left alone and, but for
    `again`, not computed. With `backup`, the version before is kept beside it when it is rewritten. When
    somebody changes it meanwhile, what they made of it is filled. `layout` is that of a person's own
    workbook, in which only the columns that they agreed to are written.
    Raises files.BadWorkbook with one clear sentence where the file can't be read or written; it is
    then as it was before.
    """
    if path.name.endswith(BACKUP_ENDING):
        raise files.BadWorkbook(
            "This is the version kept by --backup; copy it to a name of its own to fill it."
        )
    files.remove_abandoned(to.parent if to else Path(os.path.realpath(path)).parent)
    if to and os.path.lexists(to):
        raise files.BadWorkbook(f"{to} is there already; remove it or choose another folder.")
    for _ in range(ATTEMPTS - 1):
        with contextlib.suppress(files.ChangedMeanwhile):
            return _fill_once(path, to, backup, again, layout)
    return _fill_once(path, to, backup, again, layout)


def _fill_once(
    path: Path, to: Path | None, backup: bool, again: bool, layout: adopted.Adopted | None
) -> Filled:
    files.refuse_open(path)
    book = files.open_workbook(path)
    known = _rewrite_adopted(book, layout) if layout else _rewrite(book, again)
    changed = book.changed
    if changed:
        stamp.leave(book)
    if to or changed:
        book.save(to, BACKUP_ENDING if backup else None)
    return Filled(known, not changed)


def _rewrite(book: files.Workbook, again: bool) -> tuple[Finding, ...]:
    """Write results, flags, findings and the copies of the entries into an opened workbook, where needed."""
    found = _find(book)
    known = None if again else up_to_date.findings(book, found)
    if known is not None:
        return known
    brought = forward.bring(book, found)
    seen = _compute(book, _find(book) if brought else found, brought)
    for read in seen.values.entries.values():
        write_results(seen, read)
        _clear_leftovers(book, read)
    if "findings" in seen.found:
        _write_findings(seen)
    stands.leave(book, seen.values, seen.findings)
    if seen.values.entries:
        edits.keep(book, seen.values.entries, __version__)
        up_to_date.sign(book, seen.found, seen.findings)
    return seen.findings


def _rewrite_adopted(book: files.Workbook, layout: adopted.Adopted) -> tuple[Finding, ...]:
    """Write the columns that the person agreed to into their own opened workbook."""
    batches, added = _compute_adopted(book, layout)
    for heading in added:
        book.write(*heading, like=own_tables.beside(book, heading))
    for seen in batches:
        for read in seen.values.entries.values():
            write_results(seen, read)
            _clear_leftovers(book, read)
    for heading in added:
        book.widen(heading.tab, heading.column, own_tables.letters(book, heading))
    return _together(batches)


def write_results(seen: Examined, read: Entries) -> None:
    """Write the computed cells and the flags of one sheet; a formula of the person's stays."""
    for field in (*read.sheet.fields, *read.sheet.columns):
        if field.key not in read.found.cells or field.role == "entry":
            continue
        places = _places(read, field)
        if field.role == "computed":
            texts = _written(field, seen.values.get(read.sheet.key, field.key), read.units[field.key])
            texts = _rounded(texts, field, read) if read.theirs else texts
        else:
            texts = _flags(seen, read, places)
        # A table that is computed as a whole may need fewer lines than are ready.
        texts += [None] * (len(places) - len(texts))
        for place, value in zip(places, texts, strict=True):
            if not seen.book.has_formula(read.found.tab, *place):
                plain = read.theirs is not None and field.key in read.theirs.plain
                seen.book.write(read.found.tab, *place, value, like=_model(read, field, place), plain=plain)


def _places(read: Entries, field: Field) -> list[tuple[int, int]]:
    """The cells a computed or flag field is written to."""
    row, column = read.found.cells[field.key]
    if read.is_column(field.key):
        return [(record, column) for record in read.rows]
    if field.role == "flag":
        return [(read.found.cells[f.key][0], column) for f in _lines(read)]
    return [(row, column)]


def _lines(read: Entries) -> list[Field]:
    return [f for f in read.sheet.fields if f.role != "flag" and f.key in read.found.cells]


def _flags(seen: Examined, read: Entries, places: list[tuple[int, int]]) -> list[str | None]:
    by_row: dict[int, list[Finding]] = {}
    for finding in seen.findings:
        if finding.sheet == read.found.tab:
            by_row.setdefault(finding.row, []).append(finding)
    return [flag_text(by_row.get(row, [])) or None for row, _ in places]


def _written(field: Field, values: Any, unit: str) -> list[Any]:
    """Computed values as they go into the cells: in the column's unit, None for a blank."""
    flat = np.atleast_1d(values)
    if flat.dtype == object:
        return [value or None for value in flat]
    if field.units and not unit:
        return [None] * len(flat)
    if field.quantity == "moment":
        return [units.moment(value) if np.isfinite(value) else None for value in flat]
    # Nine digits are more than any reading holds, and the same on every machine.
    return [
        float(f"{v:.9g}") if np.isfinite(v) else None for v in units.from_base(flat, field.quantity, unit)
    ]


def _rounded(values: list[Any], field: Field, read: Entries) -> list[Any]:
    """Results for cells that have no number format of ours, to the digits they are shown with."""
    decimals = compute.decimals(field, read.units[field.key])
    if field.quantity == "moment" and read.theirs and field.key in read.theirs.plain:
        # No cell of theirs shows a date here; a bare number of days would tell nobody anything.
        return [f"{value:%Y-%m-%d %H:%M}" if value else None for value in values]
    return [round(value, decimals) if isinstance(value, float) else value for value in values]


def _model(read: Entries, field: Field, place: tuple[int, int]) -> tuple[int, int] | None:
    """The cell whose look a record below the ready rows takes over: the one on the first record row.

    In a person's own workbook it is one in the same row, of those that show the same where there are any.
    """
    if read.theirs:
        look = read.theirs.looks.get(field.key)
        return (place[0], look) if look else None
    first = read.found.first_row
    return (first, place[1]) if first and place[0] > first else None


def _clear_leftovers(book: files.Workbook, read: Entries) -> None:
    """Results of records that were deleted since: on ready rows with no entry left."""
    columns = {
        read.found.cells[c.key][1]
        for c in read.sheet.columns
        if c.role != "entry" and c.key in read.found.cells
    }
    if not columns:
        return
    first = read.found.first_row
    last = max((first + read.sheet.records - 1, *read.rows))
    cells = book.cells(read.found.tab)
    typed = {
        read.found.cells[c.key][1]
        for c in read.sheet.columns
        if c.role == "entry" and c.key in read.found.cells
    }
    # A row with anything in an entry column is a record, or the person's own totals; the lines of a table
    # that is computed as a whole are records without one.
    kept = {row for row, place in cells if place in typed} | set(read.rows)
    kept |= read.theirs.left if read.theirs else set()
    for (row, place), cell in list(cells.items()):
        if place in columns and first <= row <= last and row not in kept and not cell.formula:
            book.write(read.found.tab, row, place, None)


def _write_findings(seen: Examined) -> None:
    """The findings sheet: one line a finding, and nothing left below of an earlier fill."""
    place = seen.found["findings"]
    first, book = place.first_row, seen.book
    columns = {key: column for key, (_, column) in place.cells.items()}
    for row, finding in enumerate(seen.findings, start=first):
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
    clear_below(book, place, first + len(seen.findings))


def clear_below(book: files.Workbook, place: locate.Found, first: int) -> None:
    """Clear the cells of a table's columns from row `first` on; a formula of the person's stays."""
    columns = {column for _, column in place.cells.values()}
    for (row, column), cell in list(book.cells(place.tab).items()):
        if row >= first and column in columns and not cell.formula:
            book.write(place.tab, row, column, None)


def _is_a_register(place: locate.Found) -> Finding:
    return Finding(
        *("note", place.tab, "", 1, 1, "is_a_register"),
        "This is a register of batches, which is not filled but gathered.",
        "Run: sheetcalc gather FOLDER --to REGISTER",
    )


def _signature(book: files.Workbook) -> Iterable[Finding]:
    if book.signed:
        yield Finding(
            *("note", book.sheets[0], "", 1, 1, "signed"),
            "The workbook is digitally signed; whatever changes it, a fill too, makes the signature invalid.",
            "Fill a copy with --to, or sign it anew.",
        )


def _own_formulas(book: files.Workbook, read: Mapping[str, Entries]) -> Iterable[Finding]:
    """A note for each computed column in which the person put a formula: it stays theirs."""
    for sheet in read.values():
        for field in (*sheet.sheet.fields, *sheet.sheet.columns):
            if field.role == "entry" or field.key not in sheet.found.cells:
                continue
            place = next((p for p in _places(sheet, field) if book.has_formula(sheet.found.tab, *p)), None)
            if place:
                yield Finding(
                    "note",
                    sheet.found.tab,
                    sheet.found.headings[field.key],
                    *place,
                    "own_formula",
                    "This computed cell holds a formula of your own; it is left as it is.",
                    "Delete the formula if the computed value should stand here.",
                )


def _doubt(place: locate.Found, doubt: locate.Doubt) -> Finding:
    tab, row, column = doubt.place
    heading = next((place.headings[k] for k, c in place.cells.items() if (place.tab, *c) == doubt.place), "")
    return Finding("warning", tab, heading, row, column, doubt.rule, doubt.message, doubt.advice)
