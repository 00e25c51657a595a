"""What every card and table has: title and intro, and cells that run over several columns."""

from sheetcalc.build import look
from sheetcalc.build.grid import Area, Cell, Grid, Position
from sheetcalc.layouts import Sheet

TITLE_ROW = 1
INTRO_ROW = 2
FIRST_ROW = 3
INTRO_WIDTH = 110.0


def head(grid: Grid, sheet: Sheet) -> None:
    """Title and intro; the intro runs over as many columns as a line may be long.

    Where pages lie beside each other, the first column stands on all of them; a text running on would be cut.
    """
    grid.cells[Position(TITLE_ROW, 1)] = Cell(sheet.title, look.TITLE)
    grid.heights[TITLE_ROW] = 26
    first = 2 if grid.pages[0] > 1 else 1
    last, width = reach(grid.widths, first, INTRO_WIDTH)
    merge(grid, Position(INTRO_ROW, first), last, Cell(sheet.intro or None, look.INTRO))
    grid.heights[INTRO_ROW] = look.height(sheet.intro, width, look.INTRO)
    grid.fixed = {TITLE_ROW, INTRO_ROW}  # no program fits a row to a text over several columns


def reach(widths: dict[int, float], first: int, wanted: float) -> tuple[int, float]:
    """The last column, and the width, of a run of columns from `first` that is about `wanted` wide."""
    last, width = first, widths[first]
    while width < wanted and last + 1 in widths and width + widths[last + 1] <= wanted * 1.1:
        last += 1
        width += widths[last]
    return last, width


def merge(grid: Grid, start: Position, last_column: int, cell: Cell) -> None:
    """Put a cell that runs from `start` to `last_column`."""
    grid.cells[start] = cell
    if last_column > start.column:
        grid.merged.append(Area(start.row, start.column, start.row, last_column))
