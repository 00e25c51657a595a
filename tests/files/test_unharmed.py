"""Workbooks with all that people and programs put into them: an edit changes the cells it names and no more.

Each is edited in a few cells of every sheet; then all its parts are compared with what they were, and other
programs read it. A table at the end of the run says how much was compared.
"""

import csv
import shutil
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from files import harm_ods, harm_xlsx
from files.harm import Comparison, Position
from files.odd_workbooks import ODD
from files.rich_workbooks import RICH
from files.workbook_samples import CORPUS, convert, ods_cells
from openpyxl.cell.cell import MergedCell
from openpyxl.utils.datetime import to_excel

from sheetcalc.files import open_workbook

Make = Callable[[Path], Path]

FILLED = Path(__file__).parents[2] / "examples" / "filled"
PROTECTED = {"calamine-pass_protected.xlsx", "calamine-pass_protected.ods"}
# What openpyxl can't load, edited or not; LibreOffice reads them.
BEYOND_OPENPYXL = {
    *("calamine-issue_419.xlsx", "calamine-minimal_package.xlsx", "calamine-pivots.xlsx"),
    "spelled_strict.xlsx",
}
# On sheets of this name stand pivot tables, which LibreOffice puts there anew when it opens the file.
PIVOTS = "Pivot"
TO_CSV = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
TEXT, NUMBER = "=new  words\nand <more>", 1234.5


def copied(path: Path, source: Path) -> Path:
    """A copy, as a sample is made."""
    shutil.copyfile(source, path)
    return path


OURS: dict[str, Make] = {f"ours_{p.name}": partial(copied, source=p) for p in sorted(FILLED.glob("[bd]*.*"))}
REAL: dict[str, Make] = {
    p.name: partial(copied, source=p)
    for p in sorted(CORPUS.glob("*.*"))
    if p.suffix != ".md" and p.name not in PROTECTED
}
MADE: dict[str, Make] = {**OURS, **RICH, **ODD}
SAMPLES = [
    *(pytest.param(name, id=name) for name in MADE),
    *(pytest.param(name, id=name, marks=pytest.mark.corpus) for name in REAL or ("corpus",)),
]


@dataclass
class Edited:
    """A workbook as it was and as it is, and what was written where."""

    old: Path
    new: Path
    written: dict[str, dict[Position, float | str | None]]

    def compared(self) -> Comparison:
        """What is different now."""
        compare = harm_ods.compare if self.new.suffix == ".ods" else harm_xlsx.compare
        return compare(self.old, self.new, self.written)

    @property
    def kind(self) -> str:
        """Who made it, as the table says."""
        maker = self.old.name.partition("_")[0]
        return "corpus" if "-" in maker else maker

    def counts(self, found: Comparison, failures: int) -> dict[str, int]:
        """The numbers for the table."""
        return {
            "files": 1,
            "parts": found.parts,
            "same bytes": found.parts - len(found.edited),
            "edited": len(found.edited),
            "cells": sum(map(len, self.written.values())),
            "forgotten": sum(map(len, found.forgotten.values())),
            "failures": failures,
        }


# Far from all else, beside it, and where the made logs have a comment and a link.
PLACES: dict[Position, float | str | None] = {
    (3, 40): TEXT,
    (150, 3): NUMBER,
    (2, 5): "beside",
    (5, 3): "commented",
    (5, 6): "linked",
}


def edited(old: Path) -> Edited:
    """Write into a copy, in places of all kinds on every sheet; and clear a cell."""
    new = old.with_name("new") / old.name
    new.parent.mkdir(exist_ok=True)
    shutil.copyfile(old, new)
    book = open_workbook(new)
    written: dict[str, dict[Position, float | str | None]] = {}
    for sheet in book.sheets:
        free = sorted((place, cell.kind) for place, cell in book.cells(sheet).items() if not cell.formula)
        # Not in the first row, where tables have the headings that their own part repeats.
        below = [(place, kind) for place, kind in free if place[0] > 1]
        writes = dict(PLACES)
        writes |= dict.fromkeys([place for place, kind in below if kind == "text"][-1:], NUMBER)
        writes |= dict.fromkeys([place for place, kind in below if kind == "number"][-1:], TEXT)
        writes |= dict.fromkeys([place for place, _ in below[:-2]][-1:])
        written[sheet] = {p: value for p, value in writes.items() if not book.has_formula(sheet, *p)}
        for place, value in written[sheet].items():
            book.write(sheet, *place, value)
    book.save()
    return Edited(old, new, written)


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_but_the_written_cells_changes(name: str, tmp_path: Path, record_property: Any) -> None:
    sample = edited({**MADE, **REAL}[name](tmp_path / name))
    found = sample.compared()
    record_property("unharmed", {sample.kind: sample.counts(found, len(found.strays))})
    assert not found.strays
    assert found.edited


@pytest.mark.filterwarnings("ignore::UserWarning:openpyxl")
@pytest.mark.parametrize("name", SAMPLES)
def test_other_libraries_read_the_new_values(name: str, tmp_path: Path) -> None:
    sample = edited({**MADE, **REAL}[name](tmp_path / name))
    if name in BEYOND_OPENPYXL:
        with pytest.raises(Exception):  # noqa: B017 -- of whatever kind
            book = openpyxl.load_workbook(sample.old)
            assert all(book[sheet] for sheet in sample.written)
        return
    seen = {(sheet, place): found for sheet, place, _, found in read_by_others(sample)}
    assert seen == {(sheet, place): value for sheet, place, value, _ in read_by_others(sample)}


