"""The demo scenario: the clean batches stay clean, every planted mistake is found, nothing else is."""

import re
import tomllib
from pathlib import Path

import demo
import pytest
from openpyxl.utils import column_index_from_string

from sheetcalc import files
from sheetcalc.filling import examine, fill

ROOT = Path(__file__).parents[1]
FILLED = ROOT / "examples" / "filled"
HANDBOOK = ROOT / "examples" / "handbook.md"
NAMES = [w["file"] for w in tomllib.loads((ROOT / "examples" / "scenario.toml").read_text())["workbooks"]]
ENDINGS = [".xlsx", ".ods"]

# What was planted, as the comments in scenario.toml say it.
MISTAKES = {
    ("Batch", "B13", "target_below_legal_minimum"),
    ("Instruments", "B7", "scale_of_another_kind"),
    ("Instruments", "E6", "far_from_zero"),
    ("Fermentation", "D7", "wash_too_warm"),
    ("Fermentation", "C8", "fahrenheit_sample"),
    ("Fermentation", "A9", "date_out_of_order"),
    ("Fermentation", "B10", "out_of_line"),
    ("Fermentation", "B11", "gravity_impossible"),
    ("Fermentation", "B13", "stalled"),
    ("Fermentation", "A14", "unreadable"),
    ("Recipe", "B7", "pitched_too_warm"),
    ("Recipe", "C20", "heavier_than_the_wash"),
    ("Boiling", "D6", "lighter_after_boiling"),
    ("Clearing", "C6", "chitosan_before_silica_sol"),
    ("Clearing", "D7", "unusual_dose"),
    ("Cuts", "D7", "above_azeotrope"),
    ("Cuts", "F8", "fahrenheit_vapour"),
    ("Cuts", "E9", "fahrenheit_sample"),
    ("Cuts", "H10", "fraction_out_of_order"),
    ("Blend", "E6", "out_of_reach"),
    ("Carbon", "I6", "stronger_out"),
    ("Tasting", "E11", "smoothness_off_scale"),
    ("Triangle", "C6", "more_correct_than_tastings"),
    ("Bottling", "D6", "size_in_another_unit"),
    ("Bottling", "E7", "part_of_a_bottle"),
    ("Runs", "C6", "little_room_for_foam"),
    ("Runs", "I6", "more_alcohol_out"),
    ("Runs", "C7", "dry_pot"),
    ("Runs", "C8", "over_full"),
    ("Runs", "F8", "drip_before_heat"),
    ("Strength", "B6", "more_than_collected"),
    ("Strength", "E7", "target_above_source"),
    ("Strength", "E8", "below_legal_minimum"),
    ("Strength", "P8", "not_as_expected"),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo workbooks, freshly made and filled."""
    folder = tmp_path_factory.mktemp("demo")
    demo.make(folder)
    day = re.search(r"SOURCE_DATE_EPOCH=(\d+)", (ROOT / "examples" / "run.sh").read_text())
    assert day
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", day[1])
        for path in folder.iterdir():
            fill(path)
    return folder


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", NAMES)
def test_what_is_planted_is_found_and_nothing_else(made: Path, name: str, ending: str) -> None:
    found = examine(made / f"{name}{ending}").findings
    serious = {(f.sheet, f.cell, f.rule) for f in found if f.level != "note"}
    assert serious == (MISTAKES if "mistakes" in name else set())


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("name", NAMES)
def test_the_filled_workbooks_to_look_at_are_up_to_date(made: Path, name: str, ending: str) -> None:
    fresh, kept = (files.open_workbook(folder / f"{name}{ending}") for folder in (made, FILLED))
    assert fresh.sheets == kept.sheets
    for sheet in fresh.sheets:
        assert fresh.cells(sheet) == kept.cells(sheet), sheet


@pytest.mark.parametrize("name", NAMES)
def test_both_formats_hold_the_same(made: Path, name: str) -> None:
    xlsx, ods = (files.open_workbook(made / f"{name}{ending}") for ending in ENDINGS)
    for sheet in xlsx.sheets:
        theirs = {place: (c.value, c.kind) for place, c in ods.cells(sheet).items()}
        assert {place: (c.value, c.kind) for place, c in xlsx.cells(sheet).items()} == theirs, sheet


def test_the_scenario_is_marked_as_invented() -> None:
    text = (ROOT / "examples" / "scenario.toml").read_text(encoding="utf-8")
    assert "invented" in text.splitlines()[0]
    scenario = tomllib.loads(text)["workbooks"]
    assert all("(invented)" in str(workbook) for workbook in scenario)


def test_the_numbers_of_the_handbook_stand_in_the_cells_it_names() -> None:
    told = re.findall(
        r"([0-9]+(?:\.[0-9]+)?)[^`()0-9]{0,30}\(`(\w+)!([A-Z]+)([0-9]+)`\)",
        HANDBOOK.read_text(encoding="utf-8"),
    )
    assert len(told) >= 25
    book = files.open_workbook(FILLED / "birch-sugar.xlsx")
    for number, sheet, letters, row in told:
        cell = book.cells(sheet)[int(row), column_index_from_string(letters)]
        decimals = len(number.partition(".")[2])
        assert isinstance(cell.value, float), (sheet, letters, row)
        assert f"{cell.value:.{decimals}f}" == number, (sheet, letters, row)
