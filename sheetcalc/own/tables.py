"""The tables that a layout file names in a person's own workbook, as ordinary sheets and entries.

Computing, checking and writing need know nothing of whose workbook it is.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any, NamedTuple

import numpy as np

from sheetcalc import compute, entries, files, layouts, units
from sheetcalc.entries import Entries, Theirs
from sheetcalc.files import ALIKE, Cell, Cells, Look, Place, Position
from sheetcalc.files.locate import Found
from sheetcalc.findings import Finding, address
from sheetcalc.layouts import Field, Sheet
from sheetcalc.own import adopted
from sheetcalc.own.adopted import Adopted, Part
from sheetcalc.own.cells import BLANK_ROWS, at_time, time_of_day
from sheetcalc.own.places import ANEW, Placed, place

A_MOMENT = "2000-12-31 23:59"  # as wide as any
BETWEEN_FLAGS = " | "
WIDEST = 50.0  # letters, of an added column; a flag may run on to the right


class NewHeading(NamedTuple):
    """A heading that fill writes above a column it adds."""

    tab: str
    row: int
    column: int
    text: str


@dataclass(frozen=True)
class Batch:
    """What belongs together in their workbook: its name, its entries by sheet, the headings still to add.

    `names` are those by which the columns of ours are found again, with their headings' cells.
    """

    name: str
    read: dict[str, Entries]
    added: tuple[NewHeading, ...]
    names: dict[str, Place]


def read(layout: Adopted, book: files.Workbook) -> list[Batch]:
    """Find and read all that the layout names, batch by batch; writes nothing.

    Raises files.BadWorkbook where a tab or heading of the layout is not in the workbook, or is there twice.
    """
    placed = place(layout, book)
    added: list[NewHeading] = []
    return [_batch(layout, book, placed, name, added) for name in adopted.batches(layout)]


def _batch(
    layout: Adopted, book: files.Workbook, placed: Sequence[Placed], name: str, added: list[NewHeading]
) -> Batch:
    """One batch; its new headings come behind those `added` for others, which may stand in the same rows."""
    # A card without a batch is for all of them, before the card of one.
    cards = [one for one in placed if one.part.kind == "card" and one.part.batch in (name, "")]
    tables = [one for one in placed if one.part.kind == "table" and one.part.batch == name]
    us = any(heading.unit in adopted.US_UNITS for one in placed for heading in one.part.headings)
    top = tables[0].part.tab, *min(tables[0].cells.values())
    found = {key: _at(top, given) for key, given in adopted.given_by(layout, name).items()}
    names: dict[str, Place] = {}
    before = len(added)
    for one in [*sorted(cards, key=lambda one: one.part.batch), *tables]:
        part = one.part
        theirs = {heading.key: heading.unit for heading in part.headings}
        sheet = adopted.in_units(layouts.every_sheet()[part.sheet], "us" if us else "metric", theirs)
        if part.kind == "card":
            card = _read_card(book, one, sheet)
            found[adopted.CARD] = _filled_up(
                card, _at((part.tab, *min(one.cells.values())), found[adopted.CARD])
            )
            continue
        given = _at((part.tab, *min(one.cells.values())), adopted.of_all_records(layout, part))
        table = _with_constants(_read_table(book, one, sheet, added, layout.name), given)
        found[part.sheet] = table
        for heading in part.headings:
            if heading.add and heading.write:
                at = table.found.cells[heading.key]
                names[adopted.defined_name(part.sheet, heading.key, name)] = (part.tab, *at)
                added += [] if heading.key in one.cells else [NewHeading(part.tab, *at, heading.text)]
    return Batch(name, _of_one_run(layout, found), tuple(added[before:]), names)


def _at(place: Place, given: Entries) -> Entries:
    """What the layout file gives, as if it stood in a cell: there its findings are told."""
    tab, row, column = place
    found = replace(given.found, tab=tab, cells=dict.fromkeys(given.found.cells, (row, column)))
    told = tuple(replace(finding, sheet=tab, row=row, place=column) for finding in given.findings)
    return replace(given, found=found, findings=told)


def _with_constants(read: Entries, given: Entries) -> Entries:
    """A table with what its layout gives for all records, where nothing stands in a column of theirs."""
    values = dict(read.values)
    for key, value in given.values.items():
        if key not in read.found.cells and len(value) and not _blank(value[0]):
            values[key] = np.full(len(read.rows), value[0], dtype=value.dtype)
    return replace(read, values=values, findings=(*read.findings, *given.findings))


def _of_one_run(layout: Adopted, found: dict[str, Entries]) -> dict[str, Entries]:
    """The entries of a batch; jars for which nothing says of which run they are, are of one.

    That is the only one in the table of the runs, if there is just one.
    """
    jars, runs = found.get("cuts"), found.get("runs")
    if jars is None or "run" in jars.found.cells or not compute.all_blank(jars.values["run"]):
        return found
    named = list(dict.fromkeys(filter(None, runs.values["run"]))) if runs else []
    only = named[0] if len(named) == 1 else compute.OF_ONE_RUN
    if runs and len(runs.rows) == 1:
        found = found | {"runs": replace(runs, values=runs.values | {"run": np.array([only], dtype=object)})}
    told = jars.findings
    if len(named) > 1 and jars.rows:
        at = min(place for place in jars.found.cells.values())
        told += (
            Finding(
                *("note", jars.found.tab, "", *at, "run_not_said"),
                "Nothing says of which run these jars are; they are taken for one of unknown charge.",
                f'Write such as constants = {{ run = "{named[0]}" }} below sheet = "cuts" in {layout.name}.',
            ),
        )
    values = jars.values | {"run": np.full(len(jars.rows), only, dtype=object)}
    return found | {"cuts": replace(jars, values=values, findings=told)}


def _filled_up(card: Entries, given: Entries) -> Entries:
    """A card, with what the layout gives where a cell is blank or not there."""
    values = {key: given.values.get(key, v) if _blank(v) else v for key, v in card.values.items()}
    cells = given.found.cells | card.found.cells
    found = replace(card.found, cells=cells, headings=given.found.headings | card.found.headings)
    units = given.units | card.units
    return replace(card, found=found, values=values, units=units, findings=(*given.findings, *card.findings))


def _blank(value: Any) -> bool:
    return (isinstance(value, str) and not value) or bool(value != value)


def _read_card(book: files.Workbook, one: Placed, sheet: Sheet) -> Entries:
    labels = {heading.key: heading.text for heading in one.part.headings}
    found = Found(one.part.tab, one.cells, labels, {}, 0, ())
    return _without_unit_notes(entries.read(sheet, found, book.cells(one.part.tab)))


def _read_table(
    book: files.Workbook, one: Placed, sheet: Sheet, added: Sequence[NewHeading], name: str
) -> Entries:
    """A table of theirs; name: that of the layout file."""
    part, cells = one.part, book.cells(one.part.tab)
    words = {heading.key: heading.words for heading in part.headings}
    sheet = replace(
        sheet, columns=tuple(replace(c, also={**c.also, **words.get(c.key, {})}) for c in sheet.columns)
    )
    typed = {one.cells[c.key][1]: c for c in sheet.columns if c.role == "entry" and c.key in one.cells}
    dates = {one.dates[c.key]: c for c in sheet.columns if c.key in one.dates}
    written = {h.key for h in part.headings if h.write}
    ours = {one.cells[key][1] for key in written & one.cells.keys()}
    records, below = _records(one, cells, dates | typed)
    places = {key: place for key, place in one.cells.items() if key in written or place[1] in typed}
    free = _free_columns(book, one, records, added)
    places |= {
        h.key: (one.first - 1, next(free)) for h in part.headings if h.add and h.write and h.key not in places
    }
    last = _last_of_ours(one, cells, ours, max(records, default=one.first - 1))
    left = {row for row, column in cells if one.first <= row <= last and column not in ours} - set(records)
    found = Found(part.tab, places, {key: one.called(key) for key in places}, {}, one.first, ())
    kept = {place: cell for place, cell in cells.items() if place[0] in records}
    amiss = [*_dated(one, kept, records), *_not_read(part, below), *_another_table(one)]
    amiss += _under_a_drawing(part, book, [(row, column) for row in records for column in sorted(ours)])
    got = entries.read(replace(sheet, records=last - one.first + 1), found, kept)
    looks = _looks(book, sheet, part, places, typed, records)
    digits = {f.key: compute.decimals(f, got.units[f.key]) for f in sheet.columns if f.key in places}
    theirs = Theirs(frozenset(left), looks, digits, BETWEEN_FLAGS)
    got = replace(got, findings=(*_with_words(sheet, got, cells, name), *amiss))
    return replace(_without_unit_notes(got), theirs=theirs)


def _with_words(sheet: Sheet, read: Entries, cells: Cells, name: str) -> Iterator[Finding]:
    """The findings on a table; at a word that is no choice, how the layout can say what it means."""
    choices = {
        read.found.cells[c.key][1]: c for c in sheet.columns if c.choices and c.key in read.found.cells
    }
    for finding in read.findings:
        field, cell = choices.get(finding.place), cells.get((finding.row, finding.place))
        if field and finding.rule == "unreadable" and cell:
            word = units.one_line(str(cell.value).strip(), 30)
            advice = (
                f'Type one of them, or say in {name} what yours means: words = {{ "{word}" = '
                f'"{field.choices[0]}" }} below heading = "{finding.column}".'
            )
            finding = replace(finding, advice=advice)
        yield finding


def _dated(one: Placed, cells: dict[Position, Cell], records: Iterable[int]) -> Iterator[Finding]:
    """Put dates and times of day of two columns together in that of the times; what lacks a date is told."""
    for key, column in one.dates.items():
        for row in records:
            place = row, one.cells[key][1]
            day, clock = cells.get((row, column)), cells.get(place)
            if clock and day is None and time_of_day(clock) is not None:
                del cells[place]
                yield Finding(
                    *("warning", one.part.tab, one.called(key), *place, "time_without_date"),
                    "This time has no date beside it, and is not read.",
                    f"Type the date in {address(row, column)}.",
                )
            elif moment := at_time(day, clock):
                cells[place] = moment


def _without_unit_notes(read: Entries) -> Entries:
    """Their units stand in the headings and in the layout, not in cells of their own."""
    return replace(read, findings=tuple(f for f in read.findings if f.rule != "unit_missing"))


def _not_read(part: Part, below: Position | None) -> Iterator[Finding]:
    if below:
        yield Finding(
            *("warning", part.tab, "", *below, "below_the_table"),
            f"From here on nothing is read: {BLANK_ROWS} blank rows or more above it end the table.",
            "Delete the blank rows if these are records, or give them headings of their own; else leave it.",
        )


def _under_a_drawing(part: Part, book: files.Workbook, results: Sequence[Position]) -> Iterator[Finding]:
    """A note at the first result that somebody put a chart or picture over."""
    drawn = book.drawings(part.tab) if results else []
    hidden = (at for at in results if any(area.holds(*at) for area in drawn))
    for at in islice(hidden, 1):
        yield Finding(
            *("note", part.tab, "", *at, "under_a_drawing"),
            "A chart or picture lies over results from here on.",
            "Move it, or move the columns.",
        )


def _another_table(one: Placed) -> Iterator[Finding]:
    part, count, rows = one.part, len(one.tops), ", ".join(map(str, one.tops))
    if part.of and count > part.of:
        column = min(column for _, column in one.cells.values())
        yield Finding(
            *("warning", part.tab, "", one.tops[-1], column, "another_table"),
            f"These headings stand in rows {rows}: {count} tables, and the layout knows of {part.of}.",
            f"Add a block for the new one to the layout, {ANEW}; correct nth and of.",
        )


def _records(one: Placed, cells: Cells, columns: Mapping[int, Field]) -> tuple[list[int], Position | None]:
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
        apart = isinstance(words[0], str) and (entries.is_total(words[0]) or words[0].rstrip().endswith(":"))
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


def _last_of_ours(one: Placed, cells: Cells, ours: set[int], last: int) -> int:
    """The last row with a result of ours left from an earlier fill, below records that were deleted since."""
    rows: dict[int, set[int]] = {}
    for row, column in cells:
        rows.setdefault(row, set()).add(column)
    row = last + 1
    while row < one.end and row in rows and rows[row] <= ours:
        row += 1
    return row - 1


def _looks(
    book: files.Workbook,
    sheet: Sheet,
    part: Part,
    places: Mapping[str, Position],
    columns: Mapping[int, Field],
    records: Sequence[int],
) -> dict[str, tuple[int, Look]]:
    """For each added column the entry column whose cells' look it takes over, and how much of it.

    It is the first that shows the same, else the last that holds words, or numbers, as this one does. What
    colours some of its records alone says something of them, and is left out. Theirs keep their own look.
    """
    looks = {key: (column, ALIKE) for key, (_, column) in places.items()}
    for heading in part.headings:
        field = sheet.field(heading.key)
        if not (heading.add and heading.key in places and field):
            continue
        words = field.quantity == "text"
        same = [c for c, f in sorted(columns.items()) if (f.quantity, f.unit) == (field.quantity, field.unit)]
        alike = [c for c, f in sorted(columns.items()) if (f.quantity in ("text", "choice")) == words]
        kept = bool(same) and not words and field.quantity != "moment"
        column = same[0] if same and not words else max(alike or columns)
        bare = book.differing(part.tab, [(row, column) for row in records])
        looks[heading.key] = column, Look(_number_format(field, heading.unit), kept, bare)
    return looks


def _number_format(field: Field, unit: str) -> str:
    """How a result is shown where no cell of theirs shows the same."""
    if field.quantity == "moment":
        return field.number_format("metric")
    digits = compute.decimals(field, unit)
    return "General" if field.quantity == "text" else "0." + "0" * digits if digits else "0"


def _free_columns(
    book: files.Workbook, one: Placed, records: Sequence[int], added: Sequence[NewHeading]
) -> Iterator[int]:
    """The columns right of all that stands beside a table in its rows and below up to its end."""
    merged, tab = book.merged(one.part.tab), one.part.tab
    new = [(heading.row, heading.column) for heading in added if heading.tab == tab]
    beside = (place for place in (*book.cells(tab), *new) if one.top <= place[0] < one.end)
    last = max(merged.get(place, place[1]) for place in beside)
    return book.free_columns(tab, last + 1, range(one.top, max(records, default=one.first) + 1))


def beside(book: files.Workbook, heading: NewHeading) -> Position | None:
    """The heading left of one that is added, whose look it takes over."""
    left = [c for row, c in book.cells(heading.tab) if row == heading.row and c < heading.column]
    return (heading.row, max(left)) if left else None


def letters(book: files.Workbook, heading: NewHeading) -> float:
    """How wide an added column has to be for its heading and what stands under it, in letters."""
    texts = [
        _shown(cell)
        for (row, column), cell in book.cells(heading.tab).items()
        if column == heading.column and row >= heading.row
    ]
    return min(WIDEST, max(map(len, [heading.text, *texts])) + 2)


def _shown(cell: Cell) -> str:
    """What a cell shows, as far as its width matters."""
    if cell.kind == "moment":
        return A_MOMENT
    return f"{cell.value:g}" if isinstance(cell.value, float) else str(cell.value)


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
