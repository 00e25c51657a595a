"""What an edit changed in an OpenDocument spreadsheet; see harm.py."""

import zipfile
from collections.abc import Iterator
from copy import deepcopy
from itertools import pairwise
from pathlib import Path

from files.harm import (
    Added,
    Comparison,
    Position,
    Written,
    drop_blanks,
    first_difference,
    outline,
    parsed,
    same_parts,
    take_out,
)
from lxml import etree

OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
CALCEXT = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
ROW, CELL, COVERED = (f"{TABLE}{name}" for name in ("table-row", "table-cell", "covered-table-cell"))
GROUPS = tuple(f"{TABLE}{name}" for name in ("table-rows", "table-header-rows", "table-row-group"))
REPEATED = {
    ROW: f"{TABLE}number-rows-repeated",
    CELL: f"{TABLE}number-columns-repeated",
    COVERED: f"{TABLE}number-columns-repeated",
}
VALUES = ("value-type", "value", "date-value", "time-value", "boolean-value", "string-value", "currency")
TIMES = "times"


def compare(old: Path, new: Path, written: Written, added: Added | None = None) -> Comparison:
    """What differs between two states of a spreadsheet, apart from the cells `written` on each sheet.

    Beside columns that were `added` there may be new styles with our name in theirs.
    """
    found = Comparison()
    same_parts(old, new, found)
    for name in found.edited:
        if name != "content.xml":
            found.strays.append(f"{name} was edited")
    with zipfile.ZipFile(old) as was, zipfile.ZipFile(new) as now:
        before, after = parsed(was.read("content.xml")), parsed(now.read("content.xml"))
    results, shown = _neutral(before, written), _neutral(after, written)
    for (tab, row, column), result in results.items():
        now_shown = shown.get((tab, row, column))
        if now_shown == ((), ()):
            found.open.setdefault(tab, set()).add((row, column))
            if now_shown != result:
                found.forgotten.setdefault(tab, set()).add((row, column))
        elif now_shown != result:
            found.strays.append(f"{tab} {row}, {column} shows {now_shown} instead of {result}")
    if added:
        _take_out_names(before, after)
    if added and _widths(before, added) != _widths(after, added):
        found.strays.append("a column that was there has another width")
    found.strays += first_difference("content.xml", outline(before), outline(after))
    return found


def _neutral(root: etree._Element, written: Written) -> dict[tuple[str, int, int], tuple[object, ...]]:
    """Take the values of written cells and the results of formulas out, and give the results.

    Equal neighbours become one that says how often it stands there, however the file repeats them.
    """
    results = {}
    for table in root.iterfind(f"{OFFICE}body/{OFFICE}spreadsheet/{TABLE}table"):
        tab = table.get(f"{TABLE}name", "")
        mine, formulas = set(written.get(tab, ())), _formulas(table)
        _make_room(table, mine)
        marked = mine | formulas
        number = 1
        for element in [*_rows(table)]:
            for row, top, height in _split(element, number, {r for r, _ in marked}):
                number = top + height
                for left, cell in _cells(row, {c for r, c in marked if r == top}):
                    if (top, left) in formulas:
                        results[tab, top, left] = _take_value(cell)
                    elif (top, left) in mine:
                        _take_value(cell)
                        if "sheetcalc" in cell.get(f"{TABLE}style-name", ""):
                            del cell.attrib[f"{TABLE}style-name"]
                drop_blanks(row)
                _merge(row.iterchildren(CELL, COVERED))
        drop_blanks(table, *table.iter(*GROUPS))
        _merge(_rows(table))
    return results


def _widths(root: etree._Element, added: Added) -> dict[tuple[str, int], dict[str, str]]:
    """What is stated of each column, but for the added ones; it is taken out, and so are styles of ours."""
    found: dict[tuple[str, int], dict[str, str]] = {}
    for table in root.iterfind(f"{OFFICE}body/{OFFICE}spreadsheet/{TABLE}table"):
        tab, number = table.get(f"{TABLE}name", ""), 1
        for column in table.findall(f".//{TABLE}table-column"):
            times = int(column.attrib.pop(REPEATED[CELL], "1"))
            said = {str(key): str(value) for key, value in column.items()}
            mine = set(range(number, number + times)) - set(added.get(tab, ()))
            found |= {(tab, one): said for one in mine if said}
            number += times
            take_out(column)
    for styles in root.findall(f"{OFFICE}automatic-styles"):
        for style in styles:
            if "sheetcalc" in "".join(map(str, style.values())):
                take_out(style)
        if len(styles) == 0:
            take_out(styles)
    return found


