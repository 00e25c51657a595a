"""Making a workbook: where it goes, what is refused, what both formats hold."""

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
from openpyxl.utils import get_column_letter

from sheetcalc import build, compute, layouts
from sheetcalc.build import look
from sheetcalc.build.grid import Position
from sheetcalc.build.place import grids
from sheetcalc.files import open_workbook
from sheetcalc.making import new

ENDINGS = (".xlsx", ".ods")
EVERY = [(kind, s, e) for kind in layouts.kinds() for s in get_args(layouts.System) for e in ENDINGS]
Blank = Callable[..., Path]
Change = Callable[..., layouts.Layout]


@pytest.mark.parametrize(("kind", "system", "ending"), EVERY)
def test_every_key_has_its_name_on_its_cell(
    blank: Blank, kind: str, system: layouts.System, ending: str
) -> None:
    workbook = open_workbook(blank(kind, system, ending))
    for sheet in layouts.load(kind).sheets:
        for field in sheet.columns:
            tab, row, column = workbook.names[f"{sheet.key}_{field.key}"]
            cells = workbook.cells(tab)
            assert (tab, cells[row, column].value) == (sheet.title, field.heading)
            under = cells.get((row + 1, column))
            assert (under.value if under else "") == field.unit.get(system, "")
        for field in sheet.fields:
            tab, row, column = workbook.names[f"{sheet.key}_{field.key}"]
            cells = workbook.cells(tab)
            if field.role == "flag":
                assert cells[row, column].value == field.heading
            else:
                assert (tab, cells[row, column - 1].value) == (sheet.title, field.heading)
                beside = cells.get((row, column + 1))
                assert (beside.value if beside else "") == field.unit.get(system, "")


@pytest.mark.parametrize(("kind", "system", "ending"), EVERY)
def test_every_page_holds_its_lines(blank: Blank, kind: str, system: layouts.System, ending: str) -> None:
    workbook = open_workbook(blank(kind, system, ending))
    assert workbook.sheets == [sheet.title for sheet in layouts.load(kind).sheets]
    for sheet in layouts.load(kind).sheets:
        texts = {cell.value for cell in workbook.cells(sheet.title).values()}
        assert {line.text for line in sheet.lines} <= texts
        assert not sheet.intro or sheet.intro in texts


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("system", get_args(layouts.System))
def test_rows_come_prefilled(blank: Blank, system: layouts.System, ending: str) -> None:
    workbook = open_workbook(blank("batch", system, ending))
    sheet = layouts.every_sheet()["instruments"]
    cells = workbook.cells(sheet.title)
    for record, given in enumerate(sheet.prefilled):
        for key, value in given.items():
            _, row, column = workbook.names[f"instruments_{key}"]
            assert cells[row + 2 + record, column].value == value[system]


def test_a_default_is_told_but_not_written(blank: Blank) -> None:
    workbook = open_workbook(blank("batch", "metric", ".xlsx"))
    tab, row, column = workbook.names["batch_altitude"]
    assert (row, column) not in workbook.cells(tab)


@pytest.mark.parametrize("ending", ENDINGS)
def test_building_twice_gives_the_same_bytes(blank: Blank, tmp_path: Path, ending: str) -> None:
    again = tmp_path / f"again{ending}"
    new("bench", again, "us")
    assert again.read_bytes() == blank("bench", "us", ending).read_bytes()


@pytest.mark.parametrize("ending", ENDINGS)
def test_nothing_tells_of_a_person_or_a_path(blank: Blank, ending: str) -> None:
    path = blank("batch", "metric", ending)
    home, user = str(Path.home()), Path.home().name
    with zipfile.ZipFile(path) as package:
        for name in package.namelist():
            content = package.read(name).decode("utf-8", "replace")
            assert home + "/" not in content
            assert str(path.parent) not in content
            assert f">{user}<" not in content


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"log\.csv: a new workbook ends in \.xlsx or \.ods"):
        new("bench", tmp_path / "log.csv")
    assert not list(tmp_path.iterdir())


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_text("mine")
    with pytest.raises(FileExistsError, match=r"log\.xlsx exists already"):
        new("bench", path)
    assert path.read_text() == "mine"


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"no folder .*nowhere"):
        new("bench", tmp_path / "nowhere" / "log.ods")


