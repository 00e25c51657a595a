"""A layout as an Office Open XML workbook."""

import re
import zipfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from openpyxl import Workbook
from openpyxl.formatting.rule import Rule as FormatRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.dimensions import RowDimension
from openpyxl.worksheet.header_footer import HeaderFooterItem, _HeaderFooterPart
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.excel import ExcelWriter

from sheetcalc.build import look, paper, steady, xlsx_charts
from sheetcalc.build.grid import Cell, Grid, Marking, Position, Rule

_INCH = 2.54  # cm
# What a column's width in the file has beyond its characters: the room beside the text.
_BESIDE = 5 / 7


def build(sheets: Sequence[Grid], title: str, path: Path) -> None:
    """Write a new workbook with these sheets and this title to `path`."""
    book = Workbook()
    book.remove(book.worksheets[0])
    # The font of every cell that nobody styled, also of those the person adds.
    book._fonts[0] = Font(name=look.FONT, size=10)  # type: ignore[attr-defined]
    properties = book.properties
    properties.creator, properties.title = steady.CREATOR, title
    properties.created = properties.modified = steady.CREATED
    for grid in sheets:
        _sheet(book, grid)
    book.active = 0
    # Workbook.save would stamp the hour into the properties.
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        ExcelWriter(book, package).write_data()
    steady.settle(path)


def _sheet(book: Workbook, grid: Grid) -> None:
    sheet: Worksheet = book.create_sheet(grid.title)
    for place, cell in grid.cells.items():
        _cell(sheet, place, cell)
    for area in grid.merged:
        sheet.merge_cells(area.name)
    for column, width in grid.widths.items():
        dimension = sheet.column_dimensions[get_column_letter(column)]
        dimension.width = round(width + _BESIDE, 2)
        dimension.hidden = column in grid.hidden
    for column, cell in grid.spare.items():
        dimension = sheet.column_dimensions[get_column_letter(column)]
        dimension.number_format = cell.format
        dimension.alignment = _alignment(cell.look)
    for row, height in grid.heights.items():
        kind = RowDimension if row in grid.fixed else _GrowingRow
        sheet.row_dimensions[row] = kind(sheet, index=row, ht=height)
    if grid.row_height:
        sheet.sheet_format.defaultRowHeight, sheet.sheet_format.customHeight = grid.row_height, True
    for name, place in grid.names.items():
        quoted = f"'{grid.title}'!${get_column_letter(place.column)}${place.row}"
        book.defined_names[name] = DefinedName(name, attr_text=quoted)
    for rule in grid.rules:
        sheet.add_data_validation(_validation(rule))
    for plot in grid.plots:
        sheet.add_chart(xlsx_charts.chart(plot))
    for marking in grid.markings:
        _mark(sheet, marking)
    _view(sheet, grid)
    _page(sheet, grid)


class _GrowingRow(RowDimension):
    """A row with a height that the spreadsheet program may change when the row's texts do."""

    @property
    def customHeight(self) -> bool:
        return False


def _cell(sheet: Worksheet, place: Position, cell: Cell) -> None:
    target = sheet.cell(*place)
    target.value = f"={_formula(cell.formula)}" if cell.formula else cell.value
    if isinstance(cell.value, str):
        target.data_type = "s"  # also where it begins with "="
    target.font, target.fill, target.border, target.alignment = _styles(cell.look)
    target.number_format = cell.format
    if cell.link:
        target.hyperlink = Hyperlink(ref=target.coordinate, location=f"'{cell.link}'!A1")


@cache
def _styles(style: look.Look) -> tuple[Font, PatternFill, Border, Alignment]:
    font = Font(
        name=look.FONT,
        size=style.size,
        bold=style.bold,
        italic=style.italic,
        underline="single" if style.underline else None,
        color=f"FF{style.ink}",
    )
    frame = _side(style.frame)
    border = Border(
        left=_side(style.bar, "thick") if style.bar else frame,
        right=frame,
        top=frame,
        bottom=_side(style.below) if style.below else frame,
    )
    return font, _fill(style.fill), border, _alignment(style)


