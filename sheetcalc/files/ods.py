"""OpenDocument spreadsheets (.ods) edited in place."""

import itertools
import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property
from operator import sub
from urllib.parse import quote

from lxml import etree

from sheetcalc.files.drawings import (
    MOST_DRAWINGS,
    USUAL_COLUMN_ODS,
    USUAL_ROW_ODS,
    drawn_ods,
    shapes,
)
from sheetcalc.files.new_columns import bare_ods, cm, column_style_ods, dressed_ods
from sheetcalc.files.package import BadWorkbook, Package, serialize
from sheetcalc.files.references import (
    Area,
    Formula,
    Reader,
    array_area,
    cell_name,
    column_letters,
    covered,
    dependants,
    holder,
    named_areas,
    open_document_cell,
)
from sheetcalc.files.workbook import (
    ALIKE,
    EPOCH,
    MAX_COLUMN,
    MAX_ROW,
    MAX_TEXT,
    Cell,
    Kind,
    Look,
    Place,
    Position,
    Workbook,
    check_title,
    cut,
    forget,
    is_moment,
    natural,
    number_text,
    read_number,
    serial,
)

MAX_COPIES = 100_000
_CONTENT = "content.xml"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_CALCEXT = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
_DRAW = "{urn:oasis:names:tc:opendocument:xmlns:drawing:1.0}"
_XLINK = "{http://www.w3.org/1999/xlink}"

_ROW, _CELL, _COVERED = _TABLE + "table-row", _TABLE + "table-cell", _TABLE + "covered-table-cell"
_ROW_GROUPS = {_TABLE + name for name in ("table-rows", "table-header-rows", "table-row-group")}
_COLUMN_GROUPS = {_TABLE + name for name in ("table-columns", "table-header-columns", "table-column-group")}
_ROWS_REPEATED, _COLUMNS_REPEATED = _TABLE + "number-rows-repeated", _TABLE + "number-columns-repeated"
_FORMULA, _CELL_STYLE = _TABLE + "formula", _TABLE + "style-name"
_VALIDATION = _TABLE + "content-validation-name"
_DEFAULT_STYLE = _TABLE + "default-cell-style-name"
_MATRIX = {way: f"{_TABLE}number-matrix-{way}-spanned" for way in ("rows", "columns")}
_P, _A = _TEXT + "p", _TEXT + "a"
_VALUE_TYPE, _VALUE = _OFFICE + "value-type", _OFFICE + "value"
_VALUES = frozenset(
    {
        *(_VALUE_TYPE, _VALUE, _CALCEXT + "value-type"),
        *(
            _OFFICE + name
            for name in ("date-value", "time-value", "boolean-value", "string-value", "currency")
        ),
    }
)
_NUMBERS: dict[str | None, Kind] = {"float": "number", "currency": "number", "percentage": "percent"}
_PREFIXES = {"table": _TABLE[1:-1]}
_HAS_FORMULAS = etree.XPath("boolean(.//*[@table:formula])", namespaces=_PREFIXES)
_HAS_MATRICES = etree.XPath("boolean(.//*[@table:number-matrix-rows-spanned])", namespaces=_PREFIXES)
_DURATION = re.compile(r"(-?)P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:[.,]\d+)?)S)?)?")
_SPACES = re.compile(r"[ \t\r\n]+")
_TO_MARK = re.compile(r"\t|(?<= ) +|^ +")


