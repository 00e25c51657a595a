"""The first sheet tells, beside each step, where its sheet stood at the last fill."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from logs import START, clean_log, typed
from test_fill import ENDINGS

from sheetcalc import files
from sheetcalc.filling import fill

Blank = Callable[..., Path]


def told(path: Path) -> dict[str, str]:
    """What stands beside each step, by the sheet it leads to."""
    book = files.open_workbook(path)
    places = {
        name.removeprefix("stands_"): place
        for name, place in book.named.items()
        if name.startswith("stands_")
    }
    assert {place[0] for place in places.values()} == {book.sheets[0]}
    found = {key: book.cells(tab).get((row, column)) for key, (tab, row, column) in places.items()}
    return {key: str(cell.value) for key, cell in found.items() if cell}


@pytest.mark.parametrize("ending", ENDINGS)
def test_each_step_tells_what_was_typed_what_came_of_it_and_what_was_found(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    log = clean_log()
    log["fermentation"][2]["reading"] = 10.2
    path = typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    assert told(path).keys() == {"start"}
    fill(path)
    said = told(path)
    assert said["batch"].startswith("25.0 L at 1.080. Aim: 40.0 % vol.")
    assert said["fermentation"].startswith("Readings: 12. Last 0.99") and "finished." in said["fermentation"]
    assert "1 error" in said["fermentation"] and "error" not in said["bottling"]
    assert said["findings"].startswith("1 error")


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_is_not_known_yet_is_left_out(blank: Blank, tmp_path: Path, ending: str) -> None:
    reading = {"taken_at": START + timedelta(days=1), "reading": 1.05, "sample_temperature": 20.0}
    path = typed({"fermentation": [reading]}, blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    said = told(path)
    # Without an original gravity nobody knows the alcohol of the wash.
    assert said["fermentation"] == "Readings: 1."
    assert said["runs"] == "Nothing yet."


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_first_line_tells_the_stage_reached_what_is_wrong_and_what_comes_next(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    path, log = tmp_path / f"log{ending}", clean_log()
    blank_book = blank("batch", "metric", ending)
    fill(typed({}, blank_book, path))
    assert told(path)["start"].startswith("Nothing is typed yet.")
    early = {key: log[key] for key in ("batch", "fermentation")}
    fill(typed(early, blank_book, path))
    # Twelve days, the last three of them at the same reading near the end.
    assert told(path)["start"].endswith("it looks finished. Clear the wash, then run it.")
    fill(typed(early | {"clearing": log["clearing"]}, blank_book, path))
    said = told(path)["start"]
    assert said.startswith("Now at Clearing. Steps: ") and "Due next: filter or run, not before" in said
    log["fermentation"][2]["reading"] = 10.2
    fill(typed(log, blank_book, path))
    said = told(path)["start"]
    assert said.startswith("Now at Bottling. ") and said.endswith("First look at what is wrong: 1 error.")
    log["fermentation"][2].update(reading=1.057, wash_temperature=36.0)
    fill(typed(log, blank_book, path))
    assert "Look at 1 warning. Next: " in told(path)["start"]


@pytest.mark.parametrize("ending", ENDINGS)
def test_what_stands_there_goes_when_the_records_go(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)
    book = files.open_workbook(path)
    tab = book.names["blend_lot"][0]
    for row, column in list(book.cells(tab)):
        if row > book.names["blend_lot"][1] + 1:
            book.write(tab, row, column, None)
    book.save()
    fill(path)
    assert told(path)["blend"] == "Nothing yet."


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_yeast_is_not_to_be_pitched_twice(blank: Blank, tmp_path: Path, ending: str) -> None:
    path, log = tmp_path / f"log{ending}", clean_log()
    early = {key: log[key] for key in ("batch", "recipe")}
    fill(typed(early, blank("batch", "metric", ending), path))
    assert "Next: the yeast is in since 2026-03-02 18:00;" in told(path)["start"]
    assert "pitch" not in told(path)["start"]
    del early["batch"]["started_at"]
    fill(typed(early, blank("batch", "metric", ending), path))
    assert "Next: pitch the yeast" in told(path)["start"]


def charges(kind: str, count: int) -> list[dict[str, Any]]:
    """Charges of 8 L, one every three hours, each of which gave 1.9 L of 45 % vol, read at 20 °C."""
    first = clean_log()["runs"][0]
    times = ("filled_at", "first_drip_at", "stopped_at")
    return [
        first
        | {"run": str(n + 1), "kind": kind, "collected_temperature": 20.0}
        | {key: first[key] + timedelta(hours=3 * n) for key in times}
        for n in range(count)
    ]


@pytest.mark.parametrize("ending", ENDINGS)
def test_after_each_run_it_tells_the_wash_that_is_left_and_then_what_comes_next(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    """Of the clean log's wash 23.6 L were racked, and go into the still 8 L at a time."""
    log = {key: clean_log()[key] for key in ("batch", "fermentation", "clearing")}

    def line(runs: list[dict[str, Any]]) -> str:
        path = tmp_path / f"log{ending}"
        fill(typed(log | {"runs": runs}, blank("batch", "metric", ending), path))
        return told(path)["start"]

    assert "15.60 L of the wash is not run yet. Charge again" in line(charges("stripping", 1))
    stripped = charges("stripping", 3)
    assert "The wash is run, 24.00 L of 23.60 L; 5700 mL of low wines are left." in line(stripped)
    assert "The spirit run is next." in line(stripped)
    # The three gave 2.565 L of pure alcohol, and 1.26 L of it goes into each spirit run: of 5.7 L 2.9 are
    # left, then 0.1, which nobody runs again.
    again = charges("spirit", 5)[3:]
    for run in again:
        run |= {
            "charge_volume": 4.2,
            "charge_strength": 30.0,
            "collected_volume": 1500.0,
            "collected_reading": 72,
        }
    assert "2900 mL of low wines are left." in line([*stripped, again[0]])
    assert "The wash is run, 24.00 L of 23.60 L. Choose the hearts on Cuts" in line([*stripped, *again])
    assert "The wash is run, 24.00 L of 23.60 L. Choose the hearts on Cuts" in line(charges("single", 3))


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_run_that_is_going_on_or_planned_is_not_taken_for_done(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    log, path = clean_log(), tmp_path / f"log{ending}"
    plan = {"run": "2", "kind": "stripping", "charge_volume": 8.0}
    for second, said in (
        (plan, "15.60 L of the wash is not run yet."),
        (charges("stripping", 2)[1], "7.60 L of the wash is not run yet."),
        (plan | {"filled_at": charges("stripping", 2)[1]["filled_at"]}, "Next: write down each jar"),
    ):
        runs = [*charges("stripping", 1), second]
        early = {"batch": log["batch"], "clearing": log["clearing"], "runs": runs}
        fill(typed(early, blank("batch", "metric", ending), path))
        assert said in told(path)["start"]


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_last_lot_tells_what_was_measured_of_it(blank: Blank, tmp_path: Path, ending: str) -> None:
    """At 20 °C and with a glass that is right, what it shows is the strength."""
    path = tmp_path / f"log{ending}"
    lot = {"lot": "A", "volume": 1.0, "reading": 60.0, "temperature": 20.0, "target_strength": 40.0}
    fill(typed({"strength": [lot]}, blank("batch", "metric", ending), path))
    assert "Last: 60.0 % vol. With " in told(path)["start"]
    assert told(path)["start"].endswith("Next: mix, measure again, then filter, blend or bottle it.")
    measured = lot | {"reading_after": 40.8, "temperature_after": 20.0}
    fill(typed({"strength": [measured]}, blank("batch", "metric", ending), path))
    assert " of 40.0 % vol. Measured then: 40.8 % vol. Next: " in told(path)["start"]
    assert "mix, measure" not in told(path)["start"]
