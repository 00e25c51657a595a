"""Workbooks of every version of the templates are filled without loss and get what they never had.

tests/versions/ holds a filled workbook of each: those of version 1 were made by the program as it was before
results told what they are good to and before yeast, still and "Open to the air" stood on the card.
"""

import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from demo import ENDINGS
from openpyxl.chart import LineChart
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor

from sheetcalc import compute, entries, files, layouts
from sheetcalc.build import as_filled
from sheetcalc.files import Workbook, locate
from sheetcalc.filled import edits, forward, lost
from sheetcalc.filling import bring_up_to_date, check, fill
from sheetcalc.findings import address
from sheetcalc.layouts import Sheet
from sheetcalc.making import new

VERSIONS = Path(__file__).with_name("versions")
KEPT = sorted(path.name for path in VERSIONS.iterdir())
# What the templates had in version 2 and not in version 1, and where it goes: below the last line, in row 35,
# and right of everything, the hidden copies of the entries among it.
BATCH_NEW = {
    "batch_yeast": "B36",
    "batch_still": "B37",
    "batch_open_to_air": "B38",
    "fermentation_gravity_20_uncertainty": "S4",
    "fermentation_alcohol_uncertainty": "T4",
    "runs_collected_strength_uncertainty": "AI4",
    "runs_recovery_uncertainty": "AJ4",
    "cuts_strength_20_uncertainty": "Y4",
    "strength_strength_20_uncertainty": "AB4",
    "strength_water_mass_uncertainty": "AC4",
    "strength_made_strength_uncertainty": "AD4",
    "balance_from_elsewhere": "K12",
}
PRICE = ("costs", "cost_per_litre_alcohol", 0)
RULES = {"brought_forward", "brings_forward", "not_brought_forward"}
Soffice = Callable[..., None]


