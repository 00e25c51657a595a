"""Where everything stands on a page of text: signs and swatches left, the text beside them, links right."""

from sheetcalc.build import look
from sheetcalc.build.grid import Cell, Grid, Position
from sheetcalc.layouts import Line, Sheet

WIDTHS = (9, 77, 14)  # printed in full size on A4 and Letter
TEXT = 2  # the column of the text


def page(sheet: Sheet, titles: dict[str, str]) -> Grid:
    """A page of text: signs, numbers and swatches left, the text beside them, links right."""
    grid = Grid(sheet.key, sheet.title, sheet.landscape, gridlines=False, tab=look.HAIRLINE)
    grid.widths = dict(enumerate(WIDTHS, start=1))
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
    return grid


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
        case "caution":
            return [Cell("!", look.CAUTION_SIGN), Cell(line.text, look.CAUTION), link]
        case _:
            return [Cell("WARNING" if line.style == "flag" else None, look.SWATCHES[line.style]), text, link]


def _height(line: Line) -> float:
    if line.style in ("title", "heading"):
        return 28
    return look.height(line.text, WIDTHS[1], look.PAGE_TEXT)
