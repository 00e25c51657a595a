"""One workbook from start to finish, in both formats."""

import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import in_memory
import numpy as np
import openpyxl
import pytest
from logs import clean_log, typed
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.formula import ArrayFormula

from sheetcalc import compute, files, layouts, units
from sheetcalc.files import locate
from sheetcalc.filled import writing
from sheetcalc.filling import examine, fill

Blank = Callable[..., Path]
Convert = Callable[..., None]
ENDINGS = [".xlsx", ".ods"]


def results(path: Path, sheet: str, record: int = 0) -> dict[str, Any]:
    """What stands in the computed cells of a record, in base units, by key."""
    book = files.open_workbook(path)
    look = layouts.every_sheet()[sheet]
    found = locate.find(book, [look])[sheet]
    cells = book.cells(found.tab)
    shown: dict[str, Any] = {}
    for field in look.columns:
        cell = cells.get((found.first_row + record, found.cells[field.key][1]))
        if field.role != "computed" or cell is None:
            continue
        label = str(cells[found.units[field.key]].value) if field.key in found.units else ""
        shown[field.key] = cell.value
        if isinstance(cell.value, float):
            shown[field.key] = float(units.to_base(cell.value, field.quantity, label))
    return shown


def one_litre() -> dict[str, Any]:
    """0.7 L of 60 % vol at 20 °C, brought to 1 L in one row and to 40 % vol in the next."""
    lot = {"lot": "A", "volume": 0.7, "reading": 60.0, "temperature": 20.0}
    return {"strength": [lot | {"target_volume": 1.0}, lot | {"target_strength": 40.0}]}


