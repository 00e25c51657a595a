"""Workbooks written by other programs: all that isn't written survives, and they still open."""

from pathlib import Path
from typing import Any

import openpyxl
import pytest
from files.workbook_samples import (
    CORPUS,
    changed_members,
    convert,
    ods_cells,
    part,
    raw_members,
    xlsx_cells,
)

from sheetcalc.files import open_workbook

pytestmark = pytest.mark.corpus

PROTECTED = {"calamine-pass_protected.xlsx", "calamine-pass_protected.ods"}
# Workbooks that the independent reader itself can't load.
UNREADABLE = {"calamine-issue_419.xlsx", "calamine-minimal_package.xlsx", "calamine-pivots.xlsx"}
FILES = sorted(p.name for p in CORPUS.glob("*.*") if p.suffix != ".md" and p.name not in PROTECTED)
PLACES = ((1, 1), (2, 2), (3, 40), (150, 3))


@pytest.fixture(scope="module")
def edited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with all the workbooks, edited in the same few places of each sheet."""
    folder = tmp_path_factory.mktemp("edited")
    for name in FILES:
        path = folder / name
        path.write_bytes((CORPUS / name).read_bytes())
        book = open_workbook(path)
        for sheet in book.sheets:
            for row, column in PLACES:
                held = book.cells(sheet).get((row, column))
                if held is None or not held.formula:
                    book.write(sheet, row, column, f"R{row} =C{column}")
        book.save()
    return folder


@pytest.mark.parametrize("name", FILES)
def test_only_written_cells_change(edited: Path, name: str) -> None:
    old, new = CORPUS / name, edited / name
    before = open_workbook(old)
    changed = changed_members(old, new)
    if name.endswith(".ods"):
        assert changed == {"content.xml"}
    else:
        assert all("sheet" in member or member == "xl/workbook.xml" for member in changed)
    raw_before, raw_after = raw_members(old), raw_members(new)
    assert all(raw_before[member] == raw_after[member] for member in raw_before.keys() - changed)
    if name in UNREADABLE:
        return
    look: Any = ods_cells if name.endswith(".ods") else xlsx_cells
    cells_before, cells_after = look(old), look(new)
    place_of = {(sheet, *place) for sheet in before.sheets for place in PLACES}
    for place in (cells_before.keys() | cells_after.keys()) - place_of:
        mine, now = cells_before.get(place), cells_after.get(place)
        formula = before.cells(place[0])[place[1:]].formula if place[1:] in before.cells(place[0]) else False
        assert mine == now or formula, place


@pytest.mark.parametrize("name", FILES)
def test_written_cells_read_back(edited: Path, name: str) -> None:
    book = open_workbook(edited / name)
    for sheet in book.sheets:
        for row, column in PLACES:
            cell = book.cells(sheet)[row, column]
            assert cell.formula or cell.value == f"R{row} =C{column}"
    if name in UNREADABLE or name.endswith(".ods"):
        return
    seen = openpyxl.load_workbook(edited / name)
    for sheet in book.sheets:
        assert seen[sheet].cell(3, 40).value == "R3 =C40"


@pytest.mark.parametrize("name", FILES)
def test_nothing_is_lost_around_the_cells(edited: Path, name: str) -> None:
    if name.endswith(".ods"):
        old, new = part(CORPUS / name, "content.xml"), part(edited / name, "content.xml")
        kept: tuple[str, ...] = (
            "<draw:frame",
            "<office:annotation>",
            "<table:named-range ",
            "<style:style ",
            "<table:table ",
        )
    else:
        members = sorted(m for m in changed_members(CORPUS / name, edited / name) if "sheet" in m)
        old, new = ("".join(part(folder / name, m) for m in members) for folder in (CORPUS, edited))
        kept = (
            "<f", "<drawing ", "<legacyDrawing ", "<tablePart ", "<mergeCell ", "<hyperlink ", "<cfRule ",
            "<dataValidation ", "<extLst", "<picture ", "<control ", "<col ", "<pageSetup", "<headerFooter",
            "<mc:AlternateContent",
        )  # fmt: skip
    assert {tag: old.count(tag) for tag in kept} == {tag: new.count(tag) for tag in kept}


@pytest.mark.office
def test_an_office_program_opens_them(edited: Path) -> None:
    kinds = "annotation issues merged_cells picture_rich minimal pivots table-m macro03 button07 chart_bar"
    names = [name for name in FILES if any(kind in name for kind in kinds.split())]
    assert len({Path(name).stem for name in names}) == len(names) >= 10
    seen = convert([edited / name for name in names], edited / "seen", "ods")
    for name in names:
        sheet = open_workbook(edited / name).sheets[0]
        cells = ods_cells(seen / f"{Path(name).stem}.ods")
        assert cells[sheet, 3, 40][2] == "R3 =C40", name
