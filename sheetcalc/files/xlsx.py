"""Excel workbooks (.xlsx, .xlsm) edited in place."""

import contextlib
import posixpath
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cached_property, lru_cache
from urllib.parse import quote, unquote

from lxml import etree

from sheetcalc.files.drawings import drawn_xlsx
from sheetcalc.files.new_columns import bare_xlsx, dressed_xlsx, widen_xlsx
from sheetcalc.files.package import BadWorkbook, Package, brief, serialize
from sheetcalc.files.references import (
    Area,
    Formula,
    Reader,
    area_of,
    array_area,
    cell_name,
    column_letters,
    column_number,
    covered,
    dependants,
    excel_cell,
    holder,
    named_areas,
    whole,
)
from sheetcalc.files.row_heights import USUAL_SIZE, cell_width, column_widths, fit, letter_size, merged_to
from sheetcalc.files.workbook import (
    ALIKE,
    EPOCH,
    MAX_COLUMN,
    MAX_ROW,
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

_MAIN = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",
)
# How relationships are called in a workbook of either kind, by the namespace of its sheets.
_RELATIONSHIPS = {
    _MAIN[0]: "http://schemas.openxmlformats.org/officeDocument/2006/relationships",
    _MAIN[1]: "http://purl.oclc.org/ooxml/officeDocument/relationships",
}
_PACKAGE_RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
_XML_SPACE = "{http://www.w3.org/XML/1998/namespace}space"
_SHIFT_1904 = 1462
LONGEST_FORMAT = 255
# What the schema wants before <hyperlinks> in a sheet.
_BEFORE_LINKS = frozenset(
    {
        *("sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetCalcPr"),
        *("sheetProtection", "protectedRanges", "scenarios", "autoFilter", "sortState", "dataConsolidate"),
        *("customSheetViews", "mergeCells", "phoneticPr", "conditionalFormatting", "dataValidations"),
    }
)
# What the schema wants before <definedNames> in the workbook.
_BEFORE_NAMES = frozenset(
    {
        *("fileVersion", "fileSharing", "workbookPr", "workbookProtection", "bookViews", "sheets"),
        *("functionGroups", "externalReferences"),
    }
)
# What the schema wants after <calcPr> in the workbook.
_AFTER_CALCULATION = frozenset(
    {
        *("oleSize", "customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes", "webPublishing"),
        *("fileRecoveryPr", "webPublishObjects", "extLst"),
    }
)
_DATE_FORMATS = frozenset([*range(14, 23), *range(27, 37), 45, 46, 47, *range(50, 59)])
_PERCENT_FORMATS = frozenset([9, 10])
_FORMAT_LITERALS = re.compile(r'"[^"]*"|\\.|[_*].|\[(?!h+\]|m+\]|s+\])[^\]]*\]', re.IGNORECASE)
_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_CELL_NAME = re.compile(r"([A-Za-z]{1,3})([0-9]{1,7})")
# The columns that most sheets have, by their letters.
_COLUMNS = {column_letters(column): column for column in range(1, 27 * 27)}
_FORMULA_TAG = re.compile(rb"<(?:[^\s<>/:]+:)?f[\s>/]")


@dataclass
class _Sheet:
    """One sheet's XML with its rows and cells by number."""

    part: str
    root: etree._Element
    data: etree._Element
    namespace: str
    rows: dict[int, etree._Element] = field(default_factory=dict)
    cells: dict[Position, etree._Element] = field(default_factory=dict)
    # Links by the name of their cell.
    links: dict[str, etree._Element] = field(default_factory=dict)
    # Whether some rows or cells have no number of their own.
    unnumbered: bool = False
    # Blocks that one array formula or data table fills.
    blocks: list[Area] = field(default_factory=list)
    edited: bool = False
    # Cells that were not there before.
    added: list[Position] = field(default_factory=list)
    # The listing of what the sheet's part points to, once a link to a file was asked for.
    relations: etree._Element | None = None
    relations_edited: bool = False

    @cached_property
    def column_styles(self) -> list[tuple[int, int, str]]:
        """The first and the last column that a style holds for, and its number."""
        return [
            (natural(columns.get("min")) or 0, natural(columns.get("max")) or 0, columns.get("style", "0"))
            for columns in self.root.iterfind("{*}cols/{*}col")
        ]

    @cached_property
    def in_block(self) -> Callable[[int, int], bool]:
        """Tells whether a cell lies in one of the blocks."""
        return holder(self.blocks)

    def tag(self, name: str) -> str:
        return f"{{{self.namespace}}}{name}"