def _alignment(style: look.Look) -> Alignment:
    # Some programs heed an indent on the right in some cells only, so that digits would not meet.
    indent = int(style.indent and style.align == "left")
    return Alignment(horizontal=style.align, vertical=style.stand, wrap_text=style.wrap, indent=indent)


def _fill(colour: str) -> PatternFill:
    return PatternFill("solid", fgColor=f"FF{colour}") if colour else PatternFill()


def _side(colour: str, style: str = "thin") -> Side:
    return Side(style=style, color=f"FF{colour}") if colour else Side()  # type: ignore[arg-type]


def _validation(rule: Rule) -> DataValidation:
    checked = bool(rule.choices or rule.condition)
    validation = DataValidation(
        type="list" if rule.choices else "custom" if rule.condition else None,
        formula1=f'"{",".join(rule.choices)}"' if rule.choices else _formula(rule.condition) or None,
        sqref=rule.area.name,
        allow_blank=True,
        showInputMessage=True,
        showErrorMessage=checked,
        errorStyle="stop" if rule.choices else "warning",
        promptTitle=rule.title,
        prompt=rule.prompt,
    )
    if checked:
        validation.errorTitle = rule.title
        validation.error = rule.doubt or "Choose one from the list."
    return validation


def _formula(condition: str) -> str:
    """OpenFormula as this format writes it."""
    return re.sub(r"\[(?:\$('[^']+'))?(\.[^]]+)\]", _reference, condition).replace(";", ",")


def _reference(match: re.Match[str]) -> str:
    sheet, cells = match.groups()
    return (f"{sheet}!" if sheet else "") + cells.replace(".", "")


def _mark(sheet: Worksheet, marking: Marking) -> None:
    for condition, mark in marking.conditions:
        rule = FormatRule(type="expression", formula=[_formula(condition)], dxf=_differential(mark))
        rule.stopIfTrue = True
        sheet.conditional_formatting.add(marking.area.name, rule)


@cache
def _differential(mark: look.Mark) -> DifferentialStyle:
    return DifferentialStyle(
        font=Font(bold=mark.bold or None, italic=mark.italic or None, color=f"FF{mark.ink}")
        if mark.ink
        else None,
        # In a conditional format the colour of a plain fill is its background.
        fill=PatternFill(bgColor=f"FF{mark.fill}") if mark.fill else None,
    )


def _view(sheet: Worksheet, grid: Grid) -> None:
    rows, columns = grid.frozen
    sheet.sheet_view.showGridLines = grid.gridlines
    sheet.sheet_state = "visible" if grid.visible else "hidden"
    sheet.sheet_properties.tabColor = f"FF{grid.tab}"
    if rows or columns:
        sheet.freeze_panes = f"{get_column_letter(columns + 1)}{rows + 1}"


def _page(sheet: Worksheet, grid: Grid) -> None:
    sheet.page_setup.orientation = "landscape" if grid.landscape else "portrait"
    sheet.page_setup.paperSize = grid.paper.code
    sheet.page_setup.pageOrder = "overThenDown"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = grid.pages
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    margins = sheet.page_margins
    margins.left = margins.right = margins.top = paper.MARGIN / _INCH
    margins.bottom, margins.header, margins.footer = paper.FOOT / _INCH, 0.0, 0.3
    sheet.HeaderFooter.scaleWithDoc = False  # as small as a wide sheet nobody could read it
    sheet.HeaderFooter.oddFooter = HeaderFooterItem(
        left=_HeaderFooterPart(text="&A"),
        center=_HeaderFooterPart(text="&F"),
        right=_HeaderFooterPart(text="&P / &N"),
    )
    if grid.repeated:
        sheet.print_title_rows = "{}:{}".format(*grid.repeated)
    if grid.pages[0] > 1:
        sheet.print_title_cols = "A:A"
