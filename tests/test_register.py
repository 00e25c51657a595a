"""A register tells what the workbooks tell, keeps what people add, and is never lost over a bad file."""

import copy
import os
import re
import shutil
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import in_memory
import logs as logs_module
import numpy as np
import openpyxl
import pandas as pd
import pytest
from logs import spoilt, typed
from openpyxl.styles import PatternFill
from test_cli import run

from sheetcalc import compute, files, layouts
from sheetcalc.files import locate
from sheetcalc.registers import batches, register, tables

Blank = Callable[..., Path]
Convert = Callable[..., None]
ENDINGS = [".xlsx", ".ods"]
BATCHES = ("WINE-1", "WINE-2", "WINE-3")
LINE = {c.key for c in batches.sheet().columns} - {"file", "state", "errors", "warnings", "notes"}
GALLON, FLUID_OUNCE, FOOT = 3.785411784, 0.0295735295625, 0.3048

# A bought-in wine of 20 L at 12 % vol in two charges, all of it invented; the alcoholmeter reads right at
# 20 °C and every sample has 20 °C, so that strengths need no correction.
RUN = {
    "kind": "single",
    "charge_volume": 10.0,
    "charge_strength": 12.0,
    "collected_volume": 2000.0,
    "collected_reading": 50.0,
    "collected_temperature": 20.0,
}
WINE: dict[str, Any] = {
    "batch": {
        "batch_code": "WINE-1",
        "wash_kind": "wine",
        "yeast": "Cellar yeast",
        "still": "Copper pot",
        "started_at": datetime(2026, 3, 1, 18, 0),
        "wash_volume": 20.0,
        "place": "EU",
        "altitude": 300.0,
        "still_capacity": 12.0,
        "still_minimum": 2.0,
        "still_power": 2000.0,
        "open_to_air": "yes",
        "currency": "EUR",
        "bottle_price": 1.5,
    },
    "instruments": [{}, {"reference_temperature": "20 °C"}],
    "runs": [
        RUN
        | {"run": "1", "filled_at": datetime(2026, 3, 2, 9), "first_drip_at": datetime(2026, 3, 2, 9, 36)},
        RUN
        | {"run": "2", "filled_at": datetime(2026, 3, 2, 14), "first_drip_at": datetime(2026, 3, 2, 14, 40)},
    ],
    "cuts": [
        {
            "run": "1",
            "jar": "a",
            "volume": 1200.0,
            "reading": 60.0,
            "temperature": 20.0,
            "fraction": "hearts",
        },
        {"run": "1", "jar": "b", "volume": 500.0, "reading": 50.0, "temperature": 20.0, "fraction": "hearts"},
        {"run": "1", "jar": "c", "volume": 300.0, "reading": 10.0, "temperature": 20.0, "fraction": "tails"},
    ],
    "bottling": [
        {
            "bottled_at": datetime(2026, 3, 9, 12),
            "bottle_size": 700.0,
            "bottles": 2.0,
            "label_strength": 40.0,
            "measured_strength": 40.0,
        }
    ],
    "costs": {"other_costs": 7.0},
}
# Worked by hand: charged 2 x 10 L x 12 % = 2.4 L; came over 2 x 2 L x 50 % = 2 L, of that 2 / 2.4 = 83.3 %.
# Hearts 1.2 L x 60 % + 0.5 L x 50 % = 0.97 L. Bottled 1.4 L x 40 % = 0.56 L, of the wash 0.56 / 2.4 = 23.3 %;
# in hand 2 - 0.56 = 1.44 L, lost 2.4 - 2 = 0.4 L. The drip came after 36 and 40 min. Bottles 2 x 1.5 and 7
# are 10, for 0.56 + 1.44 L.
BY_HAND = {
    "batch_code": "WINE-1",
    "wash_kind": "wine",
    "yeast": "Cellar yeast",
    "still": "Copper pot",
    "wash_volume": 20.0,
    "wash_strength": 12.0,
    "wash_alcohol": 2.4,
    "run_count": 2.0,
    "collected_volume": 4.0,
    "collected_alcohol": 2.0,
    "recovery": 2.0 / 2.4,
    "first_drip": 38 / 60,
    "kept_volume": 1.7,
    "kept_alcohol": 0.97,
    "bottles_filled": 2.0,
    "bottled_volume": 1.4,
    "bottled_alcohol": 0.56,
    "overall_yield": 0.56 / 2.4,
    "lost": 0.4,
    "in_hand": 1.44,
    "unaccounted": 0.0,
    "total_cost": 10.0,
    "currency": "EUR",
    # 10.00 without the two empty bottles at 1.50, by 2 L of alcohol.
    "cost_per_litre_alcohol": 3.5,
    "place": "EU",
    "altitude": 300.0,
    "still_capacity": 12.0,
    "still_minimum": 2.0,
    "still_power": 2000.0,
}


def wine(code: str = "WINE-1", **batch: Any) -> dict[str, Any]:
    """The wine under another code, with other lines on its card."""
    log = copy.deepcopy(WINE)
    log["batch"] |= {"batch_code": code} | batch
    return log


