"""Hostile and broken workbooks: only our cells change, or the file is refused; within bounds either way."""

import json
import os
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import fuzz
import pytest
from bounded import Outcome, bounded
from hostile import cases
from hostile.planting import CONTENT, SHEET, Case, both, make, ods_text_entry, planted, text_entry

from sheetcalc import files
from sheetcalc.filling import fill

ROOT = Path(__file__).parents[1]
SIZE = 0.01
SECONDS, MEGABYTES = 10.0, 500.0
COMMANDS = ("=1+1", "=cmd|'/C calc'!A0", "+1+1", "-1+1", "@SUM(A1)", "=HYPERLINK(1)", "\t=1", '=DDE("a";"b")')
STEERING = "\u202eevil\u202c \x9b31m \u2066x"


@pytest.fixture(scope="module")
def within_bounds() -> Iterator[Callable[[Path], Outcome]]:
    with bounded() as fill_bounded:
        yield fill_bounded


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("sources")
    return {ending: make(folder, ending) for ending in (".xlsx", ".ods")}


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"{case.name} {case.ending[1:]}")
def test_what_is_planted_is_refused_or_does_no_harm(
    case: Case, sources: dict[str, Path], within_bounds: Callable[[Path], Outcome], tmp_path: Path
) -> None:
    path = planted(case, sources[case.ending], tmp_path / f"log{case.ending}", SIZE)
    before = path.read_bytes()
    outcome = within_bounds(path)
    assert case.expects(outcome.how, outcome.told), outcome
    assert outcome.seconds < SECONDS and outcome.megabytes < MEGABYTES, outcome
    if outcome.how == "refused":
        fuzz.check_refusal(outcome.told, path, before)
    else:
        fuzz.check_filled(before, path)


@pytest.mark.parametrize("text", COMMANDS)
def test_text_that_looks_like_a_formula_is_told_as_text(
    sources: dict[str, Path], tmp_path: Path, text: str
) -> None:
    escaped = text.replace('"', "&quot;")
    plants = {
        ".xlsx": (text_entry(escaped), SHEET, b"<f"),
        ".ods": (ods_text_entry(escaped), CONTENT, b":formula="),
    }
    for ending, (plant, part, formula) in plants.items():
        path = planted(Case("", ending, plant, None), sources[ending], tmp_path / f"log{ending}", 1)
        with zipfile.ZipFile(path) as archive:
            before = {name: archive.read(name).count(formula) for name in archive.namelist()}
        said = [finding for finding in fill(path) if finding.rule == "unreadable"]
        assert len(said) == 1, text
        book = files.open_workbook(path)
        told = [
            cell
            for sheet in book.sheets
            for cell in book.cells(sheet).values()
            if said[0].message in str(cell.value)
        ]
        assert len(told) == 2  # the flag and the line of the findings sheet
        assert {(cell.kind, cell.formula) for cell in told} == {("text", False)}
        with zipfile.ZipFile(path) as archive:
            assert {name: archive.read(name).count(formula) for name in archive.namelist()} == before
            if ending == ".xlsx":
                cells = re.findall(rb"<c [^>]*>(?:(?!</c>).)*is no[^<]*", archive.read(part))
                assert cells == [] or all(b'"inlineStr"' in cell for cell in cells)


def check(*words: str | bytes, encoding: str = "utf-8") -> tuple[int, bytes, bytes]:
    """Exit code and raw output of `sheetcalc check`."""
    command = [sys.executable, "-m", "sheetcalc", "check", *words]
    environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": f"{encoding}:strict"}
    done = subprocess.run(command, capture_output=True, env=environment)
    return done.returncode, done.stdout, done.stderr


NAMES = (b"line\nERROR all is well.xlsx", b"\x1b[31mred.xlsx", b"\xff\xfe.xlsx", "\u202eslx.xlsx".encode())


@pytest.mark.parametrize(("name", "encoding"), [*((name, "utf-8") for name in NAMES), (NAMES[2], "cp1252")])
def test_no_name_or_text_steers_the_terminal(
    sources: dict[str, Path], tmp_path: Path, name: bytes, encoding: str
) -> None:
    heading = text_entry(f"Volume\n{STEERING}", "B4")
    case = Case("", ".xlsx", both(heading, text_entry(STEERING)), None)
    path = os.fsencode(tmp_path) + b"/" + name
    Path(os.fsdecode(path)).write_bytes(
        planted(case, sources[".xlsx"], tmp_path / "log.xlsx", 1).read_bytes()
    )
    code, out, err = check(path, encoding=encoding)
    assert (code, err) == (1, b"")
    _nothing_steers(out.decode(encoding))
    assert out.count(b"\n") == 1 + 2 * out.count(b"  -> ")
    code, out, _ = check(path, "--json", encoding=encoding)
    _nothing_steers(out.decode(encoding))
    assert {json.loads(line)["file"] for line in out.splitlines()} == {os.fsdecode(path)}
    code, out, err = check(b"no-" + name, encoding=encoding)
    assert code == 2 and err.count(b"\n") == 1
    _nothing_steers(err.decode(encoding))


def _nothing_steers(text: str) -> None:
    assert not re.search(
        "[\0-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]", text
    )


def test_workbooks_spoilt_at_random_are_filled_or_refused() -> None:
    """A small campaign; `python -m tests.fuzz` runs large ones."""
    outcomes, _ = fuzz.campaign(range(120), seed=0, kinds=("bench", "small"), corpus=Path("no corpus"))
    print(fuzz.report(outcomes, 0))
    assert [outcome for outcome in outcomes if outcome.bug] == []
    assert sum(outcome.how.endswith("filled") for outcome in outcomes) > 60
    assert sum(outcome.how.endswith("refused") for outcome in outcomes) > 20