def read_by_others(sample: Edited) -> Iterable[tuple[str, Position, Any, Any]]:
    """Each written cell with its value as openpyxl or odfpy reads it."""
    cells = ods_cells(sample.new) if sample.new.suffix == ".ods" else {}
    book = None if cells else openpyxl.load_workbook(sample.new)
    for sheet, places in sample.written.items():
        for place, value in places.items():
            if book:
                cell = book[sheet].cell(*place)
                if isinstance(cell, MergedCell):
                    continue
                seen: Any = cell.value
                if isinstance(seen, datetime | time | timedelta):
                    seen = to_excel(seen, book.epoch)  # type: ignore[no-untyped-call]
            else:
                kind, number, shown, *_ = cells.get((sheet, *place), (None, None, None))
                seen = float(number) if kind == "float" else shown
            yield sheet, place, value, seen


@pytest.mark.office
def test_an_office_program_shows_the_same_but_for_the_written_cells(
    tmp_path: Path, record_property: Any
) -> None:
    """What LibreOffice shows of all these workbooks, and of some as it saves them in the other format."""
    samples = [edited(make(tmp_path / unlike(name))) for name, make in {**RICH, **ODD, **REAL}.items()]
    saved = [edited(path) for path in saved_by_office([s.old for s in samples], tmp_path / "saved")]
    samples += saved
    before, after = in_turns(
        partial(shown, [s.old for s in samples], tmp_path / "before" / "csv"),
        partial(shown, [s.new for s in samples], tmp_path / "after" / "csv"),
    )
    tally: dict[str, Counter[str]] = defaultdict(Counter)
    wrong = []
    for sample in samples:
        found, name = sample.compared(), sample.old.stem
        strays = [*found.strays, *differences(sample, found, before, after)]
        wrong += [(name, stray) for stray in strays]
        tally[sample.kind]["shown"] += 1
        if sample in saved:
            tally[sample.kind].update(sample.counts(found, len(strays)))
    record_property("unharmed", {kind: dict(counts) for kind, counts in tally.items()})
    assert not wrong, "\n".join(map(str, wrong))


def unlike(name: str) -> str:
    """A name whose stem no workbook of another format has."""
    return f"{Path(name).stem}_{name.rpartition('.')[2]}{Path(name).suffix}"


def in_turns(*works: Callable[[], Any]) -> list[Any]:
    """The results of works done side by side."""
    with ThreadPoolExecutor() as pool:
        return [future.result() for future in [pool.submit(work) for work in works]]


def saved_by_office(paths: list[Path], folder: Path) -> list[Path]:
    """Workbooks as LibreOffice saves them: some xlsx files as ods, all ods files as xlsx."""
    kinds = (
        "xlsxwriter_",
        "openpyxl_",
        "parts_",
        "calamine-pivots",
        "calamine-picture_x",
        "xlsxwriter-chart",
    )
    to_ods = [path for path in paths if path.suffix == ".xlsx" and path.name.startswith(kinds)]
    to_xlsx = [path for path in paths if path.suffix == ".ods"]
    in_turns(
        partial(convert, to_ods, folder / "ods", "ods"),
        partial(convert, to_xlsx, folder / "xlsx" / "office", "xlsx:Calc MS Excel 2007 XML"),
    )
    made = sorted([*folder.glob("ods/*.ods"), *folder.glob("xlsx/office/*.xlsx")])
    assert len(made) == len(to_ods) + len(to_xlsx)
    return [path.rename(path.with_name(f"office_{path.name}")) for path in made]


def shown(paths: list[Path], folder: Path) -> dict[str, dict[Position, str]]:
    """What LibreOffice shows in every cell, by workbook and sheet."""
    convert(paths, folder, TO_CSV)
    found = {}
    for path in folder.iterdir():
        with path.open(encoding="utf-8", newline="") as lines:
            rows = enumerate(csv.reader(lines), 1)
            # LibreOffice numbers some of the names.
            found[path.stem.removesuffix(" -1")] = {
                (r, c): text for r, row in rows for c, text in enumerate(row, 1) if text
            }
    return found


def differences(sample: Edited, found: Comparison, before: Any, after: Any) -> Iterator[str]:
    """What LibreOffice shows in another way than it has to."""
    sheets = [name for name in before if name.startswith(f"{sample.old.stem}-")]
    if not sheets:
        yield "LibreOffice did not open it"
    for name in sheets:
        sheet = name.removeprefix(f"{sample.old.stem}-")
        if sheet.startswith(PIVOTS):
            continue
        was, now, written = before[name], after.get(name, {}), sample.written.get(sheet, {})
        for place in (was.keys() | now.keys()) - written.keys() - found.open.get(sheet, set()):
            if was.get(place) != now.get(place):
                yield f"{sheet} {place} shows {now.get(place)} instead of {was.get(place)}"
        for place, value in written.items():
            text = now.get(place)
            as_number = isinstance(value, float) and text is not None and float(text) == value
            if text != value and not as_number:
                yield f"{sheet} {place} shows {text} instead of {value}"