@pytest.fixture(params=ENDINGS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A copy of the kept batch workbook of version 1."""
    return copy(f"batch-1{request.param}", tmp_path)


def copy(name: str, folder: Path) -> Path:
    return Path(shutil.copy(VERSIONS / name, folder / name))


def find(book: Workbook) -> dict[str, locate.Found]:
    return locate.find(book, [s for s in layouts.every_sheet().values() if s.fields or s.columns])


def cells_of(sheet: Sheet, found: locate.Found, key: str) -> list[tuple[int, int]]:
    """The cell of a line, or the cells of a column below its headings, as many as we fill."""
    row, column = found.cells[key]
    if key in {line.key for line in sheet.fields}:
        return [(row, column)]
    return [(line, column) for line in range(found.first_row, found.first_row + 200)]


def values(book: Workbook, role: str) -> dict[tuple[str, str, int], Any]:
    """What stands in the entries or results of a workbook, by sheet, key and number of the record."""
    held = {}
    for name, found in find(book).items():
        sheet, page = layouts.every_sheet()[name], book.cells(found.tab)
        for key in [f.key for f in (*sheet.fields, *sheet.columns) if f.role == role and name != "findings"]:
            for record, at in enumerate(cells_of(sheet, found, key) if key in found.cells else ()):
                if at in page:
                    held[name, key, record] = page[at].value
    return held


def units(book: Workbook) -> dict[tuple[str, str], Any]:
    return {
        (name, key): book.cells(found.tab)[at].value
        for name, found in find(book).items()
        for key, at in found.units.items()
    }


def of_theirs(book: Workbook) -> dict[tuple[str, int, int], Any]:
    """Every cell that is no result, flag or finding of ours, nor tells who filled the workbook."""
    written = {book.names.get("filled_by")}
    for name, found in find(book).items():
        sheet = layouts.every_sheet()[name]
        for field in (*sheet.fields, *sheet.columns):
            if field.role != "entry" and field.key in found.cells:
                places = cells_of(sheet, found, field.key)
                if field.role == "flag" and field in sheet.fields:
                    row, column = places[0]
                    places = [(line, column) for line in range(row + 1, row + 200)]
                written |= {(found.tab, *at) for at in places}
    everything = {(tab, *at): cell for tab in book.sheets for at, cell in book.cells(tab).items()}
    return {place: cell for place, cell in everything.items() if place not in written}


def told(findings: Any) -> dict[str, list[str]]:
    """The cells at which a rule of ours tells something."""
    cells: dict[str, list[str]] = {}
    for finding in findings:
        if finding.rule in RULES:
            cells.setdefault(finding.rule, []).append(finding.cell)
    return cells


def type_into(path: Path, *typed: tuple[str, int, int, Any]) -> None:
    book = files.open_workbook(path)
    for cell in typed:
        book.write(*cell)
    book.save()


def patched(path: Path, part: str, change: Callable[[str], str]) -> None:
    """Change a part of a workbook as another program might have written it."""
    with zipfile.ZipFile(path) as package:
        members = [(info, package.read(info)) for info in package.infolist()]
    with zipfile.ZipFile(path, "w") as package:
        for info, content in members:
            if info.filename == part:
                after = change(content.decode("utf-8"))
                assert after != content.decode("utf-8")
                content = after.encode("utf-8")
            package.writestr(info, content)


@pytest.mark.parametrize("name", KEPT)
def test_a_file_of_every_version_is_filled_without_loss(name: str, tmp_path: Path) -> None:
    path = copy(name, tmp_path)
    before = files.open_workbook(path)
    theirs, entries = of_theirs(before), values(before, "entry")
    fill(path)
    after = files.open_workbook(path)
    assert theirs.items() <= of_theirs(after).items()
    assert values(after, "entry") == entries
    assert not [key for found in find(after).values() for key in found.missing]
    filled = path.read_bytes()
    assert bring_up_to_date(path).up_to_date
    assert path.read_bytes() == filled


@pytest.mark.parametrize("name", KEPT)
def test_what_it_gets_is_computed_as_in_a_new_workbook(name: str, tmp_path: Path) -> None:
    path = copy(name, tmp_path)
    fill(path)
    after = files.open_workbook(path)
    fresh_path = tmp_path / f"fresh{path.suffix}"
    new("batch" if "batch" in name else "bench", fresh_path, "us" if "batch" in name else "metric")
    fresh = files.open_workbook(fresh_path)
    places = find(fresh)
    for (sheet, key, record), value in values(after, "entry").items():
        at = cells_of(layouts.every_sheet()[sheet], places[sheet], key)[record]
        fresh.write(places[sheet].tab, *at, value)
    fresh.save()
    fill(fresh_path)
    fresh = files.open_workbook(fresh_path)
    results = values(fresh, "computed")
    assert any(key == "made_strength_uncertainty" for _, key, _ in results)
    shown, chosen = values(after, "computed"), units(fresh)
    if PRICE[:2] not in units(after):
        # It had no unit once, and stays by the litre there: 1.9017 L of alcohol are a proof gallon.
        assert shown.pop(PRICE, 0.0) * 1.9017 == pytest.approx(results.pop(PRICE, 0.0), rel=1e-4)
        chosen.pop(PRICE[:2], None)
    assert shown == results
    assert units(after) == chosen


def test_each_new_line_and_column_is_told_at_its_cell(old: Path) -> None:
    before = old.read_bytes()
    assert told(check(old)) == {"brings_forward": list(BATCH_NEW.values())}
    assert old.read_bytes() == before
    assert told(fill(old)) == {"brought_forward": list(BATCH_NEW.values())}
    assert not told(check(old))
    book = files.open_workbook(old)
    found = find(book)
    assert found["batch"].cells["open_to_air"] == (38, 2)
    place = found["findings"].cells["rule"][1]
    rules = [cell.value for (_, c), cell in book.cells(found["findings"].tab).items() if c == place]
    assert rules.count("brought_forward") == len(BATCH_NEW)


def test_what_is_deleted_afterwards_stays_deleted(old: Path) -> None:
    fill(old)
    heading = files.open_workbook(old).cells("Strength")[4, 29].value
    assert heading == "Water ±"
    gone = [("Strength", row, 29, None) for row in range(3, 70)]
    type_into(old, ("Batch", 37, 1, None), ("Batch", 37, 4, None), *gone)
    assert not told(fill(old))
    book = files.open_workbook(old)
    assert (37, 1) not in book.cells("Batch")
    assert not [at for at in book.cells("Strength") if at[1] == 29]
    assert forward.only_ours(book, find(book))["strength"].missing == ("water_mass_uncertainty",)


def test_a_reading_typed_into_a_new_line_is_read(old: Path) -> None:
    fill(old)
    type_into(old, ("Batch", 38, 2, "no"))
    assert "not_open_to_air" in {f.rule for f in fill(old)}


def test_lines_wait_for_room_and_nothing_typed_is_written_over(old: Path) -> None:
    type_into(old, ("Batch", 37, 1, "Ask Alma about the barrel (invented)"))
    found = fill(old)
    assert told(found)["not_brought_forward"] == ["B35"] * 3
    assert {f.advice for f in found if f.rule == "not_brought_forward"} == {
        "Insert 2 rows below row 35 and fill again."
    }
    book = files.open_workbook(old)
    assert book.cells("Batch")[37, 1].value == "Ask Alma about the barrel (invented)"
    assert find(book)["batch"].missing == ("yeast", "still", "open_to_air")
    assert bring_up_to_date(old).up_to_date
    type_into(old, ("Batch", 37, 1, None), ("Batch", 39, 1, "Ask Alma about the barrel (invented)"))
    assert told(fill(old)) == {"brought_forward": ["B36", "B37", "B38"]}


def test_a_protected_sheet_stays_as_it_is(old: Path) -> None:
    if old.suffix == ".xlsx":
        patched(
            old,
            "xl/worksheets/sheet2.xml",
            lambda xml: xml.replace("</sheetData>", '</sheetData><sheetProtection sheet="1"/>', 1),
        )
    else:
        patched(
            old,
            "content.xml",
            lambda xml: xml.replace('table:name="Batch"', 'table:name="Batch" table:protected="true"', 1),
        )
    found = fill(old)
    assert told(found)["not_brought_forward"] == ["B35"] * 3
    assert len(told(found)["brought_forward"]) == len(BATCH_NEW) - 3
    assert find(files.open_workbook(old))["batch"].missing == ("yeast", "still", "open_to_air")


def test_a_persons_own_column_of_the_same_name_stays_theirs(old: Path) -> None:
    theirs = [("Strength", 4, 31, "Water ±"), ("Strength", 6, 31, 0.25), ("Strength", 7, 31, "a guess")]
    theirs += [("Batch", 36, 1, "Yeast"), ("Batch", 36, 2, "old jar"), ("Batch", 36, 5, "smells of bread")]
    type_into(old, *theirs)
    for findings in (fill(old), fill(old, again=True)):
        refused = [f for f in findings if f.rule == "not_brought_forward"]
        assert {("Strength", "Call yours something else and fill again.")} < {
            (f.sheet, f.advice) for f in refused
        }
        book = files.open_workbook(old)
        assert all(book.cells(tab)[row, column].value == text for tab, row, column, text in theirs)
    type_into(old, ("Strength", 4, 31, "My water ±"))
    assert "AH4" in told(fill(old))["brought_forward"]
    book = files.open_workbook(old)
    assert book.cells("Strength")[6, 31].value == 0.25


def test_without_the_list_of_what_it_had_nothing_is_added(old: Path) -> None:
    """Such a workbook can't tell what is new from what was deleted."""
    if old.suffix == ".xlsx":
        patched(old, "xl/workbook.xml", lambda xml: xml.replace('name="edited_cells"', 'name="gone_cells"'))
    else:
        patched(old, "content.xml", lambda xml: xml.replace('name="edited_cells"', 'name="gone_cells"'))
    before = files.open_workbook(old)
    assert edits.all_edited(before) is None
    assert not told(fill(old))
    assert "open_to_air" in find(files.open_workbook(old))["batch"].missing


def test_a_sheet_it_never_had_is_to_come_from_a_new_workbook(blank: Callable[..., Path]) -> None:
    book = files.open_workbook(blank("batch", "metric", ".xlsx"))
    found = find(book)
    read = {
        key: entries.read(layouts.every_sheet()[key], place, book.cells(place.tab))
        for key, place in found.items()
        if key not in ("findings", "fermentation")
    }
    there = {key: found[key] for key in (*read, "findings")}
    values = compute.Values(read)
    deleted = lost.findings(values, there, lambda sheet, key: True)
    never_had = lost.findings(values, there, lambda sheet, key: sheet != "fermentation")
    assert {f.advice for f in deleted if f.rule == "sheet_missing"} == {
        "Copy it back from an older copy of this file, or from a new workbook."
    }
    assert {f.advice for f in never_had if f.rule == "sheet_missing"} == {
        "Copy it from a new workbook; when this one was made, there was no such sheet."
    }


def test_a_column_that_was_added_is_found_again_when_it_is_called_something_else(old: Path) -> None:
    fill(old)
    book = files.open_workbook(old)
    assert {name: address(*book.names[name][1:]) for name in BATCH_NEW} == BATCH_NEW
    type_into(old, ("Fermentation", 4, 19, "Dichte ±"))
    assert "column_missing" not in {f.rule for f in fill(old)}
    assert find(files.open_workbook(old))["fermentation"].cells["gravity_20_uncertainty"] == (4, 19)


def test_a_new_column_stands_beside_a_chart_of_theirs(tmp_path: Path) -> None:
    path = copy("batch-1.xlsx", tmp_path)
    book = openpyxl.load_workbook(path)
    chart: Any = LineChart()
    chart.anchor = TwoCellAnchor(_from=AnchorMarker(col=18, row=5), to=AnchorMarker(col=20, row=9))
    book["Fermentation"].add_chart(chart)
    book.save(path)
    fill(path)
    found = find(files.open_workbook(path))["fermentation"].cells
    assert (found["gravity_20_uncertainty"], found["alcohol_uncertainty"]) == ((4, 22), (4, 23))


@pytest.mark.office
def test_what_was_added_has_the_drop_downs_and_widths_of_a_new_workbook(
    old: Path, tmp_path: Path, soffice: Soffice
) -> None:
    fill(old)
    soffice("xlsx", tmp_path / "there", old)
    book = openpyxl.load_workbook(tmp_path / "there" / "batch-1.xlsx")
    offered = {
        (sheet.title, str(rule.sqref)): rule.formula1
        for sheet in book.worksheets
        for rule in sheet.data_validations.dataValidation
    }
    assert offered["Batch", "B38"] == '"yes,no"'
    assert offered["Fermentation", "S5"] == '"points,SG"'
    assert offered["Runs", "AI5"] == '"% vol,proof"'
    assert book["Fermentation"].column_dimensions["S"].width >= 9


@pytest.mark.office
def test_libreoffice_keeps_what_was_added(old: Path, tmp_path: Path, soffice: Soffice) -> None:
    findings = fill(old)
    results = values(files.open_workbook(old), "computed")
    soffice(old.suffix[1:], tmp_path / "there", old)
    path = tmp_path / "there" / old.name
    assert [f.rule for f in fill(path)] == [f.rule for f in findings if f.rule not in RULES]
    book = files.open_workbook(path)
    assert not [key for found in find(book).values() for key in found.missing]
    assert values(book, "computed") == pytest.approx(results)
    assert bring_up_to_date(path).up_to_date


def own_templates(folder: Path, sheet: str, block: str) -> Path:
    """The templates with something of a person's own added to a sheet."""
    templates = Path(shutil.copytree(layouts.folder(), folder / "templates"))
    with (templates / "sheets" / f"{sheet}.toml").open("a", encoding="utf-8") as file:
        file.write(block)
    return templates


@pytest.fixture
def use(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[Path], None]]:
    """Let the program use other templates."""

    def forget() -> None:
        for kept in (layouts.load, layouts.every_sheet):
            kept.cache_clear()

    def other(templates: Path) -> None:
        monkeypatch.setattr(layouts, "folder", lambda: templates)
        forget()

    yield other
    monkeypatch.undo()
    forget()


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_somebody_adds_to_the_templates_comes_to_their_workbooks(
    ending: str, tmp_path: Path, use: Callable[[Path], None]
) -> None:
    """Without a version of its own; a card above a table has no room for a line until rows are inserted."""
    path = copy(f"batch-2{ending}", tmp_path)
    fields = '\n[[{}]]\nkey = "{}"\nheading = "{}"\nhelp = "Mine."\nrole = "entry"\nquantity = "text"\n'
    column, line = (
        fields.format("columns", "smell_of_it", "Smell of it"),
        fields.format("fields", "mill", "Mill"),
    )
    use(own_templates(tmp_path, "recipe", column + line))
    found = [f for f in fill(path) if f.rule in RULES]
    assert [(f.rule, f.sheet) for f in found] == [
        ("not_brought_forward", "Recipe"),
        ("brought_forward", "Recipe"),
    ]
    assert found[0].advice.startswith("Insert 1 row below row ")


def test_every_version_is_kept_in_both_formats() -> None:
    """Fails when the version was raised and tests/keep_version.py was not run, or an old file is gone."""
    for kind in layouts.kinds():
        numbers = range(1, layouts.load(kind).version + 1)
        assert {f"{kind}-{n}{ending}" for n in numbers for ending in ENDINGS} == {
            name for name in KEPT if name.startswith(kind)
        }


@pytest.mark.parametrize("kind", layouts.kinds())
@pytest.mark.parametrize("ending", ENDINGS)
def test_a_line_or_column_more_asks_for_another_version(kind: str, ending: str) -> None:
    """Fails when the templates have something that the kept workbook of their version has not."""
    layout = layouts.load(kind)
    book = files.open_workbook(VERSIONS / f"{kind}-{layout.version}{ending}")
    at, listed = edits.all_edited(book), edits.listed(book)
    assert at and listed
    assert book.cells(at[0])[at[1], as_filled.TEMPLATES].value == layout.version
    has = {f"{s.key}_{f.key}" for s in layout.sheets for f in (*s.fields, *s.columns)}
    assert has <= listed.keys()
