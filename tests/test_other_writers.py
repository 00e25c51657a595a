"""Workbooks that another program wrote again, or whose names are not what they were: filled right, or told.

The scenario's sugar wash was filled, got other entries, and was rewritten; the reference was not.
"""

import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import demo
import openpyxl
import pandas
import pytest
import xlsxwriter
from odf.opendocument import load as load_odf
from openpyxl.workbook.defined_name import DefinedName
from test_hands_one_by_one import beginnings, is_ours, results, results_of, shown, typed_later
from test_peoples_hands import Opened

from sheetcalc import files, filling, layouts
from sheetcalc.findings import Finding

Rewrite = Callable[[Path], None]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the module's workbooks are."""
    return beginnings(tmp_path_factory.mktemp("writers"))


@pytest.fixture(scope="module")
def reference(folder: Path) -> tuple[dict[Any, Any], tuple[Finding, ...]]:
    """The results to come, and what is to be found."""
    path = folder / "new.xlsx"
    demo.type_in(path, typed_later())
    findings = filling.fill(path)
    return results(Opened(path)), findings


def by_openpyxl(path: Path) -> None:
    """Loaded and saved, with a sheet of the person's own."""
    book = openpyxl.load_workbook(path)
    book.create_sheet("Mine")["A1"] = "=SUM(Runs!M6:M9)"
    book.save(path)


def by_pandas(path: Path) -> None:
    """Two sheets read as data frames and written back: headings go to the first row, names stay."""
    for title, index in (("Runs", False), ("Strength", True)):
        frame = pandas.read_excel(path, sheet_name=title, header=3)
        with pandas.ExcelWriter(path, mode="a", if_sheet_exists="replace", engine="openpyxl") as writer:
            frame.to_excel(writer, sheet_name=title, index=index)


def by_xlsxwriter(path: Path) -> None:
    """The values alone, in a new workbook without any names."""
    book = files.open_workbook(path)
    copy = path.with_stem("copy")
    made = xlsxwriter.Workbook(copy)
    moments = made.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    for title in book.sheets:
        sheet = made.add_worksheet(title)
        for (row, column), cell in book.cells(title).items():
            if cell.value is not None:
                sheet.write(row - 1, column - 1, cell.value, moments if cell.kind == "moment" else None)
    made.close()
    copy.replace(path)


def by_odfpy(path: Path) -> None:
    """Loaded and saved."""
    load_odf(path).save(path)


WRITERS: dict[str, tuple[str, Rewrite, set[tuple[str, str]]]] = {
    "openpyxl": ("xlsx", by_openpyxl, set()),
    "pandas": ("xlsx", by_pandas, set()),
    "xlsxwriter": ("xlsx", by_xlsxwriter, set()),
    "odfpy": ("ods", by_odfpy, set()),
}


@pytest.mark.parametrize("writer", WRITERS)
def test_what_another_program_wrote_is_filled_as_if_it_had_not(
    writer: str, folder: Path, reference: tuple[dict[Any, Any], tuple[Finding, ...]], tmp_path: Path
) -> None:
    ending, rewrite, said = WRITERS[writer]
    path = tmp_path / f"log.{ending}"
    shutil.copy(folder / f"start.{ending}", path)
    rewrite(path)
    old = files.open_workbook(path)
    before = {tab: shown(dict(old.cells(tab))) for tab in old.sheets}
    was = results(Opened(path))
    findings = filling.fill(path)
    right, expected = reference
    got = results(Opened(path))
    assert len({where[0] for where, value in right.items() if was.get(where) != value}) >= 4
    for where, value in right.items():
        near = pytest.approx(value, rel=1e-6, abs=2 / 86400) if isinstance(value, float) else value
        assert got[where] == near, where
    assert {(f.rule, f.sheet) for f in findings} - {(f.rule, f.sheet) for f in expected} == said
    assert {(f.rule, f.sheet) for f in expected} <= {(f.rule, f.sheet) for f in findings}
    ours = {sheet.title: sheet for sheet in layouts.load("batch").sheets}
    now = files.open_workbook(path)
    for tab, cells in before.items():
        after = shown(now.cells(tab))
        changed = {at for at in cells.keys() | after.keys() if cells.get(at) != after.get(at)}
        headings = results_of(ours[tab], {}) if changed else set()
        assert not {at for at in changed if not is_ours(old.cells(tab), at, headings)}, tab
    once = path.read_bytes()
    filling.fill(path)
    assert path.read_bytes() == once


