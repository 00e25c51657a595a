"""Where everything stands on a page of text: signs and swatches left, the text beside them, links right.

Right of a step's link is room for where its sheet stands, and a line of the page for where all the work
does; a fill writes it there.
"""

from sheetcalc.build import look, markings, parts
from sheetcalc.build.as_filled import STANDS
from sheetcalc.build.grid import Area, Cell, Grid, Marking, Position, reference
from sheetcalc.build.paper import Paper
from sheetcalc.layouts import Line, Sheet

WIDTHS = (9, 62, 15, 38)
TEXT, STANDING = 2, 4  # the columns of the text, and of where a step's sheet stands
SIGNS = {"flag": "WARNING", "error": "ERROR", "note": "NOTE", "stale": "40.0"}  # in the swatches


def page(sheet: Sheet, titles: dict[str, str], paper: Paper) -> Grid:
    """A page of text: signs, numbers and swatches left, the text beside them, links right."""
    grid = Grid(sheet.key, sheet.title, paper, sheet.landscape, gridlines=False, tab=look.HAIRLINE)
    grid.widths = dict(enumerate(WIDTHS, start=1))
    grid.pages = (1, 1)
    step = 0
    grid.fixed = {row for row, line in enumerate(sheet.lines, start=1) if line.style in ("title", "heading")}
    for row, line in enumerate(sheet.lines, start=1):
        step = step + 1 if line.style == "step" else 0
        for column, cell in enumerate(_line(line, step, titles), start=1):
            if cell:
                grid.cells[Position(row, column)] = cell
        grid.heights[row] = _height(line)
        if line.name:
            grid.names[line.name] = Position(row, TEXT)
        if line.style == "standing":
            _standing(grid, Position(row, TEXT), sheet.key, grid.cells[Position(row, TEXT)])
        if line.style == "step" and line.link:
            _standing(grid, Position(row, STANDING), line.link, Cell(None, look.STANDING))
        elif _is_wide(line):
            parts.merge(grid, Position(row, TEXT), STANDING, grid.cells[Position(row, TEXT)])
            grid.fixed.add(row)  # no program fits a row to a text over several columns
    return grid


def _standing(grid: Grid, place: Position, sheet: str, cell: Cell) -> None:
    """Room for where a sheet stands, marked where something serious was found in it."""
    grid.cells[place] = cell
    grid.names[f"{STANDS}{sheet}"] = place
    grid.markings.append(Marking(Area(*place, *place), markings.in_tally(reference(*place))))


def _line(line: Line, step: int, titles: dict[str, str]) -> list[Cell | None]:
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
        case "standing":
            return [None, Cell(line.text, look.ALL_STANDING)]
        case "caution":
            return [Cell("!", look.CAUTION_SIGN), Cell(line.text, look.CAUTION), link]
        case _:
            return [Cell(SIGNS.get(line.style), look.SWATCHES[line.style]), text, link]


def _is_wide(line: Line) -> bool:
    """Whether a line's text runs on to the right edge of the page."""
    return line.style not in ("title", "heading", "step") and not line.link


def _height(line: Line) -> float:
    if line.style in ("title", "heading"):
        return 28
    width = sum(WIDTHS[1:]) if _is_wide(line) else WIDTHS[1]
    return look.height(line.text, width, look.PAGE_TEXT)
