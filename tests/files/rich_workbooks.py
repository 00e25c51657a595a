"""Workbooks that hold what people and programs put into them, each with one matter beside the cells of a log.

Made by XlsxWriter, openpyxl and odfpy; what those can't write is in odd_workbooks.py.
"""

import struct
import zlib
from collections.abc import Callable
from datetime import datetime
from functools import partial
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import xlsxwriter
from odf import draw, office, table, text
from odf.opendocument import OpenDocumentSpreadsheet
from openpyxl import chart, comments, formatting, styles, worksheet
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.utils.datetime import CALENDAR_MAC_1904

Matter = Callable[[Any, Any], None]
LOG = (
    ("Date", "Litres", "Note"),
    *((datetime(2026, 3, day), 10 + day / 4, f"day {day}") for day in range(1, 7)),
)


def png() -> bytes:
    """A picture of one dot."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = chunk(b"IHDR", struct.pack(">2I5B", 1, 1, 8, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")


# Made by XlsxWriter: a function for each matter; `book` and `sheet` hold the log already.


def charts(book: Any, sheet: Any) -> None:
    for row, kind in enumerate(("line", "bar", "pie", "scatter", "area", "radar", "doughnut", "stock")):
        drawn = book.add_chart({"type": kind})
        for column in (1, 3) if kind != "stock" else (1, 3, 1):
            drawn.add_series({"categories": ["Data", 1, 0, 6, 0], "values": ["Data", 1, column, 6, column]})
        sheet.insert_chart(row * 15, 6, drawn)
    drawn = book.add_chart({"type": "column"})
    drawn.add_series({"values": "=Data!$B$2:$B$7"})
    book.add_chartsheet("Picture").set_chart(drawn)


def pictures(book: Any, sheet: Any) -> None:
    image = {"image_data": BytesIO(png())}
    sheet.insert_image("F2", "dot.png", image | {"url": "https://example.org", "description": "a dot"})
    sheet.embed_image("F9", "dot.png", {"image_data": BytesIO(png())})
    sheet.set_background(BytesIO(png()))
    sheet.set_header("&L&G", {"image_left": "dot.png", "image_data_left": BytesIO(png())})


def shapes(book: Any, sheet: Any) -> None:
    sheet.insert_textbox("F2", "Clean the still first", {"fill": {"color": "yellow"}})
    sheet.insert_textbox("F20", "linked", {"textlink": "=$C$2"})
    sheet.insert_button("J2", {"caption": "Press", "macro": "press"})
    sheet.insert_checkbox("J9", True)
    sheet.write_comment("B3", "Measured twice.", {"visible": True})
    sheet.write_comment("C4", "By whom?", {"author": "Ann"})


def sparklines(book: Any, sheet: Any) -> None:
    sheet.add_sparkline("F2", {"range": "Data!B2:B7", "markers": True})
    sheet.add_sparkline(
        "F3", {"location": ["F3", "F4"], "range": ["Data!B2:B7", "Data!D2:D7"], "type": "column"}
    )


def conditional_formats(book: Any, sheet: Any) -> None:
    red = book.add_format({"bg_color": "#FF0000"})
    for number, rule in enumerate(
        (
            {"type": "cell", "criteria": ">", "value": 11, "format": red},
            {"type": "formula", "criteria": "=$B2>$D2", "format": red},
            {"type": "2_color_scale"},
            {"type": "data_bar", "data_bar_2010": True, "bar_negative_color": "#00FF00"},
            {"type": "icon_set", "icon_style": "5_arrows"},
            {"type": "top", "value": 2, "format": red, "stop_if_true": True},
            {"type": "text", "criteria": "containing", "value": "day", "format": red},
            {"type": "duplicate", "format": red, "multi_range": "B2:B7 D2:D7"},
        )
    ):
        sheet.conditional_format(1, 1, 6 + number, 3, rule)


def validations(book: Any, sheet: Any) -> None:
    book.add_worksheet("Lists").write_column("A1", ["one", "two"])
    sheet.data_validation(
        "C2:C9", {"validate": "list", "source": "=Lists!$A$1:$A$2", "error_type": "warning"}
    )
    sheet.data_validation(
        "B2:B9", {"validate": "decimal", "criteria": ">", "value": 0, "input_title": "Litres"}
    )
    sheet.data_validation("A2:A9", {"validate": "custom", "value": "=AND(A2>0,B2<99)"})


def arrays(book: Any, sheet: Any) -> None:
    sheet.write_array_formula("F2:F7", "{=B2:B7*2}", None, 0)
    sheet.write_dynamic_array_formula("G2:G7", "=SORT(B2:B7)", None, 0)
    sheet.write_formula("H2", "=SUM(G2#)", None, 0)
    sheet.write_formula("H3", "=LET(x,B2,x*2)", None, 0)


def texts(book: Any, sheet: Any) -> None:
    bold, thin = book.add_format({"bold": True}), book.add_format({"text_wrap": True, "rotation": 30})
    sheet.write_rich_string("F2", "very ", bold, "good", " spirit", thin)
    sheet.write("F3", "two\nlines", thin)
    sheet.write("F4", "  kept  blanks _x0041_ ")
    sheet.write_url("F5", "https://example.org/?a=1&b=2", tip="a tip")
    sheet.write_url("F6", "internal:Data!A1", string="up")
    sheet.write_url("C3", "internal:'Data'!A1", string="day 2")
    sheet.ignore_errors({"number_stored_as_text": "A1:F9"})


def macros(book: Any, sheet: Any) -> None:
    project = BytesIO(b"\xd0\xcf\x11\xe0 no real project, kept as it is")
    book.add_vba_project(project, is_stream=True)
    book.set_vba_name("ThisWorkbook")
    sheet.set_vba_name("Sheet1")


def protection(book: Any, sheet: Any) -> None:
    sheet.protect("secret", {"format_cells": True, "sort": True})
    sheet.unprotect_range("B2:B7", "Readings", "hidden")
    book.add_worksheet("Shut").protect()
    book.read_only_recommended()


def order(book: Any, sheet: Any) -> None:
    sheet.merge_range("F2:G4", "together", book.add_format({"align": "center"}))
    sheet.set_row(3, None, None, {"hidden": True, "level": 1})
    sheet.set_row(4, 33.5, book.add_format({"italic": True}))
    sheet.set_column("H:J", 3, None, {"hidden": True, "level": 2, "collapsed": True})
    sheet.set_column("AN:AN", 9, book.add_format({"bold": True}))
    sheet.autofilter("A1:C7")
    sheet.filter_column("B", "x > 10.6")
    book.add_worksheet("Away").hide()
    book.add_worksheet("Far away").very_hidden()


def printing(book: Any, sheet: Any) -> None:
    sheet.freeze_panes(1, 2, 4, 2)
    sheet.repeat_rows(0)
    sheet.print_area("A1:D20")
    sheet.set_h_pagebreaks([5, 9])
    sheet.fit_to_pages(1, 0)
    sheet.set_landscape()
    sheet.set_header("&CLog of &D", {"scale_with_doc": False})
    book.set_properties({"author": "Ann", "keywords": "plum"})
    book.set_custom_property("Batch", 7)
    book.add_worksheet("Split").split_panes(15, 8.43)


def tables(book: Any, sheet: Any) -> None:
    sheet.add_table(
        "F1:H5",
        {
            "name": "Jars",
            "data": [[1, 2], [3, 4], [5, 6]],
            "total_row": True,
            "columns": [
                {"header": "a", "total_function": "sum"},
                {"header": "b"},
                {"header": "both", "formula": "=Jars[[#This Row],[a]]+[@b]"},
            ],
        },
    )
    sheet.write_formula("J1", "=SUM(Jars[both])", None, 0)


def names(book: Any, sheet: Any) -> None:
    other = book.add_worksheet("Side notes")
    book.define_name("litres", "=Data!$B$2:$B$7")
    book.define_name("'Side notes'!litres", "=Data!$B$2")
    book.define_name("growing", "=OFFSET(Data!$B$2,0,0,COUNT(Data!$B:$B),1)")
    other.write_formula("A1", "=SUM(litres)+SUM(growing)", None, 0)
    other.write_formula("A2", '=Data!D3&""', None, "x")


def nothing(book: Any, sheet: Any) -> None:
    """The log alone."""


def xlsx_log(path: Path, matter: Matter = nothing, **options: Any) -> Path:
    """A log with something more, made by XlsxWriter."""
    book = xlsxwriter.Workbook(path, {"default_date_format": "yyyy-mm-dd", **options})
    sheet = book.add_worksheet("Data")
    for row, line in enumerate(LOG):
        sheet.write_row(row, 0, line)
        if row:
            sheet.write_formula(row, 3, f"=B{row + 1}*2", None, 2 * float(line[1]))  # type: ignore[arg-type]
    matter(book, sheet)
    book.close()
    return path


# Made by openpyxl.


def looks(book: Any, sheet: Any) -> None:
    sheet["B2"].font = styles.Font(b=True, color="FF0000", name="Arial")
    sheet["B3"].number_format = "0.000"
    sheet["C2"] = CellRichText("very ", TextBlock(InlineFont(b=True), "good"))
    sheet["C3"].hyperlink = "https://example.org"
    sheet["C4"].comment = comments.Comment("Why?", "Ann")
    sheet.merge_cells("F1:G2")
    sheet.freeze_panes = "B2"
    sheet.row_dimensions[4].hidden = True
    sheet.column_dimensions.group("I", "K", hidden=True)
    sheet.sheet_properties.tabColor = "1072BA"


def tools(book: Any, sheet: Any) -> None:
    line = chart.LineChart()
    line.add_data(chart.Reference(sheet, min_col=2, min_row=1, max_row=7), titles_from_data=True)
    sheet.add_chart(line, "H2")
    choice = worksheet.datavalidation.DataValidation(type="list", formula1='"a,b"', showErrorMessage=True)
    choice.add("C2:C9")
    sheet.add_data_validation(choice)
    rule: Any = formatting.rule.Rule(type="aboveAverage", stopIfTrue=True)
    sheet.conditional_formatting.add("B2:B7", rule)
    sheet.add_table(worksheet.table.Table(displayName="Log", ref="A1:C7"))
    sheet["F2"] = worksheet.formula.ArrayFormula("F2:F7", "=B2:B7*2")
    sheet["G2"] = worksheet.formula.DataTableFormula("G2:G4", r1="B2", dt2D=False)
    sheet.protection.sheet = True
    sheet.print_title_rows = "1:1"


def mac_dates(book: Any, sheet: Any) -> None:
    book.epoch = CALENDAR_MAC_1904


def openpyxl_log(path: Path, matter: Matter) -> Path:
    """A log with something more, made by openpyxl."""
    book = openpyxl.Workbook()
    sheet: Any = book.active
    sheet.title = "Data"
    for line in LOG:
        sheet.append(line)
    for row in range(2, 8):
        sheet.cell(row, 4, f"=B{row}*2")
    matter(book, sheet)
    book.save(path)
    return path


# Made by odfpy.


def cell(value: Any = None, count: int = 1, **more: Any) -> Any:
    """A cell of an ods table, standing there so many times."""
    if count > 1:
        more["numbercolumnsrepeated"] = count
    if isinstance(value, datetime):
        more |= {"valuetype": "date", "datevalue": value.date().isoformat()}
    elif isinstance(value, float):
        more |= {"valuetype": "float", "value": value}
    elif value is not None:
        more["valuetype"] = "string"
    made = table.TableCell(**more)
    if value is not None:
        made.addElement(text.P(text=str(value)))
    return made


def odfpy_log(path: Path) -> Path:
    """A log with a comment, a picture, repeats, groups, merged and hidden cells, rules and protection."""
    book = OpenDocumentSpreadsheet()
    rules = table.ContentValidations()
    rules.addElement(table.ContentValidation(name="v1", condition="of:cell-content-is-decimal-number()"))
    book.spreadsheet.addElement(rules)
    sheet = table.Table(
        name="Data", protected="true", protectionkey="c2VjcmV0", printranges="Data.A1:Data.D9"
    )
    sheet.addElement(table.TableColumn(numbercolumnsrepeated=40))
    header = table.TableHeaderRows()
    heading = table.TableRow()
    for title in LOG[0]:
        heading.addElement(cell(title))
    header.addElement(heading)
    sheet.addElement(header)
    group = table.TableRowGroup()
    for number, (day, litres, note) in enumerate(LOG[1:], start=2):
        row = table.TableRow(**({"visibility": "filter"} if number == 4 else {}))
        row.addElement(cell(day))
        row.addElement(cell(litres, contentvalidationname="v1"))
        noted = cell(note)
        remark = office.Annotation()
        remark.addElement(text.P(text="Why?"))
        noted.addElement(remark)
        row.addElement(noted)
        row.addElement(cell(2 * float(str(litres)), formula=f"of:=[.B{number}]*2"))
        row.addElement(cell("five times", 5))
        group.addElement(row)
    sheet.addElement(group)
    again = table.TableRow(numberrowsrepeated=60)
    again.addElement(cell(7.0, 3))
    again.addElement(cell())
    again.addElement(cell("fused", numbercolumnsspanned=2, numberrowsspanned=1))
    again.addElement(table.CoveredTableCell())
    sheet.addElement(again)
    matrix = table.TableRow()
    matrix.addElement(
        cell(1.0, formula="of:=[.B2:.C2]", numbermatrixcolumnsspanned=2, numbermatrixrowsspanned=1)
    )
    matrix.addElement(cell(2.0, 3))
    sheet.addElement(matrix)
    picture = cell()
    frame = draw.Frame(width="1cm", height="1cm", endcelladdress="Data.B70")
    frame.addElement(draw.Image(href=book.addPicture("dot.png", "image/png", png())))
    picture.addElement(frame)
    pictured = table.TableRow()
    pictured.addElement(picture)
    sheet.addElement(pictured)
    book.spreadsheet.addElement(sheet)
    known = table.NamedExpressions()
    known.addElement(table.NamedRange(name="litres", cellrangeaddress="$Data.$B$2:.$B$7"))
    book.spreadsheet.addElement(known)
    ranges = table.DatabaseRanges()
    ranges.addElement(
        table.DatabaseRange(name="log", targetrangeaddress="Data.A1:Data.D7", displayfilterbuttons="true")
    )
    book.spreadsheet.addElement(ranges)
    book.save(path)
    return path


# By name: all of them.
RICH: dict[str, Callable[[Path], Path]] = {
    **{
        f"xlsxwriter_{matter.__name__}.xlsx": partial(xlsx_log, matter=matter)
        for matter in (
            *(charts, pictures, shapes, sparklines, conditional_formats, validations, arrays, texts),
            *(protection, order, printing, tables, names),
        )
    },
    "xlsxwriter_macros.xlsm": partial(xlsx_log, matter=macros),
    "xlsxwriter_dates_1904.xlsx": partial(xlsx_log, date_1904=True),
    "xlsxwriter_inline_strings.xlsx": partial(xlsx_log, constant_memory=True),
    **{
        f"openpyxl_{matter.__name__}.xlsx": partial(openpyxl_log, matter=matter)
        for matter in (looks, tools, mac_dates)
    },
    "odfpy_log.ods": odfpy_log,
}
