"""A layout as an OpenDocument spreadsheet."""

from collections.abc import Iterable, Sequence
from itertools import groupby
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from odf import config, dc, meta, table
from odf.element import Element
from odf.opendocument import OpenDocument, OpenDocumentSpreadsheet
from odf.teletype import addTextToElement
from odf.text import A, P

from sheetcalc.build import look, ods_charts, steady
from sheetcalc.build.grid import Area, Cell, Grid, Position, Rule
from sheetcalc.build.ods_styles import Styles
from sheetcalc.findings import address

_ROW_HEIGHT = 15.0
_Value = TypeVar("_Value")


class _Piece(NamedTuple):
    """A cell as it is written: with the names of its style and its rule, and a frame that begins on it;
    `spans` is 0 where it is covered."""

    cell: Cell
    style: str
    rule: str
    spans: int
    frame: Any = None


def build(sheets: Sequence[Grid], title: str, path: Path) -> None:
    """Write a new workbook with these sheets and this title to `path`."""
    # odfpy remembers the namespaces of every document of the process and writes them into each.
    Element.namespaces.clear()
    document = OpenDocumentSpreadsheet()
    styles = Styles(document)
    rules = table.ContentValidations()
    document.spreadsheet.addElement(rules)
    for grid in sheets:
        named = [(rule.area, f"{grid.key}{n}") for n, rule in enumerate(grid.rules, start=1)]
        for rule, (_, name) in zip(grid.rules, named, strict=True):
            rules.addElement(_validation(rule, name, grid.title))
        frames = {
            Position(*plot.area[:2]): ods_charts.frame(document, plot, f"{grid.key}{n}", styles.frame())
            for n, plot in enumerate(grid.plots, start=1)
        }
        document.spreadsheet.addElement(_sheet(grid, styles, named, frames))
    document.spreadsheet.addElement(_names(sheets))
    _view(document, sheets)
    _properties(document, title)
    document.save(str(path))
    steady.settle(path)


def _sheet(grid: Grid, styles: Styles, rules: list[tuple[Area, str]], frames: dict[Position, Any]) -> Any:
    sheet = table.Table(
        name=grid.title,
        stylename=styles.table(grid.paper, grid.landscape, grid.pages, grid.tab, grid.visible),
    )
    for column in range(1, max(grid.widths) + 1):
        shown = "collapse" if column in grid.hidden else "visible"
        made = table.TableColumn(stylename=styles.column(grid.widths[column]), visibility=shown)
        if column == 1 and grid.pages[0] > 1:
            repeated = table.TableHeaderColumns()
            repeated.addElement(made)
            made = repeated
        sheet.addElement(made)
    first, last = grid.repeated or (0, 0)
    header = table.TableHeaderRows()
    row = 1
    for (pieces, height, fixed), same in groupby(_rows(grid, styles, rules, frames)):
        count = len(list(same))
        element = _row(pieces, styles.row(height, fixed), count)
        (header if first <= row <= last else sheet).addElement(element)
        row += count
        if row == last + 1:
            sheet.addElement(header)
    return sheet


def _rows(
    grid: Grid, styles: Styles, rules: list[tuple[Area, str]], frames: dict[Position, Any]
) -> Iterable[tuple[tuple[_Piece, ...], float, bool]]:
    """Every row with its height and whether that is fixed; the spare rows at the end."""
    markings = [(marking.area, marking) for marking in grid.markings]
    spans = {Position(a.row, a.column): a.last_column - a.column + 1 for a in grid.merged}

    def piece(place: Position, cell: Cell | None) -> _Piece:
        covered = any(_inside(area, place) and place not in spans for area in grid.merged)
        rule, marking = _found(rules, place), _found(markings, place)
        if cell is None and not marking:
            bare = Cell(None, look.PLAIN)
            return _Piece(bare, "", rule or "", 0 if covered else 1, frames.get(place))
        cell = cell or Cell(None, look.PLAIN)
        style = styles.cell(cell.look, cell.format, grid.title, marking)
        return _Piece(cell, style, rule or "", 0 if covered else spans.get(place, 1))

    columns = range(1, max(grid.widths) + 1)
    for row in range(1, max(*(place.row for place in grid.cells), *grid.heights) + 1):
        places = [Position(row, column) for column in columns]
        pieces = tuple(piece(place, grid.cells.get(place)) for place in places)
        yield pieces, grid.heights.get(row, _ROW_HEIGHT), row in grid.fixed
    if grid.spare:
        places = [Position(grid.spare_from, column) for column in columns]
        pieces = tuple(piece(place, grid.spare.get(place.column)) for place in places)
        for _ in range(grid.spare_from, grid.spare_to + 1):
            yield pieces, grid.row_height or _ROW_HEIGHT, False


def _inside(area: Area, place: Position) -> bool:
    return area.row <= place.row <= area.last_row and area.column <= place.column <= area.last_column


def _found(areas: Iterable[tuple[Area, _Value]], place: Position) -> _Value | None:
    return next((value for area, value in areas if _inside(area, place)), None)


