"""What lets results turn grey by themselves: the entries as they were at the last fill, and what differs.

To the right of each table stands a hidden column for each entry column, and a hidden sheet has a line for
every field and column. `fill` copies there what it read. A cell and its copy are compared as texts made in
the same program at the same moment, which holds in every locale. Nothing here is told apart by place: names
lead to it, so people may move, sort and insert as they like.
"""

from collections.abc import Iterable, Mapping, Sequence

from sheetcalc.build import look, page
from sheetcalc.build.as_filled import (
    ALL,
    AS_FILLED,
    DIFFER,
    KEY,
    NAME,
    STANDS,
    TEMPLATES,
    TITLE,
    UNIT_DIFFERS,
    UNIT_WAS,
    WAS,
    copy_name,
    line_name,
)
from sheetcalc.build.grid import Area, Cell, Grid, Marking, Position, reference
from sheetcalc.layouts import Field, Layout, Needs, Sheet

COUNTED = 500  # rows of a table in which a change is looked for, all that stand ready among them
FIRST = 4  # the hidden sheet's first line
HEADINGS = ("name", "cells that differ", "value, or number of cells", "unit", "unit differs")  # NAME and on
FILLED = reference(2, WAS, fixed_row=True)  # the version that filled it

Line = tuple[str, str]


def add(made: Sequence[Grid], layout: Layout, needs: Mapping[Line, Needs]) -> Grid:
    """Give the grids their copies and marks; returns the hidden sheet."""
    pairs = list(zip(layout.sheets, made, strict=True))
    fields = [(sheet, grid, f) for sheet, grid in pairs for f in (*sheet.fields, *sheet.columns)]
    lines = {(sheet.key, field.key): FIRST + n for n, (sheet, _, field) in enumerate(fields)}
    hidden = Grid(KEY, TITLE, made[0].paper, landscape=True, gridlines=True, tab=look.HAIRLINE, visible=False)
    hidden.widths = dict.fromkeys(range(1, len(HEADINGS) + 1), 20.0)
    hidden.cells[Position(1, NAME)] = Cell(
        "What was typed when the workbook was last filled. Results are grey where it differs now.", look.PLAIN
    )
    for column, heading in enumerate(HEADINGS, start=NAME):
        hidden.cells[Position(FIRST - 1, column)] = Cell(heading, look.HELP)
    for sheet, grid in pairs:
        _copies(sheet, grid)
        if sheet.key == "findings":
            _told(grid)
        _standing(grid)
    for sheet, grid, field in fields:
        row = lines[sheet.key, field.key]
        _unit(hidden, sheet, grid, field, row)
        if field.role == "entry":
            _entry(hidden, sheet, grid, field, row)
        else:
            _result(hidden, sheet, grid, field, row, lines, needs[sheet.key, field.key])
    counted = [Position(lines[s.key, f.key], DIFFER) for s, _, f in fields if f.role == "entry"]
    hidden.cells[Position(2, DIFFER)] = Cell(None, look.PLAIN, formula=_sum(counted))
    hidden.cells[Position(2, NAME)] = Cell(ALL, look.PLAIN)
    hidden.names[ALL] = Position(2, DIFFER)
    hidden.cells[Position(2, TEMPLATES)] = Cell(float(layout.version), look.PLAIN)
    return hidden


def _told(grid: Grid) -> None:
    """Beside the title of the findings: how many cells were edited since the last fill."""
    place = Position(1, grid.names["findings_message"].column)
    grid.cells[Position(1, place.column - 1)] = Cell(None, look.STATE_NUMBER, "0", formula=ALL)
    grid.cells[place] = Cell(
        "cells edited since the last fill. What they change is grey: save, close, fill.", look.STATE
    )


def _standing(grid: Grid) -> None:
    """Above where the sheets stand: whether that still holds."""
    places = [place for name, place in grid.names.items() if name.startswith(STANDS)]
    for place in places:
        _mark(grid, Area(*place, *place), f"{ALL}>0", look.STALE)
    steps = [place for place in places if place.column == page.STANDING]
    if steps:
        told = f'IF({ALL}>0;{ALL}&" cells edited since: fill again";"Where it stands")'
        above = Position(steps[0].row - 1, steps[0].column)
        grid.cells[above] = Cell(None, look.STANDING_HEADING, formula=told)


def _copies(sheet: Sheet, grid: Grid) -> None:
    """A hidden column for each entry column, right of the table."""
    if not sheet.columns:
        return
    place = max(grid.widths)
    for field in sheet.columns:
        if field.role == "entry":
            place += 1
            heading = grid.names[f"{sheet.key}_{field.key}"]
            copy = Position(heading.row, place)
            grid.cells[copy] = Cell(field.heading + AS_FILLED, look.HELP)
            grid.names[copy_name(sheet.key, field.key)] = copy
            grid.widths[place] = field.width
            grid.hidden.add(place)


