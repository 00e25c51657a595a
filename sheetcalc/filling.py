"""One workbook from start to finish: read, compute, check, write back only what is ours."""

import contextlib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sheetcalc import __version__, compute, entries, files, layouts
from sheetcalc.files.locate import Found, find
from sheetcalc.filled import axes, edits, forward, lost, remarks, stamp, stands, up_to_date, writing
from sheetcalc.findings import Finding, by_weight

if TYPE_CHECKING:
    from sheetcalc.own.adopted import Adopted
    from sheetcalc.own.tables import Batch

# What --backup puts behind the name of the version before. Neither a folder nor a pattern such as *.xlsx
# means such a file, so that the next fill leaves it alone.
BACKUP_ENDING = ".before"
# How often a fill is begun when somebody changes the workbook under it.
ATTEMPTS = 3


@dataclass(frozen=True)
class Examined:
    """An opened workbook, the values of its sheets and what was found in them."""

    book: files.Workbook
    found: Mapping[str, Found]
    values: compute.Values
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Done:
    """What was found in a workbook, and whether a fill had nothing of ours in it to change."""

    findings: tuple[Finding, ...]
    up_to_date: bool = False


def check(path: Path | str, layout: Path | str | None = None) -> tuple[Finding, ...]:
    """Look a workbook through as `look_through` does, and tell what was found, the most serious first.

    layout: the layout file of a person's own workbook.
    """
    return look_through(Path(path), own_layout(layout)).findings


def fill(
    path: Path | str,
    to: Path | str | None = None,
    backup: bool = False,
    again: bool = False,
    layout: Path | str | None = None,
) -> tuple[Finding, ...]:
    """Fill one workbook in place, or into the new file `to`, and tell what was found, the most serious first.

    backup: keep the version before as NAME.before; again: compute it though it is up to date; layout: the
    layout file of a person's own workbook. Raises files.BadWorkbook with one clear sentence where the file
    can't be read or written, which is then as it was, and layouts.LayoutError where the layout can't be used.
    """
    own = own_layout(layout)
    return bring_up_to_date(Path(path), Path(to) if to else None, backup, again, own).findings


def own_layout(path: Path | str | None) -> "Adopted | None":
    """The layout of a person's own workbook, where one is named; raises layouts.LayoutError."""
    if not path:
        return None
    from sheetcalc.own import adopted

    return adopted.load(Path(path))


def look_through(path: Path, layout: "Adopted | None" = None) -> Done:
    """What was found in a workbook, and what was typed since it was last filled; writes nothing.

    layout: of a person's own workbook, of which is told which results are not those of its entries. Raises
    files.BadWorkbook as `examine` does, and where the workbook does not fit its layout.
    """
    switched: list[Finding] = []
    if layout:
        book = files.open_workbook(path)
        batches, read = zip(*_compute_adopted(book, layout), strict=True)
        new = {(heading.tab, heading.column) for batch in read for heading in batch.added}
        told = _together(batches)
        told += [note for batch in batches for note in remarks.out_of_date(book, batch.values, new)]
    else:
        seen = examine(path)
        told = [*seen.findings, *edits.edited(seen.book, seen.values.entries)]
        told += forward.waiting(seen.book, seen.found)
        # First of all, since it explains what every number below it is blamed for.
        switched += edits.other_units(seen.book, seen.values.entries)
    return Done((*switched, *by_weight(told)))


def bring_up_to_date(
    path: Path,
    to: Path | None = None,
    backup: bool = False,
    again: bool = False,
    layout: "Adopted | None" = None,
) -> Done:
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


def _fill_once(path: Path, to: Path | None, backup: bool, again: bool, layout: "Adopted | None") -> Done:
    files.refuse_open(path)
    book = files.open_workbook(path)
    known = _rewrite_adopted(book, layout) if layout else _rewrite(book, again)
    changed = book.changed
    if changed:
        stamp.leave(book)
    if to or changed:
        book.save(to, BACKUP_ENDING if backup else None)
    return Done(tuple(known), not changed)


