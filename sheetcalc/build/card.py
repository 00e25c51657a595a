"""Where everything stands on a card: a line of headings, then a field a line.

Above a table the card stands on the table's columns.
"""

from sheetcalc.build import look, markings, parts, rules
from sheetcalc.build.grid import Area, Cell, Grid, Marking, Position, reference
from sheetcalc.layouts import Field, Sheet, System

HEADINGS = ("Field", "Value", "Unit", "Help")
WIDTHS = (25, 18, 8, 42, 36)
LINE_HEIGHT = 17.0  # points


def widths(sheet: Sheet) -> dict[int, float]:
    """The widths of the columns of a card that stands alone."""
    return dict(enumerate(WIDTHS[: _count(sheet)], start=1))


def card(grid: Grid, sheet: Sheet, system: System, row: int) -> int:
    """A line of headings and a line for each field; gives the row below them."""
    flags = next((f for f in sheet.fields if f.role == "flag"), None)
    lines = [f for f in sheet.fields if f.role != "flag"]
    places = _places(grid, sheet)
    headings = [*HEADINGS, *([flags.heading] if flags else [])]
    for part, ((first, last), text) in enumerate(zip(places, headings, strict=True)):
        style = look.CARD_SIDE_HEADING if part > 1 else look.CARD_HEADING
        parts.merge(grid, Position(row, first), last, Cell(text, style))
    if flags:
        grid.names[f"{sheet.key}_{flags.key}"] = Position(row, places[4][0])
    for offset, field in enumerate(lines, start=1):
        _line(grid, sheet, field, flags, system, row + offset, places)
    if not sheet.columns:
        grid.frozen = (row, 0)
        grid.repeated = (row, row)
    return row + len(lines) + 1


def _places(grid: Grid, sheet: Sheet) -> list[tuple[int, int]]:
    """First and last column of each part of a card's line."""
    count = _count(sheet)
    if not sheet.columns:
        return [(part, part) for part in range(1, count + 1)]
    places: list[tuple[int, int]] = []
    first = 1
    for part, wanted in enumerate(WIDTHS[:count]):
        grid.widths.setdefault(first, wanted)
        # A value and its unit keep to one cell each, as entries and drop-downs need.
        last = first if part in (1, 2) else parts.reach(grid.widths, first, wanted)[0]
        places.append((first, last))
        first = last + 1
    return places


def _line(
    grid: Grid,
    sheet: Sheet,
    field: Field,
    flags: Field | None,
    system: System,
    row: int,
    places: list[tuple[int, int]],
) -> None:
    label, value, unit, help_ = (Position(row, first) for first, _ in places[:4])
    parts.merge(grid, label, places[0][1], Cell(field.heading, look.label(field)))
    grid.cells[value] = Cell(None, look.on_card(look.record(field)), field.number_format(system))
    grid.cells[unit] = Cell(field.unit.get(system), look.CARD_UNIT)
    parts.merge(grid, help_, places[3][1], Cell(field.help, look.CARD_HELP))
    grid.names[f"{sheet.key}_{field.key}"] = value
    help_width = sum(grid.widths[column] for column in range(places[3][0], places[3][1] + 1))
    grid.heights[row] = max(LINE_HEIGHT, look.height(field.help, help_width, look.CARD_HELP))
    at_value = Area(*value, *value)
    if field.units:
        grid.rules.append(rules.unit(field, Area(*unit, *unit)))
    if field.role == "entry":
        grid.rules.append(rules.entry(sheet.key, field, system, at_value, reference(*unit)))
    if not flags:
        return
    at_flags = Position(row, places[4][0])
    parts.merge(grid, at_flags, places[4][1], Cell(None, look.on_card(look.record(flags))))
    said = reference(*at_flags, fixed_column=True)
    heading = reference(*label, fixed_column=True)
    grid.markings.append(Marking(Area(row, 1, row, places[0][1]), markings.in_row(said)))
    grid.markings.append(Marking(at_value, markings.at_fault(said, heading) + markings.in_row(said)))
    grid.markings.append(Marking(Area(row, unit.column, row, places[3][1]), markings.in_row(said)))
    grid.markings.append(Marking(Area(*at_flags, row, places[4][1]), markings.in_flags(said)))


def _count(sheet: Sheet) -> int:
    """How many parts a line has."""
    return len(WIDTHS) if any(f.role == "flag" for f in sheet.fields) else len(WIDTHS) - 1