def _unit(hidden: Grid, sheet: Sheet, grid: Grid, field: Field, row: int) -> None:
    hidden.cells[Position(row, NAME)] = Cell(f"{sheet.key}_{field.key}", look.PLAIN)
    hidden.names[line_name(field, sheet.key)] = Position(row, DIFFER)
    if field.units:
        value = grid.names[f"{sheet.key}_{field.key}"]
        card = field in sheet.fields
        unit = Position(value.row, value.column + 1) if card else Position(grid.ready[0] - 1, value.column)
        now = _at(grid.title, Area(*unit, *unit))
        was = reference(row, UNIT_WAS)
        hidden.cells[Position(row, UNIT_DIFFERS)] = Cell(
            None, look.PLAIN, formula=f'IF(OR({was}="";{was}={now});0;1)'
        )


def _entry(hidden: Grid, sheet: Sheet, grid: Grid, field: Field, row: int) -> None:
    """How many cells of an entry column, or whether a card's entry, differ from the last fill."""
    at = grid.names[f"{sheet.key}_{field.key}"]
    was, unit = reference(row, WAS), reference(row, UNIT_DIFFERS)
    if field in sheet.columns:
        first, copy = grid.ready[0], grid.names[copy_name(sheet.key, field.key)].column
        last = max(grid.ready[1], first + COUNTED - 1)
        now, then = (_at(grid.title, Area(first, c, last, c)) for c in (at.column, copy))
        differ = f'SUMPRODUCT(--({now}&""<>{then}&""))+ABS(COUNTA({then})-{was})'
        edited = f"AND({line_name(field, sheet.key)}>0;{_differ([(first, at.column, copy)])})"
    else:
        differ = f'IF({_at(grid.title, Area(*at, *at))}&""<>{was}&"";1;0)'
        edited = f"{line_name(field, sheet.key)}>0"
    # A workbook that was never filled has no results that could be out of date.
    differ = f'IF({FILLED}="";0;IFERROR({differ};0){"+" + unit if field.units else ""})'
    hidden.cells[Position(row, DIFFER)] = Cell(None, look.PLAIN, formula=differ)
    # The cell at fault is not marked any more once it was corrected.
    _mark(grid, _cells(sheet, grid, field)[0], edited, look.EDITED)


def _result(
    hidden: Grid,
    sheet: Sheet,
    grid: Grid,
    field: Field,
    row: int,
    lines: Mapping[Line, int],
    needs: Needs,
) -> None:
    """How many cells differ that a result comes from, and the mark it then takes."""
    sources = [Position(lines[source], DIFFER) for source in sorted(needs.elsewhere & lines.keys())]
    measured = {f.key for f in sheet.columns if f.units}
    sources += [
        Position(lines[sheet.key, key], UNIT_DIFFERS) for key in sorted(needs.beside) if key in measured
    ]
    if field.units:
        sources.append(Position(row, UNIT_DIFFERS))
    hidden.cells[Position(row, DIFFER)] = Cell(None, look.PLAIN, formula=_sum(sources))
    stale = [f"{line_name(field, sheet.key)}>0"]
    if field in sheet.columns:
        beside = [
            (
                grid.ready[0],
                grid.names[f"{sheet.key}_{key}"].column,
                grid.names[copy_name(sheet.key, key)].column,
            )
            for key in sorted(needs.beside)
        ]
        if beside:
            stale.append(f"AND({ALL}>0;{_differ(beside)})")
    for area in _cells(sheet, grid, field):
        shown = reference(area.row, area.column, fixed_column=True)
        _mark(grid, area, f'AND({shown}<>"";OR({";".join(stale)}))', look.STALE)


def _cells(sheet: Sheet, grid: Grid, field: Field) -> list[Area]:
    """The areas a field's values, or flags, stand in."""
    at = grid.names[f"{sheet.key}_{field.key}"]
    if field in sheet.columns:
        return [Area(grid.ready[0], at.column, grid.spare_to, at.column)]
    if field.role == "flag":
        lines = range(at.row + 1, at.row + len(sheet.fields))
        return [Area(row, at.column, row, at.column) for row in lines]
    return [Area(*at, *at)]


def _mark(grid: Grid, area: Area, condition: str, mark: look.Mark) -> None:
    """Lay a mark over an area's cells that wins over those it has."""
    for n, marking in enumerate(grid.markings):
        if marking.area[:2] == area[:2]:
            grid.markings[n] = Marking(marking.area, ((condition, mark), *marking.conditions))
            return
    grid.markings.append(Marking(area, ((condition, mark),)))


def _differ(pairs: Iterable[tuple[int, int, int]]) -> str:
    """Whether any cell of a row differs from its copy: (row, column, column of the copy)."""
    now, then = (
        '&"|"&'.join(reference(pair[0], pair[side], fixed_column=True) for pair in pairs) for side in (1, 2)
    )
    return f"{now}<>{then}" if "&" in now else f'{now}&""<>{then}&""'


def _sum(places: Sequence[Position]) -> str:
    return f"SUM({';'.join(reference(*place) for place in places)})" if places else "0"


def _at(title: str, area: Area) -> str:
    """A reference to cells of another sheet."""
    first = reference(area.row, area.column)[1:-1]
    last = reference(area.last_row, area.last_column)[1:-1]
    return f"[$'{title}'{first}]" if first == last else f"[$'{title}'{first}:{last}]"
