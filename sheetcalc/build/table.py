"""Where everything stands in a table: help, headings, units, then the records."""

import math
from collections.abc import Sequence

from sheetcalc.build import look, markings, rules
from sheetcalc.build.grid import Area, Cell, Grid, Marking, Position, reference
from sheetcalc.layouts import Field, Sheet, System

SPARE = 2000  # rows that take entries, the ready ones among them
PAGE_WIDTH = 175.0  # characters on a page that can still be read
PEN = 14.5  # points, 5 mm: a blank row on paper has to take what is written by hand
LEVEL, ERRORS, LINKED = "level", "errors", ("cell", "file")  # columns with a look of their own


def widths(sheet: Sheet) -> dict[int, float]:
    """The widths of the columns."""
    return {place: column.width for place, column in enumerate(sheet.columns, start=1)}


def pages(sheet: Sheet) -> int:
    """How many pages beside each other it takes to print a table so that it can be read."""
    return max(1, round(sum(widths(sheet).values()) / PAGE_WIDTH))


def table(grid: Grid, sheet: Sheet, system: System, row: int) -> None:
    """Help, headings, units (where anything is measured) and the records, from `row` on."""
    measured = any(column.units for column in sheet.columns)
    heading_row = row + 1
    unit_row = heading_row + measured
    first = unit_row + 1
    last = first + sheet.ready - 1
    grid.ready = (first, last)
    grid.spare_from, grid.spare_to = last + 1, max(last, first + SPARE - 1)
    if any(column.role == "entry" for column in sheet.columns):
        grid.row_height = _pen_height(grid)
        grid.heights |= dict.fromkeys(range(first, last + 1), grid.row_height)
    for place, column in enumerate(sheet.columns, start=1):
        grid.cells[Position(row, place)] = Cell(column.help, look.HELP)
        grid.cells[Position(heading_row, place)] = Cell(column.heading, look.heading(column))
        if measured:
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
        cells = [(grid.cells[Position(at, place)], grid.widths[place]) for place in widths(sheet)]
        grid.heights[at] = max(look.height(str(cell.value), width, cell.look) for cell, width in cells)
    grid.markings += _markings(sheet.columns, heading_row, first, grid.spare_to)
    # Below a card the headings stand so low that hardly a record would be in sight under them.
    if not sheet.fields:
        grid.frozen = (unit_row, int(sheet.columns[0].role == "entry" or sheet.grows))
    grid.repeated = (heading_row, unit_row)


def _pen_height(grid: Grid) -> float:
    """How high a row is in points, so that one can write into it when it is printed in the size that fits."""
    wide = grid.pages[0]
    # On several pages beside each other the first column stands on each.
    total = sum(map(look.points, grid.widths.values())) + (wide - 1) * look.points(grid.widths[1])
    return math.ceil(PEN * max(1.0, total / wide / grid.paper.room(grid.landscape)))


def _records(grid: Grid, sheet: Sheet, column: Field, system: System, area: Area) -> None:
    style = look.linked(column) if column.key in LINKED and column.role == "computed" else look.record(column)
    style = look.in_row(style, grid.row_height)
    number_format = column.number_format(system)
    for record in range(area.last_row - area.row + 1):
        given = sheet.prefilled[record] if record < len(sheet.prefilled) else {}
        value = given[column.key][system] if column.key in given else None
        grid.cells[Position(area.row + record, area.column)] = Cell(value, style, number_format)
    if not sheet.grows:
        grid.spare[area.column] = Cell(None, look.in_row(look.spare(column), grid.row_height), number_format)


def _markings(columns: Sequence[Field], heading_row: int, first: int, last: int) -> list[Marking]:
    """Marks for the flags column, and for every column beside it; on the findings for the level."""
    flags = next((place for place, c in enumerate(columns, start=1) if c.role == "flag"), None)
    level = next((place for place, c in enumerate(columns, start=1) if c.key == LEVEL), None)
    told = flags or level
    if told is None:
        errors = next((place for place, c in enumerate(columns, start=1) if c.key == ERRORS), None)
        return (
            [Marking(Area(first, errors, last, errors), markings.in_count(reference(first, errors)))]
            if errors
            else []
        )
    said = reference(first, told, fixed_column=True)
    marks = [Marking(Area(first, told, last, told), markings.in_flags(said))]
    for place in range(1, len(columns) + 1):
        if flags and place != told:
            heading = reference(heading_row, place, fixed_row=True)
            conditions = markings.at_fault(said, heading) + markings.in_row(said)
            marks.append(Marking(Area(first, place, last, place), conditions))
    return marks
