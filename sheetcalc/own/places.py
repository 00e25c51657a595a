"""Where the headings that a layout file names stand in a person's own workbook."""

from collections.abc import Container, Iterable, Mapping, Sequence
from typing import NamedTuple

from sheetcalc import files, units
from sheetcalc.files import Position
from sheetcalc.findings import address
from sheetcalc.own.adopted import Adopted, Heading, Part, defined_name
from sheetcalc.own.cells import joined, plain, rows_of_texts, value_of

ANEW = "or copy it from what 'sheetcalc adopt WORKBOOK --to OTHER.toml' proposes"
MOST_NAMED = 2  # headings in a sentence


class Placed(NamedTuple):
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

    def called(self, key: str) -> str:
        """The heading of a column, as the person calls it."""
        return self.renamed.get(key) or next(h.text for h in self.part.headings if h.key == key)


def place(layout: Adopted, book: files.Workbook) -> list[Placed]:
    """Where each part of a layout stands.

    Raises files.BadWorkbook where a tab or heading of the layout is not in the workbook, or is there twice.
    """
    placed = []
    names = {_name(part, heading.key) for part in layout.parts for heading in part.headings if heading.add}
    for part in layout.parts:
        if part.tab not in book.sheets:
            tabs = ", ".join(units.short(tab) for tab in book.sheets)
            raise files.BadWorkbook(
                f"{layout.name}, {part.where}: there is no sheet {units.short(part.tab)} in this workbook; "
                f"it has {tabs}. Correct 'tab' there, or remove this part from the layout."
            )
        if part.kind == "table":
            placed.append(_find_table(layout.name, part, book, names))
        else:
            placed.append(_find_card(layout.name, part, book))
    return [_until_the_next(one, placed) for one in placed]


def _until_the_next(one: Placed, placed: Iterable[Placed]) -> Placed:
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


def _name(part: Part, key: str) -> str:
    return defined_name(part.sheet, key, part.batch).casefold()


def _find_table(name: str, part: Part, book: files.Workbook, names: Container[str]) -> Placed:
    """A table; names: of all columns that the layout adds, those of other layouts being like any heading."""
    rows, merged = rows_of_texts(book.cells(part.tab)), book.merged(part.tab)
    tops = _tops(name, part, rows, merged)
    top = tops[max(0, part.nth - 1)]
    texts, line = joined(rows, merged, top, part.lines), top + part.lines - 1
    ours = {
        name: column
        for name, (tab, row, column) in book.named.items()
        if name in names and (tab, row) == (part.tab, line)
    }
    cells: dict[str, Position] = {}
    renamed: dict[str, str] = {}
    dates: dict[str, int] = {}
    for heading in part.headings:
        if heading.add and not heading.write:
            continue
        if heading.add and (column := ours.get(_name(part, heading.key))):
            cells[heading.key], renamed[heading.key] = (line, column), texts.get(column, heading.text)
            continue
        alike = _called(texts, heading.text)
        if heading.add:
            # A merged heading above may have come to cover it; that of a table beside may be called alike.
            alike = alike or _called(rows.get(line, {}), heading.text)
            alike = [column for column in alike if column not in ours.values()]
            if not alike:
                continue
        if len(alike) < heading.nth:
            raise files.BadWorkbook(_missing(name, part, {plain(heading.text)}, top, 1))
        _, column = _meant(name, part, heading, [(top, column) for column in alike])
        cells[heading.key] = (line, column)
        if heading.date:
            days = [(top, column) for column in _called(texts, heading.date)]
            _, dates[heading.key] = _meant(name, part, heading._replace(text=heading.date, nth=0, of=0), days)
    return Placed(part, top, line + 1, files.MAX_ROW + 1, cells, tops, renamed, dates)


def _tops(
    name: str, part: Part, rows: Mapping[int, Mapping[int, str]], merged: Mapping[Position, int]
) -> list[int]:
    """The rows in which the headings of a table stand.

    Raises BadWorkbook where they are nowhere, or nothing says which of several tables is meant.
    """
    wanted = {plain(text) for h in part.headings if not h.add for text in (h.text, h.date) if text}
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
    return whole


def _called(texts: Mapping[int, str], heading: str) -> list[int]:
    """The columns whose heading is this one."""
    return [column for column, text in texts.items() if plain(text) == plain(heading)]


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
    said = [
        (what, text, h.key)
        for h in part.headings
        for what, text in (("heading", h.text), ("date", h.date))
        if plain(text) in gone
    ]
    names = [f'"{units.one_line(text, 40)}" ({key})' for _, text, key in said]
    correct = " and ".join(f"'{what}'" for what in dict.fromkeys(what for what, _, _ in said))
    verb = "is" if len(names) == 1 else "are"
    names = [*names[:MOST_NAMED], *([f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else [])]
    near = f" in row {row}, where the others are" if row and len(names) < len(part.headings) else ""
    return (
        f"{name}, {part.where}: {', '.join(names)} {verb} not on sheet {units.short(part.tab)}{near}. "
        f"Correct {correct} there to what the sheet says now, remove that column from the layout, {ANEW}."
    )


def _find_card(name: str, part: Part, book: files.Workbook) -> Placed:
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
    return Placed(part, top, 0, 0, cells)


def _quoted(text: str) -> str:
    return units.one_line(text, 60)
