"""Brings a workbook from older templates forward: adds the lines and columns that it never had.

The hidden sheet "As filled" lists every line and column the workbook ever had. What is not in the list is
new; what is in it and gone was deleted by the person, and stays so. A workbook without that list can't tell
the one from the other, and nothing is added to it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from sheetcalc import files, layouts
from sheetcalc.build import as_filled
from sheetcalc.files import Place
from sheetcalc.files.locate import Found
from sheetcalc.filled import edits, room
from sheetcalc.filled.room import Room, Works
from sheetcalc.findings import Finding
from sheetcalc.layouts import Field, Sheet

MOVE_IT = "Move it where you like, or delete it; it is not added again."


@dataclass(frozen=True)
class _New:
    """A line or column that the workbook never had, and the room for it."""

    what: str
    sheet: Sheet
    tab: str
    room: Room

    @property
    def name(self) -> str:
        return f"{self.sheet.key}_{self.room.field.key}"


def had(book: files.Workbook) -> Callable[[str, str], bool]:
    """Tells whether the workbook ever had a line or column, by sheet and key; yes where nothing is known."""
    listed = edits.listed(book)
    return lambda sheet, key: listed is None or f"{sheet}_{key}" in listed


def only_ours(book: files.Workbook, found: Works) -> dict[str, Found]:
    """The places found, without what is not ours or ours no more.

    That is a person's own line or column that is merely called like a new one of ours and holds what a fill
    would write over, and a column that was added and then cleared with its heading, where its name still is.
    """
    listed = edits.listed(book) or {}
    names = (item for some in (book.names, *book.local_names.values()) for item in some.items())
    named = {(name.casefold(), place) for name, place in names}
    kept = dict(found)
    for sheet, place in _known(found, listed):
        for field in (*sheet.fields, *sheet.columns):
            name = f"{sheet.key}_{field.key}"
            if field.key not in place.cells:
                continue
            at = place.cells[field.key]
            if name in listed:
                added = (
                    field in sheet.columns
                    and as_filled.line_name(field, sheet.key).casefold() not in book.named
                )
                if added and at not in book.cells(place.tab):
                    kept[sheet.key] = _without(kept[sheet.key], field.key)
            elif (name.casefold(), (place.tab, *at)) not in named and _is_typed_over(
                book, sheet, place, field
            ):
                kept[sheet.key] = _without(kept[sheet.key], field.key)
    return kept


def waiting(book: files.Workbook, found: Works) -> list[Finding]:
    """A note for each line and column that a fill would add, or can't; writes nothing."""
    news = _new(book, found, edits.listed(book) or {})
    return [_finding(new, _since(book, found), added=False) for new in news]


def bring(book: files.Workbook, found: Works) -> list[Finding]:
    """Add the lines and columns that the workbook never had, and tell of each; only blank cells are written.

    What there is no room for is told, and tried again at the next fill.
    """
    listed = edits.listed(book)
    if listed is None:
        return []
    since, news = _since(book, found), list(_new(book, found, listed))
    placed = [new for new in news if not new.room.trouble]
    in_system = room.system(book, found)
    for new in placed:
        for at, text, like in new.room.pieces:
            book.dress(new.tab, *at, like)
            if text:
                book.write(new.tab, *at, text)
        _furnish(book, new, in_system)
    there = [f"{key}_{part}" for key, place in found.items() for part in place.cells]
    edits.add_to_list(book, [*there, *(new.name for new in placed)])
    if len(placed) == len(news):
        _raise_version(book, found)
    return [_finding(new, since, added=True) for new in news]


def _furnish(book: files.Workbook, new: _New, system: layouts.System) -> None:
    """Give a new line or column its name, its width and its drop-downs, as in a new workbook."""
    # A fill that adds nothing need not load how new workbooks are made.
    from sheetcalc.build import rules
    from sheetcalc.build.grid import Area

    at, typed, unit, field = new.room.at, new.room.typed, new.room.unit, new.room.field
    book.name(new.name, (new.tab, *at))
    if new.what == "column":
        book.widen(new.tab, at[1], field.width)
    if typed:
        rule = rules.entry(new.sheet.key, field, system, Area(*typed[0], *typed[-1]), "")
        book.offer(new.tab, typed, rule.choices, rule.title, rule.prompt)
    if unit:
        rule = rules.unit(field, Area(*unit, *unit))
        book.offer(new.tab, [unit], rule.choices, rule.title, rule.prompt)


