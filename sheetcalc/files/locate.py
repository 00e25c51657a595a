"""Finding our tables and cards again in a workbook that people have rearranged."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple, Protocol

from sheetcalc.files.references import cell_name
from sheetcalc.files.workbook import Cell, Place, Position, Workbook

SEARCHED_ROWS = 40
UNIT_ROWS = 3
UNIT_CELLS = 3
LONGEST_HEADING = 255  # what a spreadsheet's SEARCH looks for


class FieldLook(Protocol):
    """What has to be known of a field or column to find it."""

    @property
    def key(self) -> str: ...
    @property
    def heading(self) -> str: ...
    @property
    def units(self) -> tuple[str, ...]: ...


class SheetLook(Protocol):
    """What has to be known of a sheet to find it."""

    @property
    def key(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def fields(self) -> Sequence[FieldLook]: ...
    @property
    def columns(self) -> Sequence[FieldLook]: ...


class Doubt(NamedTuple):
    """What was ambiguous: the cell it is about, what was made of it, and what a person can do."""

    rule: str
    place: Place
    message: str
    advice: str


@dataclass(frozen=True)
class Found:
    """Where a sheet's fields and columns stand now."""

    tab: str
    # The value cell of a card's field, the heading cell of a table's column.
    cells: dict[str, Position]
    # The label or heading as it stands in the sheet now, cut off behind 255 characters.
    headings: dict[str, str]
    # The cells that hold a unit; fields whose unit cell is blank are left out.
    units: dict[str, Position]
    # The first row for records, 0 without a table.
    first_row: int
    # Keys found neither by name nor by heading.
    missing: tuple[str, ...]
    doubts: tuple[Doubt, ...] = ()


@dataclass
class _Search:
    """One sheet being searched for on one tab."""

    sheet: SheetLook
    tab: str
    named: dict[str, Position]
    page: dict[Position, Cell]
    cells: dict[str, Position] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    units: dict[str, Position] = field(default_factory=dict)
    first_row: int = 0
    doubts: list[Doubt] = field(default_factory=list)

    def doubt(self, rule: str, place: Position, message: str, advice: str) -> None:
        self.doubts.append(Doubt(rule, (self.tab, *place), message, advice))

    def text(self, row: int, column: int) -> str:
        cell = self.page.get((row, column))
        return cell.value if cell is not None and isinstance(cell.value, str) else ""


def find(book: Workbook, sheets: Iterable[SheetLook]) -> dict[str, Found]:
    """Where the described sheets are in `book`, by sheet key; sheets that aren't there are left out.

    The workbook's defined names `<sheet>_<key>` decide; where they are gone, the tab's title and the headings
    do. Raises BadWorkbook when a sheet's part of the file is damaged.
    """
    wanted = list(sheets)
    names, own_names = ([(name.casefold(), place) for name, place in some] for some in _names(book))
    named = {sheet.key: _named(sheet, names) for sheet in wanted}
    local = {sheet.key: _named(sheet, own_names) for sheet in wanted}
    tabs = {sheet.key: tab for sheet in wanted if (tab := _majority_tab(sheet, named[sheet.key])) is not None}
    _find_by_title(book, wanted, tabs)
    _find_by_local_names(wanted, local, tabs)
    alike = _find_by_headings(book, wanted, tabs)
    found = {}
    for sheet in wanted:
        if sheet.key in tabs:
            search = _Search(sheet, tabs[sheet.key], {}, book.cells(tabs[sheet.key]))
            _settle_names(search, named[sheet.key], local[sheet.key])
            _doubt_copies(search, book, local[sheet.key], alike.get(sheet.key, set()), set(tabs.values()))
            found[sheet.key] = _search(search)
    return found


def _names(book: Workbook) -> tuple[Iterable[tuple[str, Place]], Iterable[tuple[str, Place]]]:
    """The names of the whole workbook, and those that hold on one sheet alone."""
    return book.names.items(), (named for names in book.local_names.values() for named in names.items())


def _named(sheet: SheetLook, names: Iterable[tuple[str, Place]]) -> dict[str, list[Place]]:
    """The places that the sheet's names, in small letters, denote; a name may be there several times."""
    keys = {f"{sheet.key}_{part.key}".casefold(): part.key for part in (*sheet.fields, *sheet.columns)}
    places: dict[str, list[Place]] = {}
    for name, place in names:
        if name in keys:
            places.setdefault(keys[name], []).append(place)
    return places


