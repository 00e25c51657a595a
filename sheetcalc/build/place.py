"""Where everything stands: from the sheets of a layout to grids.

A table: title, intro, help, headings, units, then the records. A card: title, intro, a line of
headings, then a field a line. A sheet with both has the card above the table, on the table's columns.
"""

import re
from collections.abc import Sequence

from sheetcalc.build import look, markings, rules
from sheetcalc.build.grid import Area, Cell, Grid, Marking, Position, reference
from sheetcalc.layouts import Field, Layout, LayoutError, Line, Sheet, System

TITLE_ROW = 1
INTRO_ROW = 2
FIRST_ROW = 3
SPARE = 2000  # rows that take entries, below the first record
CARD_HEADINGS = ("Field", "Value", "Unit", "Help")
CARD_LINE = 17.0  # points
CARD_WIDTHS = (25, 18, 8, 46, 46)
PAGE_WIDTHS = (9, 84, 15)
INTRO_WIDTH = 110.0
MOST_FROZEN = 6  # card lines above a table that may stay in sight with its headings
LEVEL, LINKED = "level", "cell"  # columns of the findings with a look of their own

_UNFIT = re.compile(r"[\[\]:*?/\\]")


def grids(layout: Layout, system: System) -> list[Grid]:
    """Every sheet of a workbook in order. Raises LayoutError for what no spreadsheet can hold."""
    _check_titles(layout)
    titles = {sheet.key: sheet.title for sheet in layout.sheets}
    return [_grid(sheet, system, titles) for sheet in layout.sheets]


def _check_titles(layout: Layout) -> None:
    taken: dict[str, str] = {}
    for sheet in layout.sheets:
        where = f"{sheet.key}.toml, title {sheet.title!r}"
        if not sheet.title or len(sheet.title) > 31 or _UNFIT.search(sheet.title) or "'" in sheet.title:
            raise LayoutError(f"{where}: a title has 1 to 31 characters and none of []:*?/\\'.")
        if sheet.title.casefold() in taken:
            raise LayoutError(f"{where}: {taken[sheet.title.casefold()]}.toml has the same title.")
        taken[sheet.title.casefold()] = sheet.key


def _grid(sheet: Sheet, system: System, titles: dict[str, str]) -> Grid:
    if sheet.lines:
        return _page(sheet, titles)
    grid = Grid(sheet.key, sheet.title, sheet.landscape, gridlines=bool(sheet.columns), tab=_tab(sheet))
    grid.widths = _widths(sheet)
    _head(grid, sheet)
    row = FIRST_ROW
    if sheet.fields:
        row = _card(grid, sheet, system, row)
    if sheet.columns:
        _table(grid, sheet, system, row + 1 if sheet.fields else row)
    return grid


def _tab(sheet: Sheet) -> str:
    fields = (*sheet.fields, *sheet.columns)
    if not fields:
        return look.HAIRLINE
    return look.CREAM_DEEP if any(f.role == "entry" for f in fields) else look.SLATE_DEEP


def _widths(sheet: Sheet) -> dict[int, float]:
    widths = {place: column.width for place, column in enumerate(sheet.columns, start=1)}
    if sheet.fields and not sheet.columns:
        widths = dict(enumerate(CARD_WIDTHS[: _card_parts(sheet)], start=1))
    return widths


def _card_parts(sheet: Sheet) -> int:
    return len(CARD_WIDTHS) if any(f.role == "flag" for f in sheet.fields) else len(CARD_WIDTHS) - 1


def _head(grid: Grid, sheet: Sheet) -> None:
    """Title and intro; the intro runs over as many columns as a line may be long."""
    grid.cells[Position(TITLE_ROW, 1)] = Cell(sheet.title, look.TITLE)
    grid.heights[TITLE_ROW] = 26
    last, width = _reach(grid.widths, 1, INTRO_WIDTH)
    _merge(grid, Position(INTRO_ROW, 1), last, Cell(sheet.intro or None, look.INTRO))
    grid.heights[INTRO_ROW] = look.height(sheet.intro, width, look.INTRO)
    grid.fixed = {TITLE_ROW, INTRO_ROW}  # no program fits a row to a text over several columns


def _reach(widths: dict[int, float], first: int, wanted: float) -> tuple[int, float]:
    """The last column, and the width, of a run of columns from `first` that is about `wanted` wide."""
    last, width = first, widths[first]
    while width < wanted and last + 1 in widths and width + widths[last + 1] <= wanted * 1.1:
        last += 1
        width += widths[last]
    return last, width