@dataclass
class _Run:
    """Elements in a line (a sheet's rows, a row's cells), each standing for one or more copies of itself."""

    attribute: str
    starts: list[int] = field(default_factory=list)
    elements: list[etree._Element] = field(default_factory=list)
    end: int = 1

    def add(self, elements: Iterable[etree._Element]) -> None:
        end = self.end
        for element in elements:
            self.starts.append(end)
            self.elements.append(element)
            end += _repeats(element, self.attribute)
        self.end = end

    def index(self, number: int) -> int:
        return bisect_right(self.starts, number) - 1

    def count(self, index: int) -> int:
        """How many copies an element stands for."""
        return (self.starts[index + 1] if index + 1 < len(self.starts) else self.end) - self.starts[index]

    def counted(self) -> Iterator[tuple[int, int, etree._Element]]:
        """Each element with the number of its first copy and how many there are."""
        return zip(
            self.starts, map(sub, [*self.starts[1:], self.end], self.starts), self.elements, strict=True
        )

    def single(self, number: int) -> etree._Element:
        """The element that stands for copy `number` alone, split off from the other copies."""
        index = self.index(number)
        element, start = self.elements[index], self.starts[index]
        count = self.count(index)
        before, after = number - start, start + count - 1 - number
        if before:
            twin = _copy(element, self.attribute, before)
            element.addprevious(twin)
            self.elements.insert(index, twin)
            self.starts[index + 1 : index + 1] = [number]
            index += 1
        if after:
            twin = _copy(element, self.attribute, after)
            element.addnext(twin)
            self.elements.insert(index + 1, twin)
            self.starts.insert(index + 1, number + 1)
        if before or after:
            element.attrib.pop(self.attribute, "")
        return element


@dataclass
class _Sheet:
    """One table:table with its rows, and the cells of rows that were looked into."""

    table: etree._Element
    rows: _Run
    columns: _Run
    cells: dict[etree._Element, _Run] = field(default_factory=dict)
    # Blocks that one matrix formula fills.
    blocks: list[Area] = field(default_factory=list)

    @cached_property
    def in_block(self) -> Callable[[int, int], bool]:
        """Tells whether a cell lies in one of the blocks."""
        return holder(self.blocks)

    def line(self, row: etree._Element) -> _Run:
        if row not in self.cells:
            run = _Run(_COLUMNS_REPEATED)
            run.add(row.iterchildren(_CELL, _COVERED))
            self.cells[row] = run
        return self.cells[row]


