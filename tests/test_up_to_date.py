"""A workbook that is as its last fill left it is not computed; whatever could matter makes it be."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from demo import type_in
from logs import clean_log, put, spoilt, typed
from test_cli import run

import sheetcalc.filling
from sheetcalc import files, layouts, units
from sheetcalc.build import as_filled
from sheetcalc.files import locate
from sheetcalc.filled import edits, up_to_date
from sheetcalc.filling import bring_up_to_date, check, fill

Blank = Callable[..., Path]
Convert = Callable[..., None]
ENDINGS = [".xlsx", ".ods"]
EXAMPLES = sorted((Path(__file__).parents[1] / "examples" / "filled").glob("*.*s*"))


@pytest.fixture(params=ENDINGS)
def filled(request: pytest.FixtureRequest, blank: Blank, tmp_path: Path) -> Path:
    """The clean log, with something to be found in it, filled."""
    log = spoilt(put("strength", 0, target_strength=80.0))
    path = typed(log, blank("batch", "metric", request.param), tmp_path / f"log{request.param}")
    fill(path)
    return path


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The workbooks that were computed from here on."""
    told: list[Path] = []
    compute = sheetcalc.filling._compute

    def noted(book: files.Workbook, *others: Any) -> Any:
        told.append(book.path)
        return compute(book, *others)

    monkeypatch.setattr(sheetcalc.filling, "_compute", noted)
    return told


def edit(path: Path, change: Callable[[files.Workbook, dict[str, locate.Found]], None]) -> None:
    """Change cells of a workbook, as another program would, and save it."""
    book = files.open_workbook(path)
    change(book, locate.find(book, [s for s in layouts.every_sheet().values() if s.fields or s.columns]))
    book.save()