def check_one_litre(path: Path) -> None:
    # OIML R 22: 60 % vol is 909.11 kg/m3 and 52.09 % mass, so 0.7 L holds 331.5 g of ethanol in 636.4 g; 1 L
    # with the same ethanol has 42.0 % vol and 944.8 kg/m3, so 308.4 g (308.9 mL) of water go in, and
    # 700 + 308.9 - 1000 = 8.9 mL vanish. The trade measures 42 to 43 % vol (common practice).
    litre, forty = results(path, "strength", 0), results(path, "strength", 1)
    assert litre["final_strength"] == pytest.approx(42.0, abs=0.05)
    assert litre["water_mass"] == pytest.approx(0.3084, abs=0.00005)
    assert litre["contraction"] == pytest.approx(0.0089, abs=0.00005)
    assert forty["final_volume"] == pytest.approx(1.050, abs=0.0005)


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("kind", ["batch", "bench"])
def test_seven_hundred_millilitres_at_sixty_make_a_litre_at_forty_two(
    blank: Blank, tmp_path: Path, ending: str, kind: str
) -> None:
    path = typed(one_litre(), blank(kind, "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    check_one_litre(path)


@pytest.mark.office
def test_the_same_after_libreoffice_converted_the_workbook(
    blank: Blank, tmp_path: Path, soffice: Convert
) -> None:
    paths = [typed(one_litre(), blank("bench", "metric", e), tmp_path / f"from-{e[1:]}{e}") for e in ENDINGS]
    soffice("ods", tmp_path / "there", paths[0])
    soffice("xlsx", tmp_path / "there", paths[1])
    for path in sorted((tmp_path / "there").iterdir()):
        fill(path)
        check_one_litre(path)


@pytest.mark.office
@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_filled_log_survives_libreoffice_and_comes_out_the_same(
    blank: Blank, tmp_path: Path, soffice: Convert, system: layouts.System
) -> None:
    """Open, recalculate, convert to the other format and back: the next fill finds nothing to change."""
    log = clean_log() if system == "metric" else us_log()
    first = typed(log, blank("batch", system, ".xlsx"), tmp_path / "log.xlsx")
    before = fill(first)
    soffice("ods", tmp_path / "there", first)
    soffice("xlsx", tmp_path / "back", tmp_path / "there" / "log.ods")
    for path in (tmp_path / "there" / "log.ods", tmp_path / "back" / "log.xlsx"):
        assert [f.rule for f in fill(path)] == [f.rule for f in before]
        for sheet in ("fermentation", "runs", "strength"):
            for record in range(len(log.get(sheet, []))):
                ours, theirs = results(first, sheet, record), results(path, sheet, record)
                assert ours.keys() == theirs.keys()
                for key, value in ours.items():
                    assert theirs[key] == (pytest.approx(value) if isinstance(value, float) else value), key


def us_log() -> dict[str, Any]:
    """0.18492 gal (0.7 L) at 120 proof by a 60 °F glass, to 80 proof, typed in US units."""
    lot = {"lot": "A", "volume": 0.184920, "reading": 120.0, "temperature": 60.0, "target_strength": 80.0}
    return {"strength": [lot]}


@pytest.mark.parametrize("ending", ENDINGS)
def test_us_units_give_the_gauging_manuals_water(blank: Blank, tmp_path: Path, ending: str) -> None:
    # Gauging Manual / AOAC, as printed for 60 °F: 100 volumes from 60 to 40 % vol (120 to 80 proof) take 51.4
    # volumes of water, to within half a volume.
    path = typed(us_log(), blank("bench", "us", ending), tmp_path / f"log{ending}")
    fill(path)
    row = results(path, "strength")
    assert row["water_volume"] / 0.7 == pytest.approx(0.514, abs=0.005)
    assert row["strength_20"] == pytest.approx(60.0, abs=0.1)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_second_fill_leaves_the_file_as_it_is(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    once = path.read_bytes()
    fill(path)
    assert path.read_bytes() == once


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("kind", ["batch", "bench"])
def test_a_blank_workbook_is_filled_without_a_word(
    blank: Blank, tmp_path: Path, ending: str, kind: str
) -> None:
    path = tmp_path / f"log{ending}"
    shutil.copyfile(blank(kind, "metric", ending), path)
    assert [f for f in fill(path) if f.level != "note"] == []


@pytest.mark.parametrize("ending", ENDINGS)
def test_other_words_for_a_choice_are_understood_and_stay(blank: Blank, tmp_path: Path, ending: str) -> None:
    log = clean_log()
    log["runs"][0]["kind"] = "Strip"
    log["batch"]["wash_kind"] = "Rye"
    path = typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    seen = examine(path)
    assert seen.values.get("runs", "kind")[0] == "stripping"
    assert str(seen.values.get("batch", "wash_kind")) == "grain"
    fill(path)
    book = files.open_workbook(path)
    tab, _, column = book.names["runs_kind"]
    assert {cell.value for (_, at), cell in book.cells(tab).items() if at == column} >= {"Strip"}


def test_a_sheet_that_is_only_called_like_one_of_ours_is_not_ours(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Runs"
    sheet.append(["When", "What came", "proof"])
    book.save(tmp_path / "porch.xlsx")
    with pytest.raises(files.BadWorkbook, match="--layout"):
        fill(tmp_path / "porch.xlsx")


@pytest.mark.parametrize("ending", ENDINGS)
def test_records_below_the_ready_rows_are_filled_too(blank: Blank, tmp_path: Path, ending: str) -> None:
    lots = [dict(one_litre()["strength"][1], lot=str(n)) for n in range(90)]
    path = typed({"strength": lots}, blank("bench", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    assert results(path, "strength", 89)["final_volume"] == pytest.approx(1.050, abs=0.0005)


@pytest.mark.parametrize("ending", ENDINGS)
def test_results_of_a_deleted_record_go_and_notes_below_the_table_stay(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    book = files.open_workbook(path)
    found = locate.find(book, [layouts.every_sheet()["strength"]])["strength"]
    for key in ("lot", "volume", "reading", "temperature", "target_strength"):
        book.write(found.tab, found.first_row + 1, found.cells[key][1], None)
    below = (found.first_row + 70, found.cells["final_volume"][1])
    book.write(found.tab, *below, "mine")
    book.save()
    fill(path)
    assert results(path, "strength", 1) == {}
    assert files.open_workbook(path).cells(found.tab)[below].value == "mine"


@pytest.mark.parametrize("ending", ENDINGS)
def test_results_of_a_record_deleted_far_below_the_ready_rows_go(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    lots = [dict(one_litre()["strength"][1], lot=str(n)) for n in range(70)]
    path = typed({"strength": lots}, blank("bench", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    book = files.open_workbook(path)
    found = locate.find(book, [layouts.every_sheet()["strength"]])["strength"]
    for key in ("lot", "volume", "reading", "temperature", "target_strength"):
        book.write(found.tab, found.first_row + 69, found.cells[key][1], None)
    below = (found.first_row + 75, found.cells["final_volume"][1])
    book.write(found.tab, *below, "mine")
    book.save()
    fill(path)
    assert results(path, "strength", 68)["final_volume"] == pytest.approx(1.050, abs=0.0005)
    assert results(path, "strength", 69) == {}
    assert files.open_workbook(path).cells(found.tab)[below].value == "mine"


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_table_computed_as_a_whole_is_filled_and_emptied(blank: Blank, tmp_path: Path, ending: str) -> None:
    """16 L of wash at 12 % vol charged: 1.92 L of alcohol; without any spirit there is none."""
    log = {sheet: entries for sheet, entries in clean_log().items() if sheet != "cuts"}
    path = typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    charged = results(path, "balance", 2)
    assert charged["stage"] == "Charged with wash"
    assert charged["alcohol"] == pytest.approx(1.92)
    book = files.open_workbook(path)
    found = locate.find(book, [layouts.every_sheet()["runs"]])["runs"]
    for row in (0, 1):
        book.write(found.tab, found.first_row + row, found.cells["collected_volume"][1], None)
    book.save()
    fill(path)
    assert "alcohol" not in results(path, "balance", 2)


@pytest.mark.parametrize("ending", ENDINGS)
def test_flags_stand_in_the_row_and_on_the_findings_sheet_and_go_when_mended(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    log = one_litre()
    log["strength"][1]["target_strength"] = 70.0
    path = typed(log, blank("bench", "metric", ending), tmp_path / f"log{ending}")
    (finding,) = fill(path)
    book = files.open_workbook(path)
    found = locate.find(book, list(layouts.every_sheet().values()))
    strength, sheet = found["strength"], found["findings"]
    flag = (strength.first_row + 1, strength.cells["flags"][1])
    text = str(book.cells(strength.tab)[flag].value)
    assert text.startswith(f"ERROR [{finding.column}]")
    listed = book.cells(sheet.tab)
    assert listed[sheet.first_row, sheet.cells["message"][1]].value == finding.message
    assert listed[sheet.first_row, sheet.cells["cell"][1]].value == f"Strength {finding.cell}"
    book.write(strength.tab, strength.first_row + 1, strength.cells["target_strength"][1], 40.0)
    book.save()
    assert fill(path) == ()
    book = files.open_workbook(path)
    assert flag not in book.cells(strength.tab)
    assert not [place for place in book.cells(sheet.tab) if place[0] >= sheet.first_row]


def test_half_a_row_gets_what_can_be_computed(blank: Blank, tmp_path: Path) -> None:
    lots = {"strength": [{"lot": "A", "reading": 60.0, "temperature": 20.0}]}
    path = typed(lots, blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    rules = [f.rule for f in fill(path)]
    given = results(path, "strength")
    assert given.keys() == {"strength_20", "strength_20_uncertainty"}
    assert given["strength_20"] == pytest.approx(60.0, abs=0.001)
    assert "not_filled_in" in rules


def test_other_units_in_the_unit_cell_and_in_a_cell_are_read(blank: Blank, tmp_path: Path) -> None:
    lot = {"lot": "A", "volume": "700 ml", "reading": "120 proof", "temperature": "68 °F"}
    path = typed(
        {"strength": [lot | {"target_volume": "1000"}]},
        blank("bench", "metric", ".xlsx"),
        tmp_path / "a.xlsx",
    )
    book = files.open_workbook(path)
    found = locate.find(book, [layouts.every_sheet()["strength"]])["strength"]
    for key, unit in {"target_volume": "mL", "final_volume": "fl oz", "water_mass": "kg"}.items():
        book.write(found.tab, *found.units[key], unit)
    book.save()
    fill(path)
    row = results(path, "strength")
    assert row["final_volume"] == pytest.approx(1.0)
    assert row["water_mass"] == pytest.approx(0.3084, abs=0.00005)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("buckets", "'buckets' is no unit of this."),
        ("ounces", "fl oz"),
        (1.5, "'1.5' stands where its unit belongs."),
    ],
)
def test_a_unit_nobody_knows_leaves_its_column_unread_and_says_so(
    blank: Blank, tmp_path: Path, text: str | float, said: str
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    book = files.open_workbook(path)
    found = locate.find(book, [layouts.every_sheet()["strength"]])["strength"]
    book.write(found.tab, *found.units["volume"], text)
    book.save()
    (finding,) = [f for f in fill(path) if f.level == "error"]
    assert finding.rule == "unit_unknown"
    assert said in finding.message
    assert (finding.row, finding.place) == found.units["volume"]


def test_a_value_typed_into_a_unit_cell_of_the_card_is_told_there(blank: Blank, tmp_path: Path) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    book = files.open_workbook(path)
    tab, row, column = book.names["batch_wash_volume"]
    book.write(tab, row, column + 1, 25.0)
    book.save()
    (finding,) = [f for f in fill(path) if f.rule == "unit_unknown"]
    assert (finding.sheet, finding.row, finding.place) == (tab, row, column + 1)
    assert "'25' stands where its unit belongs" in finding.message and "left of it" in finding.advice


@pytest.mark.parametrize("ending", ENDINGS)
def test_dates_are_read_as_dates_and_as_text(blank: Blank, tmp_path: Path, ending: str) -> None:
    records = [
        {"taken_at": when, "reading": 1.05, "sample_temperature": 20.0}
        for when in (datetime(2026, 3, 4, 18, 30), "2026-03-05 18:30", "6.3.2026 18:30")
    ]
    path = typed({"fermentation": records}, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    seen = examine(path)
    assert np.allclose(np.diff(seen.values.get("fermentation", "taken_at")), 1.0)
    # Said once: no spreadsheet program sorts or draws them.
    assert [f.cell for f in seen.findings if f.rule == "date_as_text"] == ["A7"]


@pytest.mark.office
@pytest.mark.parametrize("ending", ENDINGS)
def test_formulas_in_entry_cells_are_read_by_their_stored_result(
    blank: Blank, tmp_path: Path, ending: str, soffice: Convert
) -> None:
    """One without a stored result is said; LibreOffice stores it; one that shows nothing is no entry."""
    path = tmp_path / "log.xlsx"
    shutil.copyfile(blank("bench", "metric", ".xlsx"), path)
    book = openpyxl.load_workbook(path)
    for column, value in {"A": "A", "B": "=1.4/2", "C": "60", "D": "20", "F": "1"}.items():
        book["Strength"][f"{column}6"] = value
    book["Strength"]["A7"] = '=IF(B6>9,"x","")'
    book.save(path)
    assert "formula_without_result" in [f.rule for f in fill(path)]
    soffice(ending[1:], tmp_path / "there", path)
    there = tmp_path / "there" / f"log{ending}"
    assert fill(there) == ()
    assert results(there, "strength")["final_strength"] == pytest.approx(42.0, abs=0.05)


def test_formulas_where_results_and_findings_go_stay(blank: Blank, tmp_path: Path) -> None:
    """One of the person's own on the findings sheet, and one that fills cells the file leaves out."""
    log = one_litre()
    log["strength"][1]["target_strength"] = 70.0
    path = typed(log, blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    column = locate.find(files.open_workbook(path), [layouts.every_sheet()["strength"]])["strength"].cells
    letter = get_column_letter(column["water_mass"][1])
    book = openpyxl.load_workbook(path)
    book["Findings"]["D5"] = "=1+1"
    book["Strength"][f"{letter}6"] = ArrayFormula(f"{letter}6:{letter}7", "=B6:B7*2")
    book.save(path)
    assert "own_formula" in [f.rule for f in fill(path)]
    seen = openpyxl.load_workbook(path)
    assert seen["Findings"]["D5"].value == "=1+1"
    assert seen["Findings"]["E5"].value
    assert seen["Strength"][f"{letter}7"].value is None
    assert results(path, "strength")["final_volume"] == pytest.approx(1.0)


def test_long_flags_make_their_row_high_enough_in_xlsx(blank: Blank, tmp_path: Path) -> None:
    """Spreadsheet programs do not fit rows of a file they open; 11-point text needs 15 points a line."""
    log = one_litre()
    log["strength"][1]["target_strength"] = 70.0
    path = typed(log, blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    fill(path)
    rows = openpyxl.load_workbook(path)["Strength"].row_dimensions
    assert rows[6].height == rows[8].height < 30  # as a new workbook has it, blank
    assert rows[7].height > rows[6].height + 10


@pytest.mark.parametrize("ending", ENDINGS)
def test_remarks_below_a_table_are_no_records_but_a_record_may_speak_of_totals(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    reading = {"taken_at": "2026-03-05 18:00", "reading": "1,041", "sample_temperature": "22"}
    records = [reading | {"note": "Total foam today"}, {}, {"taken_at": "Note: smelled fine"}]
    path = typed({"fermentation": records}, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    found = fill(path)
    assert [f for f in found if f.level != "note"] == []
    assert results(path, "fermentation")["gravity_20"] == pytest.approx(1.0415, abs=0.0005)


def test_dates_are_read_by_the_one_that_is_certain(blank: Blank, tmp_path: Path) -> None:
    records = [
        {"taken_at": when, "reading": 1.05, "sample_temperature": 20.0}
        for when in ("3/11/2026", "3/12/2026", "3/13/2026")
    ]
    path = typed({"fermentation": records}, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    seen = examine(path)
    assert np.allclose(np.diff(seen.values.get("fermentation", "taken_at")), 1.0)
    assert "date_in_doubt" not in [f.rule for f in seen.findings]


def test_a_log_without_one_of_its_sheets_is_computed_all_the_same() -> None:
    read = in_memory.read(in_memory.blank("metric"), dict(in_memory.places(clean_log())))
    whole = compute.Values(read)
    with in_memory.remembering():
        for gone in read:
            values = in_memory.Again({key: entries for key, entries in read.items() if key != gone}, whole)
            list(compute.findings(values))
            for sheet, entries in values.entries.items():
                for field in (*entries.sheet.fields, *entries.sheet.columns):
                    values.get(sheet, field.key)


@pytest.mark.parametrize("title", ["Batch", "Instruments", "Runs", "Findings"])
def test_a_workbook_that_lost_a_sheet_is_filled_all_the_same(
    blank: Blank, tmp_path: Path, title: str
) -> None:
    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    book = openpyxl.load_workbook(path)
    del book[title]
    book.save(path)
    fill(path)


def test_a_card_above_a_table_keeps_its_rows_low_in_xlsx(blank: Blank, tmp_path: Path) -> None:
    """Its help runs over several columns; it is not fitted into the first of them alone."""
    glass = [{"sample": s, "taster": t, "taste": 5} for s in "AB" for t in "CDEFGH"]
    path = typed({"tasting": glass}, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    before = openpyxl.load_workbook(path)["Tasting"].row_dimensions
    fill(path)
    after = openpyxl.load_workbook(path)["Tasting"].row_dimensions
    for row in range(4, 8):
        assert after[row].height <= before[row].height + 13, row


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_still_that_would_take_a_million_years_has_no_date_for_its_first_drip(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    log = clean_log()
    log["batch"] |= {"still_power": 1e-6}
    log["runs"][0] |= {"charge_volume": 9e8}
    path = typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    assert "expected_first_drip" not in results(path, "runs")


@pytest.mark.parametrize("ending", ENDINGS)
def test_long_texts_in_every_entry_are_no_burden(blank: Blank, tmp_path: Path, ending: str) -> None:
    log = clean_log()
    for sheet, entries in log.items():
        lines = [entries, *entries.get("records", [])] if isinstance(entries, dict) else entries
        for line in lines:
            for key, value in line.items():
                if isinstance(value, str) and layouts.every_sheet()[sheet].field(key):
                    line[key] = (f"{value} \u202e" * 20_000)[:32_767]
    path = typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    for finding in fill(path):
        assert len(finding.message) < 2000 and "\u202e" not in finding.message
    once = path.read_bytes()
    fill(path)
    assert path.read_bytes() == once


def test_the_rounding_error_of_a_difference_is_written_as_nothing() -> None:
    assert [writing.as_written(v) for v in (40.1 - 40.0 - 0.1, -3e-14, 0.0)] == [0.0, 0.0, 0.0]
    assert writing.as_written(-1.2345678949e-6) == -1.23456789e-6