def in_us_units(log: dict[str, Any]) -> dict[str, Any]:
    """The same batch as somebody with US measures types it."""
    log = copy.deepcopy(log)
    log["batch"]["altitude"] /= FOOT
    for key in ("wash_volume", "still_capacity", "still_minimum"):
        log["batch"][key] /= GALLON
    for line in log["runs"]:
        line["charge_volume"] /= GALLON
        line["collected_volume"] /= FLUID_OUNCE * 1000
        line["collected_reading"] *= 2
        line["collected_temperature"] = 68.0
    for line in log["cuts"]:
        line |= {"volume": line["volume"] / FLUID_OUNCE / 1000, "reading": line["reading"] * 2}
        line["temperature"] = 68.0
    for line in log["bottling"]:
        # 80 proof are 40 % vol at 60 °F, which is not quite 40 % vol at 20 °C.
        line |= {"label_strength": "40 % vol", "measured_strength": "40 % vol"}
    return log


@pytest.fixture
def logs(blank: Blank, tmp_path: Path) -> Path:
    """Three batches: metric xlsx, US ods, and one in another still."""
    folder = tmp_path / "logs"
    folder.mkdir()
    typed(wine(), blank("batch", "metric", ".xlsx"), folder / "wine-1.xlsx")
    typed(in_us_units(wine("WINE-2")), blank("batch", "us", ".ods"), folder / "wine-2.ods")
    other = wine("WINE-3", still="Glass flask", started_at=datetime(2026, 2, 1))
    typed(other, blank("batch", "metric", ".ods"), folder / "wine-3.ods")
    return folder


def lines(path: Path) -> dict[str, dict[str, Any]]:
    """The lines of a register by batch code, in base units, each with its row."""
    kept = register.opened(path)
    return {str(line.values["batch_code"]): dict(line.values) | {"row": line.row} for line in kept.lines}


def table(path: Path, key: str) -> list[dict[str, Any]]:
    """The records of one of the register's tables."""
    kept = register.opened(path)
    read = kept.read[key]
    return [values for _, values in register.stored(kept.book, read, (read.sheet.columns[0].key,))]


def close(found: Any, wanted: Any) -> bool:
    """Equal, a number within a millionth; a workbook holds nine digits."""
    return bool(found == (pytest.approx(wanted, rel=1e-6, abs=1e-9) if isinstance(wanted, float) else wanted))


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("ending", ENDINGS)
def test_both_formats_and_units_give_the_line_worked_by_hand(logs: Path, ending: str, system: str) -> None:
    to = logs.parent / f"register{ending}"
    code, out, err = run("gather", logs, "--to", to, "--units", system)
    assert (code, err) == (0, "")
    assert f"3 batches in {to}" in out
    found = lines(to)
    assert list(found) == ["WINE-3", "WINE-1", "WINE-2"]
    for name, file in (("WINE-1", "logs/wine-1.xlsx"), ("WINE-2", "logs/wine-2.ods")):
        wanted = BY_HAND | {"batch_code": name, "file": file, "errors": 0.0}
        assert {k: (found[name][k], v) for k, v in wanted.items() if not close(found[name][k], v)} == {}
    # Whole days are shown; the moment is kept.
    book = files.open_workbook(to)
    place = locate.find(book, [batches.sheet()])["register"]
    cell = book.cells(place.tab)[found["WINE-1"]["row"], place.cells["started_at"][1]]
    assert cell.kind == "moment"
    assert files.open_workbook(to).cells(place.tab)[place.units["wash_volume"]].value == (
        "L" if system == "metric" else "gal"
    )