def test_it_is_not_computed_and_the_same_is_told(filled: Path, computed: list[Path]) -> None:
    before, found = filled.read_bytes(), check(filled)
    computed.clear()
    done = bring_up_to_date(filled)
    assert (done.up_to_date, computed) == (True, [])
    assert done.findings == found
    assert [f for f in found if f.level == "error"]
    assert filled.read_bytes() == before


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_demo_workbook_is_told_as_it_was_computed(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / path.name
    shutil.copyfile(path, copy)
    found = fill(copy, again=True)
    again = bring_up_to_date(copy)
    assert again.up_to_date
    assert again.findings == found


def test_again_computes_it(filled: Path, computed: list[Path]) -> None:
    assert bring_up_to_date(filled, again=True).up_to_date
    assert computed == [filled]


def test_no_entry_fits_when_it_is_typed_or_changed(filled: Path) -> None:
    """One entry after the other of all sheets, and back again."""
    book = files.open_workbook(filled)
    looks = layouts.every_sheet()
    found = locate.find(book, [s for s in looks.values() if s.fields or s.columns])
    tried = 0
    for key, at in found.items():
        for field in (*looks[key].fields, *looks[key].columns):
            if field.role != "entry":
                continue
            place = at.cells[field.key]
            if field in looks[key].columns:
                place = (at.first_row, place[1])
            cell = book.cells(at.tab).get(place)
            old: Any = cell.value if cell else None
            if cell and cell.kind == "moment":
                old = units.moment(old)
            book.write(at.tab, *place, "something else")
            assert up_to_date.findings(book, found) is None, field.key
            book.write(at.tab, *place, old)
            assert up_to_date.findings(book, found) is not None, field.key
            tried += 1
    assert tried > 80


def unit_changed(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    book.write(found["strength"].tab, *found["strength"].units["volume"], "mL")


def result_cleared(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    at = found["strength"]
    book.write(at.tab, at.first_row, at.cells["strength_20"][1], None)


def result_typed_over(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    at = found["strength"]
    book.write(at.tab, at.first_row, at.cells["strength_20"][1], 1.0)


def flag_cleared(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    at = found["strength"]
    book.write(at.tab, at.first_row, at.cells["flags"][1], None)


def finding_changed(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    at = found["findings"]
    book.write(at.tab, at.first_row, at.cells["message"][1], "All is well.")


def heading_translated(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    book.write(found["strength"].tab, *found["strength"].cells["reading"], "Anzeige")


def copy_changed(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    tab, row, column = book.names[as_filled.copy_name("strength", "reading")]
    book.write(tab, row + 1, column, 1.0)


def fingerprint_removed(book: files.Workbook, found: dict[str, locate.Found]) -> None:
    at = edits.all_edited(book)
    assert at
    book.write(at[0], at[1], as_filled.UNIT_WAS, None)


CHANGES = [
    *(unit_changed, result_cleared, result_typed_over, flag_cleared, finding_changed, heading_translated),
    *(copy_changed, fingerprint_removed),
]


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_whatever_of_ours_is_changed_is_computed_and_mended(
    filled: Path, computed: list[Path], change: Callable[..., None]
) -> None:
    edit(filled, change)
    assert not bring_up_to_date(filled).up_to_date
    assert computed == [filled]
    assert bring_up_to_date(filled).up_to_date


def test_another_version_computes_it(
    filled: Path, computed: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(up_to_date, "__version__", "0.0.9")
    up_to_date._layouts.cache_clear()
    bring_up_to_date(filled)
    up_to_date._layouts.cache_clear()
    assert computed == [filled]


def test_another_limit_in_a_layout_computes_it(
    filled: Path, computed: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    import dataclasses

    looks = layouts.every_sheet()
    fields = tuple(dataclasses.replace(f, high=1.0) for f in looks["strength"].columns)
    changed = looks | {"strength": dataclasses.replace(looks["strength"], columns=fields)}
    monkeypatch.setattr(layouts, "every_sheet", lambda: changed)
    up_to_date._layouts.cache_clear()
    bring_up_to_date(filled)
    up_to_date._layouts.cache_clear()
    assert computed == [filled]


def test_without_the_findings_sheet_it_is_computed_each_time_and_left_alone(
    blank: Blank, tmp_path: Path, computed: list[Path]
) -> None:
    import openpyxl

    path = typed(clean_log(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    book = openpyxl.load_workbook(path)
    del book["Findings"]
    book.save(path)
    fill(path)
    once = path.read_bytes()
    assert bring_up_to_date(path).up_to_date
    assert computed == [path, path]
    assert path.read_bytes() == once


def test_to_a_folder_a_copy_is_made_all_the_same(filled: Path, computed: list[Path], tmp_path: Path) -> None:
    out = tmp_path / "out"
    code, said, _ = run("fill", filled, "--to", out)
    assert code == 1
    assert "(up to date)" in said.splitlines()[0]
    assert (out / filled.name).read_bytes() == filled.read_bytes()


def test_the_summary_the_total_and_the_exit_code_are_as_at_the_first_fill(
    blank: Blank, tmp_path: Path
) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    for number, ending in enumerate(ENDINGS):
        log = spoilt(put("strength", 0, target_strength=80.0)) if number else clean_log()
        typed(log, blank("batch", "metric", ending), folder / f"{number}{ending}")
    first, again, forced = run("fill", folder), run("fill", folder), run("fill", folder, "--again")
    assert first[0] == again[0] == 1
    assert again[1].replace(" (up to date)", "").replace("; 2 were up to date", "") == first[1]
    assert again[1].splitlines()[-1].endswith("; 2 were up to date.")
    assert forced == again
    type_in(folder / "0.xlsx", {"strength": [{"reading": 61.0}]})
    assert run("fill", folder)[1].splitlines()[-1].endswith("; 1 was up to date.")


@pytest.mark.office
def test_what_another_program_saved_is_filled_and_then_up_to_date(
    filled: Path, tmp_path: Path, soffice: Convert
) -> None:
    """LibreOffice writes every number and formula its own way; the findings stay the same."""
    found = fill(filled)
    soffice(filled.suffix[1:], tmp_path / "there", filled)
    path = tmp_path / "there" / filled.name
    assert [f.rule for f in fill(path)] == [f.rule for f in found]
    again = bring_up_to_date(path)
    assert again.up_to_date
    assert [f.rule for f in again.findings] == [f.rule for f in found]


def test_the_fingerprint_tells_nothing_but_whether_it_fits(filled: Path) -> None:
    book = files.open_workbook(filled)
    at = edits.all_edited(book)
    assert at
    kept = book.cells(at[0])[at[1], as_filled.UNIT_WAS].value
    assert isinstance(kept, str)
    assert len(bytes.fromhex(kept)) == 32