def _majority_tab(sheet: SheetLook, named: Mapping[str, Sequence[Place]]) -> str | None:
    votes = Counter(place[0] for places in named.values() for place in places)
    if not votes:
        return None
    return max(votes, key=lambda tab: (votes[tab], _plain(tab) == _plain(sheet.title)))


def _settle_names(
    search: _Search, named: Mapping[str, Sequence[Place]], local: Mapping[str, Sequence[Place]]
) -> None:
    """Take one place for each name on the tab: where the heading stands, or else the workbook's own."""
    for part in (*search.sheet.fields, *search.sheet.columns):
        both = (*named.get(part.key, ()), *local.get(part.key, ()))
        places = list(dict.fromkeys((row, column) for tab, row, column in both if tab == search.tab))
        if not places:
            continue
        heading = _plain(part.heading)
        place = next((p for p in places if _plain(search.text(*p)) == heading), places[0])
        search.named[part.key] = place
        if len(places) > 1:
            cells = " and ".join(cell_name(*p) for p in places)
            search.doubt(
                "name_twice",
                place,
                f"The name {search.sheet.key}_{part.key} is in this workbook more than once, for {cells}; "
                f'{cell_name(*place)} was taken for "{part.heading}".',
                "Open the list of names in your spreadsheet program and delete the wrong one.",
            )


def _doubt_copies(
    search: _Search, book: Workbook, local: Mapping[str, Sequence[Place]], alike: set[str], taken: set[str]
) -> None:
    """Tell of visible sheets that are copies of this one: by their own names, or by title and headings.

    Sheets called otherwise are not looked into; a person's own may be large.
    """
    sheet = search.sheet
    own_names = Counter(tab for places in local.values() for tab, _, _ in places)
    titles = {_plain(sheet.title), _plain(search.tab)}
    for tab in book.sheets:
        called_so = any(title in _plain(tab) for title in titles)
        if tab in taken or not (called_so or tab in alike or tab in own_names):
            continue
        page = book.cells(tab)
        row, columns = _best_line(page, sheet.columns, 0)
        column, labels = _best_line(page, sheet.fields, 1)
        by_headings = _enough(columns, sheet.columns) or _enough(labels, sheet.fields)
        if by_headings or own_names[tab] >= 2:
            places = [(r, c) for places in local.values() for on, r, c in places if on == tab]
            place = (row or 1, column or 1) if by_headings else min(places)
            search.doubts.append(
                Doubt(
                    "copied_sheet",
                    (tab, *place),
                    f'This sheet looks like a copy of "{search.tab}"; '
                    f'only "{search.tab}" is read and filled, this one is left as it is.',
                    f'Type into "{search.tab}"; delete or hide this sheet if it is only a keepsake.',
                )
            )


def _find_by_title(book: Workbook, wanted: list[SheetLook], tabs: dict[str, str]) -> None:
    by_title = {_plain(tab): tab for tab in reversed(book.sheets) if tab not in tabs.values()}
    for sheet in wanted:
        tab = by_title.get(_plain(sheet.title))
        if sheet.key not in tabs and tab is not None:
            tabs[sheet.key] = tab


def _find_by_local_names(
    wanted: list[SheetLook], local: Mapping[str, Mapping[str, list[Place]]], tabs: dict[str, str]
) -> None:
    """Give a sheet that is gone the copy of it, with names of its own, that took its place."""
    for sheet in wanted:
        free = {
            key: [place for place in places if place[0] not in tabs.values()]
            for key, places in local[sheet.key].items()
        }
        tab = _majority_tab(sheet, free) if sheet.key not in tabs else None
        if tab is not None:
            tabs[sheet.key] = tab


def _find_by_headings(book: Workbook, wanted: list[SheetLook], tabs: dict[str, str]) -> dict[str, set[str]]:
    """Give the sheets that are still missing the tabs whose headings fit them best, best fit first.

    Tells all tabs that fit a sheet.
    """
    lost = [sheet for sheet in wanted if sheet.key not in tabs]
    free = [tab for tab in book.sheets if tab not in tabs.values()] if lost else []
    fits = []
    for sheet in lost:
        for tab in free:
            page = book.cells(tab)
            _, columns = _best_line(page, sheet.columns, 0)
            _, labels = _best_line(page, sheet.fields, 1)
            if _enough(columns, sheet.columns) or _enough(labels, sheet.fields):
                fits.append((columns + labels, sheet.key, tab))
    for _, key, tab in sorted(fits, key=lambda fit: -fit[0]):
        if key not in tabs and tab not in tabs.values():
            tabs[key] = tab
    alike: dict[str, set[str]] = {}
    for _, key, tab in fits:
        alike.setdefault(key, set()).add(tab)
    return alike


