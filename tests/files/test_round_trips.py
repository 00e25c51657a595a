"""Random writes to random workbooks: what was written reads back, everything else is as it was."""

import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import openpyxl
from files.workbook_samples import ods_cells, write_ods, write_xlsx
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc.files import Workbook, open_workbook
from sheetcalc.files.workbook import serial

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn"]), min_size=1, max_size=12)
SPACED = st.text(st.sampled_from(" \t\nab_x0041=<&"), min_size=1, max_size=10)
NUMBERS = st.one_of(
    st.integers(-(10**6), 10**6).map(float),
    st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x + 0.0),
)
MOMENTS = st.datetimes(datetime(1950, 1, 1), datetime(2090, 1, 1)).map(lambda d: d.replace(microsecond=0))
PLACES = st.tuples(st.integers(1, 14), st.integers(1, 14))
OLD = st.dictionaries(PLACES, st.one_of(NUMBERS, TEXTS), max_size=25)
WRITES = st.lists(st.tuples(PLACES, st.one_of(NUMBERS, TEXTS, SPACED, MOMENTS, st.none())), max_size=25)


def write_all(book: Workbook, writes: list[tuple[tuple[int, int], Any]]) -> dict[tuple[int, int], Any]:
    expected = {}
    for (row, column), value in writes:
        book.write("Data", row, column, value)
        expected[row, column] = serial(value) if isinstance(value, datetime) else value
    return expected


def check(path: Path, book: Workbook, before: dict[tuple[int, int], Any], written: dict[Any, Any]) -> None:
    book.save()
    again = open_workbook(path)
    assert again.cells("Data") == book.cells("Data")
    wanted = {place: value for place, value in {**before, **written}.items() if value is not None}
    got = {place: cell.value for place, cell in again.cells("Data").items()}
    assert got.keys() == wanted.keys()
    for place, value in wanted.items():
        assert got[place] == value or abs(got[place] - value) < 1e-8
    for (row, column), value in written.items():
        again.write("Data", row, column, value)
    assert not again.changed


@settings(max_examples=60, deadline=None)
@given(OLD, WRITES)
def test_xlsx(old: dict[tuple[int, int], Any], writes: list[tuple[tuple[int, int], Any]]) -> None:
    def fill(_: Any, sheet: Any) -> None:
        for (row, column), value in old.items():
            if isinstance(value, str):
                sheet.write_string(row - 1, column - 1, value)
            else:
                sheet.write_number(row - 1, column - 1, value)

    with tempfile.TemporaryDirectory() as folder:
        path = write_xlsx(Path(folder) / "log.xlsx", fill)
        book = open_workbook(path)
        before = {place: cell.value for place, cell in book.cells("Data").items()}
        assert before.keys() == old.keys()
        written = write_all(book, writes)
        check(path, book, before, written)
        seen = openpyxl.load_workbook(path)["Data"]
        for place, value in before.items():
            if place not in written and isinstance(value, float):
                assert seen.cell(*place).value == value


LINES = st.lists(
    st.tuples(
        st.integers(1, 4),
        st.lists(st.tuples(st.integers(1, 4), st.one_of(st.none(), NUMBERS, TEXTS)), min_size=1, max_size=5),
    ),
    max_size=5,
)


def _cell(count: int, value: float | str | None) -> str:
    repeat = f' table:number-columns-repeated="{count}"' if count > 1 else ""
    if value is None:
        return f"<table:table-cell{repeat}/>"
    if isinstance(value, str):
        kind = f'office:value-type="string" office:string-value="{escape(value, {chr(34): "&quot;"})}"'
    else:
        kind = f'office:value-type="float" office:value="{value!r}"'
    return f"<table:table-cell{repeat} {kind}><text:p>{escape(str(value))}</text:p></table:table-cell>"


@settings(max_examples=60, deadline=None)
@given(LINES, WRITES)
def test_ods(
    lines: list[tuple[int, list[tuple[int, Any]]]], writes: list[tuple[tuple[int, int], Any]]
) -> None:
    rows = "".join(
        f'<table:table-row table:number-rows-repeated="{count}">'
        f"{''.join(_cell(*cell) for cell in cells)}</table:table-row>"
        for count, cells in lines
    )
    with tempfile.TemporaryDirectory() as folder:
        path = write_ods(Path(folder) / "log.ods", f'<table:table table:name="Data">{rows}</table:table>')
        untouched = ods_cells(path)
        book = open_workbook(path)
        before = {place: cell.value for place, cell in book.cells("Data").items()}
        assert {place[1:] for place in untouched} == before.keys()
        written = write_all(book, writes)
        check(path, book, before, written)
        seen = ods_cells(path)
        for place, look in untouched.items():
            if place[1:] not in written:
                assert seen[place] == look
        assert {tuple(place[1:]) for place in seen} <= before.keys() | written.keys()