class XlsxWorkbook(Workbook):
    """An Excel workbook; the sheets' XML is parsed when they are first asked for."""

    def __init__(self, package: Package, workbook_part: str) -> None:
        """Raises BadWorkbook when `workbook_part` is no workbook."""
        super().__init__(package)
        self._part = workbook_part
        self._root = package.xml(workbook_part)
        tag = etree.QName(self._root)
        if tag.localname != "workbook" or tag.namespace not in _MAIN:
            raise BadWorkbook("This is not an Excel workbook but another kind of document; name a workbook.")
        self._namespace = tag.namespace
        relations = relationships(package, workbook_part)
        self._parts: dict[str, str] = {}
        self._order: list[str] = []
        self.sheets = []
        taken = {workbook_part.casefold()}
        for sheet in self._root.iterfind("{*}sheets/{*}sheet"):
            kind, part = relations.get(_relation_id(sheet), ("", ""))
            title = sheet.get("name", "")
            self._order.append(title)
            if kind == "worksheet":
                check_title(title, self._parts)
                if part.casefold() in taken:
                    raise BadWorkbook(f"Its part {brief(part)} is used twice; use a backup copy.")
                taken.add(part.casefold())
                self._parts[title] = part
                if sheet.get("state", "visible") == "visible":
                    self.sheets.append(title)
        by_kind = dict(relations.values())
        self._shared = _shared_strings(package, by_kind.get("sharedStrings"))
        styles = by_kind.get("styles")
        self._styles_part = styles or ""
        self._styles: etree._Element | None = None
        self._styles_edited = False
        self._looks: dict[tuple[str, Look], str] = {}
        looks = package.xml(styles) if styles is not None and styles in package else None
        self._style_kinds = {} if looks is None else _style_kinds(looks)
        self._wrapping = {} if looks is None else _wrapping_styles(looks)
        properties = self._root.find("{*}workbookPr")
        is_1904 = properties is not None and properties.get("date1904") in ("1", "true")
        self._shift = _SHIFT_1904 if is_1904 else 0
        self._defined = {
            (name.get("name", "").casefold(), name.get("localSheetId")): name.text or ""
            for name in self._root.iterfind("{*}definedNames/{*}definedName")
        }
        self.names, self.local_names = {}, {}
        homes = {str(number): title for number, title in enumerate(self._order)}
        for name in self._root.iterfind("{*}definedNames/{*}definedName"):
            place, scope = excel_cell(name.text or ""), name.get("localSheetId")
            if place is None or place[0] not in self._parts:
                continue
            if scope is None:
                self.names[name.get("name", "")] = place
            elif scope in homes:
                self.local_names.setdefault(homes[scope], {})[name.get("name", "")] = place
        self._loaded: dict[str, _Sheet] = {}
        # Whether the workbook's part was edited, for a name or to have everything computed.
        self._part_edited = False

    def _sheet(self, name: str) -> _Sheet:
        if name not in self._loaded:
            self._loaded[name] = _load_sheet(self._package, self._parts[name])
        return self._loaded[name]

    def merged(self, sheet: str) -> dict[Position, int]:
        """The last column of each merged cell, by where it begins."""
        return merged_to(self._sheet(sheet).root)

    def under_merged(self, sheet: str, row: int, column: int) -> bool:
        """Whether a merged cell that begins elsewhere hides this one."""
        areas = (
            area_of("", area.get("ref", ""))
            for area in self._sheet(sheet).root.iterfind("{*}mergeCells/{*}mergeCell")
        )
        return any(a.holds(row, column) and (row, column) != (a.top, a.left) for a in areas if a)

    def protected(self, sheet: str) -> bool:
        """Whether the person has the sheet protected against changes."""
        protection = self._sheet(sheet).root.find("{*}sheetProtection")
        return protection is not None and protection.get("sheet") in ("1", "true")

    def drawings(self, sheet: str) -> list[Area]:
        """The cells under each chart or picture of a sheet."""
        drawn: list[Area] = []
        for kind, part in relationships(self._package, self._parts[sheet]).values():
            if kind == "drawing" and part in self._package:
                # A damaged drawing is no reason to leave the cells alone.
                with contextlib.suppress(BadWorkbook):
                    widths = column_widths(self._sheet(sheet).root)
                    drawn += drawn_xlsx(self._package.xml(part), widths)
        return drawn

    def _chart_parts(self) -> list[str]:
        drawn = [
            part
            for sheet in self._parts.values()
            for kind, part in relationships(self._package, sheet).values()
            if kind == "drawing"
        ]
        return [
            part
            for drawing in drawn
            for kind, part in relationships(self._package, drawing).values()
            if kind == "chart"
        ]

    def _read_cells(self, sheet: str) -> dict[Position, Cell]:
        loaded = self._sheet(sheet)
        cells = {}
        in_block = covered(loaded.blocks, loaded.cells)
        for position, element in loaded.cells.items():
            # Most cells of a sheet hold nothing but a style.
            if len(element) or position in in_block:
                cell = self._cell(element, position in in_block)
                if cell is not None:
                    cells[position] = cell
        return cells

    def _cell(self, element: etree._Element, in_block: bool = False) -> Cell | None:
        parts = {_local(child.tag): child for child in element}
        formula = in_block or "f" in parts
        kind, value = self._value(element, parts)
        if value is None and not formula:
            return None
        if kind == "blank" and formula and element.get("t") == "str":
            return Cell("", "text", formula)
        return Cell(value, kind, formula)

    def _value(
        self, element: etree._Element, parts: dict[str, etree._Element]
    ) -> tuple[Kind, float | str | bool | None]:
        kind = element.get("t", "n")
        if kind == "inlineStr":
            return _text(_rich_text(parts.get("is")))
        if "v" not in parts:
            return "blank", None
        content = parts["v"].text or ""
        try:
            if kind == "s":
                index = natural(content.strip())
                return _text(content if index is None else self._shared[index])
            if kind == "str":
                return _text(_unescape(content))
            if kind == "b":
                return "bool", content.strip() in ("1", "true")
            if kind == "e":
                return "error", content
            if kind == "d":
                days = _iso_serial(content.strip())
                return "moment" if is_moment(days) else "number", days
            number = read_number(content)
        except (ValueError, IndexError):
            return _text(content)
        style = self._style_kinds.get(element.get("s", "0"), "number")
        if style != "moment":
            return style, number
        return ("moment", number + self._shift) if is_moment(number + self._shift) else ("number", number)

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
        loaded.edited = True
        element = loaded.cells.get((row, column))
        if element is not None:
            _empty(element)
        elif value is None:
            _set_link(loaded, row, column, None)
            return None
        else:
            element = _new_cell(loaded, row, column)
        if like is not None and element.get("s", "0") == "0":
            style = _style_of(loaded, *like)
            style = style if look == ALIKE else self._dressed(style, look)
            if style != "0":
                element.set("s", style)
        self._fill(loaded, element, value)
        if target is None or target.startswith("'"):
            _set_link(loaded, row, column, target)
        else:
            self._link_to_file(loaded, cell_name(row, column), target)
        return self._cell(element)

    def _dress(self, sheet: str, row: int, column: int, like: Place) -> None:
        loaded = self._sheet(sheet)
        style = _style_of(self._sheet(like[0]), *like[1:])
        if style != "0":
            loaded.edited = True
            element = loaded.cells.get((row, column))
            element = _new_cell(loaded, row, column) if element is None else element
            if element.get("s", "0") == "0":
                element.set("s", style)

    def differing(self, sheet: str, cells: Sequence[Position]) -> frozenset[str]:
        """Which of "fill", "border" and "font" do not belong to all these cells alike."""
        loaded = self._sheet(sheet)
        if not self._open_styles() or self._styles is None:
            return frozenset()
        return bare_xlsx(self._styles, {_style_of(loaded, *cell) for cell in cells})

    def _open_styles(self) -> bool:
        """Have the styles' part parsed; whether there is one."""
        if self._styles is None and self._styles_part in self._package:
            self._styles = self._package.xml(self._styles_part)
        return self._styles is not None

    def _dressed(self, style: str, look: Look) -> str:
        """The style that takes over of another what a look says."""
        if (style, look) not in self._looks:
            if not self._open_styles() or self._styles is None:
                return style
            before = len(self._styles.findall("{*}cellXfs/{*}xf"))
            self._looks[style, look] = dressed_xlsx(self._styles, style, look)
            if len(self._styles.findall("{*}cellXfs/{*}xf")) > before:
                self._styles_edited = True
                self._style_kinds = _style_kinds(self._styles)
                self._wrapping = _wrapping_styles(self._styles)
        return self._looks[style, look]

    def _name(self, name: str, place: Place) -> None:
        names = self._root.find("{*}definedNames")
        if names is None:
            names = etree.Element(f"{{{self._namespace}}}definedNames")
            before = [child for child in self._root if etree_name(child) in _BEFORE_NAMES]
            before[-1].addnext(names)
        known = names.iterchildren("{*}definedName")
        named = (
            e
            for e in known
            if (e.get("name", "").casefold(), e.get("localSheetId")) == (name.casefold(), None)
        )
        element = next(named, None)
        if element is None:
            element = etree.SubElement(names, f"{{{self._namespace}}}definedName", name=name)
        sheet, row, column = place
        quoted = sheet.replace("'", "''")
        element.text = f"'{quoted}'!${column_letters(column)}${row}"
        self._defined[name.casefold(), None] = element.text
        self._part_edited = True

    def offer(
        self, sheet: str, cells: Sequence[Position], choices: Sequence[str], title: str, prompt: str
    ) -> None:
        """Give cells below each other a drop-down, or without choices a prompt."""
        loaded = self._sheet(sheet)
        rules = loaded.root.find("{*}dataValidations")
        if rules is None:
            rules = etree.Element(loaded.tag("dataValidations"))
            before = [e for e in loaded.root if etree_name(e) in _BEFORE_LINKS - {"dataValidations"}]
            before[-1].addnext(rules)
        known = (area_of("", part) for rule in rules for part in (rule.get("sqref") or "").split())
        if any(area and area.holds(*cell) for area in known for cell in cells):
            return
        kind = {"type": "list", "showErrorMessage": "1"} if choices else {}
        area = f"{cell_name(*cells[0])}:{cell_name(*cells[-1])}"
        rule = etree.SubElement(
            rules,
            loaded.tag("dataValidation"),
            {**kind, "allowBlank": "1", "showInputMessage": "1", "promptTitle": title, "prompt": prompt},
            sqref=area,
        )
        if choices:
            etree.SubElement(rule, loaded.tag("formula1")).text = f'"{",".join(choices)}"'
        rules.set("count", str(len(rules)))
        loaded.edited = True

    def widen(self, sheet: str, column: int, letters: float) -> None:
        """Make a column that was written to at least so many letters wide."""
        widen_xlsx(self._sheet(sheet).root, column, letters)

    def _fill(self, loaded: _Sheet, element: etree._Element, value: float | str | datetime | None) -> None:
        if value is None:
            return
        if isinstance(value, str):
            element.set("t", "inlineStr")
            inline = _first_child(element, loaded.tag("is"))
            text = etree.SubElement(inline, loaded.tag("t"))
            text.text = _escape(value)
            if value != value.strip() or "\n" in value or "  " in value:
                text.set(_XML_SPACE, "preserve")
            return
        dated = isinstance(value, datetime)
        number = serial(value) if isinstance(value, datetime) else value
        if dated or self._style_kinds.get(element.get("s", "0")) == "moment":
            number -= self._shift
        _first_child(element, loaded.tag("v")).text = number_text(number)

    def _link_target(self, sheet: str, row: int, column: int) -> str:
        quoted = sheet.replace("'", "''")
        return f"'{quoted}'!{cell_name(row, column)}"

    def _link_at(self, sheet: str, row: int, column: int) -> str | None:
        links = self._sheet(sheet).links
        link = links.get(cell_name(row, column)) if links else None
        if link is None or _relation_id(link):
            return None
        location = link.get("location", "")
        place: Place | None = excel_cell(location)
        return location if place is None else self._link_target(*place)

    def _file_target(self, path: str) -> str:
        return quote(path)

    def _file_at(self, sheet: str, row: int, column: int) -> str | None:
        loaded = self._sheet(sheet)
        link = loaded.links.get(cell_name(row, column))
        wanted = None if link is None else _relation_id(link)
        for relation in self._relations(loaded) if wanted else ():
            if relation.get("Id") == wanted and relation.get("TargetMode") == "External":
                return relation.get("Target")
        return None

    def _relations(self, loaded: _Sheet) -> etree._Element:
        """The listing of what a sheet's part points to; made where there is none."""
        if loaded.relations is None:
            part, bare = _relations_part(loaded.part), f'<Relationships xmlns="{_PACKAGE_RELATIONSHIPS}"/>'
            loaded.relations = self._package.xml(part) if part in self._package else etree.fromstring(bare)
        return loaded.relations

    def _link_to_file(self, loaded: _Sheet, name: str, target: str) -> None:
        relations = self._relations(loaded)
        kind = _RELATIONSHIPS[loaded.namespace]
        found = next((r for r in relations if r.get("Target") == target and _is_file_link(r)), None)
        if found is None:
            taken = {relation.get("Id") for relation in relations}
            number = next(
                n for n in range(len(relations) + 1, len(relations) + 10_000) if f"rId{n}" not in taken
            )
            found = etree.SubElement(
                relations,
                f"{{{_PACKAGE_RELATIONSHIPS}}}Relationship",
                Id=f"rId{number}",
                Type=f"{kind}/hyperlink",
                Target=target,
                TargetMode="External",
            )
            loaded.relations_edited = True
        link = _link_element(loaded, name)
        link.attrib.pop("location", "")
        link.set(f"{{{kind}}}id", found.get("Id", ""))

    def _fit_rows(self) -> None:
        """Make the rows in which something was written high enough for their texts."""
        for sheet, positions in self._written.items():
            loaded, cells = self._sheet(sheet), self.cells(sheet)
            widths, merged = column_widths(loaded.root), merged_to(loaded.root)
            wrapped: dict[int, list[tuple[float, float, str]]] = {row: [] for row, _ in positions}
            for (row, column), cell in cells.items():
                if row in wrapped and isinstance(cell.value, str):
                    size = self._wrapping.get(loaded.cells[row, column].get("s", "0"))
                    if size:
                        wrapped[row].append((cell_width(row, column, widths, merged), size, cell.value))
            for row, texts in wrapped.items():
                if row in loaded.rows:
                    fit(loaded.rows[row], texts)

    def _edited_parts(self) -> dict[str, bytes]:
        self._fit_rows()
        formulas = self._formulas()
        stale: dict[str, list[Area]] = {}
        for formula in dependants(formulas, self._written):
            stale.setdefault(formula.covers.sheet, []).append(formula.covers)
        for sheet, areas in stale.items():
            loaded = self._sheet(sheet)
            positions = covered(areas, loaded.cells)
            for position in positions:
                if _drop_result(loaded.cells[position]):
                    loaded.edited = True
            if sheet in self._cells:
                forget(self._cells[sheet], positions)
        if formulas:
            self._ask_for_calculation()
        edited = [loaded for loaded in self._loaded.values() if loaded.edited]
        for loaded in edited:
            _grow_dimension(loaded)
        parts = {loaded.part: serialize(loaded.root) for loaded in edited}
        for loaded in self._loaded.values():
            if loaded.relations is not None and loaded.relations_edited:
                parts[_relations_part(loaded.part)] = serialize(loaded.relations)
        if self._styles is not None and self._styles_edited:
            parts[self._styles_part] = serialize(self._styles)
        if self._part_edited:
            parts[self._part] = serialize(self._root)
        return parts

    def _forget_edits(self) -> None:
        self._part_edited = self._styles_edited = False
        for loaded in self._loaded.values():
            loaded.edited = loaded.relations_edited = False

    def _ask_for_calculation(self) -> None:
        """Have the workbook computed when it is opened."""
        settings = self._root.find("{*}calcPr")
        if settings is None:
            settings = etree.Element(f"{{{self._namespace}}}calcPr")
            after = next(
                (child for child in self._root if etree_name(child) in _AFTER_CALCULATION),
                None,
            )
            if after is None:
                self._root.append(settings)
            else:
                after.addprevious(settings)
        if settings.get("fullCalcOnLoad") not in ("1", "true"):
            settings.set("fullCalcOnLoad", "1")
            self._part_edited = True

    def _formulas(self) -> list[Formula]:
        """All formulas of the workbook with the cells they look at."""
        tables = self._tables()
        positions = {sheet: str(index) for index, sheet in enumerate(self._order)}

        def text(name: str, sheet: str) -> str | None:
            if name in tables:
                return tables[name]
            return self._defined.get((name, positions.get(sheet)), self._defined.get((name, None)))

        names = named_areas(text, lambda formula, sheet: within_names.excel(formula, sheet))
        within_names = Reader(self._order, names, fixed=False)
        meanings = (tuple(tables.items()), tuple(self._defined.items()))
        reader = Reader(self._order, names, meanings=meanings)
        formulas: list[Formula] = []
        for name, part in self._parts.items():
            if name in self._loaded or _FORMULA_TAG.search(self._package.read(part).replace(b"\0", b"")):
                formulas += _sheet_formulas(self._sheet(name), name, reader)
        return formulas

    def _tables(self) -> dict[str, str]:
        """The references of the workbook's tables by name."""
        tables = {}
        for name, part in self._parts.items():
            for kind, table_part in relationships(self._package, part).values():
                if kind == "table" and table_part in self._package:
                    table = self._package.xml(table_part)
                    quoted = name.replace("'", "''")
                    area = re.sub("([A-Z]+)([0-9]+)", r"$\1$\2", table.get("ref", ""))
                    tables[table.get("displayName", "").casefold()] = f"'{quoted}'!{area}"
        return tables