def test_the_time_of_fermentation_is_from_the_yeast_to_the_standstill(blank: Blank, tmp_path: Path) -> None:
    # Pitched on the evening of 1 March; 0.990 from the 8th on, read until the 10th: seven days.
    falls = [(1, 1.080), (3, 1.050), (5, 1.015), (8, 0.990), (9, 0.990), (10, 0.990)]
    log = wine()
    log["batch"] |= {"wash_kind": "sugar", "original_gravity": 1.080}
    log["fermentation"] = [
        {"taken_at": datetime(2026, 3, day, 18), "reading": gravity, "sample_temperature": 20.0}
        for day, gravity in falls
    ]
    path = typed(log, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    batch = batches.read(path)
    assert batch
    assert batch.values["fermentation_time"] == pytest.approx(7 * 24)
    assert batch.values["final_gravity"] == pytest.approx(0.990, abs=1e-5)
    log["fermentation"] = log["fermentation"][:4]
    working = batches.read(typed(log, blank("batch", "metric", ".xlsx"), tmp_path / "working.xlsx"))
    assert working and pd.isna(working.values["fermentation_time"])


@pytest.mark.parametrize("ending", ENDINGS)
def test_stills_and_yeasts_are_compared_by_medians_and_quartiles(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    # Five batches that collect 1.0, 1.2, 1.4, 1.6 and 1.8 L of 50 % vol from each charge of 1.2 L of alcohol:
    # the median recovers 0.7 / 1.2, and half of them lie between 0.6 / 1.2 and 0.8 / 1.2.
    folder = tmp_path / "logs"
    folder.mkdir()
    for number, volume in enumerate((1400.0, 1000.0, 1800.0, 1200.0, 1600.0)):
        log = wine(f"W{number}", still=" copper  POT" if number else "Copper pot")
        for line in log["runs"]:
            line["collected_volume"] = volume
        typed(log, blank("batch", "metric", ENDINGS[number % 2]), folder / f"{number}{ENDINGS[number % 2]}")
    to = tmp_path / f"register{ending}"
    run("gather", folder, "--to", to)
    (still,), (yeast,) = table(to, "stills"), table(to, "yeasts")
    assert (still["still"], still["batches"], still["run_count"]) == ("Copper pot", 5, 10)
    shares = [still[key] for key in ("recovery", "recovery_low", "recovery_high")]
    assert shares == pytest.approx([0.7 / 1.2, 0.6 / 1.2, 0.8 / 1.2], rel=1e-6)
    assert still["first_drip"] == pytest.approx(38 / 60, rel=1e-6)
    assert (yeast["yeast"], yeast["batches"]) == ("Cellar yeast", 5)


def test_every_finding_of_the_workbooks_is_listed_with_its_file(blank: Blank, tmp_path: Path) -> None:
    log = wine()
    log["runs"][0]["first_drip_at"] = datetime(2026, 3, 2, 8)
    path = typed(log, blank("batch", "metric", ".ods"), tmp_path / "log.ods")
    to = tmp_path / "register.xlsx"
    assert run("gather", path, "--to", to)[0] == 1
    told = {(t["workbook"], t["sheet"], t["place"], t["level"], t["rule"]) for t in table(to, "told")}
    batch = batches.read(path)
    assert batch
    assert told == {("log.ods", f.sheet, f.cell, f.level.upper(), f.rule) for f in batch.findings}
    assert ("log.ods", "Runs", "F6", "ERROR", "drip_before_heat") in told
    assert lines(to)["WINE-1"]["errors"] == 1


def test_a_mended_finding_goes_and_those_of_workbooks_not_named_stay(blank: Blank, tmp_path: Path) -> None:
    logs = {code: wine(code) for code in ("A", "B", "C")}
    for log in logs.values():
        log["runs"][0]["first_drip_at"] = datetime(2026, 3, 2, 8)
    paths = {
        c: typed(log, blank("batch", "metric", ".xlsx"), tmp_path / f"{c}.xlsx") for c, log in logs.items()
    }
    to = tmp_path / "register.ods"

    def wrong() -> list[str]:
        return sorted(t["workbook"] for t in table(to, "told") if t["rule"] == "drip_before_heat")

    run("gather", *paths.values(), "--to", to)
    assert wrong() == ["A.xlsx", "B.xlsx", "C.xlsx"]
    typed(wine("A"), blank("batch", "metric", ".xlsx"), paths["A"])
    run("gather", paths["A"], "--to", to)
    assert wrong() == ["B.xlsx", "C.xlsx"]
    # Who deletes a line wants to hear no more of it.
    book, row = files.open_workbook(to), lines(to)["B"]["row"]
    place = locate.find(book, [batches.sheet()])["register"]
    for _, column in place.cells.values():
        book.write(place.tab, row, column, None)
    book.save()
    run("gather", paths["A"], "--to", to)
    assert wrong() == ["C.xlsx"]
    assert lines(to).keys() == {"A", "C"}


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_stands_beside_a_still_stays_with_it(logs: Path, blank: Blank, ending: str) -> None:
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    kept = register.opened(to)
    read = kept.read["stills"]
    place, beside = read.found, max(column for _, column in read.found.cells.values()) + 3
    for row, values in register.stored(kept.book, read, ("still",)):
        kept.book.write(place.tab, row, beside, f"mine on {values['still']}")
    kept.book.save()
    # A still whose name comes first, and one that no batch has any more.
    typed(wine("WINE-4", still="Alembic"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    typed(wine("WINE-3"), blank("batch", "metric", ".ods"), logs / "wine-3.ods")
    run("gather", logs, "--to", to)
    kept = register.opened(to)
    cells = kept.book.cells(place.tab)
    found = {str(v["still"]): (row, v["batches"]) for row, v in register.stored(kept.book, read, ("still",))}
    assert {still: batches_ for still, (_, batches_) in found.items()} == {
        "Copper pot": 3.0,
        "Glass flask": 0.0,
        "Alembic": 1.0,
    }
    for still in ("Copper pot", "Glass flask"):
        assert cells[found[still][0], beside].value == f"mine on {still}"


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_register_that_is_up_to_date_is_not_written(logs: Path, ending: str) -> None:
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    held, stamp = to.read_bytes(), to.stat().st_mtime_ns
    code, out, _ = run("gather", logs, "--to", to)
    assert code == 0
    assert "none of them new" in out and "up to date" in out
    assert (to.read_bytes(), to.stat().st_mtime_ns) == (held, stamp)


def test_what_a_killed_gathering_left_goes_with_the_next(logs: Path) -> None:
    to = logs.parent / "register.ods"
    run("gather", logs, "--to", to)
    left = logs.parent / ".sheetcalc-abcd1234.tmp"
    left.write_bytes(b"half a register")
    assert "It was up to date." in run("gather", logs, "--to", to)[1]
    assert not left.exists()


def by_the_person(path: Path) -> None:
    """A column, a formula, a colour, a sheet and another order of the rows, in openpyxl."""
    book = openpyxl.load_workbook(path)
    sheet = book["Register"]
    heading = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "Batch code")
    first, width = heading.row + 2, sheet.max_column
    rows = [[sheet.cell(first + n, c).value for c in range(1, width + 1)] for n in range(3)]
    sheet.cell(heading.row, width + 1).value = "My verdict"
    for n, row in enumerate(reversed(rows)):
        for column, value in enumerate(row, start=1):
            sheet.cell(first + n, column).value = value
        sheet.cell(first + n, width + 1).value = f"mine on {row[0]}"
    sheet.cell(first + 1, 1).fill = PatternFill("solid", fgColor="FFABCDEF")
    own = book.create_sheet("My sheet")
    own["A1"] = f"=SUM(Register!M{first}:M{first + 40})"
    own["A2"] = "private"
    book.save(path)


def check_kept(path: Path, changed: float) -> None:
    """What the person added stands where it did, and each remark is on the line of its batch."""
    book = files.open_workbook(path)
    cells = book.cells("Register")
    (row, column) = next(place for place, cell in cells.items() if cell.value == "My verdict")
    found = lines(path)
    assert [cells[row + 2 + n, 1].value for n in range(3)] == ["WINE-2", "WINE-1", "WINE-3"]
    for code in ("WINE-1", "WINE-2", "WINE-3"):
        assert cells[found[code]["row"], column].value == f"mine on {code}"
    assert found["WINE-1"]["wash_volume"] == pytest.approx(changed)
    assert found["WINE-4"]["row"] == row + 5
    own = book.cells("My sheet")
    assert own[1, 1].formula and own[2, 1].value == "private"


def test_a_second_gathering_keeps_what_people_added_in_xlsx(logs: Path, blank: Blank) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    by_the_person(to)
    before = {i.filename: i.CRC for i in zipfile.ZipFile(to).infolist()}
    typed(wine(wash_volume=22.0), blank("batch", "metric", ".xlsx"), logs / "wine-1.xlsx")
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    code, out, _ = run("gather", logs, "--to", to)
    assert (code, "1 of them new" in out) == (0, True)
    check_kept(to, 22.0)
    book = openpyxl.load_workbook(to)
    heading = next(cell for row in book["Register"].iter_rows() for cell in row if cell.value == "Batch code")
    assert book["Register"].cell(heading.row + 3, 1).fill.fgColor.rgb == "FFABCDEF"
    after = {i.filename: i.CRC for i in zipfile.ZipFile(to).infolist()}
    changed = {name for name in before if before[name] != after[name]}
    ours = {f"xl/worksheets/sheet{n}.xml" for n in range(1, 8)} | {"xl/worksheets/_rels/sheet1.xml.rels"}
    assert changed <= ours | {"xl/workbook.xml"}


@pytest.mark.office
def test_a_second_gathering_keeps_what_people_added_in_ods(
    logs: Path, blank: Blank, soffice: Convert
) -> None:
    made = logs.parent / "register.xlsx"
    run("gather", logs, "--to", made)
    by_the_person(made)
    (logs.parent / "there").mkdir()
    soffice("ods", logs.parent / "there", made)
    # In the other folder the way to the workbooks is another one; the codes lead to the lines.
    to = shutil.move(logs.parent / "there" / "register.ods", logs.parent / "register.ods")
    typed(wine(wash_volume=22.0), blank("batch", "metric", ".xlsx"), logs / "wine-1.xlsx")
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    assert run("gather", logs, "--to", to)[0] == 0
    check_kept(Path(to), 22.0)


@pytest.mark.parametrize("ending", ENDINGS)
def test_charts_and_all_other_parts_keep_their_bytes(logs: Path, blank: Blank, ending: str) -> None:
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    with zipfile.ZipFile(to) as archive:
        before = {name: archive.read(name) for name in archive.namelist()}
    typed(wine(wash_volume=22.0), blank("batch", "metric", ".xlsx"), logs / "wine-1.xlsx")
    run("gather", logs, "--to", to)
    with zipfile.ZipFile(to) as archive:
        after = {name: archive.read(name) for name in archive.namelist()}
    assert before.keys() == after.keys()
    written = ("xl/worksheets/sheet", "xl/workbook.xml", "xl/worksheets/_rels/", "content.xml")
    changed = {name for name in before if before[name] != after[name]}
    assert changed and all(name.startswith(written) for name in changed)
    assert any("chart" in name.casefold() or name.startswith("Object") for name in before)


@pytest.mark.parametrize("ending", ENDINGS)
def test_other_units_of_a_column_convert_the_lines_of_batches_not_gathered_too(
    logs: Path, ending: str
) -> None:
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    book = files.open_workbook(to)
    place = locate.find(book, [batches.sheet()])["register"]
    book.write(place.tab, *place.units["wash_volume"], "gal")
    book.save()
    run("gather", logs / "wine-1.xlsx", "--to", to)
    book = files.open_workbook(to)
    shown = [
        book.cells(place.tab)[place.first_row + n, place.cells["wash_volume"][1]].value for n in range(3)
    ]
    assert shown == pytest.approx([20 / GALLON] * 3, rel=1e-6)


@pytest.mark.parametrize("name", logs_module.sheets())
def test_no_mistake_in_a_log_keeps_it_from_having_a_line(name: str) -> None:
    columns = [c.key for c in batches.sheet().columns]
    for _, spoil, *_ in logs_module.sheets()[name].PLANTED:
        read = in_memory.read(in_memory.blank("metric"), dict(in_memory.places(spoilt(spoil))))
        values = compute.Values(read)
        assert all(np.size(values.get("register", key)) == 1 for key in columns if key in LINE)


@pytest.mark.parametrize(
    "sheet", ["Instruments", "Fermentation", "Runs", "Cuts", "Bottling", "Costs", "Balance"]
)
def test_a_batch_whose_sheet_is_gone_has_a_line_all_the_same(
    blank: Blank, tmp_path: Path, sheet: str
) -> None:
    path = typed(wine(), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")
    book = openpyxl.load_workbook(path)
    del book[sheet]
    for name in [
        n for n, defined in book.defined_names.items() if f"'{sheet}'!" in (defined.attr_text or "")
    ]:
        del book.defined_names[name]
    book.save(path)
    batch = batches.read(path)
    assert batch
    assert batch.values["batch_code"] == "WINE-1"
    assert np.isnan(float(batch.values["collected_alcohol"])) == (sheet == "Runs")


def test_a_file_on_another_drive_is_not_looked_for(logs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    place = locate.find(files.open_workbook(to), [batches.sheet()])["register"]
    at = lines(to)["WINE-3"]["row"], place.cells["file"][1]
    asked: list[str] = []

    def lexists(path: Path) -> bool:
        asked.append(str(path))
        return True

    for elsewhere in ("//server/share/wine-3.ods", "/somewhere/wine-3.ods"):
        book = files.open_workbook(to)
        book.write(place.tab, *at, elsewhere)
        book.save()
        with monkeypatch.context() as patched:
            patched.setattr(os.path, "lexists", lexists)
            assert run("gather", logs / "wine-1.xlsx", "--to", to)[0] == 0
        assert lines(to)["WINE-3"]["state"] == ""
    assert any("wine-2" in path for path in asked) and not any("wine-3" in path for path in asked)


def test_a_bad_file_stops_nothing_is_told_and_its_line_stays(logs: Path) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    (logs / "wine-1.xlsx").write_bytes(b"PK\x03\x04 no more")
    (logs / "never.ods").write_bytes(b"nothing")
    code, out, err = run("gather", logs, "--to", to, "--jobs", "2")
    assert code == 2
    assert "wine-1.xlsx: " in err and "never.ods: " in err
    assert "2 could not be used" in out
    found = lines(to)
    assert found.keys() == {"WINE-1", "WINE-2", "WINE-3"}
    assert close(found["WINE-1"]["collected_alcohol"], 2.0)
    assert found["WINE-1"]["state"] == "could not be read"
    listed = {(t["workbook"], t["rule"]) for t in table(to, "told") if t["level"] == "ERROR"}
    assert listed == {("logs/wine-1.xlsx", "not_read"), ("logs/never.ods", "not_read")}


def test_a_renamed_file_keeps_its_line_and_a_lost_one_is_told(logs: Path) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    rows = {code: line["row"] for code, line in lines(to).items()}
    (logs / "wine-1.xlsx").rename(logs / "another-name.xlsx")
    (logs / "wine-3.ods").unlink()
    code, out, _ = run("gather", logs, "--to", to)
    assert code == 0
    assert "logs/another-name.xlsx: This is batch WINE-1, which was in logs/wine-1.xlsx before" in out
    assert "logs/wine-3.ods: The workbook of batch WINE-3 is not there any more" in out
    found = lines(to)
    assert {name: line["row"] for name, line in found.items()} == rows
    assert found["WINE-1"]["file"] == "logs/another-name.xlsx"
    assert found["WINE-3"]["state"] == "file is gone"
    assert close(found["WINE-3"]["collected_alcohol"], 2.0)


def test_two_files_that_change_names_keep_their_lines(logs: Path) -> None:
    to = logs.parent / "register.ods"
    run("gather", logs, "--to", to)
    rows = {code: line["row"] for code, line in lines(to).items()}
    (logs / "wine-2.ods").rename(logs / "meanwhile")
    (logs / "wine-3.ods").rename(logs / "wine-2.ods")
    (logs / "meanwhile").rename(logs / "wine-3.ods")
    run("gather", logs, "--to", to)
    assert {code: line["row"] for code, line in lines(to).items()} == rows


def test_a_batch_code_that_was_changed_keeps_the_line_of_its_file(logs: Path, blank: Blank) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    row = lines(to)["WINE-1"]["row"]
    typed(wine("WINE-1b"), blank("batch", "metric", ".xlsx"), logs / "wine-1.xlsx")
    _, out, _ = run("gather", logs, "--to", to)
    assert "was batch WINE-1 before; now it is WINE-1b" in out
    found = lines(to)
    assert found["WINE-1b"]["row"] == row and "WINE-1" not in found


def test_two_files_with_one_batch_code_have_a_line_each_and_are_told(logs: Path) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    shutil.copyfile(logs / "wine-1.xlsx", logs / "copy.xlsx")
    _, out, _ = run("gather", logs, "--to", to)
    assert "Batch code WINE-1 is in " in out
    kept = register.opened(to)
    states = {line.file: line.values["state"] for line in kept.lines}
    assert len(states) == 4
    assert {file for file, state in states.items() if state} == {"logs/wine-1.xlsx", "logs/copy.xlsx"}
    (logs / "copy.xlsx").unlink()
    run("gather", logs, "--to", to)
    assert {line.file: line.values["state"] for line in register.opened(to).lines} == {
        "logs/wine-1.xlsx": "",
        "logs/wine-2.ods": "",
        "logs/wine-3.ods": "",
        "logs/copy.xlsx": "file is gone",
    }


def test_a_log_that_was_saved_in_the_other_format_counts_once_and_keeps_its_line(
    logs: Path, blank: Blank
) -> None:
    to = logs.parent / "register.xlsx"
    old, new = logs / "wine-1.xlsx", logs / "wine-1.ods"
    run("gather", logs, "--to", to)
    row = lines(to)["WINE-1"]["row"]
    typed(wine("WINE-1", yeast="Another yeast"), blank("batch", "metric", ".ods"), new)
    os.utime(old, (1_700_000_000, 1_700_000_000))
    code, out, err = run("gather", logs, "--to", to)
    assert (code, "3 batches in" in out) == (0, True)
    assert "logs/wine-1.xlsx: It was saved later as logs/wine-1.ods; only that counts." in out + err
    found = lines(to)
    assert len(found) == 3
    assert (found["WINE-1"]["row"], found["WINE-1"]["file"]) == (row, "logs/wine-1.ods")
    assert found["WINE-1"]["yeast"] == "Another yeast"
    # Gathered alone, the old file gets a line; from then on that says what it is and does not count.
    run("gather", old, "--to", to)
    run("gather", logs, "--to", to)
    assert sum(still["batches"] for still in table(to, "stills")) == 3
    states = {line["file"]: line["state"] for line in table(to, "register")}
    assert states["logs/wine-1.xlsx"] == "there is a newer file"
    assert states["logs/wine-1.ods"] == ""


def test_a_code_that_the_person_typed_ahead_gets_its_batch(logs: Path, blank: Blank) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    book = files.open_workbook(to)
    place = locate.find(book, [batches.sheet()])["register"]
    book.write(place.tab, place.first_row + 9, place.cells["batch_code"][1], "wine-4")
    book.save()
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    run("gather", logs, "--to", to)
    assert lines(to)["WINE-4"]["row"] == place.first_row + 9


def test_words_below_the_lines_stay_and_count_as_no_batch(logs: Path, blank: Blank) -> None:
    to = logs.parent / "register.ods"
    run("gather", logs, "--to", to)
    book = files.open_workbook(to)
    place = locate.find(book, [batches.sheet()])["register"]
    columns = {key: column for key, (_, column) in place.cells.items()}
    book.write(place.tab, place.first_row + 4, columns["batch_code"], "Total")
    book.write(place.tab, place.first_row + 4, columns["wash_volume"], 60.0)
    book.write(place.tab, place.first_row + 5, columns["file"], "as counted on the shelf")
    book.save()
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    run("gather", logs, "--to", to)
    cells = files.open_workbook(to).cells(place.tab)
    kept = {
        place_: c.value
        for place_, c in cells.items()
        if place_[0] in (place.first_row + 4, place.first_row + 5)
    }
    assert sorted(map(str, kept.values())) == ["60.0", "Total", "as counted on the shelf"]
    assert lines(to)["WINE-4"]["row"] == place.first_row + 6
    assert sum(still["batches"] for still in table(to, "stills")) == 4


def test_a_register_among_the_workbooks_is_left_out_and_never_filled(logs: Path) -> None:
    to = logs / "register.xlsx"
    assert run("gather", logs, "--to", to)[0] == 0
    held = to.read_bytes()
    code, out, err = run("gather", logs, "--to", to)
    assert (code, err) == (0, "")
    assert "3 batches" in out
    code, out, _ = run("gather", logs, "--to", logs / "second.ods")
    assert (code, f"{to}: there is no batch card in it; left out." in out) == (0, True)
    code, out, err = run("fill", to)
    assert (code, err, to.read_bytes()) == (0, "", held)
    assert "sheetcalc gather" in run("check", to)[1]


def test_only_a_register_is_taken_for_one(logs: Path, blank: Blank) -> None:
    held = (logs / "wine-1.xlsx").read_bytes()
    code, _, err = run("gather", logs / "wine-2.ods", "--to", logs / "wine-1.xlsx")
    assert code == 2
    assert "no register" in err
    assert (logs / "wine-1.xlsx").read_bytes() == held
    assert run("new", "register", logs / "by-hand.xlsx")[0] == 2
    code, _, err = run("gather", logs, "--to", logs / "register.txt")
    assert code == 2 and ".xlsx, .ods, .csv, .parquet" in err
    code, _, err = run("gather", logs, "--to", logs / "nowhere" / "register.xlsx")
    assert code == 2 and "no folder" in err


def test_a_register_without_the_columns_that_batches_are_known_by_is_refused(logs: Path) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    book = openpyxl.load_workbook(to)
    heading = next(cell for row in book["Register"].iter_rows() for cell in row if cell.value == "Batch code")
    book["Register"].delete_cols(heading.column + 1)
    del book.defined_names["register_file"]
    book.save(to)
    held = to.read_bytes()
    code, _, err = run("gather", logs, "--to", to)
    assert code == 2
    assert '"Batch code"' in err and '"File"' in err
    assert to.read_bytes() == held


def test_a_workbook_that_is_open_in_a_spreadsheet_program_is_not_refreshed(logs: Path, blank: Blank) -> None:
    to = logs.parent / "register.ods"
    run("gather", logs, "--to", to)
    (logs.parent / ".~lock.register.ods#").write_text(",Somebody,there,01.03.2026 12:00,file:///x;")
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    held = to.read_bytes()
    code, _, err = run("gather", logs, "--to", to)
    assert code == 2 and "open" in err
    assert to.read_bytes() == held


def test_csv_and_parquet_tell_the_lines_in_base_units(logs: Path) -> None:
    csv, parquet = logs.parent / "batches.csv", logs.parent / "batches.parquet"
    assert run("gather", logs, "--to", csv)[0] == 0
    assert run("gather", logs, "--to", parquet)[0] == 0
    from_csv = pd.read_csv(csv, parse_dates=["started_at"]).set_index("batch_code")
    from_parquet = pd.read_parquet(parquet).set_index("batch_code")
    names = {c.key: tables.column_name(c) for c in batches.sheet().columns}
    assert names["wash_volume"] == "wash_volume_L" and names["recovery"] == "recovery_share"
    # A price by the litre is called so by its key, as before it had a unit.
    assert names["cost_per_litre_alcohol"] == "cost_per_litre_alcohol"
    for read in (from_csv, from_parquet):
        for code in ("WINE-1", "WINE-2"):
            wrong = {
                key: (read.loc[code, names[key]], value)
                for key, value in BY_HAND.items()
                if key != "batch_code" and not close(read.loc[code, names[key]], value)
            }
            assert wrong == {}
        assert read.loc["WINE-1", "started_at"] == pd.Timestamp(2026, 3, 1, 18)
    held = csv.read_bytes()
    assert "up to date" in run("gather", logs, "--to", csv)[1]
    assert csv.read_bytes() == held


def test_no_text_in_csv_is_anything_a_spreadsheet_runs(blank: Blank, tmp_path: Path) -> None:
    for number, code in enumerate(("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", '=HYPERLINK("x","y")')):
        log = wine(code, still="=cmd|' /C calc'!A0", yeast="-2+3")
        typed(log, blank("batch", "metric", ".xlsx"), tmp_path / f"={number}.xlsx")
    run("gather", tmp_path, "--to", tmp_path / "out.csv")
    read = pd.read_csv(tmp_path / "out.csv", dtype=str, keep_default_na=False)
    assert len(read) == 7
    texts = [
        str(read.loc[row, key]) for row in read.index for key in ("batch_code", "file", "still", "yeast")
    ]
    assert [text for text in texts if text.strip(" ").startswith(("=", "+", "-", "@", "\t", "\r"))] == []
    assert (read["still"] == "'=cmd|' /C calc'!A0").all()


@pytest.mark.parametrize("ending", [".csv", ".parquet"])
def test_a_table_that_is_not_ours_is_never_replaced(logs: Path, ending: str) -> None:
    to = logs.parent / f"mine{ending}"
    to.write_text("date,what\n2026-03-01,mine\n")
    code, _, err = run("gather", logs, "--to", to)
    assert code == 2 and "is there already" in err
    assert to.read_text() == "date,what\n2026-03-01,mine\n"


def test_what_is_missing_for_parquet_is_told(logs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    code, _, err = run("gather", logs, "--to", logs.parent / "batches.parquet")
    assert code == 2
    assert "pip install 'sheetcalc[parquet]'" in err


def test_a_register_tells_no_absolute_path(logs: Path) -> None:
    for ending in ENDINGS:
        to = logs / f"register{ending}"
        run("gather", logs.absolute(), "--to", to.absolute())
        with zipfile.ZipFile(to) as archive:
            held = b"".join(archive.read(name) for name in archive.namelist())
        assert b"wine-1.xlsx" in held
        assert str(logs.parent).encode() not in held and str(logs.parent.name).encode() not in held


def linked(path: Path) -> dict[str, Any]:
    """Where the file of each line of a register leads, by the line's code."""
    kept = register.opened(path)
    column = kept.read["register"].found.cells["file"][1]
    if path.suffix == ".xlsx":
        sheet = openpyxl.load_workbook(path)[kept.read["register"].found.tab]
        links = {line.code: sheet.cell(line.row, column).hyperlink for line in kept.lines}
        return {code: link and link.target for code, link in links.items()}
    with zipfile.ZipFile(path) as archive:
        content = archive.read("content.xml").decode()
    hrefs = re.findall(r'<text:a xlink:href="([^"#]+)"[^>]*>([^<]*)<', content)
    by_file = {text: href for href, text in hrefs}
    return {line.code: by_file[line.file] for line in kept.lines}


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_file_of_a_line_is_a_link_to_it(logs: Path, ending: str) -> None:
    (logs / "wine-1.xlsx").rename(logs / "first wine, ü.xlsx")
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    # OpenDocument 1.3, part 2, 3.6: a way out of the package begins with "../".
    before = "../" if ending == ".ods" else ""
    name = "logs/first%20wine%2C%20%C3%BC.xlsx"
    assert linked(to) == {
        "wine-1": before + name,
        "wine-2": f"{before}logs/wine-2.ods",
        "wine-3": f"{before}logs/wine-3.ods",
    }
    (logs / "wine-3.ods").rename(logs / "third.ods")
    run("gather", logs, "--to", to)
    assert linked(to)["wine-3"] == f"{before}logs/third.ods"


@pytest.mark.office
@pytest.mark.parametrize("ending", ENDINGS)
def test_libreoffice_opens_a_register_with_its_links_and_charts(
    logs: Path, ending: str, soffice: Convert
) -> None:
    to = logs.parent / f"register{ending}"
    run("gather", logs, "--to", to)
    other = ENDINGS[ENDINGS[0] == ending]
    soffice(other[1:], logs.parent, to)
    there = to.with_suffix(other)
    assert {code: lines(there)[code]["row"] for code in BATCHES} == {c: lines(to)[c]["row"] for c in BATCHES}
    assert all(
        link.endswith(f"logs/{code}.{'xlsx' if code == 'wine-1' else 'ods'}")
        for code, link in linked(there).items()
    )
    with zipfile.ZipFile(there) as archive:
        charts = [
            n for n in archive.namelist() if re.fullmatch(r"xl/charts/chart\d+.xml|Object \d+/content.xml", n)
        ]
    assert len(charts) == 4
    # It is refreshed like one that no other program wrote.
    code, out, err = run("gather", logs, "--to", there)
    assert (code, err) == (0, "") and "none of them new" in out


def card(path: Path, *keys: str) -> dict[str, Any]:
    """What stands on the batch card of a workbook, and in the flags of these lines."""
    look = layouts.every_sheet()["batch"]
    book = files.open_workbook(path)
    place = locate.find(book, [look])["batch"]
    cells = book.cells(place.tab)
    blank = files.Cell(None, "blank")
    found: dict[str, Any] = {key: cells.get(place.cells[key], blank).value for key in keys}
    row, column = place.cells[keys[0]][0], place.cells["flags"][1]
    return found | {"note": cells.get((row, column), blank).value}


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_new_batch_starts_with_what_the_register_knows_of_the_still(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    # Two batches ago the element was another one, and the first batch was in another still altogether.
    for number, power in enumerate((900.0, 1500.0, 2000.0)):
        log = wine(f"W{number}", still_power=power, started_at=datetime(2026, 3 - number, 1))
        typed(log, blank("batch", "metric", ".xlsx"), folder / f"{number}.xlsx")
    typed(wine("X", still="Glass flask"), blank("batch", "metric", ".ods"), folder / "x.ods")
    to, made = tmp_path / "register.xlsx", tmp_path / f"next{ending}"
    run("gather", folder, "--to", to)
    seen = [line["stages_seen"] for line in lines(to).values() if line["still"] == "Copper pot"]
    code, out, err = run("new", "batch", made, "--like", to)
    assert code == 2 and not made.exists()
    assert '"Copper pot" (3)' in err and '"Glass flask" (1)' in err and "--still NAME" in err
    assert run("new", "batch", made, "--like", to, "--still", "Tin can")[0] == 2
    code, out, err = run("new", "batch", made, "--like", to, "--still", "copper pot", "--units", "us")
    assert (code, err) == (0, "")
    assert "Heating power 900 W (as last typed, 3 batches)" in out
    assert "the median of what was seen, 3 batches" in out
    found = card(
        made, "still_power", "still", "still_capacity", "effective_stages", "place", "currency", "altitude"
    )
    assert found["still_power"] == 900.0
    assert (found["still"], found["place"], found["currency"]) == ("Copper pot", "EU", "EUR")
    assert found["still_capacity"] == pytest.approx(12 / GALLON, abs=0.0005)
    assert found["altitude"] == pytest.approx(300 / FOOT, abs=0.05)
    assert found["effective_stages"] == pytest.approx(sorted(seen)[1], abs=0.005)
    assert found["note"].startswith("NOTE [Heating power] Proposed: as last typed, 3 batches.")
    assert card(made, "batch_code", "started_at", "open_to_air", "still_efficiency") == dict.fromkeys(
        ("batch_code", "started_at", "open_to_air", "still_efficiency", "note")
    )
    # The note goes with the first fill; what was proposed stays.
    assert run("fill", made)[0] == 0
    assert card(made, "still_power") == {"still_power": 900.0, "note": None}


def test_only_one_still_needs_no_name_and_nothing_else_is_taken_for_a_register(
    logs: Path, blank: Blank
) -> None:
    to, made = logs.parent / "register.ods", logs.parent / "next.xlsx"
    (logs / "wine-3.ods").unlink()
    run("gather", logs, "--to", to)
    assert run("new", "batch", made, "--like", to)[0] == 0
    assert card(made, "still")["still"] == "Copper pot"
    for words in (
        ("bench", logs.parent / "bench.xlsx", "--like", to),
        ("batch", logs.parent / "other.xlsx", "--still", "Copper pot"),
        ("batch", logs.parent / "other.xlsx", "--like", logs / "wine-1.xlsx"),
        ("batch", logs.parent / "other.xlsx", "--like", logs / "nothing.xlsx"),
    ):
        code, _, err = run("new", *words)
        assert code == 2 and len(err.splitlines()) == 1
        assert not Path(words[1]).exists()


def test_sheets_that_were_renamed_or_deleted_and_headings_translated_are_no_hindrance(
    logs: Path, blank: Blank
) -> None:
    to = logs.parent / "register.xlsx"
    run("gather", logs, "--to", to)
    book = openpyxl.load_workbook(to)
    book["Register"].title = "Liste"
    for name, defined in book.defined_names.items():
        if name.startswith("register_"):
            defined.attr_text = (defined.attr_text or "").replace("'Register'", "'Liste'")
    heading = next(cell for row in book["Liste"].iter_rows() for cell in row if cell.value == "Batch code")
    heading.value = "Ansatz"
    book["Liste"].move_range(f"A1:{openpyxl.utils.get_column_letter(60)}40", rows=3)
    for defined in book.defined_names.values():
        if "'Liste'" in (defined.attr_text or ""):
            sheet, column, row = str(defined.attr_text).split("$")
            defined.attr_text = f"{sheet}${column}${int(row) + 3}"
    for title in ("Stills", "Yeasts", "Findings"):
        del book[title]
    book.save(to)
    typed(wine("WINE-4"), blank("batch", "metric", ".xlsx"), logs / "wine-4.xlsx")
    code, out, err = run("gather", logs, "--to", to)
    assert (code, err, "1 of them new" in out) == (0, "", True)
    assert files.open_workbook(to).sheets == ["Liste", "Charts"]
    assert lines(to).keys() == {"WINE-1", "WINE-2", "WINE-3", "WINE-4"}