def _merge(grid: Grid, start: Position, last_column: int, cell: Cell) -> None:
    grid.cells[start] = cell
    if last_column > start.column:
        grid.merged.append(Area(start.row, start.column, start.row, last_column))


def _card(grid: Grid, sheet: Sheet, system: System, row: int) -> int:
    """A line of headings and a line for each field; gives the row below them."""
    flags = next((f for f in sheet.fields if f.role == "flag"), None)
    lines = [f for f in sheet.fields if f.role != "flag"]
    places = _card_places(grid, sheet)
    headings = [*CARD_HEADINGS, *([flags.heading] if flags else [])]
    for (first, last), text in zip(places, headings, strict=True):
        _merge(grid, Position(row, first), last, Cell(text, look.CARD_HEADING))
    if flags:
        grid.names[f"{sheet.key}_{flags.key}"] = Position(row, places[4][0])
    for offset, field in enumerate(lines, start=1):
        _card_line(grid, sheet, field, flags, system, row + offset, places)
    if not sheet.columns:
        grid.frozen = (row, 0)
        grid.repeated = (row, row)
    return row + len(lines) + 1


def _card_places(grid: Grid, sheet: Sheet) -> list[tuple[int, int]]:
    """First and last column of each part of a card's line."""
    parts = _card_parts(sheet)
    if not sheet.columns:
        return [(part, part) for part in range(1, parts + 1)]
    places: list[tuple[int, int]] = []
    first = 1
    for part, wanted in enumerate(CARD_WIDTHS[:parts]):
        grid.widths.setdefault(first, wanted)
        # A value and its unit keep to one cell each, as entries and drop-downs need.
        last = first if part in (1, 2) else _reach(grid.widths, first, wanted)[0]
        places.append((first, last))
        first = last + 1
    return places


def _card_line(
    grid: Grid,
    sheet: Sheet,
    field: Field,
    flags: Field | None,
    system: System,
    row: int,
    places: list[tuple[int, int]],
) -> None:
    label, value, unit, help_ = (Position(row, first) for first, _ in places[:4])
    _merge(grid, label, places[0][1], Cell(field.heading, look.label(field)))
    grid.cells[value] = Cell(None, look.on_card(look.record(field)), field.number_format(system))
    grid.cells[unit] = Cell(field.unit.get(system), look.CARD_UNIT)
    _merge(grid, help_, places[3][1], Cell(field.help, look.CARD_HELP))
    grid.names[f"{sheet.key}_{field.key}"] = value
    help_width = sum(grid.widths[column] for column in range(places[3][0], places[3][1] + 1))
    grid.heights[row] = max(CARD_LINE, look.height(field.help, help_width, look.CARD_HELP))
    at_value = Area(*value, *value)
    if field.units:
        grid.rules.append(rules.unit(field, Area(*unit, *unit)))
    if field.role == "entry":
        grid.rules.append(rules.entry(sheet.key, field, system, at_value, reference(*unit)))
    if not flags:
        return
    at_flags = Position(row, places[4][0])
    _merge(grid, at_flags, places[4][1], Cell(None, look.on_card(look.record(flags))))
    said = reference(*at_flags, fixed_column=True)
    heading = reference(*label, fixed_column=True)
    grid.markings.append(Marking(Area(row, 1, row, places[0][1]), markings.in_row(said)))
    grid.markings.append(Marking(at_value, markings.at_fault(said, heading) + markings.in_row(said)))
    grid.markings.append(Marking(Area(row, unit.column, row, places[3][1]), markings.in_row(said)))
    grid.markings.append(Marking(Area(*at_flags, row, places[4][1]), markings.in_flags(said)))


