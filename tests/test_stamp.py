"""A filled workbook says by itself what filled it, when and by which standards."""

from collections.abc import Callable
from pathlib import Path

import pytest
from logs import typed
from test_fill import ENDINGS, one_litre

from sheetcalc import __version__, files
from sheetcalc.filling import fill
from sheetcalc.making import new

Blank = Callable[..., Path]


def told(path: Path) -> str:
    book = files.open_workbook(path)
    tab, row, column = book.names["filled_by"]
    assert tab == book.sheets[0] == "Start"
    return str(book.cells(tab)[row, column].value)


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_filled_workbook_tells_version_day_and_standards(
    blank: Blank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ending), tmp_path / f"log{ending}")
    assert "Not filled yet" in told(path)
    # 1,000,000,000 s after 1970 were over on 9 September 2001, as is well known.
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    fill(path)
    said = told(path)
    assert f"sheetcalc {__version__} on 2001-09-09" in said
    assert "OIML R 22" in said and "JCGM 100" in said


def test_the_day_stays_that_of_the_last_fill_that_had_to_change_anything(
    blank: Blank, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = typed(one_litre(), blank("bench", "metric", ".xlsx"), tmp_path / "log.xlsx")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    fill(path)
    before = path.read_bytes()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1100000000")
    fill(path)
    fill(path, again=True)
    assert path.read_bytes() == before


@pytest.mark.parametrize("set_to", ["", "yesterday", "-1"])
def test_a_day_that_is_none_is_taken_as_not_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, set_to: str
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", set_to)
    path = tmp_path / "log.xlsx"
    new("bench", path)
    fill(path)
    assert told(path).startswith("Filled by sheetcalc")