def _row(pieces: tuple[_Piece, ...], style: str, count: int) -> Any:
    row = table.TableRow(stylename=style)
    if count > 1:
        row.setAttribute("numberrowsrepeated", count)
    for piece, same in groupby(pieces):
        width = len(list(same))
        repeated = width > 1 and piece.spans == 1
        for _ in range(1 if repeated else width):
            cell = _cell(piece)
            if repeated:
                cell.setAttribute("numbercolumnsrepeated", width)
            row.addElement(cell)
    return row


def _cell(piece: _Piece) -> Any:
    if not piece.spans:
        return table.CoveredTableCell()
    value = piece.cell.value
    cell = table.TableCell()
    if piece.style:
        cell.setAttribute("stylename", piece.style)
    if piece.rule:
        cell.setAttribute("contentvalidationname", piece.rule)
    if piece.spans > 1:
        cell.setAttribute("numbercolumnsspanned", piece.spans)
        cell.setAttribute("numberrowsspanned", 1)
    if piece.cell.formula:
        cell.setAttribute("formula", f"of:={piece.cell.formula}")
    elif isinstance(value, str):
        cell.setAttribute("valuetype", "string")
        cell.addElement(_text(value, piece.cell.link))
    elif value is not None:
        cell.setAttribute("valuetype", "float")
        cell.setAttribute("value", f"{value:.15g}")
        cell.addElement(_text(f"{value:.15g}", ""))
    if piece.frame:
        cell.addElement(piece.frame)
    return cell


def _text(text: str, link: str) -> Any:
    paragraph = P()
    if link:
        paragraph.addElement(A(href=f"#'{link}'.A1", type="simple", text=text))
    else:
        addTextToElement(paragraph, text)  # two spaces stay two
    return paragraph


def _validation(rule: Rule, name: str, title: str) -> Any:
    made = table.ContentValidation(name=name, allowemptycell="true")
    made.setAttribute("basecelladdress", f"'{title}'.{address(rule.area.row, rule.area.column)}")
    if rule.choices:
        listed = ";".join(f'"{choice}"' for choice in rule.choices)
        made.setAttribute("condition", f"of:cell-content-is-in-list({listed})")
        made.setAttribute("displaylist", "unsorted")
    elif rule.condition:
        made.setAttribute("condition", f"of:is-true-formula({rule.condition})")
    made.addElement(_said(table.HelpMessage(title=rule.title, display="true"), rule.prompt))
    if rule.choices or rule.condition:
        weight = "stop" if rule.choices else "warning"
        error = table.ErrorMessage(title=rule.title, display="true", messagetype=weight)
        made.addElement(_said(error, rule.doubt or "Choose one from the list."))
    return made


def _said(message: Any, text: str) -> Any:
    message.addElement(P(text=text))
    return message


def _names(sheets: Sequence[Grid]) -> Any:
    names = table.NamedExpressions()
    for grid in sheets:
        for name, place in grid.names.items():
            letters = address(1, place.column)[:-1]
            at = f"$'{grid.title}'.${letters}${place.row}"
            names.addElement(table.NamedRange(name=name, cellrangeaddress=at, basecelladdress=at))
    return names


def _view(document: OpenDocument, sheets: Sequence[Grid]) -> None:
    """What stays in sight, and which sheet is open: kept apart from the content, in the settings."""
    views = config.ConfigItemSet(name="ooo:view-settings")
    indexed = config.ConfigItemMapIndexed(name="Views")
    entry = config.ConfigItemMapEntry()
    entry.addElement(_item("ViewId", "string", "view1"))
    entry.addElement(_item("ActiveTable", "string", sheets[0].title))
    tables = config.ConfigItemMapNamed(name="Tables")
    for grid in sheets:
        tables.addElement(_table_view(grid))
    entry.addElement(tables)
    indexed.addElement(entry)
    views.addElement(indexed)
    document.settings.addElement(views)


def _table_view(grid: Grid) -> Any:
    rows, columns = grid.frozen
    # Modes: 2 is frozen, 0 not split. The active range is the pane that the cursor stands in.
    numbers = {
        "CursorPositionX": columns,
        "CursorPositionY": rows,
        "HorizontalSplitMode": 2 if columns else 0,
        "VerticalSplitMode": 2 if rows else 0,
        "HorizontalSplitPosition": columns,
        "VerticalSplitPosition": rows,
        "ActiveSplitRange": 3 if columns and rows else 2,
        "PositionLeft": 0,
        "PositionRight": columns,
        "PositionTop": 0,
        "PositionBottom": rows,
    }
    entry = config.ConfigItemMapEntry(name=grid.title)
    for name, value in numbers.items():
        kind = "short" if name.endswith(("Mode", "Range")) else "int"
        entry.addElement(_item(name, kind, str(value)))
    entry.addElement(_item("ShowGrid", "boolean", str(grid.gridlines).lower()))
    return entry


def _item(name: str, kind: str, value: str) -> Any:
    return config.ConfigItem(name=name, type=kind, text=value)


def _properties(document: OpenDocument, title: str) -> None:
    stamp = steady.CREATED.isoformat()
    document.meta.addElement(dc.Title(text=title))
    document.meta.addElement(meta.InitialCreator(text=steady.CREATOR))
    document.meta.addElement(dc.Creator(text=steady.CREATOR))
    document.meta.addElement(meta.CreationDate(text=stamp))
    document.meta.addElement(dc.Date(text=stamp))