def relationships(package: Package, part: str) -> dict[str, tuple[str, str]]:
    """What the part `part` (or the whole package, for "") points to: (kind, part name) by relationship id.

    Relationships to the world outside the file are left out. Raises BadWorkbook when they are damaged.
    """
    folder, listing = posixpath.dirname(part), _relations_part(part)
    if listing not in package:
        return {}
    found = {}
    for relation in package.xml(listing).iterfind("{*}Relationship"):
        if relation.get("TargetMode") != "External":
            target = unquote(relation.get("Target", ""))
            full = posixpath.normpath(posixpath.join("/", folder, target)).lstrip("/")
            found[relation.get("Id", "")] = (relation.get("Type", "").rsplit("/", 1)[-1], full)
    return found


def _relations_part(part: str) -> str:
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def _is_file_link(relation: etree._Element) -> bool:
    return relation.get("TargetMode") == "External" and relation.get("Type", "").endswith("/hyperlink")


def etree_name(element: etree._Element) -> str:
    """The name of an element without its namespace; "" for a comment or processing instruction."""
    return _local(element.tag)


@lru_cache(maxsize=1024)
def _local(tag: object) -> str:
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def _relation_id(element: etree._Element) -> str:
    return next((str(value) for key, value in element.items() if str(key).endswith("/relationships}id")), "")


