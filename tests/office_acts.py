# mypy: ignore-errors
"""One thing at a time that people do to a workbook in LibreOffice; see office_hands.py, which runs them.

Cells are told by one of our names and how far down and right of it they are; `hands` is the open workbook.
"""

import uno
from com.sun.star.beans import PropertyValue
from com.sun.star.lang import Locale
from com.sun.star.sheet import TableFilterField
from com.sun.star.sheet.CellDeleteMode import LEFT
from com.sun.star.sheet.CellInsertMode import RIGHT
from com.sun.star.sheet.ConditionOperator import GREATER
from com.sun.star.sheet.FilterOperator import EQUAL
from com.sun.star.sheet.ValidationType import WHOLE
from com.sun.star.table import CellAddress, TableSortField
from com.sun.star.table.TableOrientation import COLUMNS, ROWS
from com.sun.star.util import Date


def at(hands, name, down=0, right=0):
    """The cell so far from one of our names."""
    sheet, column, row = hands.place(name)
    return sheet.getCellByPosition(column + right, row + down)


def block(hands, first, last, down, count):
    """The cells from one heading to another, so far below them and so many rows."""
    sheet, left, row = hands.place(first)
    _, right, _ = hands.place(last)
    return sheet.getCellRangeByPosition(left, row + down, right, row + down + count - 1)


def write(hands, name, down, right, value):
    """Type a text or a number over a cell; '' clears it."""
    cell = at(hands, name, down, right)
    if isinstance(value, str):
        cell.setString(value)
    else:
        cell.setValue(value)


def write_formula(hands, name, down, right, formula):
    at(hands, name, down, right).setFormula(formula)


def insert_rows(hands, name, down, count):
    sheet, _, row = hands.place(name)
    sheet.Rows.insertByIndex(row + down, count)


def delete_rows(hands, name, down, count):
    sheet, _, row = hands.place(name)
    sheet.Rows.removeByIndex(row + down, count)


def insert_columns(hands, name, count, heading=""):
    """Columns left of one of ours, the first with a heading and a word below."""
    sheet, column, row = hands.place(name)
    sheet.Columns.insertByIndex(column, count)
    if heading:
        sheet.getCellByPosition(column, row).setString(heading)
        sheet.getCellByPosition(column, row + 3).setString("mine")


def delete_column(hands, name):
    sheet, column, _ = hands.place(name)
    sheet.Columns.removeByIndex(column, 1)


def drag(hands, name, down, right, to_name, to_down, to_right, rows=1, columns=1):
    """Cut cells and paste them elsewhere."""
    sheet, column, row = hands.place(name)
    left, top = column + right, row + down
    cut = sheet.getCellRangeByPosition(left, top, left + columns - 1, top + rows - 1).getRangeAddress()
    target = at(hands, to_name, to_down, to_right).getCellAddress()
    sheet.moveRange(CellAddress(target.Sheet, target.Column, target.Row), cut)


def drag_table(hands, first, last, rows, down, right):
    """Cut a whole table with its headings and paste it elsewhere on its sheet."""
    cut = block(hands, first, last, 0, rows)
    address = cut.getRangeAddress()
    target = CellAddress(address.Sheet, address.StartColumn + right, address.StartRow + down)
    cut.Spreadsheet.moveRange(target, address)


def paste(hands, name, down, right, to_name, to_down, to_right):
    """Copy one cell over another."""
    source = at(hands, name, down, right)
    target = at(hands, to_name, to_down, to_right)
    source.Spreadsheet.copyRange(target.getCellAddress(), _area(source))


def paste_values(hands, first, last, count):
    """Copy a block of records and paste it over itself, values only."""
    cells = block(hands, first, last, 2, count)
    cells.setDataArray(cells.getDataArray())


def move_before(hands, name, before):
    """Cut a table's column and put it in before another."""
    sheet, target, row = hands.place(before)
    room = sheet.getCellRangeByPosition(target, row - 1, target, row + 2010)
    sheet.insertCells(room.getRangeAddress(), RIGHT)
    _, column, row = hands.place(name)
    cut = sheet.getCellRangeByPosition(column, row - 1, column, row + 2010)
    address = cut.getRangeAddress()
    sheet.moveRange(CellAddress(address.Sheet, target, row - 1), address)
    sheet.removeRange(address, LEFT)


def filter_by(hands, first, last, by, count, word):
    """An autofilter over a table that shows the records with a word."""
    sheet, left, row = hands.place(first)
    _, right, _ = hands.place(last)
    _, column, _ = hands.place(by)
    cells = sheet.getCellRangeByPosition(left, row, right, row + 1 + count)
    hands.book.DatabaseRanges.addNewByName("meine_Auswahl", cells.getRangeAddress())
    chosen = hands.book.DatabaseRanges.getByName("meine_Auswahl")
    chosen.AutoFilter = True
    field = TableFilterField()
    field.Field, field.Operator, field.StringValue = column - left, EQUAL, word
    chosen.getFilterDescriptor().setFilterFields((field,))
    chosen.refresh()


def sort(hands, by, first, last, down, count, ascending):
    cells = block(hands, first, last, down, count)
    _, left, _ = hands.place(first)
    _, column, _ = hands.place(by)
    field = TableSortField()
    field.Field, field.IsAscending, field.IsCaseSensitive = column - left, ascending, False
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    cells.sort((_prop("SortFields", fields), _prop("ContainsHeader", False), _prop("IsSortColumns", False)))


