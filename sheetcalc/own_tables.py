"""The tables that a layout file names in a person's own workbook, as ordinary sheets and entries.

Computing, checking and writing need know nothing of whose workbook it is.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple
from zlib import crc32

from sheetcalc import adopted, compute, entries, files, layouts, units
from sheetcalc.adopted import Adopted, Heading, Part
from sheetcalc.entries import Entries, Theirs
from sheetcalc.files import Cell, Cells, Place, Position
from sheetcalc.files.locate import Found
from sheetcalc.findings import Finding, address
from sheetcalc.layouts import Field, Sheet
from sheetcalc.own_cells import (
    BLANK_ROWS,
    at_time,
    is_total,
    joined,
    plain,
    rows_of_texts,
    time_of_day,
    value_of,
)

ANEW = "or copy it from what 'sheetcalc adopt WORKBOOK --to OTHER.toml' proposes"
MOST_NAMED = 3  # headings in a sentence
WIDEST = 50.0  # letters, of an added column; a flag may run on to the right


class NewHeading(NamedTuple):
    """A heading that fill writes above a column it adds."""

    tab: str
    row: int
    column: int
    text: str


@dataclass(frozen=True)
class Batch:
    """What belongs together in their workbook: the entries by sheet, and the headings still to be added.

    `names` are those by which the columns of ours are found again, with their headings' cells.
    """

    read: dict[str, Entries]
    added: tuple[NewHeading, ...]
    names: dict[str, Place]
    findings: tuple[Finding, ...]


class _Placed(NamedTuple):
    """A part found on its tab: its top row, its records from row first up to before end, places by key.

    `tops` are the rows in which its headings stand, `renamed` what the person calls columns of ours,
    and `dates` the columns of the dates to those that hold the time of day.
    """

    part: Part
    top: int
    first: int
    end: int
    cells: dict[str, Position]
    tops: Sequence[int] = ()
    renamed: Mapping[str, str] = {}
    dates: Mapping[str, int] = {}


def read(layout: Adopted, book: files.Workbook) -> list[Batch]:
    """Find and read all that the layout names, batch by batch; writes nothing.

    Raises files.BadWorkbook where a tab or heading of the layout is not in the workbook, or is there twice.
    """
    placed = _place(layout, book)
    return [_batch(layout, book, placed, name) for name in adopted.batches(layout)]


def _batch(layout: Adopted, book: files.Workbook, placed: Sequence[_Placed], name: str) -> Batch:
    # A card without a batch is for all of them, before the card of one.
    cards = [one for one in placed if one.part.kind == "card" and one.part.batch in (name, "")]
    tables = [one for one in placed if one.part.kind == "table" and one.part.batch == name]
    mine = [*sorted(cards, key=lambda one: one.part.batch), *tables]
    us = any(heading.unit in adopted.US_UNITS for one in placed for heading in one.part.headings)
    found = dict(adopted.given_by(layout, name))
    added: list[NewHeading] = []
    names: dict[str, Place] = {}
    told: list[Finding] = []
    for one in mine:
        sheet = _sheet(one.part, "us" if us else "metric")
        if one.part.kind == "card":
            card = _read_card(book, one, sheet)
            found[adopted.CARD] = replace(card, values=_filled_up(card.values, found[adopted.CARD].values))
        else:
            found[one.part.sheet] = read = _read_table(book, one, sheet, added, told)
            agreed = [h.key for h in one.part.headings if h.add and h.write]
            names |= {_name(one.part, key): (one.part.tab, *read.found.cells[key]) for key in agreed}
    return Batch(found, tuple(added), names, tuple(told))


def _name(part: Part, key: str) -> str:
    """The defined name of a column of ours in a table of theirs, of a batch or of the only one."""
    batch = f"_{crc32(part.batch.encode()):08x}" if part.batch else ""
    return f"sheetcalc_{part.sheet}_{key}{batch}"


def _filled_up(typed: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """A card's values; where a cell is blank or not there, what the layout gives."""
    return {key: given.get(key, value) if _blank(value) else value for key, value in typed.items()}


def _blank(value: Any) -> bool:
    return (isinstance(value, str) and not value) or bool(value != value)


def _sheet(part: Part, system: layouts.System) -> Sheet:
    """Our sheet with their units."""
    sheet = adopted.in_system(layouts.every_sheet()[part.sheet], system)
    theirs = {heading.key: heading.unit for heading in part.headings}

    def settled(field: Field) -> Field:
        return (
            replace(field, unit=dict.fromkeys(field.unit, theirs[field.key]))
            if theirs.get(field.key)
            else field
        )

    return replace(
        sheet, fields=tuple(map(settled, sheet.fields)), columns=tuple(map(settled, sheet.columns))
    )