def _load_sheet(package: Package, part: str) -> _Sheet:
    root = package.xml(part)
    data = root.find("{*}sheetData")
    namespace = etree.QName(root).namespace
    if data is None or namespace not in _MAIN:
        raise BadWorkbook(f"Its part {part} is not a sheet; the file is damaged, use a backup copy.")
    sheet = _Sheet(part, root, data, namespace)
    number, cells, cell_tag = 0, sheet.cells, sheet.tag("c")
    for row in data.iterchildren(sheet.tag("row")):
        name = row.get("r") or _row_of_cells(row)
        number = number + 1 if name is None else natural(name) or 0
        if not 1 <= number <= MAX_ROW or number in sheet.rows:
            raise BadWorkbook(f"A row in its part {brief(part)} has no valid number; use a backup copy.")
        sheet.rows[number] = row
        sheet.unnumbered |= row.get("r") is None
        column, digits = 0, str(number)
        for cell in row.iterchildren(cell_tag):
            name = cell.get("r")
            if name is None:
                column += 1
                sheet.unnumbered = True
            else:
                column = _COLUMNS.get(name.removesuffix(digits)) or _column_of(name, number, part)
            place = (number, column)
            if column > MAX_COLUMN or place in cells:
                raise BadWorkbook(
                    f"A cell in its part {brief(part)} lies outside the sheet or is there twice; "
                    "use a backup copy."
                )
            cells[place] = cell
    for link in root.iterfind("{*}hyperlinks/{*}hyperlink"):
        first, _, last = link.get("ref", "").partition(":")
        if last in ("", first):
            sheet.links.setdefault(first, link)
    for formula in data.iter(sheet.tag("f")):
        if formula.get("t") in ("array", "dataTable"):
            area = area_of("", formula.get("ref", ""))
            if area is not None:
                sheet.blocks.append(array_area(area))
    return sheet


