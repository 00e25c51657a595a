"""Readers within bounds: what is too involved or can't be is told apart quickly and does no harm."""

import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from files.workbook_samples import part, with_parts, write_ods, write_xlsx
from lxml import etree

from sheetcalc.files import BadWorkbook, open_lock, open_workbook, package, references
from sheetcalc.files.references import (
    ANYWHERE,
    Area,
    Formula,
    Reader,
    covered,
    dependants,
    named_areas,
    whole,
)
from sheetcalc.files.row_heights import fit
from sheetcalc.files.workbook import read_number

SHEET = "xl/worksheets/sheet1.xml"
WHOLE = whole("Data")


def at(row: int, column: int, *looks_at: Area, covers: Area | None = None) -> Formula:
    return Formula(("Data", row, column), covers or Area("Data", row, column, row, column), list(looks_at))


def test_the_blocks_of_an_area_are_the_area() -> None:
    for area in (Area("", 1, 1, 1, 1), Area("", 2, 3, 9, 5), Area("", 5, 1, 37, 16), Area("", 7, 7, 8, 8)):
        grid = [(row, column) for row in range(1, 45) for column in range(1, 20)]
        assert covered([area], grid) == {place for place in grid if area.holds(*place)}
    grid = [(1, 1), (1_048_576, 16_384), (500_000, 9_000)]
    assert covered([WHOLE], grid) == set(grid)
    assert covered([], grid) == set()


def test_areas_that_overlap_without_end_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(references, "MOST_BLOCKS", 100)
    with pytest.raises(BadWorkbook, match="over and over"):
        covered([Area("", 2, 2, 100 + n, 100 + n) for n in range(50)], [(1, 1)])


def test_formulas_that_fill_a_whole_sheet_pass_a_change_on_at_once() -> None:
    """An array formula over 17 thousand million cells looks at A1; Z9 lies in it and B2 looks at that."""
    array = at(1, 5, Area("Data", 1, 1, 1, 1), covers=WHOLE)
    follower = at(2, 2, Area("Data", 9, 26, 9, 26))
    start = time.perf_counter()
    found = dependants([array, follower], {"Data": [(1, 1)]})
    assert {formula.place for formula in found} == {array.place, follower.place}
    assert dependants([array, follower], {"Data": [(3, 3)]}) == []
    assert time.perf_counter() - start < 1


def test_a_formula_that_looks_anywhere_depends_on_every_change() -> None:
    formula = at(1, 1, ANYWHERE)
    assert dependants([formula], {"Other": [(7, 7)]}) == [formula]
    assert dependants([formula], {}) == []


def test_chains_of_blocks_take_little_time() -> None:
    chain = [at(row, 27, Area("Data", row + 1, 27, row + 3, 27)) for row in range(1, 30_000)]
    start = time.perf_counter()
    assert len(dependants(chain, {"Data": [(30_001, 27)]})) == 29_999
    assert time.perf_counter() - start < 10


def reader_of(texts: dict[str, str]) -> Reader:
    names = named_areas(lambda name, sheet: texts.get(name), lambda text, sheet: reader.excel(text, sheet))
    reader = Reader(["Data"], names)
    return reader


def test_names_are_followed_as_far_as_they_lead() -> None:
    reader = reader_of({"a": "b+b", "b": "c*2", "c": "Data!$B$2", "me": "me+1", "x": "y", "y": "x+Data!$A$1"})
    assert reader.excel("a", "Data") == [Area("Data", 2, 2, 2, 2)]
    assert ANYWHERE in reader.excel("me", "Data") and ANYWHERE in reader.excel("x", "Data")
    assert reader.excel("nobody", "Data") == []


def test_names_that_multiply_take_little_time() -> None:
    """Twenty names, each ten times the next: 10**20 ways to go, one of them enough."""
    texts = {f"nick_{i}": "+".join([f"nick_{i + 1}"] * 10) for i in range(19)} | {"nick_19": "Data!$A$1"}
    start = time.perf_counter()
    assert reader_of(texts).excel("nick_0", "Data") == [Area("Data", 1, 1, 1, 1)]
    assert time.perf_counter() - start < 1


@pytest.mark.parametrize(
    "text", ["'" * 8001, "[" * 8001, "['" + "''" * 4000, '"' * 8001, "[x" * 4000, "a!" * 4000]
)
def test_texts_made_to_keep_a_reader_busy_do_not(text: str) -> None:
    reader = reader_of({})
    start = time.perf_counter()
    reader.excel(text, "Data")
    reader.open_document(text, "Data")
    assert time.perf_counter() - start < 1


def test_a_formula_that_is_too_long_looks_anywhere() -> None:
    assert reader_of({}).excel("A1+" * 30_000, "Data") == [ANYWHERE]


@pytest.mark.parametrize(
    "text", ["NaN", "inf", "1e999", "1_000", "0x10", "٣", "", "-", "1e", "1 2", "9" * 400]
)
def test_what_is_no_number_in_a_file_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        read_number(text)