class OdsWorkbook(Workbook):
    """An OpenDocument spreadsheet; its content is parsed at once."""

    def __init__(self, package: Package) -> None:
        """Raises BadWorkbook when the content is damaged or no spreadsheet."""
        super().__init__(package)
        self._root = package.xml(_CONTENT)
        body = self._root.find(f"{_OFFICE}body/{_OFFICE}spreadsheet")
        if body is None:
            raise BadWorkbook("This OpenDocument file holds no spreadsheet; name a workbook.")
        self._body = body
        hidden = {
            style.get(_STYLE + "name")
            for style in self._root.iterfind(f"{_OFFICE}automatic-styles/{_STYLE}style")
            for properties in style.iterfind(_STYLE + "table-properties")
            if properties.get(_TABLE + "display") == "false"
        }
        self._tables: dict[str, etree._Element] = {}
        for table in body.iterchildren(_TABLE + "table"):
            name = table.get(_TABLE + "name", "")
            check_title(name, self._tables)
            self._tables[name] = table
        self.sheets = [name for name, table in self._tables.items() if table.get(_CELL_STYLE) not in hidden]
        self.names = self._single_cells(body)
        self.local_names = {
            sheet: names for sheet, table in self._tables.items() if (names := self._single_cells(table))
        }
        self._loaded: dict[str, _Sheet] = {}
        self._names_types_twice = _CALCEXT[1:-1] in self._root.nsmap.values()

    @staticmethod
    def _addresses(scope: etree._Element) -> Iterator[tuple[str, str]]:
        """The named ranges of the workbook or of one sheet with what they denote."""
        for named in scope.iterfind(f"{_TABLE}named-expressions/{_TABLE}named-range"):
            yield named.get(_TABLE + "name", ""), named.get(_TABLE + "cell-range-address", "")
        for named in scope.iterfind(f"{_TABLE}named-expressions/{_TABLE}named-expression"):
            expression = named.get(_TABLE + "expression", "")
            yield named.get(_TABLE + "name", ""), re.sub(r"^(?:of:)?=?\[([^\[\]]*)\]$", r"\1", expression)

    def _single_cells(self, scope: etree._Element) -> dict[str, Place]:
        """The named ranges that denote one cell of a sheet that is there."""
        places = ((name, open_document_cell(address)) for name, address in self._addresses(scope))
        return {name: place for name, place in places if place is not None and place[0] in self._tables}

    def _sheet(self, name: str) -> _Sheet:
        if name not in self._loaded:
            self._loaded[name] = _load_sheet(self._tables[name])
        return self._loaded[name]

    def drawings(self, sheet: str) -> list[Area]:
        """The cells under each chart or picture of a sheet."""
        loaded, lengths = self._sheet(sheet), self._lengths()

        def width(column: int) -> float:
            run = loaded.columns
            named = run.elements[run.index(column)].get(_CELL_STYLE) if column < run.end else None
            return lengths.get(named, USUAL_COLUMN_ODS)

        def height(row: int) -> float:
            run = loaded.rows
            named = run.elements[run.index(row)].get(_CELL_STYLE) if row < run.end else None
            return lengths.get(named, USUAL_ROW_ODS)

        placed = [
            (shape, (1, 1)) for each in loaded.table.iterfind(_TABLE + "shapes") for shape in shapes(each)
        ]
        for start, row in zip(loaded.rows.starts, loaded.rows.elements, strict=True):
            line = loaded.line(row)
            for column, element in zip(line.starts, line.elements, strict=True):
                placed += [(shape, (start, column)) for shape in (shapes(element) if len(element) else ())]
        return [drawn_ods(*each, width, height) for each in placed[:MOST_DRAWINGS]]

    def _chart_parts(self) -> list[str]:
        linked = (shape.get(_XLINK + "href", "") for shape in self._body.iter(_DRAW + "object"))
        parts = [f"{link.removeprefix('./')}/content.xml" for link in linked]
        return [part for part in dict.fromkeys(parts) if part in self._package]

    def _lengths(self) -> dict[str | None, float]:
        """The widths of columns and heights of rows, in cm, by the names of their styles."""
        return {
            style.get(_STYLE + "name"): cm(stated.get(_STYLE + name))
            for kind, name in (("column", "column-width"), ("row", "row-height"))
            for style in self._root.iterfind(f"{_OFFICE}automatic-styles/{_STYLE}style")
            for stated in style.iterchildren(f"{_STYLE}table-{kind}-properties")
            if stated.get(_STYLE + name)
        }

    def _read_cells(self, sheet: str) -> dict[Position, Cell]:
        loaded = self._sheet(sheet)
        cells: dict[Position, Cell] = {}
        copies = 0
        for start, height, row in loaded.rows.counted():
            filled = [
                (first, count, cell)
                for first, count, element in loaded.line(row).counted()
                if (cell := _cell(element)) is not None
            ]
            if not filled:
                continue
            for number in range(start, start + height):
                if copies > MAX_COPIES:
                    break
                for first, count, cell in filled:
                    last = first + min(count, MAX_COPIES)
                    copies += last - first - (number == start)
                    for column in range(first, last):
                        cells[number, column] = cell
        for position in covered(loaded.blocks, cells):
            cells[position] = Cell(cells[position].value, cells[position].kind, True)
        return cells

    def merged(self, sheet: str) -> dict[Position, int]:
        """The last column of each merged cell that holds something, by where it begins."""
        loaded, last = self._sheet(sheet), dict[Position, int]()
        for row, column in self.cells(sheet):
            element = _peek(loaded, row, column)
            span = None if element is None else natural(element.get(_TABLE + "number-columns-spanned"))
            if span and span > 1:
                last[row, column] = column + span - 1
        return last

    def under_merged(self, sheet: str, row: int, column: int) -> bool:
        """Whether a merged cell that begins elsewhere hides this one."""
        element = _peek(self._sheet(sheet), row, column)
        return element is not None and element.tag == _COVERED

    def protected(self, sheet: str) -> bool:
        """Whether the person has the sheet protected against changes."""
        return self._tables[sheet].get(_TABLE + "protected") == "true"

    def _in_block(self, sheet: str, row: int, column: int) -> bool:
        return self._sheet(sheet).in_block(row, column)

    def _put(
        self,
        sheet: str,
        row: int,
        column: int,
        value: float | str | datetime | None,
        like: Position | None,
        look: Look,
        target: str | None,
    ) -> Cell | None:
        loaded = self._sheet(sheet)
        element = _reach(loaded, row, column)
        if like is not None:
            style = _style_of(loaded, *like)
            if look != ALIKE and _is_default(_style_of(loaded, row, column)):
                style = dressed_ods(self._styles(), None if _is_default(style) else style, look)
            _take_over(loaded, row, column, style)
        kind = element.get(_VALUE_TYPE)
        currency = element.get(_OFFICE + "currency")
        position = _drop_result(element)
        if value is None:
            return None
        if isinstance(value, datetime) or (kind == "date" and isinstance(value, float) and is_moment(value)):
            moment = value if isinstance(value, datetime) else EPOCH + timedelta(days=value)
            kind, text = "date", _date_text(moment)
            element.set(_OFFICE + "date-value", text)
        elif isinstance(value, str):
            kind, text = "string", value
        else:
            kind = kind if kind in _NUMBERS else "float"
            text = number_text(value)
            element.set(_VALUE, text)
            if kind == "currency" and currency is not None:
                element.set(_OFFICE + "currency", currency)
        assert kind is not None
        element.set(_VALUE_TYPE, kind)
        if self._names_types_twice:
            element.set(_CALCEXT + "value-type", kind)
        _show(element, position, text, target)
        return _cell(element)

    def differing(self, sheet: str, cells: Sequence[Position]) -> frozenset[str]:
        """Which of "fill", "border" and "font" do not belong to all these cells alike."""
        return bare_ods(self._styles(), {_style_of(self._sheet(sheet), *cell) for cell in cells})

    def _dress(self, sheet: str, row: int, column: int, like: Place) -> None:
        style = self._unconditional(_style_of(self._sheet(like[0]), *like[1:]))
        _take_over(self._sheet(sheet), row, column, style)

    def _unconditional(self, name: str | None) -> str | None:
        """The name of a style without the conditions of another, which are meant for its cells alone."""
        bare = f"{name}_bare"
        styles = self._root.find(f"{_OFFICE}automatic-styles")
        known = {
            style.get(_STYLE + "name"): style
            for style in (() if styles is None else styles.iterchildren(_STYLE + "style"))
            if style.get(_STYLE + "family") == "table-cell"
        }
        style = known.get(name)
        if style is None or style.find(_STYLE + "map") is None:
            return name
        if bare not in known:
            twin = deepcopy(style)
            twin.set(_STYLE + "name", bare)
            twin.attrib.pop(_STYLE + "display-name", "")
            for condition in twin.findall(_STYLE + "map"):
                twin.remove(condition)
            style.addnext(twin)
        return bare

    def _styles(self) -> etree._Element:
        """The automatic styles of the content."""
        styles = self._root.find(_OFFICE + "automatic-styles")
        if styles is None:
            styles = etree.Element(_OFFICE + "automatic-styles")
            body = self._body.getparent()
            assert body is not None
            body.addprevious(styles)
        return styles

    def _name(self, name: str, place: Place) -> None:
        names = self._body.find(_TABLE + "named-expressions")
        if names is None:
            names = etree.Element(_TABLE + "named-expressions")
            list(self._tables.values())[-1].addnext(names)
        for known in names.findall("*"):
            if known.get(_TABLE + "name", "").casefold() == name.casefold():
                names.remove(known)
        element = etree.SubElement(names, _TABLE + "named-range")
        sheet, row, column = place
        quoted = sheet.replace("'", "''")
        address = f"$'{quoted}'.${column_letters(column)}${row}"
        element.set(_TABLE + "name", name)
        element.set(_TABLE + "base-cell-address", address)
        element.set(_TABLE + "cell-range-address", address)

    def offer(
        self, sheet: str, cells: Sequence[Position], choices: Sequence[str], title: str, prompt: str
    ) -> None:
        """Give cells below each other a drop-down, or without choices a prompt."""
        rules = self._body.find(_TABLE + "content-validations")
        if rules is None:
            rules = etree.Element(_TABLE + "content-validations")
            after = next(self._body.iterchildren(_TABLE + "label-ranges", _TABLE + "table"))
            after.addprevious(rules)
        quoted = sheet.replace("'", "''")
        taken = {rule.get(_TABLE + "name") for rule in rules}
        name = next(name for n in itertools.count(1) if (name := f"sheetcalc{n}") not in taken)
        rule = etree.SubElement(rules, _TABLE + "content-validation", {_TABLE + "name": name})
        rule.set(_TABLE + "allow-empty-cell", "true")
        rule.set(_TABLE + "base-cell-address", f"'{quoted}'.{cell_name(*cells[0])}")
        message = etree.SubElement(rule, _TABLE + "help-message", {_TABLE + "title": title})
        message.set(_TABLE + "display", "true")
        etree.SubElement(message, _P).text = prompt
        if choices:
            listed = ";".join(f'"{choice}"' for choice in choices)
            rule.set(_TABLE + "condition", f"of:cell-content-is-in-list({listed})")
            rule.set(_TABLE + "display-list", "unsorted")
            error = etree.SubElement(rule, _TABLE + "error-message", {_TABLE + "message-type": "stop"})
            error.set(_TABLE + "display", "true")
        for cell in cells:
            element = _reach(self._sheet(sheet), *cell)
            if element.get(_VALIDATION) is None:
                element.set(_VALIDATION, name)

    def widen(self, sheet: str, column: int, letters: float) -> None:
        """Make a column that was written to at least so many letters wide."""
        table, run = self._sheet(sheet).table, self._sheet(sheet).columns
        there = run.elements[run.index(column)].get(_CELL_STYLE) if column < run.end else None
        style = column_style_ods(self._styles(), there, letters)
        if style is None:
            return
        for count in (column - run.end, 1) if column >= run.end else ():
            if count:
                _append_columns(table, run, count)
        run.single(column).set(_CELL_STYLE, style)

    def _link_target(self, sheet: str, row: int, column: int) -> str:
        quoted = sheet.replace("'", "''")
        return f"#'{quoted}'.{cell_name(row, column)}"

    def _link_at(self, sheet: str, row: int, column: int) -> str | None:
        element = _peek(self._sheet(sheet), row, column)
        for link in _links(element):
            href = link.get(_XLINK + "href", "")
            if href.startswith("#"):
                place = open_document_cell(href[1:])
                return href if place is None else self._link_target(*place)
        return None

    def _file_target(self, path: str) -> str:
        # The content lies one step inside of the file.
        return "../" + quote(path)

    def _file_at(self, sheet: str, row: int, column: int) -> str | None:
        element = _peek(self._sheet(sheet), row, column)
        return next((link.get(_XLINK + "href", "") for link in _links(element)), None)

    def _edited_parts(self) -> dict[str, bytes]:
        stale: dict[str, list[Area]] = {}
        for formula in dependants(self._formulas(), self._written):
            sheet, row, column = formula.place
            element = _peek(self._sheet(sheet), row, column)
            assert element is not None
            _drop_result(element)
            stale.setdefault(sheet, []).append(formula.covers)
        for sheet, areas in stale.items():
            loaded = self._sheet(sheet)
            filled = set(loaded.blocks)
            blocks = [area for area in areas if area._replace(sheet="") in filled]
            for place in covered(blocks, self.cells(sheet)) if blocks else ():
                _drop_result(_reach(loaded, *place))
            if sheet in self._cells:
                forget(self._cells[sheet], covered(areas, self._cells[sheet]))
        return {_CONTENT: serialize(self._root)}

    def _forget_edits(self) -> None:
        """Nothing but the content is ever edited, and only after a write."""

    def _formulas(self) -> list[Formula]:
        """All formulas of the workbook with the cells they look at."""
        local = {
            sheet: {name.casefold(): text for name, text in self._addresses(table)}
            for sheet, table in self._tables.items()
        }
        everywhere = dict(self._addresses(self._body))
        for block in self._body.iterfind(f"{_TABLE}database-ranges/{_TABLE}database-range"):
            everywhere[block.get(_TABLE + "name", "")] = block.get(_TABLE + "target-range-address", "")
        shared = {name.casefold(): text for name, text in everywhere.items()}

        def denoted(name: str, sheet: str) -> str | None:
            stands_for = local.get(sheet, {}).get(name, shared.get(name))
            if stands_for is None or "[" in stands_for or "=" in stands_for:
                return stands_for
            return f"[{stands_for}]"

        names = named_areas(denoted, lambda formula, sheet: within_names.open_document(formula, sheet))
        sheets = list(self._tables)
        within_names = Reader(sheets, names, fixed=False)
        meanings = (tuple(shared.items()), repr(local))
        reader = Reader(sheets, names, meanings=meanings)
        formulas = []
        for name in self._tables:
            sheet = self._sheet(name)
            if not _HAS_FORMULAS(sheet.table):
                continue
            for start, copies, row in sheet.rows.counted():
                for column, count, element in sheet.line(row).counted():
                    text = element.get(_FORMULA)
                    if text is not None:
                        height = max(_matrix(element, "rows"), copies)
                        width = max(_matrix(element, "columns"), count)
                        covers = Area(name, start, column, start + height - 1, column + width - 1)
                        looks_at = reader.open_document(text, name)
                        formulas.append(Formula((name, start, column), covers, looks_at))
        return formulas


