"""The axes of the charts name the unit that was chosen for their column."""

import re
import zipfile
from pathlib import Path

import pytest

from sheetcalc import files, layouts
from sheetcalc.files import locate
from sheetcalc.filling import fill
from sheetcalc.making import new


def choose(path: Path, unit: str) -> None:
    """Choose the unit of the corrected gravity."""
    book = files.open_workbook(path)
    sheet = layouts.every_sheet()["fermentation"]
    found = locate.find(book, [sheet])[sheet.key]
    book.write(found.tab, *found.units["gravity_20"], unit)
    book.save()


def axes(path: Path) -> set[str]:
    """The titles of the axes, in whatever format, as far as they name a unit."""
    with zipfile.ZipFile(path) as file:
        charts = [
            name for name in file.namelist() if re.fullmatch(r"xl/charts/.*xml|Object.*content.xml", name)
        ]
        texts = [file.read(name).decode() for name in charts]
    return {title for text in texts for title in re.findall(r">([^<>]+ \([^<>]+\))</(?:a:t|text:p)>", text)}


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_an_axis_names_the_unit_that_was_chosen(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"log{ending}"
    new("batch", path, "metric")
    others = axes(path) - {"Gravity at 20 °C (SG)"}
    assert len(others) == 3
    for unit in ("°P", "°Bx", "SG"):
        choose(path, unit)
        fill(path)
        assert axes(path) == others | {f"Gravity at 20 °C ({unit})"}


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_title_of_the_person_s_own_stays(tmp_path: Path, ending: str) -> None:
    path, own = tmp_path / f"log{ending}", tmp_path / f"own{ending}"
    new("batch", path, "metric")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(own, "w") as made:
        for info in old.infolist():
            made.writestr(info, old.read(info).replace(b"Gravity at 20 \xc2\xb0C (SG)", b"My wash (SG)"))
    choose(own, "°P")
    fill(own)
    assert "My wash (SG)" in axes(own)