def _read_card(book: files.Workbook, one: _Placed, sheet: Sheet) -> Entries:
    labels = {heading.key: heading.text for heading in one.part.headings}
    found = Found(one.part.tab, one.cells, labels, {}, 0, ())
    return _without_unit_notes(entries.read(sheet, found, book.cells(one.part.tab)))


def _read_table(
    book: files.Workbook, one: _Placed, sheet: Sheet, added: list[NewHeading], told: list[Finding]
) -> Entries:
    part, cells = one.part, book.cells(one.part.tab)
    mapped = {h.key: h for h in part.headings}
    entry_columns = {
        one.cells[c.key][1]: c for c in sheet.columns if c.role == "entry" and c.key in one.cells
    }
    dates = {one.dates[c.key]: c for c in sheet.columns if c.key in one.dates}
    ours = {one.cells[key][1] for key, h in mapped.items() if h.write and key in one.cells}
    records, below = _records(one, cells, dates | entry_columns)
    places = {
        key: place for key, place in one.cells.items() if mapped[key].write or place[1] in entry_columns
    }
    rows = range(one.top, max(records, default=one.first) + 1)
    free = book.free_columns(part.tab, _last_beside(book, one) + 1, rows)
    for heading in part.headings:
        if heading.add and heading.write and heading.key not in places:
            places[heading.key] = (one.first - 1, next(free))
            added.append(NewHeading(part.tab, *places[heading.key], heading.text))
    if below:
        told.append(_not_read(part, below))
    drawn = book.drawings(part.tab) if ours else []
    hidden = [(row, column) for row in records for column in ours if any(a.holds(row, column) for a in drawn)]
    if hidden:
        told.append(_under_a_drawing(part, min(hidden)))
    if part.of and len(one.tops) > part.of:
        told.append(_another_table(part, one))
    last = _last_of_ours(one, cells, ours, max(records, default=one.first - 1))
    left = {row for row, column in cells if one.first <= row <= last and column not in ours} - set(records)
    texts = {key: _heading(one, key) for key in places}
    found = Found(part.tab, places, texts, {}, one.first, ())
    kept = {place: cell for place, cell in cells.items() if place[0] in records}
    undated = list(_dated(one, kept, records))
    got = entries.read(replace(sheet, records=last - one.first + 1), found, kept)
    looks, plain = _looks(sheet, part, places, entry_columns)
    digits = {f.key: compute.decimals(f, got.units[f.key]) for f in sheet.columns if f.key in places}
    theirs = Theirs(frozenset(left), looks, plain, digits)
    got = replace(got, findings=(*got.findings, *undated))
    return replace(_without_unit_notes(got), theirs=theirs)


def _dated(one: _Placed, cells: dict[Position, Cell], records: Iterable[int]) -> Iterator[Finding]:
    """Put dates and times of day of two columns together in that of the times; what lacks a date is told."""
    for key, column in one.dates.items():
        for row in records:
            place = row, one.cells[key][1]
            day, clock = cells.get((row, column)), cells.get(place)
            if clock and day is None and time_of_day(clock) is not None:
                del cells[place]
                yield Finding(
                    *("warning", one.part.tab, _heading(one, key), *place, "time_without_date"),
                    "This time has no date beside it, and is not read.",
                    f"Type the date in {address(row, column)}.",
                )
            elif moment := at_time(day, clock):
                cells[place] = moment


def _heading(one: _Placed, key: str) -> str:
    """How the person calls a column."""
    return one.renamed.get(key) or next(h.text for h in one.part.headings if h.key == key)


def _without_unit_notes(read: Entries) -> Entries:
    """Their units stand in the headings and in the layout, not in cells of their own."""
    return replace(read, findings=tuple(f for f in read.findings if f.rule != "unit_missing"))


def _not_read(part: Part, below: Position) -> Finding:
    return Finding(
        *("warning", part.tab, "", *below, "below_the_table"),
        f"From here on nothing is read: {BLANK_ROWS} blank rows or more above it end the table.",
        "Delete the blank rows if these are records; else leave it as it is.",
    )


def _under_a_drawing(part: Part, place: Position) -> Finding:
    return Finding(
        *("note", part.tab, "", *place, "under_a_drawing"),
        "A chart or picture lies over results here and below.",
        "Move it, or move the columns.",
    )


