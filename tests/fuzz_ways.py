"""Two more ways to a spoilt workbook for fuzz.py: people's own ones by a layout, and registers.

Each is filled, or brought up to date, with nothing but our cells changed, or refused in one sentence.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import fuzz
from later_logs import LATER
from own_logs import LOGS, NO_LOG

from sheetcalc import files
from sheetcalc.filling import fill
from sheetcalc.findings import Finding
from sheetcalc.layouts import LayoutError
from sheetcalc.many import Outcome
from sheetcalc.own import adopt, adopted
from sheetcalc.own import tables as own_tables
from sheetcalc.registers import batches, gathering, register
from sheetcalc.registers.batches import Batch


def seeds(way: str, folder: Path) -> list[Path]:
    """The workbooks that are spoilt, as they are and as a fill leaves them; a layout lies beside its own."""
    folder.mkdir(parents=True, exist_ok=True)
    if way == "gather":
        made = []
        for name in ("three.xlsx", "three.ods"):
            gathering.gather(_outcomes(folder), folder / name)
            made.append(folder / name)
        return made
    made = []
    for log in (log for log in (*LOGS, *LATER) if log is not NO_LOG):
        path = log.make(folder)
        layout = path.with_suffix(".toml")
        adopt.propose(path, layout)
        text = layout.read_text(encoding="utf-8").replace("add = false", "add = true")
        layout.write_text(
            text.replace("[constants]", "[constants]\noriginal_gravity = 1.08", 1), encoding="utf-8"
        )
        filled = folder / f"filled-{path.name}"
        filled.write_bytes(path.read_bytes())
        filled.with_suffix(".toml").write_bytes(layout.read_bytes())
        fill(filled, layout=layout)
        made += [path, filled]
    return made


def try_one(way: str, path: Path, source: Path, twice: bool) -> str:
    """Fill or gather, and hold what came of it against the promise; "filled" or "refused"."""
    before = path.read_bytes()
    try:
        # What a gathering tells of a line once, such as another code, is gone the next time.
        for _ in range((3 if way == "gather" else 2) if twice else 1):
            once = path.read_bytes()
            if way == "gather":
                gathering.gather(_outcomes(path.parent), path)
            else:
                _adopt(path, source)
    except files.BadWorkbook as trouble:
        fuzz.check_refusal(str(trouble), path, before)
        return "refused"
    assert not twice or path.read_bytes() == once, "the second time changed the file"
    _check(before, path, set(_ours(way, path, source)))
    return "filled"


def _adopt(path: Path, source: Path) -> None:
    """Look what it seems to hold, which may be nothing, and fill it by the layout of the sound one."""
    with tempfile.TemporaryDirectory() as folder:
        proposed = Path(folder) / "proposed.toml"
        try:
            adopt.propose(path, proposed)
            adopted.load(proposed)
        except files.BadWorkbook as trouble:
            assert "\n" not in str(trouble) and str(trouble).endswith("."), trouble
        except LayoutError as trouble:
            assert "is switched on" in str(trouble), trouble
    fill(path, layout=source.with_suffix(".toml"))


def _ours(way: str, path: Path, source: Path) -> Iterator[tuple[str, int]]:
    """The tabs and columns that may have been written."""
    book = files.open_workbook(path)
    if way == "gather":
        yield from fuzz.copies_of_entries(book)
        for read in register.opened(path).read.values():
            yield from ((read.found.tab, column) for _, column in read.found.cells.values())
        return
    for batch in own_tables.read(adopted.load(source.with_suffix(".toml")), book):
        for read in batch.read.values():
            entries = {c.key for c in read.sheet.columns if c.role == "entry"}
            yield from ((read.found.tab, at[1]) for key, at in read.found.cells.items() if key not in entries)


def _check(before: bytes, path: Path, ours: set[tuple[str, int]]) -> None:
    """Only cells in our columns changed, formulas may have forgotten their results, and no member is gone."""
    fuzz.check_members(before, path.read_bytes())
    with tempfile.TemporaryDirectory() as folder:
        old = Path(folder) / path.name
        old.write_bytes(before)
        was, now = files.open_workbook(old), files.open_workbook(path)
        for tab in was.sheets:
            try:
                cells = was.cells(tab)
            except files.BadWorkbook:
                continue
            after = now.cells(tab)
            for place in cells.keys() | after.keys():
                formula = place in cells and cells[place].formula
                assert formula or cells.get(place) == after.get(place) or (tab, place[1]) in ours, (
                    *(tab, place, cells.get(place), after.get(place)),
                )


def _outcomes(folder: Path) -> Iterator[Outcome[Batch | None]]:
    """What three batches gave, and a workbook that is no use."""
    for number, code in enumerate(("A-1", "=B", "C\u202e3")):
        values = batches.blank() | {"batch_code": code, "still": "pot", "recovery": 0.8 + number / 50}
        values |= {"errors": 1.0, "warnings": 0.0, "notes": 0.0, "wash_volume": 20.0 + number}
        found = Finding("error", "Runs", "Charge", 6, 2, "made_up", f"Invented for {code}.", "Nothing.")
        yield Outcome(folder / f"{number}.xlsx", Batch(values, (found,)))
    yield Outcome(folder / "broken.ods", None, "It is damaged; use a backup copy.")