def workbook_wide(name: str, target: str) -> Rewrite:
    """One more name, or another place for one."""

    def change(path: Path) -> None:
        book = openpyxl.load_workbook(path)
        book.defined_names[name] = DefinedName(name, attr_text=target)
        book.save(path)

    return change


def on_one_sheet(sheet: str, name: str, target: str) -> Rewrite:
    """One more name, that holds on a sheet alone."""

    def change(path: Path) -> None:
        book = openpyxl.load_workbook(path)
        book[sheet].defined_names[name] = DefinedName(name, attr_text=target)
        book.save(path)

    return change


def in_content(change: Callable[[str], str]) -> Rewrite:
    """Another text for the name of the charge in the content of an ods file."""

    def rewrite(path: Path) -> None:
        with zipfile.ZipFile(path) as package:
            parts = {info: package.read(info) for info in package.infolist()}
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
            for info, data in parts.items():
                if info.filename == "content.xml":
                    (name,) = re.findall(
                        r'<table:named-range [^>]*"runs_charge_volume"[^>]*/>', data.decode()
                    )
                    assert name.count("$C$4") == 2
                    data = data.decode().replace(name, change(name)).encode()
                package.writestr(info, data)

    return rewrite


# Format, what was done, what is said of Runs and where.
NAMES: dict[str, tuple[str, Rewrite, dict[str, str]]] = {
    "in other letters": ("xlsx", workbook_wide("Runs_Charge_Volume", "Runs!$D$4"), {"name_twice": "C4"}),
    "on its sheet too": (
        "xlsx",
        on_one_sheet("Runs", "runs_charge_volume", "Runs!$D$4"),
        {"name_twice": "C4"},
    ),
    "on its sheet too, alike": ("xlsx", on_one_sheet("Runs", "runs_charge_volume", "Runs!$C$4"), {}),
    "on a sheet it is not about": (
        "xlsx",
        on_one_sheet("Strength", "runs_charge_volume", "Strength!$A$4"),
        {},
    ),
    "pointing nowhere": ("xlsx", workbook_wide("runs_charge_volume", "Runs!#REF!"), {}),
    "pointing to a sheet that is gone": ("xlsx", workbook_wide("runs_charge_volume", "#REF!$C$4"), {}),
    "in other letters, ods": (
        "ods",
        in_content(lambda name: name + name.replace("runs_", "RUNS_").replace("$C$4", "$D$4")),
        {"name_twice": "C4"},
    ),
    "pointing nowhere, ods": ("ods", in_content(lambda name: name.replace("$C$4", "#REF!")), {}),
}


@pytest.mark.parametrize("what", NAMES)
def test_a_name_that_is_there_twice_or_points_nowhere_does_no_harm(
    what: str, folder: Path, reference: tuple[dict[Any, Any], tuple[Finding, ...]], tmp_path: Path
) -> None:
    ending, change, said = NAMES[what]
    path = tmp_path / f"log.{ending}"
    shutil.copy(folder / f"start.{ending}", path)
    change(path)
    findings = filling.fill(path)
    right, expected = reference
    got = results(Opened(path))
    for where, value in right.items():
        near = pytest.approx(value, rel=1e-6, abs=2 / 86400) if isinstance(value, float) else value
        assert got[where] == near, where
    known = {(f.rule, f.sheet) for f in expected}
    assert {(f.rule, f.sheet, f.cell) for f in findings if (f.rule, f.sheet) not in known} == {
        (rule, "Runs", cell) for rule, cell in said.items()
    }


def test_a_name_pointing_nowhere_and_another_heading_are_told(folder: Path, tmp_path: Path) -> None:
    """Nothing leads to the column any more."""
    path = tmp_path / "log.xlsx"
    shutil.copy(folder / "start.xlsx", path)
    book = openpyxl.load_workbook(path)
    book.defined_names["runs_charge_volume"].attr_text = "Runs!#REF!"
    book["Runs"]["C4"] = "Füllung"
    book.save(path)
    (told,) = [f for f in filling.fill(path) if f.rule == "column_missing"]
    assert (told.level, told.sheet) == ("warning", "Runs")
    assert told.message.startswith('There is no column "Charge" on sheet "Runs", so "Alcohol charged"')
    assert told.advice == 'Type "Charge" over the column that holds it, or over a new one.'
    assert files.open_workbook(path).cells("Runs")[6, 3].value == 8.2