def _row_of_cells(row: etree._Element) -> str | None:
    """The number of a row that only the names of its cells tell."""
    matches = (_CELL_NAME.fullmatch(cell.get("r", "")) for cell in row.iterchildren("{*}c"))
    return next((match[2] for match in matches if match), None)


def _column_of(name: str, row: int, part: str) -> int:
    match = _CELL_NAME.fullmatch(name)
    if match is None or int(match[2]) != row:
        raise BadWorkbook(f"A cell in its part {brief(part)} has no valid name; use a backup copy.")
    return column_number(match[1])


def _first_child(parent: etree._Element, tag: str) -> etree._Element:
    """A new child before all others."""
    child = etree.SubElement(parent, tag)
    if len(parent) > 1:
        parent.insert(0, child)
    return child


def _empty(cell: etree._Element) -> None:
    """Take what a cell shows out of it."""
    for attribute in ("t", "vm", "cm", "ph"):
        if cell.get(attribute) is not None:
            del cell.attrib[attribute]
    for child in list(cell):
        if etree_name(child) in ("v", "is"):
            cell.remove(child)


def _new_cell(sheet: _Sheet, row: int, column: int) -> etree._Element:
    """Make the cell, and its row when that is missing too, in their places."""
    _number_all(sheet)
    line = sheet.rows[row] if row in sheet.rows else _new_row(sheet, row)
    # An element is made fastest as the last one; mostly it belongs there.
    cell = etree.SubElement(line, sheet.tag("c"), r=cell_name(row, column))
    number = next((n for n in range(column - 1, 0, -1) if (row, n) in sheet.cells), 0)
    before = sheet.cells.get((row, number))
    if before is None:
        line.insert(0, cell)
    elif before.tail or before is not cell.getprevious():
        before.addnext(cell)
    style = _line_style(sheet, row, column)
    if style != "0":
        cell.set("s", style)
    spans = line.get("spans")
    if spans is not None and not any(_in_span(span, column) for span in spans.split()):
        del line.attrib["spans"]
    sheet.cells[row, column] = cell
    sheet.added.append((row, column))
    return cell