def _another_table(part: Part, one: _Placed) -> Finding:
    column = min(column for _, column in one.cells.values())
    rows = ", ".join(map(str, one.tops))
    return Finding(
        *("warning", part.tab, "", one.tops[-1], column, "another_table"),
        f"These headings stand in rows {rows}: {len(one.tops)} tables, and the layout knows of {part.of}.",
        f"Add a block for the new one to the layout, {ANEW}; correct nth and of.",
    )


def _records(one: _Placed, cells: Cells, columns: Mapping[int, Field]) -> tuple[list[int], Position | None]:
    """The rows that are records, and the cell below them from which on nothing is read, if there is one.

    Totals, labels with their values ("Batch: 8"), lines of words between the records, and rows of nothing but
    formulas are none.
    """
    by_row: dict[int, dict[int, Cell]] = {}
    left, right = min(columns) - 1, max(columns)
    for (row, column), cell in cells.items():
        if one.first <= row < one.end and left <= column <= right and cell.value not in (None, ""):
            by_row.setdefault(row, {})[column] = cell
    rows: list[int] = []
    before = one.first - 1
    for row in sorted(by_row):
        line = {column: cell for column, cell in by_row[row].items() if column in columns}
        if line and row - before > BLANK_ROWS and rows:
            return _typed(rows, by_row, columns), (row, min(line))
        before = row
        words = [by_row[row][column].value for column in sorted(by_row[row])]
        apart = isinstance(words[0], str) and (is_total(words[0]) or words[0].rstrip().endswith(":"))
        if not apart and any(_measures(columns[column], cell) for column, cell in line.items()):
            rows.append(row)
    return _typed(rows, by_row, columns), None


def _typed(
    rows: list[int], by_row: Mapping[int, Mapping[int, Cell]], columns: Mapping[int, Field]
) -> list[int]:
    """The rows in which something was typed; all of them where the whole table is formulas."""
    typed = [row for row in rows if any(c in columns and not cell.formula for c, cell in by_row[row].items())]
    return typed or rows


def _measures(field: Field, cell: Cell) -> bool:
    """Whether a cell holds a number or a date in a column that is for one."""
    if field.quantity in ("text", "choice"):
        return False
    return isinstance(cell.value, float) or (
        isinstance(cell.value, str) and bool(re.search(r"\d", cell.value))
    )


def _last_of_ours(one: _Placed, cells: Cells, ours: set[int], last: int) -> int:
    """The last row with a result of ours left from an earlier fill, below records that were deleted since."""
    rows: dict[int, set[int]] = {}
    for row, column in cells:
        rows.setdefault(row, set()).add(column)
    row = last + 1
    while row < one.end and row in rows and rows[row] <= ours:
        row += 1
    return row - 1


def _looks(
    sheet: Sheet, part: Part, places: Mapping[str, Position], columns: Mapping[int, Field]
) -> tuple[dict[str, int], frozenset[str]]:
    """For each added column the entry column whose cells' look fits, and those that show something else.

    It is the first that shows the same, else the last that holds words, or numbers, as this one does. Theirs
    keep their own look.
    """
    looks = {key: column for key, (_, column) in places.items()}
    plain: set[str] = set()
    for heading in part.headings:
        field = sheet.field(heading.key)
        if not (heading.add and heading.key in places and field):
            continue
        words = field.quantity == "text"
        same = [c for c, f in sorted(columns.items()) if (f.quantity, f.unit) == (field.quantity, field.unit)]
        alike = [c for c, f in sorted(columns.items()) if (f.quantity in ("text", "choice")) == words]
        if same and not words:
            looks[heading.key] = same[0]
        else:
            looks[heading.key] = max(alike or columns)
            plain.add(heading.key)
    return looks, frozenset(plain)


def _last_beside(book: files.Workbook, one: _Placed) -> int:
    """The last column of all that stands beside the table, in its rows and below up to its end."""
    merged, tab = book.merged(one.part.tab), one.part.tab
    beside = (place for place in book.cells(tab) if one.top <= place[0] < one.end)
    return max(merged.get(place, place[1]) for place in beside)


def beside(book: files.Workbook, heading: NewHeading) -> Position | None:
    """The heading left of one that is added, whose look it takes over."""
    left = [c for row, c in book.cells(heading.tab) if row == heading.row and c < heading.column]
    return (heading.row, max(left)) if left else None