def _load_sheet(table: etree._Element) -> _Sheet:
    sheet = _Sheet(table, _Run(_ROWS_REPEATED), _Run(_COLUMNS_REPEATED))
    sheet.rows.add(_inner(table, _ROW_GROUPS, _ROW))
    sheet.columns.add(_inner(table, _COLUMN_GROUPS, _TABLE + "table-column"))
    if sheet.columns.end - 1 > MAX_COLUMN * 4 or sheet.rows.end - 1 > MAX_ROW * 16:
        raise BadWorkbook(
            "A sheet has more rows or columns than a spreadsheet program allows; the file is damaged, "
            "use a backup copy."
        )
    for start, _, row in sheet.rows.counted() if _HAS_MATRICES(table) else ():
        for column, _, element in sheet.line(row).counted():
            height, width = _matrix(element, "rows"), _matrix(element, "columns")
            if height * width > 1:
                sheet.blocks.append(
                    array_area(Area("", start, column, start + height - 1, column + width - 1))
                )
    return sheet


def _inner(parent: etree._Element, groups: set[str], tag: str) -> Iterator[etree._Element]:
    for child in parent.iterchildren(tag, *groups):
        if child.tag == tag:
            yield child
        else:
            yield from _inner(child, groups, tag)


def _repeats(element: etree._Element, attribute: str) -> int:
    stated = element.get(attribute)
    if stated is None:
        return 1
    repeats = natural(stated) or 0
    if not 1 <= repeats <= 2**24:
        raise BadWorkbook(
            "A sheet has a row or cell repeated a senseless number of times; the file is damaged, "
            "use a backup copy."
        )
    return repeats


