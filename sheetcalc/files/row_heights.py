"""How high an xlsx row has to be for its wrapped texts.

A spreadsheet program fits a row when somebody types into it, but not when it opens a file in which a text
was written: without this, a long text would be cut off at its first line.
"""

from collections.abc import Iterable
from itertools import islice

from lxml import etree

from sheetcalc import letters
from sheetcalc.files.references import area_of
from sheetcalc.files.workbook import MAX_COLUMN, natural, read_number

HIGHEST = 409.0  # points, of a row and of a letter
LINE = 1.275  # of the size of the letters, in the program with the highest lines
AROUND = 3.0  # points above and below a text together
USUAL_SIZE = 10.0  # points
USUAL_WIDTH = 8.43  # characters, of a column of no stated width
DIGIT = 5.25  # points a character of a column's width
BESIDE = 10.5  # points left free beside a text: the indent and the edges


def fit(row: etree._Element, texts: Iterable[tuple[float, float, str]]) -> None:
    """Set a row's height by its wrapped texts, unless a person has set it or it is about right.

    row: the row element; texts: the width in characters, the size of the letters in points and the text of
    each of its cells that wraps.
    """
    if row.get("customHeight") in ("1", "true"):
        return
    one = USUAL_SIZE * LINE
    needed = (letters.lines(text, width * DIGIT - BESIDE, size) * size * LINE for width, size, text in texts)
    height = min(max([one, *needed]) + AROUND, HIGHEST)
    stated = _number(row.get("ht"), one)
    if height <= one + AROUND:
        if stated > height + one:
            row.attrib.pop("ht")
    elif not height - AROUND <= stated <= height + one:
        row.set("ht", f"{height:g}")


def _number(text: str | None, usual: float) -> float:
    try:
        return read_number(text or "")
    except ValueError:
        return usual


def letter_size(font: etree._Element) -> float:
    """The size of a font's letters, in points, within what programs draw."""
    size = font.find("{*}sz")
    return min(max(1.0, _number(size.get("val") if size is not None else None, USUAL_SIZE)), HIGHEST)


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
    widths: dict[int, float] = {}
    # Columns that are stated twice are damage; none is left for more than there can be.
    for column in islice(root.iterfind("{*}cols/{*}col"), MAX_COLUMN):
        first, last = natural(column.get("min")) or 1, natural(column.get("max")) or 1
        width = _number(column.get("width"), USUAL_WIDTH)
        widths |= dict.fromkeys(range(first, min(last, first + 200) + 1), width)
    return widths