def letters(book: files.Workbook, heading: NewHeading) -> float:
    """How wide an added column has to be for its heading and what stands under it, in letters."""
    texts = [
        f"{cell.value:g}" if isinstance(cell.value, float) else str(cell.value)
        for (row, column), cell in book.cells(heading.tab).items()
        if column == heading.column and row >= heading.row
    ]
    return min(WIDEST, max(map(len, [heading.text, *texts])) + 2)


def _place(layout: Adopted, book: files.Workbook) -> list[_Placed]:
    placed = []
    for part in layout.parts:
        if part.tab not in book.sheets:
            tabs = ", ".join(units.short(tab) for tab in book.sheets)
            raise files.BadWorkbook(
                f"{layout.name}, {part.where}: there is no sheet {units.short(part.tab)} in this workbook; "
                f"it has {tabs}. Correct 'tab' there, or remove this part from the layout."
            )
        find = _find_table if part.kind == "table" else _find_card
        placed.append(find(layout.name, part, book))
    return [_until_the_next(one, placed) for one in placed]


def _until_the_next(one: _Placed, placed: Iterable[_Placed]) -> _Placed:
    """A table ends where the next one on its tab begins below it."""
    columns = [column for _, column in one.cells.values()]
    tops = [
        other.top
        for other in placed
        if other.part.tab == one.part.tab
        and other.top > one.top
        and min(columns) <= max(c for _, c in other.cells.values())
        and max(columns) >= min(c for _, c in other.cells.values())
    ]
    return one._replace(end=min(tops, default=one.end))


def _find_table(name: str, part: Part, book: files.Workbook) -> _Placed:
    rows, merged = rows_of_texts(book.cells(part.tab)), book.merged(part.tab)
    wanted = {plain(text) for h in part.headings if not h.add for text in (h.text, h.date) if text}
    offered = {plain(h.text) for h in part.headings if h.add}
    held: dict[int, set[str]] = {}
    for top in {row - line for row in rows for line in range(part.lines) if row > line}:
        held[top] = {plain(text) for text in joined(rows, merged, top, part.lines).values()} & wanted
    whole = sorted(row for row, texts in held.items() if texts == wanted)
    if len(whole) < max(1, part.nth):
        best = max(held, key=lambda row: (len(held[row]), -row), default=0)
        raise files.BadWorkbook(_missing(name, part, wanted - held.get(best, set()), best, len(whole)))
    if len(whole) > 1 and not part.nth:
        at = " and ".join(f"row {row}" for row in whole[:4])
        raise files.BadWorkbook(
            f"{name}, {part.where}: these headings stand more than once on {units.short(part.tab)}, in {at}; "
            "write nth = 1 (or 2, ...) there to say which table is meant."
        )
    if part.of > len(whole):
        raise files.BadWorkbook(_missing(name, part, set(), 0, len(whole)))
    top = whole[max(0, part.nth - 1)]
    texts = joined(rows, merged, top, part.lines)
    last_line = rows.get(top + part.lines - 1, {})
    cells: dict[str, Position] = {}
    renamed: dict[str, str] = {}
    dates: dict[str, int] = {}
    for heading in part.headings:
        if heading.add and not heading.write:
            continue
        named = book.named.get(_name(part, heading.key).casefold()) if heading.add else None
        if named and named[:2] == (part.tab, top + part.lines - 1):
            cells[heading.key], renamed[heading.key] = named[1:], texts.get(named[2], heading.text)
            continue
        alike = [column for column, text in texts.items() if plain(text) == plain(heading.text)]
        if heading.add and not alike:
            # A merged heading above may have come to cover it.
            alike = [column for column, text in last_line.items() if plain(text) == plain(heading.text)]
        if not alike and plain(heading.text) in offered:
            continue
        if len(alike) < heading.nth:
            raise files.BadWorkbook(_missing(name, part, {plain(heading.text)}, top, 1))
        _, column = _meant(name, part, heading, [(top, column) for column in alike])
        cells[heading.key] = (top + part.lines - 1, column)
        if heading.date:
            alike = [column for column, text in texts.items() if plain(text) == plain(heading.date)]
            date = heading._replace(text=heading.date, nth=0, of=0)
            _, dates[heading.key] = _meant(name, part, date, [(top, column) for column in alike])
    return _Placed(part, top, top + part.lines, files.MAX_ROW + 1, cells, whole, renamed, dates)