def _matrix(element: etree._Element, way: str) -> int:
    return natural(element.get(_MATRIX[way])) or 1


def _copy(element: etree._Element, attribute: str, count: int) -> etree._Element:
    twin = deepcopy(element)
    twin.tail = None
    if count > 1:
        twin.set(attribute, str(count))
    else:
        twin.attrib.pop(attribute, "")
    return twin


def _links(element: etree._Element | None) -> Iterator[etree._Element]:
    """The links in the shown text of a cell."""
    for paragraph in () if element is None else element.iterchildren(_P):
        if len(paragraph):
            yield from paragraph.iterdescendants(_A)


def _peek(sheet: _Sheet, row: int, column: int) -> etree._Element | None:
    """The element that stands for a cell, perhaps among others, without changing anything."""
    if row >= sheet.rows.end:
        return None
    line = sheet.line(sheet.rows.elements[sheet.rows.index(row)])
    return line.elements[line.index(column)] if column < line.end else None


def _reach(sheet: _Sheet, row: int, column: int) -> etree._Element:
    """The element that stands for one cell alone, made or split off where necessary."""
    if row >= sheet.rows.end:
        _append_rows(sheet, row)
    line_element = sheet.rows.single(row)
    line = sheet.line(line_element)
    if column >= line.end:
        missing = column - line.end
        for count in (missing, 1):
            if count:
                cell = etree.SubElement(line_element, _CELL)
                if count > 1:
                    cell.set(_COLUMNS_REPEATED, str(count))
                line.add([cell])
    return line.single(column)