def sort_rows(hands, by, down, count, ascending):
    """Sort whole rows, hidden columns and all."""
    sheet, column, row = hands.place(by)
    cells = sheet.getCellRangeByPosition(0, row + down, 200, row + down + count - 1)
    field = TableSortField()
    field.Field, field.IsAscending, field.IsCaseSensitive = column, ascending, False
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    cells.sort((_prop("SortFields", fields), _prop("ContainsHeader", False), _prop("IsSortColumns", False)))


def hide(hands, name, down, columns):
    """Hide a record's row and some columns."""
    sheet, column, row = hands.place(name)
    sheet.Rows.getByIndex(row + down).IsVisible = False
    for number in range(column, column + columns):
        sheet.Columns.getByIndex(number).IsVisible = False


def group(hands, name, down, rows, columns):
    """Group rows and columns and close the groups."""
    sheet, column, row = hands.place(name)
    cells = sheet.getCellRangeByPosition(column, row + down, column + columns - 1, row + down + rows - 1)
    for way in (ROWS, COLUMNS):
        sheet.group(cells.getRangeAddress(), way)
        sheet.hideDetail(cells.getRangeAddress())


def freeze(hands, title, columns, rows):
    view = hands.book.getCurrentController()
    view.setActiveSheet(hands.book.Sheets.getByName(title))
    view.freezeAtPosition(columns, rows)


def merge(hands, name, down, right, rows, columns):
    sheet, column, row = hands.place(name)
    left, top = column + right, row + down
    sheet.getCellRangeByPosition(left, top, left + columns - 1, top + rows - 1).merge(True)


def mark(hands, first, last, count):
    """A format, a condition, a rule for typing, a colour and a note of the person's own."""
    cells = block(hands, first, last, 2, count)
    marks = cells.ConditionalFormat
    marks.addNew((_prop("Operator", GREATER), _prop("Formula1", "12"), _prop("StyleName", "Default")))
    cells.ConditionalFormat = marks
    rule = cells.Validation
    rule.Type, rule.ShowErrorMessage = WHOLE, False
    cells.Validation = rule
    cells.CellBackColor = 0xE0FFA0
    first_cell = cells.getCellByPosition(0, 0)
    cells.Spreadsheet.Annotations.insertNew(first_cell.getCellAddress(), "What about this?")
    formats = hands.book.NumberFormats
    code, english = "0.0000", Locale("en", "US", "")
    key = formats.queryKey(code, english, False)
    cells.NumberFormat = key if key >= 0 else formats.addNew(code, english)


def protect(hands, title, password):
    hands.book.Sheets.getByName(title).protect(password)


def hide_sheet(hands, title):
    hands.book.Sheets.getByName(title).IsVisible = False


def rename_sheet(hands, old, new):
    hands.book.Sheets.getByName(old).setName(new)


def copy_sheet(hands, old, new, position):
    hands.book.Sheets.copyByName(old, new, position)


def delete_sheet(hands, title):
    hands.book.Sheets.removeByName(title)


def write_at(hands, title, cell, value):
    """Type into a sheet's cell that no name of ours tells."""
    target = hands.book.Sheets.getByName(title).getCellRangeByName(cell)
    if isinstance(value, str):
        target.setFormula(value)
    else:
        target.setValue(value)


def add_sheet(hands, title, formulas, chart_of):
    """A sheet of the person's own with formulas and a chart over one of our columns."""
    hands.book.Sheets.insertNewByName(title, 0)
    sheet = hands.book.Sheets.getByName(title)
    for row, formula in enumerate(formulas):
        sheet.getCellByPosition(0, row).setFormula(formula)
    area = block(hands, chart_of, chart_of, 2, 5).getRangeAddress()
    rectangle = uno.createUnoStruct("com.sun.star.awt.Rectangle")
    rectangle.X, rectangle.Y, rectangle.Width, rectangle.Height = 8000, 1000, 9000, 6000
    sheet.Charts.addNewByName("Mine", rectangle, (area,), False, False)


def lose_names(hands, beginning):
    """Delete the defined names that begin so."""
    names = hands.book.NamedRanges
    for name in names.ElementNames:
        if name.startswith(beginning):
            names.removeByName(name)


def lose_local_names(hands, title):
    """Delete the names that a copied sheet got for itself."""
    names = hands.book.Sheets.getByName(title).NamedRanges
    for name in names.ElementNames:
        names.removeByName(name)


def add_name(hands, name, title, cell):
    """A name of the person's own."""
    target = hands.book.Sheets.getByName(title).getCellRangeByName(cell)
    hands.book.NamedRanges.addNewByName(name, target.AbsoluteName, CellAddress(0, 0, 0), 0)


def replace_all(hands, old, new):
    """Find and replace on all sheets."""
    for sheet in hands.book.Sheets:
        search = sheet.createReplaceDescriptor()
        search.SearchString, search.ReplaceString = old, new
        search.SearchCaseSensitive = True
        sheet.replaceAll(search)


def count_days_from(hands, year):
    """Set the date system that old Macs used."""
    hands.book.NullDate = Date(1, 1, year)


def in_german(hands):
    """Make the whole workbook a German one, its formats too."""
    german = Locale("de", "DE", "")
    hands.book.CharLocale = german
    for style in hands.book.StyleFamilies.getByName("CellStyles"):
        style.CharLocale = german
    formats = hands.book.NumberFormats
    for name, code in (("fermentation_taken_at", "TT.MM.JJJJ HH:MM"), ("fermentation_gravity_20", "0,0000")):
        key = formats.queryKey(code, german, False)
        cells = block(hands, name, name, 2, 60)
        cells.NumberFormat = key if key >= 0 else formats.addNew(code, german)


def _area(cell):
    return cell.Spreadsheet.getCellRangeByName(cell.AbsoluteName.split(".")[-1]).getRangeAddress()


def _prop(name, value):
    return PropertyValue(Name=name, Value=value)