def _meant(name: str, part: Part, heading: Heading, alike: Sequence[Position]) -> Position:
    """The one of several headings that is meant.

    Raises BadWorkbook where nothing says which, or where there are more or fewer than when it was said.
    """
    at = " and ".join(address(*place) for place in alike[:4])
    where, tab = f'{name}, {part.where}, {heading.key}: "{_quoted(heading.text)}"', units.short(part.tab)
    if len(alike) > 1 and not heading.nth:
        raise files.BadWorkbook(
            f"{where} stands {len(alike)} times on {tab}, in {at}; "
            "write nth = 1 (or 2, ...) there to say which is meant."
        )
    if heading.of and len(alike) != heading.of:
        raise files.BadWorkbook(
            f"{where} stood {heading.of} times on {tab} when nth = {heading.nth} was said; "
            f"now {len(alike)} times, in {at}. Correct nth and of there."
        )
    return alike[max(0, heading.nth - 1)]


def _missing(name: str, part: Part, gone: set[str], row: int, times: int) -> str:
    """The sentence that says which headings are not found any more."""
    if times:
        tab = units.short(part.tab)
        return f"{name}, {part.where}: there are only {times} such headings on {tab}; correct 'nth'."
    said = [(text, h.key) for h in part.headings for text in (h.text, h.date) if plain(text) in gone]
    names = [f'"{_quoted(text)}" ({key})' for text, key in said]
    verb = "is" if len(names) == 1 else "are"
    names = [*names[:MOST_NAMED], *([f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else [])]
    near = f" in row {row}, where the others are" if row and len(names) < len(part.headings) else ""
    return (
        f"{name}, {part.where}: {', '.join(names)} {verb} not on sheet {units.short(part.tab)}{near}. "
        f"Correct 'heading' there to what the sheet says now, remove that column from the layout, {ANEW}."
    )


def _find_card(name: str, part: Part, book: files.Workbook) -> _Placed:
    page = book.cells(part.tab)
    cells: dict[str, Position] = {}
    for heading in part.headings:
        alike = sorted(
            place
            for place, cell in page.items()
            if isinstance(cell.value, str) and plain(cell.value) == plain(heading.text)
        )
        if not alike or len(alike) < heading.nth:
            raise files.BadWorkbook(_missing(name, part, {plain(heading.text)}, 0, 0))
        cells[heading.key] = value_of(page, _meant(name, part, heading, alike))
    top = min(row for row, _ in cells.values())
    return _Placed(part, top, 0, 0, cells)


def findings(layout: Adopted, values: compute.Values) -> Iterator[Finding]:
    """What stays blank for want of something, and which instruments were taken for granted."""
    for sheet, read in values.entries.items():
        if not read.rows:
            continue
        for field in read.sheet.columns:
            if field.key in read.found.cells and field.role == "computed":
                needs = list(_wanting(values, sheet, field.key))
                if needs and compute.all_blank(values.get(sheet, field.key)):
                    yield Finding(
                        *("note", read.found.tab, read.found.headings[field.key]),
                        *(*read.found.cells[field.key], "stays_blank"),
                        f'"{read.found.headings[field.key]}" stays blank: it needs {", ".join(needs)}.',
                        f"Name the column for it in {layout.name}, or give it there under [constants].",
                    )
        yield from _taken_for_granted(layout, values, read)


def _wanting(values: compute.Values, sheet: str, key: str) -> Iterator[str]:
    """The headings, as we call them, of what a result comes from and the workbook does not have."""
    for home, need in sorted(values.behind(sheet, key)):
        look = layouts.every_sheet().get(home)
        field = look.field(need) if look else None
        read = values.entries.get(home)
        given = read and (need in read.found.cells or not compute.all_blank(read.values.get(need, "")))
        if field and field.role == "entry" and home in (sheet, adopted.CARD) and not given:
            yield f"{field.heading} ({need})"


def _taken_for_granted(layout: Adopted, values: compute.Values, read: Entries) -> Iterator[Finding]:
    named = set(values.entries[adopted.GIVEN].values["instrument"])
    for instrument in ("hydrometer", "alcoholmeter"):
        field = next(
            (f for f in read.sheet.columns if f.measured_with == instrument and f.key in read.found.cells),
            None,
        )
        if field and instrument not in named and not field.corrected:
            yield Finding(
                *("note", read.found.tab, read.found.headings[field.key]),
                *(*read.found.cells[field.key], "taken_for_granted"),
                f"The {instrument} was taken to read right at 20 °C, with the usual division.",
                f"If yours says otherwise, give it in {layout.name} under [[instruments]].",
            )


def _quoted(text: str) -> str:
    return units.one_line(text, 60)
