"""The comparison of edited workbooks finds every change that nobody asked for."""

import shutil
import zipfile
from pathlib import Path

import pytest
from files import harm_ods, harm_xlsx
from files.odd_workbooks import BOOK, SHEET, extensions, ods_log, outside, swap
from files.rich_workbooks import odfpy_log

from sheetcalc.files import open_workbook
from sheetcalc.files.package import Package

CONTENT = "content.xml"
WRITTEN = {"Data": {(9, 5), (2, 2)}}


def written(path: Path) -> Path:
    """The workbook after an edit of two cells."""
    new = path.with_stem("new")
    shutil.copyfile(path, new)
    book = open_workbook(new)
    for place in WRITTEN["Data"]:
        book.write("Data", *place, 41.5)
    book.save()
    return new


@pytest.mark.parametrize(
    ("part", "old", "new"),
    [
        (SHEET, 'mc:Ignorable="x14ac unused"', 'mc:Ignorable="x14ac"'),
        (SHEET, ' xmlns:unused="urn:unused"', ""),
        (SHEET, 'x14ac:dyDescent="0.25"', 'x14ac:dyDescent="0.3"'),
        (SHEET, "<xm:sqref>C2:C9</xm:sqref>", "<xm:sqref>C2:C8</xm:sqref>"),
        (SHEET, "<mc:Fallback/>", ""),
        (SHEET, 'standalone=\'yes\'', "standalone='no'"),
        (SHEET, 'ref="A1:E9"', 'ref="A1:E10"'),
        (SHEET, 'ref="A1:E9"', 'ref="A1:D7"'),
        (SHEET, '<c r="A2" s="1">', '<c r="A2" s="0">'),
        (SHEET, '<c r="B2">', '<c r="B2" s="1">'),
        (SHEET, '<c r="E9">', '<c r="E9" s="1">'),
        (SHEET, '<row r="9">', '<row r="9" hidden="1">'),
        (SHEET, '<row r="3"', '<row r="3" ht="20"'),
        (SHEET, '<row r="9"><c r="E9"><v>41.5</v></c></row></sheetData>', "</sheetData>"),
        (SHEET, "</sheetData>", "</sheetData><!-- new -->"),
        (SHEET, "<v>21.0</v>", "<v>21.5</v>"),
        (SHEET, "<f>B3*2</f>", "<f>B3*3</f>"),
        (SHEET, "</sheetData>", '<row r="10"><c r="A10"><v>1</v></c></row></sheetData>'),
        (SHEET, "<row r=\"9\">", "<row r=\"9\"><c r=\"A9\"/>"),
        (BOOK, 'calcId="124519"', 'calcId="0"'),
        ("xl/styles.xml", "<fonts", "<fonts "),
        ("docProps/app.xml", "Excel", "Excal"),
    ],
)  # fmt: skip
def test_xlsx(tmp_path: Path, part: str, old: str, new: str) -> None:
    path = extensions(tmp_path / "log.xlsx")
    good = written(path)
    assert not harm_xlsx.compare(path, good, WRITTEN).strays
    bad = changed(good, part, old, new)
    assert harm_xlsx.compare(path, bad, WRITTEN).strays


def test_chain_of_calculation(tmp_path: Path) -> None:
    path = outside(tmp_path / "log.xlsx")
    bad = changed(path, SHEET, "<f>[1]Prices!$A$1*B2</f>", "")
    strays = harm_xlsx.compare(path, bad, {}).strays
    assert "xl/calcChain.xml names Data F2, which has no formula" in strays


def changed(path: Path, part: str, old: str, new: str) -> Path:
    """A copy with one text in one part changed; the other members keep their bytes where they can."""
    bad = path.with_stem("bad")
    package = Package(path)
    package.save({part: swap(old, new)(package.read(part))}, bad)
    return bad


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('table:number-rows-repeated="58"', 'table:number-rows-repeated="59"'),
        ('table:number-columns-repeated="5"', 'table:number-columns-repeated="4"'),
        ('table:visibility="filter"', 'table:visibility="collapse"'),
        ("<office:annotation><text:p>Why?</text:p></office:annotation>", ""),
        ("<text:p>Why?</text:p>", "<text:p>Why not?</text:p>"),
        ('table:end-cell-address="Data.B70"', 'table:end-cell-address="Data.B71"'),
        ('table:number-columns-spanned="2"', 'table:number-columns-spanned="3"'),
        ("<table:covered-table-cell/>", "<table:table-cell/>"),
        ("<table:table-header-rows>", '<table:table-header-rows table:style-name="x">'),
        ('table:content-validation-name="v1"', 'table:content-validation-name="v2"'),
        ('table:protection-key="c2VjcmV0"', ""),
        ('office:value="21.0"', 'office:value="22.0"'),
        ("<text:p>day 3</text:p>", "<text:p>day 4</text:p>"),
        ('table:name="litres"', 'table:name="liters"'),
        ("of:=[.B4]*2", "of:=[.B5]*2"),
    ],
)
def test_ods(tmp_path: Path, old: str, new: str) -> None:
    path = odfpy_log(tmp_path / "log.ods")
    good = written(path)
    assert not harm_ods.compare(path, good, WRITTEN).strays
    assert harm_ods.compare(path, changed(good, CONTENT, old, new), WRITTEN).strays


def test_members(tmp_path: Path) -> None:
    path = ods_log(tmp_path / "log.ods")
    good = written(path)
    assert not harm_ods.compare(path, good, WRITTEN).strays
    with zipfile.ZipFile(good) as old, zipfile.ZipFile(tmp_path / "loose.ods", "w") as loose:
        for name in old.namelist():
            loose.writestr(name, old.read(name))
    assert harm_ods.compare(path, tmp_path / "loose.ods", WRITTEN).strays
    with zipfile.ZipFile(good, "a") as archive:
        archive.writestr("more.xml", "")
    assert harm_ods.compare(path, good, WRITTEN).strays
