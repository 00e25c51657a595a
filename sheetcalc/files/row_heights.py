"""How high an xlsx row has to be for its wrapped texts.

A spreadsheet program fits a row when somebody types into it, but not when it opens a file in which a text
was written: without this, a long text would be cut off at its first line.
"""

import math
from collections.abc import Iterable

from lxml import etree

from sheetcalc.files.references import area_of

LINE = 13.0  # points, of text of 10 points
USUAL_WIDTH = 8.43  # characters, of a column of no stated width
LETTERS = 1.1  # average letters to a width of one digit


def fit(row: etree._Element, texts: Iterable[tuple[float, str]]) -> None:
    """Set a row's height by its wrapped texts, unless a person has set it or it is about right.

    row: the row element; texts: the width, in characters, and the text of each of its cells that wraps.
    """
    if row.get("customHeight") in ("1", "true"):
        return
    lines = max((_lines(text, width) for width, text in texts), default=1)
    height, stated = lines * LINE + 3, _number(row.get("ht"), LINE)
    if lines == 1 and stated > height + LINE:
        row.attrib.pop("ht")
    elif lines > 1 and not height - LINE / 2 <= stated <= height + LINE:
        row.set("ht", f"{height:g}")


def _lines(text: str, width: float) -> int:
    return sum(max(1, math.ceil(len(line) / (width * LETTERS))) for line in text.split("\n"))


def _number(text: str | None, usual: float) -> float:
    try:
        return float(text or usual)
    except ValueError:
        return usual


def cell_width(row: int, column: int, widths: dict[int, float], merged: dict[tuple[int, int], int]) -> float:
    """The width, in characters, of a cell with the columns it runs over.

    widths: from `column_widths`; merged: from `merged_to`.
    """
    columns = range(column, merged.get((row, column), column) + 1)
    return sum(widths.get(number, USUAL_WIDTH) for number in columns)


def merged_to(root: etree._Element) -> dict[tuple[int, int], int]:
    """The last column of each merged cell of a sheet, by the row and column it begins in."""
    merged = {}
    for area in root.iterfind("{*}mergeCells/{*}mergeCell"):
        covers = area_of("", area.get("ref", ""))
        if covers:
            merged[covers.top, covers.left] = covers.right
    return merged


def column_widths(root: etree._Element) -> dict[int, float]:
    """The widths, in characters, of a sheet's columns by number, as far as they are stated."""
    widths = {}
    for column in root.iterfind("{*}cols/{*}col"):
        first, last = int(_number(column.get("min"), 1)), int(_number(column.get("max"), 1))
        for number in range(first, min(last, first + 200) + 1):
            widths[number] = _number(column.get("width"), USUAL_WIDTH)
    return widths
