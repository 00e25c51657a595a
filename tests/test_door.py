"""The door for other programs: what the commands do as functions, and the examples in the docstrings."""

import doctest
import importlib
import json
import pkgutil
import subprocess
import sys
from pathlib import Path

import pandas
import pytest
from test_fill import ENDINGS

import sheetcalc
import sheetcalc.liquids

LIQUIDS = [info.name for info in pkgutil.iter_modules(sheetcalc.liquids.__path__)]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_workbook_is_made_filled_and_checked_from_python(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"bench{ending}"
    sheetcalc.new("bench", str(path))
    assert sheetcalc.fill(str(path)) == sheetcalc.check(str(path)) == ()
    with pytest.raises(sheetcalc.BadWorkbook, match="no such file"):
        sheetcalc.fill(tmp_path / "other.ods")


def test_findings_make_a_data_frame_with_the_names_of_the_json_lines() -> None:
    from sheetcalc.findings import as_json

    found = [
        sheetcalc.Finding("error", "Cuts", "Volume", 7, 2, "too_much", "Too much.", "Less.", danger=True),
        sheetcalc.Finding("note", "Runs", "Kind", 6, 3, "kind", "Which?", "Say."),
    ]
    frame = sheetcalc.as_frame(found, "plum.ods")
    assert frame.to_dict("records") == [json.loads(as_json(finding, "plum.ods")) for finding in found]
    assert frame.cell.tolist() == ["B7", "C6"]
    none = sheetcalc.as_frame([])
    assert isinstance(none, pandas.DataFrame) and list(none) == list(frame)


def test_the_door_is_told_by_dir_and_nothing_is_loaded_before_it_is_asked_for() -> None:
    assert {"new", "fill", "check", "as_frame", "Finding", "BadWorkbook"} <= set(dir(sheetcalc))
    with pytest.raises(AttributeError, match="no attribute 'fil'"):
        sheetcalc.fil  # type: ignore[attr-defined]  # noqa: B018 - what is tried
    loaded = "'numpy' in sys.modules"
    asked = f"import sys, sheetcalc; print({loaded}, sheetcalc.fill.__name__, {loaded})"
    told = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["False", "fill", "True"]


@pytest.mark.parametrize("name", LIQUIDS)
def test_the_examples_in_the_docstrings_hold(name: str) -> None:
    module = importlib.import_module(f"sheetcalc.liquids.{name}")
    assert doctest.testmod(module).failed == 0


def test_there_are_examples_for_the_main_liquids() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    with_some = {
        name
        for name in LIQUIDS
        if any(test.examples for test in finder.find(importlib.import_module(f"sheetcalc.liquids.{name}")))
    }
    assert {"spirit", "mixing", "sugar", "vapour"} <= with_some