def _table(grid: Grid, sheet: Sheet, system: System, row: int) -> None:
    """Help, headings, units and the records, from `row` on."""
    heading_row, unit_row, first = row + 1, row + 2, row + 3
    last = first + max(sheet.records, len(sheet.prefilled)) - 1
    grid.spare_from, grid.spare_to = last + 1, first + SPARE - 1
    for place, column in enumerate(sheet.columns, start=1):
        grid.cells[Position(row, place)] = Cell(column.help, look.column_help(column))
        grid.cells[Position(heading_row, place)] = Cell(column.heading, look.heading(column))
        grid.cells[Position(unit_row, place)] = Cell(column.unit.get(system), look.unit(column))
        grid.names[f"{sheet.key}_{column.key}"] = Position(heading_row, place)
        if column.units:
            grid.rules.append(rules.unit(column, Area(unit_row, place, unit_row, place)))
        if column.role == "entry":
            area = Area(first, place, grid.spare_to, place)
            in_unit = reference(unit_row, place, fixed_row=True)
            grid.rules.append(rules.entry(sheet.key, column, system, area, in_unit))
        _records(grid, sheet, column, system, Area(first, place, last, place))
    for at in (row, heading_row):
        cells = [(grid.cells[Position(at, place)], grid.widths[place]) for place in grid.spare]
        grid.heights[at] = max(look.height(str(cell.value), width, cell.look) for cell, width in cells)
    grid.markings += _table_markings(sheet.columns, heading_row, Area(first, 1, grid.spare_to, 0))
    if len(sheet.fields) <= MOST_FROZEN:
        grid.frozen = (unit_row, int(sheet.columns[0].role == "entry"))
    grid.repeated = (heading_row, unit_row)


def _records(grid: Grid, sheet: Sheet, column: Field, system: System, area: Area) -> None:
    style = look.linked(column) if column.key == LINKED and column.role == "computed" else look.record(column)
    number_format = column.number_format(system)
    for record in range(area.last_row - area.row + 1):
        given = sheet.prefilled[record] if record < len(sheet.prefilled) else {}
        value = given[column.key][system] if column.key in given else None
        grid.cells[Position(area.row + record, area.column)] = Cell(value, style, number_format)
    grid.spare[area.column] = Cell(None, look.spare(column), number_format)


def _table_markings(columns: Sequence[Field], heading_row: int, rows: Area) -> list[Marking]:
    """Marks for the flags column, and for the columns on either side of it."""
    own = next((n for n, c in enumerate(columns, start=1) if c.role == "flag"), None)
    level = next((n for n, c in enumerate(columns, start=1) if c.key == LEVEL), None)
    told = own or level
    if told is None:
        return []
    said = reference(rows.row, told, fixed_column=True)
    marks = [Marking(rows._replace(column=told, last_column=told), markings.in_flags(said))]
    for first, last in ((1, told - 1), (told + 1, len(columns))):
        if own and first <= last:
            heading = reference(heading_row, first, fixed_row=True)
            conditions = markings.at_fault(said, heading) + markings.in_row(said)
            marks.append(Marking(rows._replace(column=first, last_column=last), conditions))
    return marks


def _page(sheet: Sheet, titles: dict[str, str]) -> Grid:
    """A page of text: signs, numbers and swatches left, the text beside them, links right."""
    grid = Grid(sheet.key, sheet.title, sheet.landscape, gridlines=False, tab=_tab(sheet))
    grid.widths = dict(enumerate(PAGE_WIDTHS, start=1))
    step = 0
    grid.fixed = {row for row, line in enumerate(sheet.lines, start=1) if line.style in ("title", "heading")}
    for row, line in enumerate(sheet.lines, start=1):
        step = step + 1 if line.style == "step" else 0
        for column, cell in enumerate(_page_line(line, step, titles), start=1):
            if cell:
                grid.cells[Position(row, column)] = cell
        grid.heights[row] = _page_height(line)
    return grid


def _page_line(line: Line, step: int, titles: dict[str, str]) -> list[Cell | None]:
    text = Cell(line.text, look.PAGE_TEXT)
    target = titles.get(line.link, "")
    link = Cell(f"{target} →", look.STEP_LINK, link=target) if target else None
    match line.style:
        case "title":
            return [Cell(line.text, look.TITLE)]
        case "heading":
            return [Cell(line.text, look.PAGE_HEADING)]
        case "text":
            return [None, text, link]
        case "step":
            return [Cell(f"{step}.", look.STEP), text, link]
        case "caution":
            return [Cell("!", look.CAUTION_SIGN), Cell(line.text, look.CAUTION), link]
        case _:
            return [Cell("WARNING" if line.style == "flag" else None, look.SWATCHES[line.style]), text, link]


def _page_height(line: Line) -> float:
    if line.style in ("title", "heading"):
        return 28
    return look.height(line.text, PAGE_WIDTHS[1], look.PAGE_TEXT)