def _known(found: Works, listed: Mapping[str, Place]) -> Iterator[tuple[Sheet, Found]]:
    """The sheets that the workbook had when it was made; others came whole from a newer one."""
    for key, place in found.items():
        sheet = layouts.every_sheet().get(key)
        if sheet and any(f"{key}_{f.key}" in listed for f in (*sheet.fields, *sheet.columns)):
            yield sheet, place


def _is_typed_over(book: files.Workbook, sheet: Sheet, place: Found, field: Field) -> bool:
    """Whether something is typed in the cells that a fill would write for a line or column."""
    row, column = place.cells[field.key]
    flags = [place.cells[f.key][1] for f in sheet.fields if f.role == "flag" and f.key in place.cells]
    columns = flags if field in sheet.fields else []
    columns = [*columns, *([column] if field.role != "entry" else [])]
    for (line, at), cell in book.cells(place.tab).items():
        written = line == row if field in sheet.fields else line >= place.first_row
        if written and at in columns and not cell.formula:
            return True
    return False


def _without(place: Found, key: str) -> Found:
    return replace(
        place,
        cells={k: v for k, v in place.cells.items() if k != key},
        headings={k: v for k, v in place.headings.items() if k != key},
        units={k: v for k, v in place.units.items() if k != key},
        missing=(*place.missing, key),
    )


def _version(book: files.Workbook) -> int:
    """The version of the templates the workbook has everything of; 1 where it tells none."""
    at = edits.all_edited(book)
    cell = book.cells(at[0]).get((at[1], as_filled.TEMPLATES)) if at else None
    return int(cell.value) if cell and isinstance(cell.value, float) else 1


def _raise_version(book: files.Workbook, found: Works) -> None:
    at, now = edits.all_edited(book), layouts.made_from(found.keys()).version
    if at and _version(book) < now and not book.has_formula(*at[:2], as_filled.TEMPLATES):
        book.write(*at[:2], as_filled.TEMPLATES, now)


def _since(book: files.Workbook, found: Works) -> str:
    """Why something is added."""
    was, now = _version(book), layouts.made_from(found.keys()).version
    if was < now:
        return f"version {now} of the templates has it, and this workbook was made from version {was}"
    return "the templates have it since this workbook was made"


def _finding(new: _New, since: str, added: bool) -> Finding:
    it, called = new.room, f'the {new.what} "{new.room.field.heading}"'
    if it.trouble:
        rule, advice = "not_brought_forward", it.advice
        said = f"Fill can't add {called} to this sheet, as {it.trouble}. It is new: {since}."
    elif added:
        rule, advice = "brought_forward", _advice(it.field)
        said = f"Fill added {called} here: {since}."
    else:
        rule, advice = "brings_forward", "Fill the workbook."
        said = f"A fill will add {called} here: {since}."
    return Finding("note", new.tab, it.heading, *it.at, rule, said, advice)


def _advice(field: Field) -> str:
    """What to do with a line or column that was added."""
    if field.role != "entry":
        return MOVE_IT
    what = f"Type {' or '.join(field.choices)}" if field.choices else "Type it"
    return f"{what}, or leave it blank. {MOVE_IT}"


def _new(book: files.Workbook, found: Works, listed: Mapping[str, Place]) -> Iterator[_New]:
    """What the workbook never had, with the room for it."""
    for sheet, place in _known(found, listed):
        lines, columns = (
            [f for f in parts if f.key in place.missing and f"{sheet.key}_{f.key}" not in listed]
            for parts in (sheet.fields, sheet.columns)
        )
        for line in room.lines(book, found, sheet, lines) if lines else ():
            yield _New("line", sheet, place.tab, line)
        for column in room.columns(book, found, sheet, columns) if columns else ():
            yield _New("column", sheet, place.tab, column)
