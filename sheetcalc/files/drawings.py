"""Which cells the charts and pictures of a sheet cover, as well as its file tells."""

from collections.abc import Callable, Iterator
from itertools import count, islice

from lxml import etree

from sheetcalc.files.new_columns import cm
from sheetcalc.files.references import Area, open_document_cell
from sheetcalc.files.row_heights import USUAL_WIDTH
from sheetcalc.files.workbook import MAX_COLUMN, MAX_ROW, Position, natural

MOST_DRAWINGS = 500  # of one sheet that are looked at
USUAL_COLUMN_ODS, USUAL_ROW_ODS = 2.26, 0.45  # cm, where nothing else is stated
_DRAW = "{urn:oasis:names:tc:opendocument:xmlns:drawing:1.0}*"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_SVG = "{urn:oasis:names:tc:opendocument:xmlns:svg-compatible:1.0}"
_EMU = 360_000  # to a centimetre
_LETTER, _MARGIN = 7 * 2.54 / 96, 5 * 2.54 / 96  # cm, of a column: a digit of 11 points, and what is around
_USUAL_ROW = 0.53  # cm, of an xlsx sheet

Length = Callable[[int], float]  # of a column or row, in cm


def drawn_xlsx(drawing: etree._Element, letters: dict[int, float]) -> Iterator[Area]:
    """The cells under each drawing of a sheet.

    drawing: the root of the drawings' part; letters: the widths of the columns that state one.
    """

    def width(column: int) -> float:
        return letters.get(column, USUAL_WIDTH) * _LETTER + _MARGIN

    anchors = drawing.iterchildren("{*}twoCellAnchor", "{*}oneCellAnchor", "{*}absoluteAnchor")
    for anchor in islice(anchors, MOST_DRAWINGS):
        size, at = anchor.find("{*}ext"), anchor.find("{*}pos")
        top, left = (1, 1) if at is not None else _corner(anchor, "from")
        x, y = _emu(at, "x"), _emu(at, "y")
        if size is None:
            bottom, right = _corner(anchor, "to")
        else:
            bottom = _reached(y + _emu(size, "cy"), lambda row: _USUAL_ROW, top)
            right = _reached(x + _emu(size, "cx"), width, left)
        top, left = _reached(y, lambda row: _USUAL_ROW, top), _reached(x, width, left)
        yield Area("", top, left, bottom, right)


def drawn_ods(shape: etree._Element, cell: Position, width: Length, height: Length) -> Area:
    """The cells under a drawing that stands in a cell, or by its distances from the corner of the first.

    width, height: those of the sheet's columns and rows, in cm.
    """
    end = open_document_cell(shape.get(_TABLE + "end-cell-address", ""))
    if end is not None:
        return Area("", *cell, *end[1:])
    x, y, wide, high = (cm(shape.get(_SVG + name)) for name in ("x", "y", "width", "height"))
    top, left = _reached(y, height, cell[0]), _reached(x, width, cell[1])
    return Area("", top, left, _reached(y + high, height, cell[0]), _reached(x + wide, width, cell[1]))


def shapes(element: etree._Element) -> Iterator[etree._Element]:
    """The drawings in a cell of an ods sheet, or in the list of those that float over it."""
    return element.iterchildren(_DRAW)


def _corner(anchor: etree._Element, name: str) -> Position:
    """Row and column of a corner of a drawing."""
    row, column = (natural(anchor.findtext(f"{{*}}{name}/{{*}}{way}")) or 0 for way in ("row", "col"))
    return min(row + 1, MAX_ROW), min(column + 1, MAX_COLUMN)


def _emu(element: etree._Element | None, name: str) -> float:
    return 0.0 if element is None else (natural(element.get(name)) or 0) / _EMU


def _reached(distance: float, length: Length, first: int) -> int:
    """The column or row in which a distance from the beginning of `first` ends."""
    for number in count(first):
        distance -= length(number)
        if distance <= 0 or number >= first + MAX_COLUMN:
            break
    return number