def _best_line(page: Mapping[Position, Cell], parts: Sequence[FieldLook], axis: int) -> tuple[int, int]:
    """The first row (axis 0) or column (axis 1) that holds most of the headings, and how many."""
    headings = {_plain(part.heading) for part in parts}
    held: dict[int, set[str]] = {}
    for position, cell in page.items():
        if position[0] <= SEARCHED_ROWS and isinstance(cell.value, str):
            text = _plain(cell.value)
            if text in headings:
                held.setdefault(position[axis], set()).add(text)
    best = min(held, key=lambda line: (-len(held[line]), line), default=0)
    return best, len(held.get(best, ()))


def _enough(count: int, parts: Sequence[FieldLook]) -> bool:
    return count >= max(2, len(parts) / 2)


def _search(search: _Search) -> Found:
    if search.sheet.columns:
        _find_table(search)
    if search.sheet.fields:
        _find_card(search)
    parts = (*search.sheet.fields, *search.sheet.columns)
    _doubt_same_headings(search)
    return Found(
        search.tab,
        search.cells,
        search.headings,
        search.units,
        search.first_row,
        tuple(part.key for part in parts if part.key not in search.cells),
        tuple(search.doubts),
    )


def _doubt_same_headings(search: _Search) -> None:
    """Tell of one heading over two of our columns, or before two lines, as after pasting over one."""
    for parts, what in ((search.sheet.fields, "lines"), (search.sheet.columns, "columns")):
        first: dict[str, FieldLook] = {}
        called = [part for part in parts if search.headings.get(part.key)]
        for part in sorted(called, key=lambda p: _plain(search.headings[p.key]) != _plain(p.heading)):
            text = search.headings[part.key]
            other = first.setdefault(_plain(text), part)
            if _plain(other.heading) != _plain(part.heading):
                search.doubt(
                    "same_heading",
                    search.cells[part.key],
                    f'Two {what} are called "{text}" on this sheet; this one was taken for "{part.heading}".',
                    f'Call it "{part.heading}" again, or something that no other is called.',
                )


def _find_table(search: _Search) -> None:
    columns = search.sheet.columns
    row = _heading_row(search)
    if not row:
        return
    in_row = [
        (column, _plain(cell.value))
        for (line, column), cell in search.page.items()
        if line == row and isinstance(cell.value, str)
    ]
    texts = dict(sorted(in_row))
    places = {
        part.key: search.named[part.key][1]
        for part in columns
        if search.named.get(part.key, (0, 0))[0] == row
    }
    outdated = _drop_outdated(places, columns, texts)
    shared = _part_shared(places, columns, texts)
    twofold = _by_heading(places, columns, texts)
    for part in columns:
        if part.key in places:
            search.cells[part.key] = (row, places[part.key])
            search.headings[part.key] = search.text(row, places[part.key])[:LONGEST_HEADING]
    _tell(search, outdated, shared, twofold)
    _find_unit_row(search, row)
    _doubt_above(search, row)


def _heading_row(search: _Search) -> int:
    columns = search.sheet.columns
    votes = Counter(search.named[part.key][0] for part in columns if part.key in search.named)
    best, held = _best_line(search.page, columns, 0)
    if not votes:
        return best if held >= min(2, len(columns)) else 0
    row = max(votes, key=lambda line: (votes[line], line == best))
    headings = {_plain(part.heading) for part in columns}
    # Programs that insert rows without moving the names leave them on a row without any of the headings.
    fits = any(
        line == row and isinstance(cell.value, str) and _plain(cell.value) in headings
        for (line, _), cell in search.page.items()
    )
    return row if fits or not _enough(held, columns) else best


def _drop_outdated(
    places: dict[str, int], parts: Sequence[FieldLook], texts: Mapping[int, str]
) -> list[FieldLook]:
    """Forget names that stayed where they were when a program moved the cells without them."""
    known = {_plain(part.heading) for part in parts}
    astray = [
        part
        for part in parts
        if part.key in places
        and texts.get(places[part.key], "") != _plain(part.heading)
        and sum(1 for text in texts.values() if text == _plain(part.heading)) == 1
    ]
    # One name on a blank cell or on another's heading tells that the names were left behind.
    if not any(texts.get(places[part.key], "") in {"", *known} for part in astray):
        return []
    for part in astray:
        del places[part.key]
    return astray


