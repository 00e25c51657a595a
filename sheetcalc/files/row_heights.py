"""How high an xlsx row has to be for its wrapped texts.

A spreadsheet program fits a row when somebody types into it, but not when it opens a file in which a text
was written: without this, a long text would be cut off at its first line.
"""

import math
from collections.abc import Iterable

from lxml import etree

from sheetcalc.files.references import area_of

LINE = 1.3  # of the size of the letters
USUAL_SIZE = 10.0  # points
USUAL_WIDTH = 8.43  # characters, of a column of no stated width
LETTERS = 1.05  # average letters of 10 points to a width of one digit


def fit(row: etree._Element, texts: Iterable[tuple[float, float, str]]) -> None:
    """Set a row's height by its wrapped texts, unless a person has set it or it is about right.

    row: the row element; texts: the width in characters, the size of the letters in points and the text of
    each of its cells that wraps.
    """
    if row.get("customHeight") in ("1", "true"):
        return
    one = USUAL_SIZE * LINE
    height = max([one, *(_lines(text, width, size) * size * LINE for width, size, text in texts)]) + 3
    stated = _number(row.get("ht"), one)
    if height <= one + 3:
        if stated > height + one:
            row.attrib.pop("ht")
    elif not height - one / 2 <= stated <= height + one:
        row.set("ht", f"{height:g}")


def _lines(text: str, width: float, size: float) -> int:
    letters = width * LETTERS * USUAL_SIZE / size
    return sum(max(1, math.ceil(len(line) / letters)) for line in text.split("\n"))


def _number(text: str | None, usual: float) -> float:
    try:
        return float(text or usual)
    except ValueError:
        return usual


def letter_size(font: etree._Element) -> float:
    """The size of a font's letters, in points."""
    size = font.find("{*}sz")
    return _number(size.get("val") if size is not None else None, USUAL_SIZE)


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