def _take_out_names(before: etree._Element, after: etree._Element) -> None:
    """Take out the names of ours, and what holds them where there were none."""
    held = before.find(f".//{OFFICE}spreadsheet/{TABLE}named-expressions")
    for names in after.findall(f".//{OFFICE}spreadsheet/{TABLE}named-expressions"):
        for ours in [e for e in names if e.get(f"{TABLE}name", "").startswith("sheetcalc_")]:
            take_out(ours)
        if len(names) == 0 and held is None:
            take_out(names)


def _rows(parent: etree._Element) -> Iterator[etree._Element]:
    for child in parent.iterchildren(ROW, *GROUPS):
        if child.tag == ROW:
            yield child
        else:
            yield from _rows(child)


def _formulas(table: etree._Element) -> set[Position]:
    """Where formulas and the blocks they fill are."""
    found = set()
    number = 1
    for row in _rows(table):
        column = 1
        for cell in row.iterchildren(CELL, COVERED):
            if cell.get(f"{TABLE}formula") is not None:
                height = int(cell.get(f"{TABLE}number-matrix-rows-spanned", row.get(REPEATED[ROW], "1")))
                width = int(cell.get(f"{TABLE}number-matrix-columns-spanned", cell.get(REPEATED[CELL], "1")))
                found |= {(number + r, column + c) for r in range(height) for c in range(width)}
            column += int(cell.get(REPEATED[cell.tag], "1"))
        number += int(row.get(REPEATED[ROW], "1"))
    return found


def _make_room(table: etree._Element, mine: set[Position]) -> None:
    """Add plain rows as far as the written cells reach, with the look of the last one."""
    rows = list(_rows(table))
    missing = max((row for row, _ in mine), default=0) - sum(int(r.get(REPEATED[ROW], "1")) for r in rows)
    if missing > 0:
        row = etree.Element(ROW, {REPEATED[ROW]: str(missing)})
        etree.SubElement(row, CELL)
        if rows and rows[-1].get(f"{TABLE}style-name"):
            row.set(f"{TABLE}style-name", rows[-1].get(f"{TABLE}style-name", ""))
        if rows:
            [*table.iterchildren(ROW, *GROUPS)][-1].addnext(row)
        else:
            table.append(row)


def _cells(row: etree._Element, marked: set[int]) -> Iterator[tuple[int, etree._Element]]:
    """The cells of a row with their columns, the marked ones alone; as many as the marked ones need."""
    column = 1
    for element in [*row.iterchildren(CELL, COVERED)]:
        for cell, left, width in _split(element, column, marked):
            column = left + width
            yield left, cell
    missing = max(marked, default=0) - column + 1
    if missing > 0:
        blank = etree.SubElement(row, CELL, {REPEATED[CELL]: str(missing)})
        yield from ((left, cell) for cell, left, _ in _split(blank, column, marked))


def _split(element: etree._Element, start: int, marked: set[int]) -> list[tuple[etree._Element, int, int]]:
    """The element and copies of it, the marked ones alone: each with its number and how often it is there."""
    end = start + int(element.attrib.pop(REPEATED[str(element.tag)], "1"))
    alone = {number for number in marked if start <= number < end}
    edges = sorted({start, end, *alone, *(number + 1 for number in alone)})
    pieces = []
    for first, following in pairwise(edges):
        if first > start:
            twin = deepcopy(element)
            twin.tail = None
            element.addnext(twin)
            element = twin
        element.set(TIMES, str(following - first))
        pieces.append((element, first, following - first))
    return pieces


def _take_value(cell: etree._Element) -> tuple[object, ...]:
    """Take out a cell's value and shown text, and give them."""
    names = [*(f"{OFFICE}{name}" for name in VALUES), f"{CALCEXT}value-type"]
    values = tuple((name, cell.attrib.pop(name)) for name in names if name in cell.attrib)
    texts = cell.findall(f"{TEXT}p")
    for text in texts:
        cell.remove(text)
    drop_blanks(cell)
    return values, tuple("".join(map(str, text.itertext())) for text in texts)


def _merge(elements: Iterator[etree._Element]) -> None:
    """Count neighbours that are alike as one."""
    last: tuple[etree._Element, bytes, int] | None = None
    for element in list(elements):
        times = int(element.attrib.pop(TIMES))
        said = etree.tostring(element, method="c14n", exclusive=True, with_tail=False)
        if last is not None and last[0] is element.getprevious() and last[1] == said:
            times += last[2]
            take_out(last[0])
        element.set(TIMES, str(times))
        last = element, said, times