def _append_columns(table: etree._Element, run: _Run, count: int) -> None:
    new = etree.Element(_TABLE + "table-column")
    if count > 1:
        new.set(_COLUMNS_REPEATED, str(count))
    last = run.elements[-1] if run.elements else None
    while last is not None and last.getparent() is not table:
        last = last.getparent()
    if last is not None:
        last.addnext(new)
    else:
        rows = next(table.iterchildren(_ROW, *_ROW_GROUPS), None)
        table.insert(len(table) if rows is None else table.index(rows), new)
    run.add([new])


def _append_rows(sheet: _Sheet, row: int) -> None:
    style = sheet.rows.elements[-1].get(_CELL_STYLE) if sheet.rows.elements else None
    for count in (row - sheet.rows.end, 1):
        if not count:
            continue
        new = etree.Element(_ROW)
        if style is not None:
            new.set(_CELL_STYLE, style)
        if count > 1:
            new.set(_ROWS_REPEATED, str(count))
        etree.SubElement(new, _CELL)
        last = sheet.rows.elements[-1] if sheet.rows.elements else None
        while last is not None and last.getparent() is not sheet.table:
            last = last.getparent()
        if last is not None:
            last.addnext(new)
        else:
            sheet.table.append(new)
        sheet.rows.add([new])


