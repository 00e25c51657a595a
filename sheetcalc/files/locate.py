"""Finding our tables and cards again in a workbook that people have rearranged."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from sheetcalc.files.workbook import Cell, Position, Workbook

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
    # What was ambiguous, a sentence each.
    doubts: tuple[str, ...] = ()


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
    doubts: list[str] = field(default_factory=list)

    def text(self, row: int, column: int) -> str:
        cell = self.page.get((row, column))
        return cell.value if cell is not None and isinstance(cell.value, str) else ""


def find(book: Workbook, sheets: Iterable[SheetLook]) -> dict[str, Found]:
    """Where the described sheets are in `book`, by sheet key; sheets that aren't there are left out.

    The workbook's defined names `<sheet>_<key>` decide; where they are gone, the tab's title and the headings
    do. Raises BadWorkbook when a sheet's part of the file is damaged.
    """
    wanted = list(sheets)
    names = {name.casefold(): place for name, place in book.names.items()}
    named = {sheet.key: _named(sheet, names) for sheet in wanted}
    tabs = {sheet.key: tab for sheet in wanted if (tab := _majority_tab(sheet, named[sheet.key])) is not None}
    _find_by_title(book, wanted, tabs)
    _find_by_headings(book, wanted, tabs)
    found = {}
    for sheet in wanted:
        if sheet.key in tabs:
            tab = tabs[sheet.key]
            here = {key: (row, column) for key, (on, row, column) in named[sheet.key].items() if on == tab}
            found[sheet.key] = _search(_Search(sheet, tab, here, book.cells(tab)))
    return found


def _named(sheet: SheetLook, names: Mapping[str, tuple[str, int, int]]) -> dict[str, tuple[str, int, int]]:
    keys = [part.key for part in (*sheet.fields, *sheet.columns)]
    return {key: names[name] for key in keys if (name := f"{sheet.key}_{key}".casefold()) in names}


def _majority_tab(sheet: SheetLook, named: Mapping[str, tuple[str, int, int]]) -> str | None:
    votes = Counter(tab for tab, _, _ in named.values())
    if not votes:
        return None
    return max(votes, key=lambda tab: (votes[tab], _plain(tab) == _plain(sheet.title)))


def _find_by_title(book: Workbook, wanted: list[SheetLook], tabs: dict[str, str]) -> None:
    by_title = {_plain(tab): tab for tab in reversed(book.sheets) if tab not in tabs.values()}
    for sheet in wanted:
        tab = by_title.get(_plain(sheet.title))
        if sheet.key not in tabs and tab is not None:
            tabs[sheet.key] = tab


def _find_by_headings(book: Workbook, wanted: list[SheetLook], tabs: dict[str, str]) -> None:
    """Give the sheets that are still missing the tabs whose headings fit them best, best fit first."""
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
    return Found(
        search.tab,
        search.cells,
        search.headings,
        search.units,
        search.first_row,
        tuple(part.key for part in parts if part.key not in search.cells),
        tuple(search.doubts),
    )


def _find_table(search: _Search) -> None:
    columns = search.sheet.columns
    row = _heading_row(search)
    if not row:
        return
    texts = {
        column: _plain(cell.value)
        for (line, column), cell in sorted(search.page.items())
        if line == row and isinstance(cell.value, str)
    }
    places = {
        part.key: search.named[part.key][1]
        for part in columns
        if search.named.get(part.key, (0, 0))[0] == row
    }
    _drop_outdated(search, places, columns, texts)
    _part_shared(search, places, columns, texts)
    for key, column in _by_heading(search, places, columns, texts, "column").items():
        places[key] = column
    for part in columns:
        if part.key in places:
            search.cells[part.key] = (row, places[part.key])
            search.headings[part.key] = search.text(row, places[part.key])[:LONGEST_HEADING]
    _find_unit_row(search, row)


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
    search: _Search, places: dict[str, int], parts: Sequence[FieldLook], texts: Mapping[int, str]
) -> None:
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
        return
    for part in astray:
        del places[part.key]
        search.doubts.append(
            f'The name {search.sheet.key}_{part.key} does not denote "{part.heading}" any more '
            f'on sheet "{search.tab}"; the heading was used.'
        )


def _part_shared(
    search: _Search, places: dict[str, int], parts: Sequence[FieldLook], texts: Mapping[int, str]
) -> None:
    """Let one of several names for a place have it: the one whose heading stands there, or the first."""
    owners: dict[int, list[FieldLook]] = {}
    for part in parts:
        if part.key in places:
            owners.setdefault(places[part.key], []).append(part)
    for place, sharing in owners.items():
        if len(sharing) < 2:
            continue
        owner = next((part for part in sharing if texts.get(place) == _plain(part.heading)), sharing[0])
        for part in sharing:
            if part is not owner:
                del places[part.key]
        others = ", ".join(f'"{part.heading}"' for part in sharing if part is not owner)
        search.doubts.append(
            f'On sheet "{search.tab}" the names of "{owner.heading}" and {others} denote the same place; '
            f'it was taken for "{owner.heading}".'
        )


def _by_heading(
    search: _Search,
    places: Mapping[str, int],
    parts: Sequence[FieldLook],
    texts: Mapping[int, str],
    what: str,
) -> dict[str, int]:
    """Places of the parts without a name, by their headings; parts with the same heading in their order."""
    taken = set(places.values())
    found: dict[str, int] = {}
    lost = [part for part in parts if part.key not in places]
    for part in lost:
        heading = _plain(part.heading)
        free = [place for place, text in texts.items() if text == heading and place not in taken]
        if not free:
            continue
        rivals = sum(1 for other in lost if _plain(other.heading) == heading and other.key not in found)
        if len(free) > rivals:
            search.doubts.append(
                f'"{part.heading}" stands {len(free)} times on sheet "{search.tab}"; '
                f"the first {what} was used, rename the others."
            )
        found[part.key] = free[0]
        taken.add(free[0])
    return found


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
        search.first_row = heading_row + 1
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
    texts = {
        row: _plain(cell.value)
        for (row, column), cell in sorted(search.page.items())
        if column == label_column and isinstance(cell.value, str) and row not in heading_rows
    }
    places = {key: row for key, (row, _) in named.items() if lefts[key] in (0, label_column)}
    _drop_outdated(search, places, parts, texts)
    _part_shared(search, places, parts, texts)
    kept = set(places)
    for key, row in _by_heading(search, places, parts, texts, "line").items():
        places[key] = row
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
            _find_card_unit(search, part, row, column)


def _label_of(search: _Search, row: int, column: int) -> int:
    """The column of the nearest text left of a value, 0 when there is none."""
    return next((left for left in range(column - 1, 0, -1) if search.text(row, left)), 0)


def _find_card_unit(search: _Search, part: FieldLook, row: int, column: int) -> None:
    for right in range(column + 1, column + 1 + UNIT_CELLS):
        if _is_unit(search.text(row, right), part.units):
            search.units[part.key] = (row, right)
            return


def _is_unit(text: str, units: tuple[str, ...]) -> bool:
    return bool(text) and _plain(text) in {_plain(unit) for unit in units}


def _plain(text: str) -> str:
    return " ".join(text[:LONGEST_HEADING].split()).casefold()
