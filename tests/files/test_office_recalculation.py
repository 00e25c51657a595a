"""What LibreOffice shows of edited workbooks: new values, and fresh results of formulas that use them."""

import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from files.workbook_samples import changed_members, convert, part, write_xlsx

from sheetcalc.files import open_workbook

pytestmark = pytest.mark.office

# Formulas on "Data" that depend on Data!A1 in one way or another, and their fresh results once it is 7.
FRESH = {
    "B1": ("=A1*2", 14),
    "C1": ("=B1+1", 15),
    "D1": ('=IF(A1=7,"yes","no")', "yes"),
    "E1": ("=start*3", 21),
    "F1": ("=SUM(A:A)", 7 + 2 + 3),
    "G1": ("=INDEX(Data!$A:$B,1,1)", 7),
    "H1": ("=Other!A1+1", 9),
    "I1": ('=INDIRECT("A"&1)+1', 8),
    "J1": ("=SUM(OFFSET(A2,-1,0,2,1))", 9),
    "K1": ("='It''s'!A1&\"\"", "7!"),
    "P1": ("=SUM(A1:last)", 7 + 2 + 3),
    "P2": ('=below&"!"', "a link!"),
    "P3": ('=INDIRECT(A9&"!B1")', 7),
    "P4": ("=OFFSET(lower,-1,0)", 8),
}
UNRELATED = {
    "B9": ("=A2*2", 4),
    "C9": ('=A3&"x"', "3x"),
    "D9": ("=SUM(A2:A3)", 5),
    "E9": ('="INDIRECT("&A9', 0),
}
STALE = 999


def _fill(book: Any, sheet: Any) -> None:
    other, quoted = book.add_worksheet("Other"), book.add_worksheet("It's")
    book.define_name("start", "=Data!$A$1")
    book.define_name("last", "=Data!$A$3")
    # From each cell that uses the name as far down as this one is from A1.
    book.define_name("below", "=Data!$A19")
    book.define_name("lower", "=Other!$A$2")
    sheet.write_column("A1", [5, 2, 3])
    sheet.write("A9", "Other")
    for cell, (formula, _) in {**FRESH, **UNRELATED}.items():
        sheet.write_formula(cell, formula, None, STALE)
    other.write_formula("A1", "=Data!A1+1", None, STALE)
    quoted.write_formula("A1", '=Other!B1&"!"', None, STALE)
    other.write_formula("B1", "=Data!$A$1", None, STALE)
    sheet.write_array_formula("B12:B14", "{=A1:A3*10}", None, STALE)
    sheet.write("B13", STALE)
    sheet.write("B14", STALE)
    sheet.add_table(
        "L3:M5",
        {
            "data": [[1, 1], [2, 2]],
            "columns": [
                {"header": "one"},
                {"header": "two", "formula": "=Jars[[#This Row],[one]]+Data!$A$1"},
            ],
            "name": "Jars",
        },
    )
    sheet.write_formula("L8", "=SUM(Jars[two])", None, STALE)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("recalculation")
    xlsx = write_xlsx(folder / "old.xlsx", _fill)
    old = {"xlsx": xlsx, "ods": convert([xlsx], folder, "ods") / "old.ods"}
    edited = {}
    for ending, path in old.items():
        book = open_workbook(path)
        book.write("Data", 1, 1, 7)
        book.write("Data", 20, 1, "a link", link=("It's", 2, 3))
        book.write("Data", 21, 1, "  =two  spaces \tand\nlines ")
        book.save(folder / f"edited_{ending}.{ending}")
        edited[ending] = folder / f"edited_{ending}.{ending}"
    seen = convert(edited.values(), folder / "seen", "xlsx:Calc MS Excel 2007 XML")
    return {
        **{f"old_{ending}": path for ending, path in old.items()},
        **edited,
        **{f"seen_{ending}": seen / f"edited_{ending}.xlsx" for ending in edited},
    }


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_dependants_are_computed_afresh(made: dict[str, Path], ending: str) -> None:
    seen = openpyxl.load_workbook(made[f"seen_{ending}"], data_only=True)
    assert {cell: seen["Data"][cell].value for cell in FRESH} == {c: v for c, (_, v) in FRESH.items()}
    assert seen["Other"]["A1"].value == 8
    assert [seen["Data"][cell].value for cell in ("B12", "B13", "B14")] == [70, 20, 30]
    assert [seen["Data"][cell].value for cell in ("M4", "M5", "L8")] == [8, 9, 17]


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_new_value_is_seen(made: dict[str, Path], ending: str) -> None:
    seen = openpyxl.load_workbook(made[f"seen_{ending}"])
    assert seen["Data"]["A1"].value == 7
    text = seen["Data"]["A20"]
    assert text.value == "a link"
    assert text.hyperlink.location.replace("$", "") == "'It''s'!C2"
    tab = "" if ending == "ods" else "\t"  # LibreOffice 7 drops tabs when it reads an ods file
    assert seen["Data"]["A21"].value == f"  =two  spaces {tab}and\nlines "


def test_results_that_do_not_depend_stay(made: dict[str, Path]) -> None:
    seen = openpyxl.load_workbook(made["xlsx"], data_only=True)
    assert {seen["Data"][cell].value for cell in UNRELATED} == {STALE}
    assert changed_members(made["old_xlsx"], made["xlsx"]) == {
        f"xl/worksheets/sheet{number}.xml" for number in (1, 2, 3)
    }
    kept = re.findall(r'table:formula="([^"]*)" office:value', part(made["ods"], "content.xml"))
    assert {"of:=[.A2]*2", "of:=SUM([.A2:.A3])"} <= set(kept)
    assert "of:=[.A1]*2" not in kept