def _part_shared(
    places: dict[str, int], parts: Sequence[FieldLook], texts: Mapping[int, str]
) -> list[tuple[FieldLook, list[FieldLook]]]:
    """Let one of several names for a place have it: the one whose heading stands there, or the first.

    Tells who got each place and who did not.
    """
    owners: dict[int, list[FieldLook]] = {}
    for part in parts:
        if part.key in places:
            owners.setdefault(places[part.key], []).append(part)
    settled = []
    for place, sharing in owners.items():
        if len(sharing) < 2:
            continue
        owner = next((part for part in sharing if texts.get(place) == _plain(part.heading)), sharing[0])
        others = [part for part in sharing if part is not owner]
        for part in others:
            del places[part.key]
        settled.append((owner, others))
    return settled


def _by_heading(
    places: dict[str, int], parts: Sequence[FieldLook], texts: Mapping[int, str]
) -> list[tuple[FieldLook, int]]:
    """Place the parts without a name by their headings; parts with the same heading in their order.

    Tells the parts whose heading stands there too often, and how often.
    """
    taken = set(places.values())
    lost = [part for part in parts if part.key not in places]
    twofold = []
    for part in lost:
        heading = _plain(part.heading)
        free = [place for place, text in texts.items() if text == heading and place not in taken]
        if not free:
            continue
        rivals = sum(1 for other in lost if _plain(other.heading) == heading and other.key not in places)
        if len(free) > rivals:
            twofold.append((part, len(free)))
        places[part.key] = free[0]
        taken.add(free[0])
    return twofold


def _tell(
    search: _Search,
    outdated: Sequence[FieldLook],
    shared: Iterable[tuple[FieldLook, list[FieldLook]]],
    twofold: Iterable[tuple[FieldLook, int]],
) -> None:
    """The doubts about where columns and lines are, each at a cell that was taken."""
    placed = [part for part in outdated if part.key in search.cells]
    if placed:
        few = _listed([part.heading for part in placed])
        search.doubt(
            "names_astray",
            search.cells[placed[0].key],
            f"The workbook's names for {few} on this sheet point to other cells; "
            "what is called so here was taken instead.",
            f"Look whether it is right; if so, delete the names {search.sheet.key}_... that point elsewhere.",
        )
    for owner, others in shared:
        search.doubt(
            "names_shared",
            search.cells[owner.key],
            f"The workbook's names for {_listed([p.heading for p in (owner, *others)])} all point to "
            f'this cell; it was taken for "{owner.heading}".',
            "Undo the move that put one on the other, or type each heading where it belongs.",
        )
    for part, count in twofold:
        search.doubt(
            "column_in_doubt",
            search.cells[part.key],
            f'"{part.heading}" stands {count} times on this sheet; this one, the first, was taken.',
            "Call the others something else.",
        )


def _listed(headings: Sequence[str]) -> str:
    """Some headings in quotes, as a sentence lists them."""
    quoted = [f'"{heading}"' for heading in headings]
    if len(quoted) > 4:
        quoted = [*quoted[:3], f"{len(quoted) - 3} more"]
    return " and ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)


def _doubt_above(search: _Search, heading_row: int) -> None:
    """Tell of records above the headings or the units, as after sorting a table with these rows."""
    named = [search.named[part.key][0] for part in search.sheet.columns if part.key in search.named]
    rows = {*range(min([heading_row, *named]), search.first_row)} - {heading_row, search.first_row - 1}
    columns = {search.cells[part.key][1] for part in search.sheet.columns if part.key in search.cells}
    above = [
        (row, column)
        for (row, column), cell in search.page.items()
        if row in rows and column in columns and isinstance(cell.value, float)
    ]
    if above:
        search.doubt(
            "records_above",
            min(above),
            "What stands in this row is not read, since the headings or the units are below it.",
            "Undo the sorting that put it there, or move the headings and units back above the records.",
        )


def _find_unit_row(search: _Search, heading_row: int) -> None:
    measured = {part.key: part for part in search.sheet.columns if part.units and part.key in search.cells}
    held = {
        row: sum(
            _is_unit(search.text(row, search.cells[key][1]), part.units) for key, part in measured.items()
        )
        for row in range(heading_row + 1, heading_row + 1 + UNIT_ROWS)
    }
    row = max(held, key=lambda line: held[line])
    if not held[row]:
        row = heading_row + 1
        below = {column: cell for (line, column), cell in search.page.items() if line == row}
        measuring = {search.cells[key][1] for key in measured}
        # Words over measured columns alone are units that nobody knows.
        if not below or not all(c in measuring and cell.kind == "text" for c, cell in below.items()):
            search.first_row = row
            return
    search.first_row = row + 1
    for key in measured:
        column = search.cells[key][1]
        if (row, column) in search.page:
            search.units[key] = (row, column)