def test_numbers_in_a_file_are_read() -> None:
    texts = {"1": 1.0, " -2.5 ": -2.5, "1.": 1.0, ".5": 0.5, "+1E+2": 100.0, "1e-320": 1e-320}
    assert {text: read_number(text) for text in texts} == texts


def _formatted(book: Any, sheet: Any) -> None:
    date = book.add_format({"num_format": "yyyy-mm-dd"})
    for row, value in enumerate([45000, 2958464, 2958466, -700000, 1e300]):
        sheet.write(row, 0, value, date)


def test_only_dates_of_a_calendar_are_moments(tmp_path: Path) -> None:
    cells = open_workbook(write_xlsx(tmp_path / "log.xlsx", _formatted)).cells("Data")
    assert [cells[row, 1].kind for row in range(1, 6)] == ["moment", "moment", "number", "number", "number"]


def test_a_number_that_is_no_date_replaces_one_as_a_number(tmp_path: Path) -> None:
    cell = '<table:table-cell office:value-type="date" office:date-value="2026-03-04"/>'
    table = f'<table:table table:name="Data"><table:table-row>{cell}</table:table-row></table:table>'
    path = write_ods(tmp_path / "log.ods", table)
    book = open_workbook(path)
    book.write("Data", 1, 1, 1e9)
    book.save()
    read = open_workbook(path).cells("Data")[1, 1]
    assert (read.kind, read.value) == ("number", 1e9)


def _inline(text: str) -> str:
    return f'<row r="1"><c r="A1" t="inlineStr"><is><t>{text}</t></is></c></row>'


def sheet_of(tmp_path: Path, rows: str) -> Path:
    source = write_xlsx(tmp_path / "source.xlsx", lambda book, sheet: None)
    change = {
        SHEET: lambda content: content.replace(b"<sheetData/>", f"<sheetData>{rows}</sheetData>".encode())
    }
    return with_parts(source, tmp_path / "log.xlsx", change)


def test_characters_written_as_two_halves_are_read_as_one(tmp_path: Path) -> None:
    cells = open_workbook(sheet_of(tmp_path, _inline("_xD83D__xDE00_ _xD83D_x"))).cells("Data")
    assert cells[1, 1].value == "😀 \ufffdx"


def test_a_text_is_cut_off_behind_what_a_cell_holds(tmp_path: Path) -> None:
    cells = open_workbook(sheet_of(tmp_path, _inline("x" * 100_000))).cells("Data")
    assert cells[1, 1].value == "x" * 32_768


@pytest.mark.parametrize(
    "rows",
    [
        '<row r="1"/><row r="1"/>',
        '<row r="2"/><row/><row r="3"/>',
        '<row r="1"><c r="A1"/><c r="A1"/></row>',
        '<row r="1"><c r="A2"/></row>',
    ],
)
def test_rows_and_cells_that_are_there_twice_or_astray_are_refused(tmp_path: Path, rows: str) -> None:
    with pytest.raises(BadWorkbook, match="use a backup copy"):
        open_workbook(sheet_of(tmp_path, rows)).cells("Data")


def test_a_cell_is_put_between_cells_that_have_no_names(tmp_path: Path) -> None:
    rows = "<row><c><v>1</v></c><c><v>2</v></c></row><row r='5'><c><v>5</v></c></row>"
    path = sheet_of(tmp_path, rows)
    book = open_workbook(path)
    book.write("Data", 3, 2, 32)
    book.write("Data", 5, 3, 53)
    book.save()
    cells = {place: cell.value for place, cell in open_workbook(path).cells("Data").items()}
    assert cells == {(1, 1): 1, (1, 2): 2, (3, 2): 32, (5, 1): 5, (5, 3): 53}
    names = [cell.get("r") for cell in etree.fromstring(part(path, SHEET).encode()).iter("{*}c")]
    assert names == ["A1", "B1", "B3", "A5", "C5"]


def test_a_hidden_column_of_no_width_has_its_row_fitted() -> None:
    row = etree.Element("row")
    fit(row, [(0.0, 11.0, "text"), (0.0, 409.0, "x" * 30_000)])
    assert row.get("ht") == "409"


def test_more_than_memory_holds_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = sheet_of(tmp_path, '<row r="1" spans="1:2" ht="15"/>')
    monkeypatch.setattr(package, "MAX_WEIGHT", 10_000)
    with pytest.raises(BadWorkbook, match="held in memory"):
        open_workbook(path).cells("Data")


def test_a_name_that_is_too_long_for_a_lock_file_has_none(tmp_path: Path) -> None:
    path = tmp_path / f"{'x' * 245}.xlsx"
    path.touch()
    assert open_lock(path) is None


def test_moments_at_the_ends_of_the_calendar_are_written(tmp_path: Path) -> None:
    path = write_ods(tmp_path / "log.ods", '<table:table table:name="Data"/>')
    book = open_workbook(path)
    book.write("Data", 1, 1, datetime(9999, 12, 30, 23, 59, 59))
    book.write("Data", 2, 1, datetime(1, 1, 1))
    book.save()
    assert {cell.kind for cell in open_workbook(path).cells("Data").values()} == {"moment"}