def _number_all(sheet: _Sheet) -> None:
    """Give rows and cells their numbers where these follow from their order, which is about to change."""
    if sheet.unnumbered:
        for row, line in sheet.rows.items():
            line.set("r", str(row))
        for (row, column), cell in sheet.cells.items():
            cell.set("r", cell_name(row, column))
        sheet.unnumbered = False


def _new_row(sheet: _Sheet, row: int) -> etree._Element:
    new = etree.Element(sheet.tag("row"), r=str(row))
    before = next((n for n in range(row - 1, 0, -1) if n in sheet.rows), 0)
    if before:
        sheet.rows[before].addnext(new)
    else:
        sheet.data.insert(0, new)
    sheet.rows[row] = new
    return new


def _in_span(span: str, column: int) -> bool:
    first, _, last = span.partition(":")
    return first.isdigit() and last.isdigit() and int(first) <= column <= int(last)


def _grow_dimension(sheet: _Sheet) -> None:
    """Have the sheet's stated dimension hold the cells that were made."""
    dimension = sheet.root.find("{*}dimension")
    area = None if dimension is None else area_of("", dimension.get("ref", ""))
    if dimension is None or area is None or not sheet.added:
        return
    rows, columns = zip(*sheet.added, strict=True)
    top, left = min(area.top, *rows), min(area.left, *columns)
    bottom, right = max(area.bottom, *rows), max(area.right, *columns)
    if not area.holds(top, left) or not area.holds(bottom, right):
        dimension.set("ref", f"{cell_name(top, left)}:{cell_name(bottom, right)}")