def _find_card(search: _Search) -> None:
    """Find a card's values: by name, or right of their labels in the column where most labels stand."""
    parts = search.sheet.fields
    named = {part.key: search.named[part.key] for part in parts if part.key in search.named}
    lefts = {key: _label_of(search, row, column) for key, (row, column) in named.items()}
    best, held = _best_line(search.page, parts, 1)
    label_column, offset = best, 1
    votes = Counter((left, named[key][1] - left) for key, left in lefts.items() if left)
    if votes:
        label_column, offset = votes.most_common(1)[0][0]
    elif held < min(2, len(parts)):
        label_column = 0
    heading_rows = {search.cells[part.key][0] for part in search.sheet.columns if part.key in search.cells}
    in_column = [
        (row, _plain(cell.value))
        for (row, column), cell in search.page.items()
        if column == label_column and isinstance(cell.value, str) and row not in heading_rows
    ]
    texts = dict(sorted(in_column))
    above = {row: text for row, text in texts.items() if row < min(heading_rows, default=0)}
    if {*above.values()} & {_plain(part.heading) for part in parts}:
        # What a record below is called may be a label's word, too.
        texts = above
    places = {key: row for key, (row, _) in named.items() if lefts[key] in (0, label_column)}
    _drop_outdated(places, parts, texts)
    shared = _part_shared(places, parts, texts)
    kept = set(places)
    twofold = _by_heading(places, parts, texts)
    for key, position in named.items():
        # A line that somebody moved to another column of the same card.
        if key not in places and lefts[key] not in (0, label_column):
            places[key] = position[0]
            kept.add(key)
    for part in parts:
        if part.key in places:
            row = places[part.key]
            column = named[part.key][1] if part.key in kept else label_column + offset
            search.cells[part.key] = (row, column)
            left = lefts[part.key] if part.key in kept else label_column
            search.headings[part.key] = search.text(row, left)[:LONGEST_HEADING]
    dragged = [p for p in parts if p.key in named and search.cells.get(p.key) not in (None, named[p.key])]
    _tell(search, dragged, shared, twofold)
    _find_beside_card(search, label_column, heading_rows)
    _find_card_units(search)


def _find_beside_card(search: _Search, label_column: int, heading_rows: set[int]) -> None:
    """Find what has its heading above the card's lines and not before one of them: the flags."""
    lines = [search.cells[part.key][0] for part in search.sheet.fields if part.key in search.cells]
    for part in search.sheet.fields:
        if part.key not in search.cells and lines:
            for (row, column), cell in sorted(search.page.items()):
                above = row <= min(lines) and row not in heading_rows and column > label_column
                if above and isinstance(cell.value, str) and _plain(cell.value) == _plain(part.heading):
                    search.cells[part.key] = (row, column)
                    search.headings[part.key] = cell.value[:LONGEST_HEADING]
                    break


def _label_of(search: _Search, row: int, column: int) -> int:
    """The column of the nearest text left of a value, 0 when there is none."""
    return next((left for left in range(column - 1, 0, -1) if search.text(row, left)), 0)


def _find_card_units(search: _Search) -> None:
    """Find the unit right of each value; where none is known, in the column where most units stand."""
    measured = [part for part in search.sheet.fields if part.units and part.key in search.cells]
    for part in measured:
        row, column = search.cells[part.key]
        for right in range(column + 1, column + 1 + UNIT_CELLS):
            if _is_unit(search.text(row, right), part.units):
                search.units[part.key] = (row, right)
                break
    known = Counter(search.units[part.key][1] for part in measured if part.key in search.units)
    for part in measured:
        row, column = search.cells[part.key]
        usual = known.most_common(1)[0][0] if known else column
        if part.key not in search.units and column < usual and (row, usual) in search.page:
            search.units[part.key] = (row, usual)


def _is_unit(text: str, units: tuple[str, ...]) -> bool:
    return bool(text) and _plain(text) in {_plain(unit) for unit in units}


def _plain(text: str) -> str:
    return _compared(text[:LONGEST_HEADING])


@lru_cache(maxsize=8192)
def _compared(text: str) -> str:
    return " ".join(text.split()).casefold()
