"""What LibreOffice makes of our workbooks: they open, convert, and mark what the flags speak of."""

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import load_workbook

from sheetcalc import layouts
from sheetcalc.build import look
from sheetcalc.files import open_workbook

pytestmark = pytest.mark.office
Blank = Callable[..., Path]
Convert = Callable[..., None]

FLAGS = {
    6: "ERROR [Reading] 0.912 is too light. Type it anew.\nWARNING [Wash temperature] 39 °C is warm.",
    7: "WARNING [Wash temperature] 38 °C is warm. Cool it.",
    8: "NOTE [Reading] Take another one tomorrow.",
    10: "NOTE [Reading] Danger. Spirit burns. No flame near it.",
    500: "ERROR [Reading] 0.913 is too light. Type it anew.",
}
READINGS = {6: 0.912, 7: 1.041, 8: 1.042, 9: 1.043, 10: 1.044, 500: 0.913}
READINGS |= {11: 1079.0, 12: 0.9885, 13: 11.26, 14: -1.5, 15: 0.6}
# °Bx computed in a column of SG.
BRIX = {12: -2.137, 13: 11.26, 14: 0.9897}
# In columns laid out for millilitres: an entry, and a result.
IN_GALLONS = [(0.35, 0.20134), (0.2, 12.34), (753.0, 851.3), (-0.25, -3.5)]
WARM = {6: 39.0, 7: 38.0, 9: 21.0}