def _style_of(sheet: _Sheet, row: int, column: int) -> str:
    """The number of the style a cell has, from itself, its row or its column."""
    cell = sheet.cells.get((row, column))
    return _line_style(sheet, row, column) if cell is None else cell.get("s", "0")


def _line_style(sheet: _Sheet, row: int, column: int) -> str:
    line = sheet.rows.get(row)
    if line is not None and line.get("customFormat") in ("1", "true"):
        return line.get("s", "0")
    return next((style for first, last, style in sheet.column_styles if first <= column <= last), "0")


def _set_link(sheet: _Sheet, row: int, column: int, target: str | None) -> None:
    """Make the cell's link lead to `target`, or remove one that leads into the workbook."""
    name = cell_name(row, column)
    link = sheet.links.get(name)
    if target is None:
        if link is not None and not _relation_id(link):
            links = link.getparent()
            assert links is not None
            links.remove(link)
            del sheet.links[name]
            if len(links) == 0:
                sheet.root.remove(links)
        return
    _link_element(sheet, name).set("location", target)


def _link_element(sheet: _Sheet, name: str) -> etree._Element:
    """The cell's link, made where it has none, without what told where it led to."""
    link = sheet.links.get(name)
    if link is None:
        links = sheet.root.find("{*}hyperlinks")
        if links is None:
            links = etree.Element(sheet.tag("hyperlinks"))
            before = [child for child in sheet.root if etree_name(child) in _BEFORE_LINKS]
            before[-1].addnext(links)
        link = etree.SubElement(links, sheet.tag("hyperlink"), ref=name)
        sheet.links[name] = link
    for key in map(str, link.keys()):
        if key.endswith("}id") or key in ("tooltip", "display"):
            del link.attrib[key]
    return link


def _drop_result(cell: etree._Element | None) -> bool:
    """Forget the remembered result of a formula cell; whether there was one."""
    if cell is None:
        return False
    result = cell.find("{*}v")
    if result is None:
        return False
    cell.remove(result)
    for attribute in ("t", "vm"):
        cell.attrib.pop(attribute, "")
    return True