def _rewrite(book: files.Workbook, again: bool) -> Sequence[Finding]:
    """Write results, flags, findings and the copies of the entries into an opened workbook, where needed."""
    found = _find(book)
    if not found:
        return _register(book).findings
    known = None if again else up_to_date.findings(book, found)
    if known is not None:
        return known
    brought = forward.bring(book, found)
    seen = _compute(book, _find(book) if brought else found, brought)
    last = edits.last_records(book, seen.values.entries)
    writing.results(book, seen.values, seen.findings, last)
    if "findings" in seen.found:
        writing.list_findings(book, seen.found["findings"], seen.findings)
    stands.leave(book, seen.values, seen.findings)
    axes.leave(book, seen.values)
    if seen.values.entries:
        edits.keep(book, seen.values.entries, __version__)
        up_to_date.sign(book, seen.found, seen.findings)
    return seen.findings


def _rewrite_adopted(book: files.Workbook, layout: "Adopted") -> Sequence[Finding]:
    """Write the columns that the person agreed to into their own opened workbook."""
    from sheetcalc.own import tables as own_tables

    seen, batches = zip(*_compute_adopted(book, layout), strict=True)
    added = [heading for batch in batches for heading in batch.added]
    for heading in added:
        book.write(*heading, like=own_tables.beside(book, heading))
    for one in seen:
        writing.results(book, one.values, one.findings)
    for heading in added:
        book.widen(heading.tab, heading.column, own_tables.letters(book, heading))
    for batch in batches:
        for name, place in batch.names.items():
            book.name(name, place)
    return _together(seen)


def examine(path: Path) -> Examined:
    """Read a workbook, compute its columns and check them; writes nothing.

    Raises files.BadWorkbook with one clear sentence where the file can't be used.
    """
    book = files.open_workbook(path)
    found = _find(book)
    return _compute(book, found) if found else _register(book)


def _find(book: files.Workbook) -> dict[str, Found]:
    """Where the sheets of a batch or bench workbook stand; none where it is neither."""
    found = find(book, [sheet for sheet in layouts.every_sheet().values() if sheet.fields or sheet.columns])
    # A sheet of somebody's own may be called like one of ours; ours have our names or headings, too.
    ours = any(place.cells for key, place in found.items() if key != "findings")
    return forward.only_ours(book, found) if ours else {}


def _register(book: files.Workbook) -> Examined:
    """A register, of which is only said that it is one; raises files.BadWorkbook for any other workbook."""
    place = find(book, layouts.load(layouts.REGISTER).sheets[:1]).get(layouts.REGISTER)
    if place is None:
        raise files.BadWorkbook(
            "It is not one of our workbooks: no sheet has our names or headings. "
            "Make one with 'sheetcalc new batch FILE' and copy your readings into it; or have "
            "'sheetcalc adopt' propose a layout for a log of your own, and fill it with --layout."
        )
    note = Finding(
        *("note", place.tab, "", 1, 1, "is_a_register"),
        "This is a register of batches, which is not filled but gathered.",
        "Run: sheetcalc gather FOLDER --to REGISTER",
    )
    return Examined(book, {}, compute.Values({}), (note,))


def _compute(book: files.Workbook, found: Mapping[str, Found], brought: Sequence[Finding] = ()) -> Examined:
    sheets = layouts.every_sheet()
    read = {
        key: entries.read(sheets[key], place, book.cells(place.tab))
        for key, place in found.items()
        if key != "findings"
    }
    values = compute.Values(read)
    told = [*remarks.signed(book), *remarks.doubts(found.values()), *brought]
    told += [*lost.findings(values, found, forward.had(book)), *compute.findings(values)]
    told += remarks.own_formulas(book, read)
    return Examined(book, found, values, tuple(by_weight(told)))


def _compute_adopted(book: files.Workbook, layout: "Adopted") -> "Iterator[tuple[Examined, Batch]]":
    """A person's own workbook by its layout, batch by batch."""
    from sheetcalc.own import tables as own_tables
    from sheetcalc.own import wording

    for batch in own_tables.read(layout, book):
        values = compute.Values(batch.read)
        told = [*compute.findings(values), *own_tables.findings(layout, values)]
        told = list(wording.in_their_words(told, layout, batch.name, batch.read))
        told += [*remarks.signed(book), *remarks.own_formulas(book, batch.read)]
        found = {key: read.found for key, read in batch.read.items()}
        yield Examined(book, found, values, tuple(by_weight(told))), batch


def _together(seen: Iterable[Examined]) -> list[Finding]:
    """The findings of all batches of a workbook; what several of them tell, once."""
    return by_weight(dict.fromkeys(finding for one in seen for finding in one.findings))