@pytest.fixture(scope="module")
def shown(blank: Blank, soffice: Convert, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The flagged workbook as LibreOffice shows it, by the ending it was built with."""
    folder = tmp_path_factory.mktemp("flagged")
    paths = {ending: folder / f"flagged-{ending[1:]}{ending}" for ending in (".xlsx", ".ods")}
    for ending, path in paths.items():
        shutil.copy(blank("batch", "metric", ending), path)
        workbook = open_workbook(path)
        workbook.write("Fermentation", 4, 2, "Ablesung")
        for row, reading in READINGS.items():
            workbook.write("Fermentation", row, 2, reading)
        for row, brix in BRIX.items():
            workbook.write("Fermentation", row, 6, brix)
        for row, warm in WARM.items():
            workbook.write("Fermentation", row, 4, warm)
        for row, text in FLAGS.items():
            workbook.write("Fermentation", row, 15, text.replace("Reading", "Ablesung"))
        workbook.write("Batch", 7, 2, 120000.0)
        workbook.write("Batch", 7, 5, "ERROR [Wash volume] Nobody ferments so much. Look at the unit.")
        workbook.write("Instruments", 6, 7, 0.5)
        workbook.write("Instruments", 7, 7, -0.25)
        workbook.write("Instruments", 8, 7, 0.0)
        workbook.write("Findings", 6, 1, "WARNING")
        for row, (jar, alcohol) in enumerate(IN_GALLONS, start=6):
            workbook.write("Cuts", row, 3, jar)
            workbook.write("Cuts", row, 11, alcohol)
        workbook.save()
    soffice("html", folder, *paths.values())
    return {ending: path.with_suffix(".html").read_text(encoding="utf-8") for ending, path in paths.items()}


def _cells(html: str, text: str) -> list[str]:
    """The table cells, with their tags, that show this text."""
    cells = re.findall(r"<td.*?</td>", html, re.S)
    return [td for td in cells if re.sub(r"<[^>]*>", "", td).strip() == text]


def _cell(html: str, text: str) -> str:
    """The only one that shows this text."""
    found = _cells(html, text)
    assert len(found) == 1, (text, found)
    return str(found[0]).upper()


BOTH = pytest.mark.parametrize("ending", [".xlsx", ".ods"])


@BOTH
@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("0.912", look.ERROR_CELL),
        ("39.0", look.WARNING_CELL),
        ("1.041", look.WARNING_ROW),
        ("38.0", look.WARNING_CELL),
        ("0.913", look.ERROR_CELL),
        ("120000", look.ERROR_CELL),
        ("1.042", look.NOTE_CELL),
        ("1.044", look.WARNING_CELL),
        ("Wash volume", look.ERROR_ROW),
        ("WARNING", None),
    ],
)
def test_the_cell_at_fault_is_marked(
    shown: dict[str, str], ending: str, text: str, mark: look.Mark | None
) -> None:
    if mark is None:
        cells = re.findall(r"<td[^>]*bgcolor=\"#\w+\"[^>]*>(?:<[^>]*>)*WARNING<", shown[ending], re.I)
        assert len(cells) == 2  # the swatch on the first page, the level on the last
        assert all(look.WARNING_FLAG.fill in cell.upper() for cell in cells)
        return
    cell = _cell(shown[ending], text)
    assert f'BGCOLOR="#{mark.fill}"' in cell
    assert ("<B>" in cell) == (mark.bold or text == "Wash volume")


@BOTH
def test_what_is_not_at_fault_keeps_its_look(shown: dict[str, str], ending: str) -> None:
    for text in ("1.043", "21.0"):
        assert f'BGCOLOR="#{look.CREAM}"' in _cell(shown[ending], text)


@BOTH
def test_numbers_are_shown_as_the_layout_says(shown: dict[str, str], ending: str) -> None:
    for text in ("+0.5", "-0.25", "1.041"):
        assert _cells(shown[ending], text)


@BOTH
def test_another_unit_shows_its_digits_and_no_number_loses_its_minus(
    shown: dict[str, str], ending: str
) -> None:
    for text in (
        "1079",
        "0.9885",
        "11.26",
        "-1.5",
        "0.6",
        "-2.1",
        "11.3",
        "0.9897",
        "0.35",
        "0.2",
        "753",
        "0.201",
        "12",
        "851",
        "-3.5",
    ):
        assert _cells(shown[ending], text), text
    assert len(_cells(shown[ending], "-0.25")) == 2  # of an instrument, and of a jar


@pytest.fixture(scope="module")
def crossed(blank: Blank, soffice: Convert, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every workbook converted to the other format: kind, system and first ending -> file."""
    folder = tmp_path_factory.mktemp("crossed")
    made: dict[str, Path] = {}
    for ending, other in ((".xlsx", ".ods"), (".ods", ".xlsx")):
        paths = [blank(kind, s, ending) for kind in layouts.kinds() for s in ("metric", "us")]
        soffice(other[1:], folder, *paths)
        made |= {path.name: (folder / path.name).with_suffix(other) for path in paths}
    return made


def test_names_and_headings_survive_the_other_format(crossed: dict[str, Path]) -> None:
    for name, path in crossed.items():
        workbook = open_workbook(path)
        for sheet in layouts.load(name.split("-")[0]).sheets:
            for column in sheet.columns:
                tab, row, place = workbook.names[f"{sheet.key}_{column.key}"]
                assert workbook.cells(tab)[row, place].value == column.heading


def test_rules_marks_and_pages_survive_from_ods(crossed: dict[str, Path]) -> None:
    sheet = load_workbook(crossed["batch-metric.ods"])["Fermentation"]
    rules = {str(rule.sqref).split()[0]: rule for rule in sheet.data_validations.dataValidation}
    assert rules["B5"].formula1 == '"SG,points,°Bx,°P,kg/m3"'
    limits = next(rule for at, rule in rules.items() if at.startswith("C6:"))
    assert "C6>=0" in limits.formula1 and limits.errorStyle == "warning"
    formulas = [rule.formula[0] for each in sheet.conditional_formatting for rule in each.rules]
    assert 'ISNUMBER(FIND("ERROR ["&A$4&"]",$O6))' in formulas
    assert sheet.print_title_rows == "$4:$5"
    assert sheet["A6"].number_format.replace("\\", "") == "yyyy-mm-dd hh:mm"