def _sheet_formulas(sheet: _Sheet, name: str, reader: Reader) -> list[Formula]:
    formulas: list[Formula] = []
    found = list(sheet.data.iter(sheet.tag("f")))
    if not found:
        return formulas
    places = {cell: place for place, cell in sheet.cells.items()}
    elements: dict[Position, etree._Element] = {}
    for formula in found:
        cell = formula.getparent()
        if cell in places:
            elements.setdefault(places[cell], formula)
    # The cell that holds the text need not be the first one.
    shared = {
        f.get("si"): (f.text, place) for place, f in elements.items() if f.get("t") == "shared" and f.text
    }
    for (row, column), element in elements.items():
        text, shift, kind = element.text or "", (0, 0), element.get("t")
        if kind == "shared" and not text and element.get("si") in shared:
            text, origin = shared[element.get("si")]
            shift = (row - origin[0], column - origin[1])
        covers = area_of(name, element.get("ref", "")) if kind in ("array", "dataTable") else None
        looks_at = reader.excel(text, name, shift)
        if kind == "dataTable":
            looks_at = [*looks_at, whole(name)]
        formulas.append(
            Formula((name, row, column), covers or Area(name, row, column, row, column), looks_at)
        )
    return formulas


def _text(text: str) -> tuple[Kind, str | None]:
    return ("text", cut(text)) if text else ("blank", None)


def _rich_text(element: etree._Element | None) -> str:
    """The text of a shared or inline string, its runs joined, without phonetic readings."""
    if element is None:
        return ""
    if len(element) == 1 and etree_name(element[0]) == "t":
        return _unescape(element[0].text or "")
    return "".join(_unescape(text) for text in _runs(element))


def _runs(element: etree._Element) -> Iterator[str]:
    for child in element:
        if etree_name(child) == "t":
            yield child.text or ""
        elif etree_name(child) == "r":
            for text in child.iterfind("{*}t"):
                yield text.text or ""


def _unescape(text: str) -> str:
    if "_x" not in text:
        return text
    units = _ESCAPE.sub(lambda match: chr(int(match[1], 16)), text)
    # A character outside the first plane is written as two.
    return units.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def _escape(text: str) -> str:
    """A text that would be read as holding an escaped character, made plain."""
    return re.sub(r"_(?=x[0-9A-Fa-f]{4}_)", "_x005F_", text)


def _iso_serial(text: str) -> float:
    if "T" not in text and ":" in text:
        moment = datetime.combine(EPOCH, time.fromisoformat(text))
    elif "T" in text:
        moment = datetime.fromisoformat(text)
    else:
        moment = datetime.combine(date.fromisoformat(text), time())
    return serial(moment)


def _shared_strings(package: Package, part: str | None) -> list[str]:
    if part is None or part not in package:
        return []
    return [cut(_rich_text(item)) for item in package.xml(part).iterfind("{*}si")]


def _style_kinds(root: etree._Element) -> dict[str, Kind]:
    """What a number in a cell of each style number is: a plain one, a percentage or a moment."""
    codes = {
        code.get("numFmtId", ""): code.get("formatCode", "") for code in root.iterfind("{*}numFmts/{*}numFmt")
    }
    return {
        str(index): _format_kind(style.get("numFmtId", "0"), codes)
        for index, style in enumerate(root.iterfind("{*}cellXfs/{*}xf"))
    }


def _wrapping_styles(root: etree._Element) -> dict[str, float]:
    """The size of the letters, in points, by the numbers of the styles whose text wraps."""
    sizes = {str(i): letter_size(font) for i, font in enumerate(root.iterfind("{*}fonts/{*}font"))}
    return {
        str(index): sizes.get(style.get("fontId", "0"), USUAL_SIZE)
        for index, style in enumerate(root.iterfind("{*}cellXfs/{*}xf"))
        for alignment in style.iterfind("{*}alignment")
        if alignment.get("wrapText") in ("1", "true")
    }


def _format_kind(number: str, codes: dict[str, str]) -> Kind:
    if number in codes:
        code = _FORMAT_LITERALS.sub("", codes[number][:LONGEST_FORMAT].split(";")[0])
        if "general" in code.casefold():
            return "number"
        if re.search("[ymdhs]", code, re.IGNORECASE):
            return "moment"
        return "percent" if "%" in code else "number"
    if natural(number) in _DATE_FORMATS:
        return "moment"
    return "percent" if natural(number) in _PERCENT_FORMATS else "number"