@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize(
    ("sheet", "old", "new", "said"),
    [
        ("fermentation", 'title = "Fermentation"', 'title = "In/out"', "fermentation.toml, title 'In/out'"),
        ("fermentation", 'title = "Fermentation"', 'title = "runs"', "same title"),
        ("fermentation", 'format = "yyyy-mm-dd"', 'format = "dd mmm"', "key 'expected_end': the format"),
        ("carbon", '"used again"]', '"used, again"]', "carbon.toml, key 'freshness'"),
        ("carbon", '"used again"]', f'"{"x" * 250}"]', "longer than 255"),
    ],
)
def test_what_no_spreadsheet_can_hold_is_refused(
    changed: Change, tmp_path: Path, ending: str, sheet: str, old: str, new: str, said: str
) -> None:
    layout = changed(sheet, old, new)
    target = tmp_path / "out"
    target.mkdir()
    with pytest.raises(layouts.LayoutError) as refused:
        build.new_workbook(layout, compute.needs(layout), "metric", target / f"log{ending}")
    assert said in str(refused.value)
    assert not list(target.iterdir())


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_renamed_and_a_dropped_column(changed: Change, tmp_path: Path, ending: str) -> None:
    text = (layouts.folder() / "sheets" / "fermentation.toml").read_text(encoding="utf-8")
    start = text.index('[[columns]]\nkey = "note"')
    note = text[start : text.index("[[columns]]", start + 5)]
    layout = changed("fermentation", 'heading = "Reading"', 'heading = "Ablesung"', note, "")
    path = tmp_path / f"log{ending}"
    build.new_workbook(layout, compute.needs(layout), "metric", path)
    workbook = open_workbook(path)
    tab, row, column = workbook.names["fermentation_reading"]
    assert workbook.cells(tab)[row, column].value == "Ablesung"
    assert "fermentation_note" not in workbook.names
    assert workbook.names["fermentation_gravity_20"][2] == 5


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_card_above_a_table(changed: Change, tmp_path: Path, ending: str) -> None:
    card = """
[[fields]]
key = "mash_volume"
heading = "Mash volume"
help = "All of it."
role = "entry"
quantity = "volume"
unit = { metric = "L", us = "gal" }

[[columns]]
key = "taken_at"
"""
    layout = changed("fermentation", '\n[[columns]]\nkey = "taken_at"\n', card)
    path = tmp_path / f"log{ending}"
    build.new_workbook(layout, compute.needs(layout), "us", path)
    workbook = open_workbook(path)
    tab, row, column = workbook.names["fermentation_mash_volume"]
    assert workbook.cells(tab)[row, column + 1].value == "gal"
    _, heading_row, _ = workbook.names["fermentation_taken_at"]
    assert heading_row > row
    assert workbook.cells(tab)[heading_row + 1, 2].value == "SG"


def test_both_formats_stand_on_the_same_places() -> None:
    for kind in layouts.kinds():
        for grid in grids(layouts.load(kind), compute.needs(layouts.load(kind)), "metric"):
            used = max(grid.cells)
            assert Position(1, 1) in grid.cells
            assert used.column <= max(grid.widths), get_column_letter(used.column)


def test_every_table_has_its_rows_ready() -> None:
    layout = layouts.load("batch")
    for sheet, grid in zip(layout.sheets, grids(layout, compute.needs(layout), "metric")[:-1], strict=True):
        if sheet.columns:
            heading = grid.names[f"{sheet.key}_{sheet.columns[0].key}"].row
            first = heading + 1 + any(column.units for column in sheet.columns)
            ready = [place for place, cell in grid.cells.items() if place.row >= first and cell.look.fill]
            assert len({place.row for place in ready}) >= sheet.records
            assert grid.spare_to - first >= 1990


@pytest.mark.parametrize("kind", layouts.kinds())
@pytest.mark.parametrize(("system", "wide", "high"), [("metric", 27.7, 18.5), ("us", 25.94, 19.09)])
def test_a_blank_sheet_takes_a_pen_and_leaves_room_for_flags(
    kind: str, system: layouts.System, wide: float, high: float
) -> None:
    """By hand: A4 is 29.7 cm by 21 cm, Letter 27.94 cm by 21.59 cm; 1 cm is left free, and 1.5 cm below."""
    layout = layouts.load(kind)
    for sheet, grid in zip(layout.sheets, grids(layout, compute.needs(layout), system)[:-1], strict=True):
        if grid.landscape and any(column.role == "entry" for column in sheet.columns):
            columns = sum(look.points(grid.widths[place]) for place in range(1, len(sheet.columns) + 1))
            scale = min(1.0, wide / 2.54 * 72 * grid.pages[0] / columns)
            assert scale * 10 > 5.9, sheet.key  # letters of 10 points, that small, can still be read
            first, last = grid.ready
            assert grid.heights[first] * scale > 5 / 25.4 * 72, sheet.key
            ten_lines = 10 * 12.75 * (0.75 if sheet.fields else 1)  # below a card they are fewer
            needed = sum(grid.heights[row] for row in range(1, last + 1) if row in grid.heights)
            assert (needed + ten_lines) * scale < high / 2.54 * 72, sheet.key


def test_marks_surround_a_flags_column_that_was_moved(changed: Change) -> None:
    text = (layouts.folder() / "sheets" / "fermentation.toml").read_text(encoding="utf-8")
    flags = text[text.index('[[columns]]\nkey = "flags"') :]
    layout = changed(
        "fermentation", flags, "", '[[columns]]\nkey = "note"', f'{flags}\n[[columns]]\nkey = "note"'
    )
    grid = next(grid for grid in grids(layout, compute.needs(layout), "metric") if grid.key == "fermentation")
    said = {marking.area.name: [told for told, _ in marking.conditions] for marking in grid.markings}
    assert len(said) == 15
    assert 'ISNUMBER(FIND("ERROR";[.$E6]))' in said["E6:E2005"]
    for column in "ABCDFGHIJKLMNO":
        told = f'ISNUMBER(FIND("ERROR ["&[.{column}$4]&"]";[.$E6]))'
        assert told in said[f"{column}6:{column}2005"]