def _style_of(sheet: _Sheet, row: int, column: int) -> str | None:
    """The name of the style a cell has, from itself, its row or its column."""
    element = _peek(sheet, row, column)
    style = None if element is None else element.get(_CELL_STYLE)
    if style is None and row < sheet.rows.end:
        style = sheet.rows.elements[sheet.rows.index(row)].get(_DEFAULT_STYLE)
    if style is None:
        run = sheet.columns
        style = run.elements[run.index(column)].get(_DEFAULT_STYLE) if run.elements else None
    return style


def _take_over(sheet: _Sheet, row: int, column: int, style: str | None) -> None:
    """Give a cell a style where it has none of its own."""
    if style is not None and not _is_default(style) and _is_default(_style_of(sheet, row, column)):
        _reach(sheet, row, column).set(_CELL_STYLE, style)


def _is_default(style: str | None) -> bool:
    return style in (None, "Default")


def _remove_text(element: etree._Element) -> int:
    """Take the shown text out of a cell; what else it holds stays. Returns where new text belongs."""
    position = None
    for child in list(element):
        if child.tag in (_P, _TEXT + "h", _TEXT + "list"):
            if position is None:
                position = element.index(child)
            element.remove(child)
    if position is not None:
        return position
    return sum(
        1
        for child in element
        if child.tag in (_OFFICE + "annotation", _TABLE + "detective", _TABLE + "cell-range-source")
    )


def _drop_result(element: etree._Element) -> int:
    """Take value and shown text out of a cell. Returns where new text belongs."""
    for name in _VALUES.intersection(element.keys()):
        del element.attrib[name]
    return _remove_text(element)


def _show(cell: etree._Element, position: int, text: str, target: str | None) -> None:
    """Put the shown text into a cell, from a position among its children on, as a link where it leads on."""
    for number, line in enumerate(text.split("\n"), start=position):
        # An element is made fastest as the last one; mostly it belongs there.
        paragraph = inner = etree.SubElement(cell, _P)
        if number < len(cell) - 1:
            cell.insert(number, paragraph)
        if target is not None:
            inner = etree.SubElement(paragraph, _A)
            inner.set(_XLINK + "href", target)
            inner.set(_XLINK + "type", "simple")
        _fill(inner, line)


def _fill(element: etree._Element, line: str) -> None:
    """Put a line of text into an element, with tabs and all but single inner spaces as elements."""
    # A trailing space would be dropped by readers that trim.
    ending = len(line) - len(line.rstrip(" "))
    if ending == 1 and len(line) > 1 and line[-2] != " ":
        _fill(element, line[:-1])
        etree.SubElement(element, _TEXT + "s")
        return
    last: etree._Element | None = None
    done = 0
    for match in _TO_MARK.finditer(line):
        _append(element, last, line[done : match.start()])
        if match[0] == "\t":
            last = etree.SubElement(element, _TEXT + "tab")
        else:
            last = etree.SubElement(element, _TEXT + "s")
            if len(match[0]) > 1:
                last.set(_TEXT + "c", str(len(match[0])))
        done = match.end()
    _append(element, last, line[done:])


