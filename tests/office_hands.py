# mypy: ignore-errors
"""What people do to a workbook in LibreOffice, done through its UNO interface.

Run by a Python that has uno: it starts LibreOffice with a fresh profile, then takes one order a line
on standard input, as JSON, and answers each with one line of JSON on standard output.

Usage: python office_hands.py SOFFICE FOLDER
"""

import json
import subprocess
import sys
import time
import traceback
from pathlib import Path

import office_acts
import uno
from com.sun.star.awt import Point, Rectangle, Size
from com.sun.star.beans import PropertyValue
from com.sun.star.sheet.ConditionOperator import GREATER
from com.sun.star.table import CellAddress, TableSortField

FILTERS = {
    ".xlsx": "Calc MS Excel 2007 XML",
    ".ods": "calc8",
    ".xls": "MS Excel 97",
    ".fods": "OpenDocument Spreadsheet Flat XML",
}
OWN_SHEET = "Meine Zahlen"
FORMULAS = 16  # com.sun.star.sheet.CellFlags


def prop(name, value):
    return PropertyValue(Name=name, Value=value)


def start(soffice, folder):
    """Start LibreOffice and give its process and desktop."""
    pipe = f"sheetcalc-{Path(folder).name}-{time.time_ns()}"
    process = subprocess.Popen(
        [
            *(soffice, "--headless", "--norestore", "--nologo"),
            f"-env:UserInstallation={(Path(folder) / 'profile').as_uri()}",
            f"--accept=pipe,name={pipe};urp;",
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    context = uno.getComponentContext()
    resolver = context.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", context)
    for _ in range(600):
        try:
            remote = resolver.resolve(f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext")
        except Exception:  # not there yet
            if process.poll() not in (None, 0, 81):
                raise
            time.sleep(0.1)
        else:
            return process, remote
    process.kill()
    raise TimeoutError("LibreOffice did not start")


class Hands:
    """One open workbook; rows and columns count from 0, as UNO counts."""

    def __init__(self, remote, path):
        self.remote = remote
        self.desktop = remote.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", remote)
        url = Path(path).as_uri()
        self.book = self.desktop.loadComponentFromURL(url, "_blank", 0, (prop("Hidden", True),))

    def cell(self, name):
        """The cell that one of our names denotes."""
        cell = self.book.NamedRanges.getByName(name).getReferredCells()
        return cell.getCellByPosition(0, 0)

    def place(self, name):
        """Its sheet, column and row."""
        address = self.cell(name).getCellAddress()
        return self.book.Sheets.getByIndex(address.Sheet), address.Column, address.Row

    def records(self, name, count):
        """The cells of the first records below a heading and its unit."""
        sheet, column, row = self.place(name)
        return sheet.getCellRangeByPosition(column, row + 2, column, row + 1 + count)

    def record(self, name, number):
        sheet, column, row = self.place(name)
        return sheet.getCellByPosition(column, row + 2 + number)

    def unit(self, name):
        sheet, column, row = self.place(name)
        return sheet.getCellByPosition(column, row + 1)


def reference(range_):
    """A cell's or block's address within formulas, with its sheet."""
    return range_.AbsoluteName


def type_other_values(hands, order):
    """Correct some entries, and type in one record more between others; two records go."""
    for name, number, value in order["changed"]:
        hands.record(name, number).setValue(value)
    sheet, _, row = hands.place("fermentation_taken_at")
    number = order["inserted_at"]
    sheet.Rows.insertByIndex(row + 2 + number, 1)
    for key, value in order["inserted"].items():
        hands.record(f"fermentation_{key}", number).setValue(value)
    for name, number in order["deleted"]:
        sheet, _, row = hands.place(name)
        sheet.Rows.removeByIndex(row + 2 + number, 1)


def choose_other_units(hands, order):
    """Set unit cells to another unit; typed numbers are converted, texts with their own unit left."""
    for name, unit, factor, shift in order["units"]:
        hands.unit(name).setString(unit)
        typed = hands.records(name, order["records"]).getDataArray() if factor else ()
        for number, (value,) in enumerate(typed):
            if isinstance(value, float):
                hands.record(name, number).setValue(round(value * factor + shift, 6))
    for name, unit, value in order["card_units"]:
        sheet, column, row = hands.place(name)
        sheet.getCellByPosition(column + 1, row).setString(unit)
        if value is not None:
            hands.cell(name).setValue(value)


def make_room(hands):
    """Rows above the table and inside the card, a column of their own between ours, a column less."""
    sheet, _, _ = hands.place("fermentation_taken_at")
    sheet.Rows.insertByIndex(2, 2)
    sheet.getCellByPosition(1, 2).setString("Fermenter 2, by the window")
    sheet, _, row = hands.place("batch_yeast_tolerance")
    sheet.Rows.insertByIndex(row, 1)
    sheet.getCellByPosition(0, row).setString("Yeast from")
    sheet.getCellByPosition(1, row).setString("the shop at the corner")
    sheet, column, row = hands.place("fermentation_sample_temperature")
    sheet.Columns.insertByIndex(column, 1)
    sheet.getCellByPosition(column, row).setString("Weather")
    for number, text in enumerate(("sun", "rain", "fog", "snow")):
        sheet.getCellByPosition(column, row + 2 + number).setString(text)
    sheet, column, _ = hands.place("fermentation_note")
    sheet.Columns.removeByIndex(column, 1)


def add_own_column(hands, count):
    """A column in the first place in sight right of ours, with a formula over our results."""
    sheet, column, row = hands.place("fermentation_flags")
    column = own_column(sheet, column)
    sheet.getCellByPosition(column, row).setString("Twice the alcohol")
    for number in range(count):
        alcohol = reference(hands.record("fermentation_alcohol", number)).split(".")[-1].replace("$", "")
        sheet.getCellByPosition(column, row + 2 + number).setFormula(f"=2*{alcohol}")


def own_column(sheet, column):
    """The first column in sight right of this one."""
    return next(n for n in range(column + 1, 200) if sheet.Columns.getByIndex(n).IsVisible)


def add_totals(hands, runs):
    """A line of totals right below the last run, over entries and over results; words below the table."""
    sheet, column, row = hands.place("runs_run")
    total = row + 2 + runs
    sheet.getCellByPosition(column, total).setString("Total")
    for name in ("runs_charge_volume", "runs_collected_alcohol"):
        _, column, _ = hands.place(name)
        block = reference(hands.records(name, runs))
        sheet.getCellByPosition(column, total).setFormula(f"=SUM({block})")
    _, column, row = hands.place("runs_flags")
    sheet.getCellByPosition(column, total).setString("all of them")
    sheet.getCellByPosition(column, row + 90).setString("Words below the table")


def sort_by_date(hands, count):
    """Newest record first."""
    sheet, first, row = hands.place("fermentation_taken_at")
    _, last, _ = hands.place("fermentation_flags")
    block = sheet.getCellRangeByPosition(0, row + 2, own_column(sheet, last), row + 1 + count)
    field = TableSortField()
    field.Field, field.IsAscending, field.IsCaseSensitive = first, False, False
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    block.sort((prop("SortFields", fields), prop("ContainsHeader", False), prop("IsSortColumns", False)))


def hide_and_colour(hands):
    """Hide a row and columns, colour cells of ours, comment on them, make one bold."""
    sheet, column, row = hands.place("fermentation_attenuation")
    sheet.Columns.getByIndex(column).IsVisible = False
    sheet.Rows.getByIndex(row + 4).IsVisible = False
    hands.record("fermentation_gravity_20", 0).CellBackColor = 0xFFE0A0
    hands.record("fermentation_reading", 1).CellBackColor = 0xA0FFE0
    hands.records("fermentation_alcohol", 3).CellBackColor = 0xE0A0FF
    hands.record("strength_water_mass", 0).CharWeight = 150.0
    for name, number in (("fermentation_gravity_20", 0), ("fermentation_alcohol", 1), ("runs_recovery", 1)):
        cell = hands.record(name, number)
        cell.Spreadsheet.Annotations.insertNew(cell.getCellAddress(), f"What about {name}?")
    cell = hands.cell("batch_original_gravity")
    cell.Spreadsheet.Annotations.insertNew(cell.getCellAddress(), "Measured twice.")


def own_marks(hands, cells, style):
    """A conditional format of the person's own."""
    marks = cells.ConditionalFormat
    marks.addNew((prop("Operator", GREATER), prop("Formula1", "12"), prop("StyleName", style)))
    cells.ConditionalFormat = marks


def add_own_sheet(hands, order, picture):
    """A sheet with text, merged cells, formulas over results, a name, a chart, a picture, marks."""
    book, sheets = hands.book, hands.book.Sheets
    sheets.insertNewByName(OWN_SHEET, 1)
    sheet = sheets.getByName(OWN_SHEET)
    sheet.getCellByPosition(0, 0).setString("My numbers, for the whole year")
    sheet.getCellRangeByName("A1:C1").merge(True)
    first_run = hands.record("runs_recovery", 0)
    origin = CellAddress(0, 0, 0)
    book.NamedRanges.addNewByName("meine_Ausbeute", reference(first_run), origin, 0)
    ferment, runs = order["records"], order["runs"]
    findings, messages, row = hands.place("findings_message")
    told = findings.getCellRangeByPosition(messages, row + 1, messages, row + 40)
    lots, masses = hands.records("strength_lot", 3), hands.records("strength_water_mass", 3)
    formulas = [
        f"=MAX({reference(hands.records('fermentation_alcohol', ferment))})",
        "=A3*10",
        f"=SUM({reference(hands.records('runs_collected_alcohol', runs))})",
        "=meine_Ausbeute*2",
        f'=INDEX({reference(masses)};MATCH("To bottle";{reference(lots)};0))',
        f"=COUNTA({reference(told)})",
        '=IF(ISNUMBER(A3);"about "&ROUND(A3;0)&" %";"nothing")',
        f"=COUNT({reference(hands.records('fermentation_reading', ferment))})",
    ]
    for row, formula in enumerate(formulas, start=2):
        sheet.getCellByPosition(0, row).setFormula(formula)
    dark = book.createInstance("com.sun.star.style.CellStyle")
    book.StyleFamilies.getByName("CellStyles").insertByName("Mine", dark)
    dark.CellBackColor = 0x80C080
    own_marks(hands, sheet.getCellRangeByName("A3:A9"), "Mine")
    own_marks(hands, hands.records("strength_strength_20", 3), "Mine")
    data = hands.records("fermentation_gravity_20", ferment).getRangeAddress()
    sheet.Charts.addNewByName("Verlauf", Rectangle(8000, 1000, 12000, 8000), (data,), False, False)
    provider = hands.remote.ServiceManager.createInstanceWithContext(
        "com.sun.star.graphic.GraphicProvider", hands.remote
    )
    image = book.createInstance("com.sun.star.drawing.GraphicObjectShape")
    image.Graphic = provider.queryGraphic((prop("URL", Path(picture).as_uri()),))
    image.Size, image.Position = Size(2000, 2000), Point(8000, 12000)
    sheet.DrawPage.add(image)


def translate(hands, order):
    """Rename and move sheets, translate headings and a card's label."""
    for name, text in order["headings"]:
        hands.cell(name).setString(text)
    for name, text in order["labels"]:
        sheet, column, row = hands.place(name)
        sheet.getCellByPosition(column - 1, row).setString(text)
    sheets = hands.book.Sheets
    for old, new in order["sheets"]:
        sheets.getByName(old).setName(new)
    sheets.moveByName("Findings", 0)


def work(remote, order):
    """All of it, in an order in which it could happen; saved under every path that is wanted."""
    hands = Hands(remote, order["path"])
    try:
        type_other_values(hands, order)
        make_room(hands)
        office_acts.move_before(hands, "fermentation_wash_temperature", "fermentation_reading")
        add_own_column(hands, order["records"])
        choose_other_units(hands, order)
        sort_by_date(hands, order["records"])
        add_totals(hands, order["runs"])
        hide_and_colour(hands)
        office_acts.filter_by(hands, "runs_run", "runs_flags", "runs_kind", order["runs"], "stripping")
        add_own_sheet(hands, order, order["picture"])
        translate(hands, order)
        for old, new, position in order["copies"]:
            hands.book.Sheets.copyByName(old, new, position)
        for path in order["saves"]:
            hands.book.storeToURL(Path(path).as_uri(), (prop("FilterName", FILTERS[Path(path).suffix]),))
    finally:
        hands.book.close(True)
    return "done"


def replace(remote, order):
    """Go on with a copy of a sheet instead of the sheet, lose names and sheets, and type another value."""
    hands = Hands(remote, order["path"])
    sheets, names = hands.book.Sheets, hands.book.NamedRanges
    try:
        _, column, row = hands.place("strength_volume")
        sheets.copyByName("Strength", "Strength, second try", 1)
        sheets.removeByName("Strength")
        value = order["volume"]
        sheets.getByName("Strength, second try").getCellByPosition(column, row + 2).setValue(value)
        sheets.removeByName("Start")
        for name in names.ElementNames:
            if name.startswith("runs_"):
                names.removeByName(name)
        sheets.getByName("Runs").setName("Brennen")
        sheets.getByName("Instruments").IsVisible = False
        hands.book.storeToURL(
            Path(order["save"]).as_uri(), (prop("FilterName", FILTERS[Path(order["save"]).suffix]),)
        )
    finally:
        hands.book.close(True)
    return "done"


def act(remote, order):
    """Do single things one after the other, see office_acts.py, and save under every path that is wanted."""
    hands = Hands(remote, order["path"])
    try:
        for name, *details in order["acts"]:
            getattr(office_acts, name)(hands, *details)
        for path in order["saves"]:
            hands.book.storeToURL(Path(path).as_uri(), (prop("FilterName", FILTERS[Path(path).suffix]),))
    finally:
        hands.book.close(True)
    return "done"


def read(remote, order):
    """What LibreOffice shows in all formula cells and, by sheet, all charts when it opens a workbook.

    For every formula cell: its sheet, its row and column from 1, its result as shown, and its result after
    everything was computed afresh.
    """
    hands = Hands(remote, order["path"])
    try:
        shown = list(formula_results(hands.book))
        charts = {
            sheet.Name: [list(drawn(chart.EmbeddedObject)) for chart in sheet.Charts]
            for sheet in hands.book.Sheets
        }
        hands.book.calculateAll()
        again = [result for *_, result in formula_results(hands.book)]
    finally:
        hands.book.close(True)
    return {"cells": [[*cell, afresh] for cell, afresh in zip(shown, again, strict=True)], "charts": charts}


def drawn(chart):
    """The values of all columns in a chart, without blanks."""
    for system in chart.FirstDiagram.CoordinateSystems:
        for kind in system.ChartTypes:
            for series in kind.DataSeries:
                for sequence in series.DataSequences:
                    if sequence.Values.Role == "values-y":
                        yield from (v for v in sequence.Values.Data if isinstance(v, float) and v == v)


def formula_results(book):
    for sheet in book.Sheets:
        for address in sheet.queryContentCells(FORMULAS).getRangeAddresses():
            for row in range(address.StartRow, address.EndRow + 1):
                for column in range(address.StartColumn, address.EndColumn + 1):
                    cell = sheet.getCellByPosition(column, row)
                    # Asking for the text first has it computed; its type is not known before.
                    text = cell.String
                    result = text if cell.FormulaResultType2 != 1 else cell.Value
                    yield sheet.Name, row + 1, column + 1, result


ORDERS = {"work": work, "replace": replace, "act": act, "read": read}


def main(soffice, folder):
    process, remote = start(soffice, folder)
    try:
        for line in sys.stdin:
            order = json.loads(line)
            try:
                answer = {"answer": ORDERS[order["do"]](remote, order)}
            except Exception:
                answer = {"failed": traceback.format_exc()}
            print(json.dumps(answer), flush=True)
    finally:
        desktop = remote.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", remote)
        try:
            desktop.terminate()
            process.wait(20)
        except Exception:  # it went away by itself, or hangs
            process.kill()


if __name__ == "__main__":
    main(*sys.argv[1:])
