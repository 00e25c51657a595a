"""The first sheet tells, beside each step, where its sheet stood at the last fill."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

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
