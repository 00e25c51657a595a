"""What an .xlsx workbook holds beside its cells."""

import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import load_workbook
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from sheetcalc import layouts, units

Blank = Callable[..., Path]


@pytest.fixture(scope="module")
def books(blank: Blank) -> dict[layouts.System, Workbook]:
    """The batch workbook, in both unit systems."""
    return {s: load_workbook(blank("batch", s, ".xlsx")) for s in ("metric", "us")}


def _at(sheet: Worksheet, cell: str) -> DataValidation:
    rules: list[DataValidation] = sheet.data_validations.dataValidation
    return next(rule for rule in rules if cell in rule.sqref)


def test_a_unit_cell_offers_the_units(books: dict[layouts.System, Workbook]) -> None:
    rule = _at(books["metric"]["Fermentation"], "B5")
    assert rule.type == "list" and rule.errorStyle == "stop"
    assert rule.formula1 == f'"{",".join(units.choices("gravity"))}"'


def test_centilitres_are_offered_for_bottles_alone(books: dict[layouts.System, Workbook]) -> None:
    offering = {
        sheet.title
        for sheet in books["metric"].worksheets
        for rule in sheet.data_validations.dataValidation
        if "cL" in str(rule.formula1)
    }
    assert offering == {"Batch", "Bottling"}


def test_no_text_runs_on_from_a_column_that_is_printed_on_every_page(blank: Blank) -> None:
    book = load_workbook(blank("register", "metric", ".xlsx"))
    wide = [sheet for sheet in book.worksheets if sheet.print_title_cols]
    assert wide
    assert not [area for sheet in wide for area in sheet.merged_cells.ranges if area.min_col == 1]


def test_a_choice_cell_offers_the_choices(books: dict[layouts.System, Workbook]) -> None:
    sheet = books["metric"]["Batch"]
    rule = _at(sheet, "B5")
    assert rule.formula1 == '"sugar,grain,fruit,molasses,wine"'
    assert rule.promptTitle == "Kind of wash"


@pytest.mark.parametrize(
    ("system", "limits", "said"),
    [
        ("metric", 'OR(ISTEXT(C6),AND(C6>=0,C6<=40),C$5<>"°C")', "0 to 40 °C"),
        ("us", 'OR(ISTEXT(C6),AND(C6>=32,C6<=104),C$5<>"°F")', "32 to 104 °F"),
    ],
)
def test_limits_stand_in_the_unit_of_the_workbook(
    books: dict[layouts.System, Workbook], system: layouts.System, limits: str, said: str
) -> None:
    rule = _at(books[system]["Fermentation"], "C6")
    assert (rule.type, rule.formula1, rule.errorStyle) == ("custom", limits, "warning")
    assert said in str(rule.error)
    assert str(rule.sqref) == "C6:C2005"


def test_limits_that_were_converted_are_round(books: dict[layouts.System, Workbook]) -> None:
    """4500 m are 14,763.8 ft and 400 m below the sea 1312.3 ft; nobody says it so."""
    place = books["us"].defined_names["batch_altitude"].attr_text.split("!")[1].replace("$", "")
    assert "is -1300 to 15000 ft" in str(_at(books["us"]["Batch"], place).error)


def test_a_hydrometer_in_thousandths_is_let_pass(books: dict[layouts.System, Workbook]) -> None:
    assert "AND(B6>=970,B6<=1170)" in str(_at(books["metric"]["Fermentation"], "B6").formula1)


@pytest.mark.parametrize("kind", layouts.kinds())
def test_every_entry_has_a_prompt_that_fits(blank: Blank, kind: str) -> None:
    book = load_workbook(blank(kind, "us", ".xlsx"))
    for sheet in layouts.load(kind).sheets:
        for field in (*sheet.fields, *sheet.columns):
            if field.role != "entry":
                continue
            target = book.defined_names[f"{sheet.key}_{field.key}"].attr_text
            tab, cell = target.replace("'", "").replace("$", "").split("!")
            below = field in sheet.columns
            place = book[tab][cell].offset(2 if below else 0, 0).coordinate
            rule = _at(book[tab], place)
            assert rule.showInputMessage and str(rule.prompt).startswith(field.help[:40])
            assert len(str(rule.promptTitle)) <= 32 and len(str(rule.prompt)) <= 255
            assert len(str(rule.error or "")) <= 255 and len(str(rule.formula1 or "")) <= 257


def test_headings_and_units_stay_in_sight(books: dict[layouts.System, Workbook]) -> None:
    frozen = {sheet.title: sheet.freeze_panes for sheet in books["metric"].worksheets}
    assert frozen["Start"] is None
    assert frozen["Batch"] == "A4"
    assert frozen["Fermentation"] == frozen["Runs"] == "B6"
    assert frozen["Findings"] == "A5"


def test_pages_are_set_up(books: dict[layouts.System, Workbook]) -> None:
    sheet = books["metric"]["Runs"]
    assert sheet.print_title_rows == "$4:$5"
    assert (sheet.page_setup.orientation, sheet.page_setup.paperSize) == ("landscape", 9)
    # So wide that on one page nobody could read it.
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (2, 0)
    assert sheet.print_title_cols == "$A:$A"
    assert books["metric"]["Fermentation"].page_setup.fitToWidth == 1
    assert sheet.sheet_properties.pageSetUpPr and sheet.sheet_properties.pageSetUpPr.fitToPage
    footer = sheet.oddFooter
    assert footer and (footer.left.text, footer.center.text, footer.right.text) == ("&A", "&F", "&P / &N")
    assert sheet.page_setup.pageOrder == "overThenDown"
    assert books["us"]["Runs"].page_setup.paperSize == 1
    assert books["metric"]["Start"].page_setup.orientation == "portrait"


def test_entries_and_results_differ_not_only_by_colour(books: dict[layouts.System, Workbook]) -> None:
    sheet = books["metric"]["Fermentation"]
    entry, result = sheet["B6"], sheet["F6"]
    assert entry.border.left.style and not result.border.left.style
    assert sheet["F4"].font.italic and not sheet["B4"].font.italic
    assert entry.fill.fgColor.rgb != result.fill.fgColor.rgb
    assert (
        entry.number_format == "[<0.95]General;[<1.25]0.000#;General"
        and entry.alignment.horizontal == "right"
    )


def test_rows_grow_with_their_flags(books: dict[layouts.System, Workbook], blank: Blank) -> None:
    assert books["metric"]["Fermentation"]["O6"].alignment.wrap_text
    with zipfile.ZipFile(blank("batch", "metric", ".xlsx")) as package:
        rows = re.findall(r'<row r="6"[^>]*>', package.read("xl/worksheets/sheet5.xml").decode())
    assert rows and "customHeight" not in rows[0]


def test_text_that_looks_like_a_formula_stays_text(blank: Blank, tmp_path: Path) -> None:
    from sheetcalc.build import place, xlsx

    layout = layouts.load("bench")
    page = layout.sheets[0]
    lines = (layouts.Line("text", "=1+1", ""),)
    sheet = layouts.Sheet(page.key, page.title, "", False, 60, (), (), lines, ())
    odd = layouts.Layout("odd", "Odd", (sheet,))
    xlsx.build(place.grids(odd, {}, "metric"), "Odd", tmp_path / "odd.xlsx")
    assert load_workbook(tmp_path / "odd.xlsx")[page.title]["B1"].data_type == "s"


def test_a_step_leads_to_its_sheet(books: dict[layouts.System, Workbook]) -> None:
    links = [c.hyperlink.location for row in books["metric"]["Start"].iter_rows() for c in row if c.hyperlink]
    assert "'Fermentation'!A1" in links