def _append(element: etree._Element, last: etree._Element | None, text: str) -> None:
    if last is None:
        element.text = (element.text or "") + text or None
    else:
        last.tail = text or None


def _date_text(moment: datetime) -> str:
    moment = moment.replace(tzinfo=None)
    if moment == datetime.combine(moment.date(), datetime.min.time()):
        return moment.date().isoformat()
    return moment.isoformat()


def _cell(element: etree._Element) -> Cell | None:
    formula = element.get(_FORMULA) is not None
    if not formula and not len(element) and _VALUES.isdisjoint(element.keys()):
        # Most cells of a sheet hold nothing but a style.
        return None
    kind, value = _value(element)
    if value is None and not formula:
        return None
    # LibreOffice stores an empty text as a paragraph alone.
    if kind == "blank" and formula and element.find(_TEXT + "p") is not None:
        return Cell("", "text", formula)
    return Cell(value, kind, formula)


def _value(element: etree._Element) -> tuple[Kind, float | str | bool | None]:
    kind = element.get(_VALUE_TYPE)
    if element.get(_CALCEXT + "value-type") == "error":
        return "error", _shown(element)
    try:
        if kind in _NUMBERS:
            return _NUMBERS[kind], read_number(element.get(_VALUE, ""))
        if kind == "date":
            days = _date_serial(element.get(_OFFICE + "date-value", ""))
            return "moment" if is_moment(days) else "number", days
        if kind == "time":
            days = _time_serial(element.get(_OFFICE + "time-value", ""))
            return "moment" if is_moment(days) else "number", days
    except (ValueError, OverflowError):
        kind = "string"
    if kind == "boolean":
        return "bool", element.get(_OFFICE + "boolean-value") == "true"
    text = element.get(_OFFICE + "string-value")
    if text is None:
        text = _shown(element)
    return ("text", cut(text)) if text else ("blank", None)


def _shown(element: etree._Element) -> str:
    return cut("\n".join([_line(paragraph) for paragraph in element.iterchildren(_P)]))


def _line(paragraph: etree._Element) -> str:
    if not len(paragraph):
        return _SPACES.sub(" ", paragraph.text or "").strip("\r\n")
    pieces, length = [], 0
    for piece in _pieces(paragraph):
        pieces.append(piece)
        length += len(piece)
        if length > MAX_TEXT:
            break
    return "".join(pieces).strip("\r\n")


def _pieces(element: etree._Element) -> Iterator[str]:
    if element.text:
        yield _SPACES.sub(" ", element.text)
    for child in element:
        if child.tag == _TEXT + "s":
            yield " " * min(natural(child.get(_TEXT + "c")) or 1, MAX_TEXT)
        elif child.tag == _TEXT + "tab":
            yield "\t"
        elif child.tag == _TEXT + "line-break":
            yield "\n"
        elif isinstance(child.tag, str) and child.tag not in (
            _OFFICE + "annotation",
            _TEXT + "note",
            _TEXT + "ruby-text",
        ):
            yield from _pieces(child)
        if child.tail:
            yield _SPACES.sub(" ", child.tail)


def _date_serial(text: str) -> float:
    if "T" in text:
        return serial(datetime.fromisoformat(text.rstrip("Z")[:26]))
    return serial(datetime.combine(date.fromisoformat(text), datetime.min.time()))


def _time_serial(text: str) -> float:
    match = _DURATION.fullmatch(text)
    if match is None or not any(match.groups()[1:]):
        raise ValueError(text)
    days, hours, minutes = (int(part or 0) for part in match.groups()[1:4])
    seconds = float((match[5] or "0").replace(",", "."))
    total = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds) / timedelta(days=1)
    return -total if match[1] else total
