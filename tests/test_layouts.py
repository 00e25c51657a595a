"""A layout file that can't be used is refused, with the file, the table and the key named."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from sheetcalc import layouts, units

SHEET = "fermentation.toml"
READING = """
[[columns]]
key = "reading"
"""
LOW = "low = 0.97\nhigh = 1.17"
CHART_Y = 'y = ["gravity_20"]'
CHART_AT = ["charts.toml", "[[charts]] 1", "'Gravity of the wash'"]
Load = Callable[..., layouts.Layout]


@pytest.fixture
def load_with(tmp_path: Path) -> Load:
    """Load the batch layout after a change to one of the texts of a sheet, the fermentation's by itself."""

    def load(old: str, new: str, sheet: str = SHEET) -> layouts.Layout:
        folder = tmp_path / "templates"
        shutil.copytree(layouts.folder(), folder)
        path = folder / "sheets" / sheet
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return layouts.load("batch", folder)

    return load


def test_every_layout_is_read() -> None:
    assert set(layouts.kinds()) >= {"batch", "bench"}
    for kind in layouts.kinds():
        assert layouts.load(kind).sheets


@pytest.mark.parametrize("kind", layouts.kinds())
def test_limits_and_units_of_the_layouts_fit_each_other(kind: str) -> None:
    for sheet in layouts.load(kind).sheets:
        for field in (*sheet.fields, *sheet.columns):
            for label in field.unit.values():
                for limit in (field.low, field.high):
                    if limit is not None:
                        back = units.to_base(
                            units.from_base(limit, field.quantity, label), field.quantity, label
                        )
                        assert back == pytest.approx(limit, abs=1e-6), (sheet.key, field.key)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (READING, f'{READING}colour = "red"\n', ["[[columns]] 2", "'reading'", "'colour'"]),
        ('heading = "Reading"\n', "", ["[[columns]] 2", "'reading'", "'heading'", "missing"]),
        ('unit = "SG"', 'unit = "SGG"', ["[[columns]] 2", "'reading'", "'SGG'", "points"]),
        (LOW, "low = 1.2\nhigh = 1.1", ["[[columns]] 2", "'reading'", "low", "high"]),
        (LOW, "low = 1.1\nhigh = 1.1", ["[[columns]] 2", "'reading'", "low", "high"]),
        (LOW, 'low = "little"', ["[[columns]] 2", "'reading'", "'low'", "a number"]),
        ('quantity = "gravity"', 'quantity = "weight"', ["[[columns]] 2", "'reading'", "'weight'"]),
        ('quantity = "gravity"', 'quantity = "choice"', ["[[columns]] 2", "'reading'", "choices"]),
        ('role = "entry"', 'role = "guess"', ["[[columns]] 1", "'taken_at'", "'guess'"]),
        ('key = "reading"', 'key = "taken_at"', ["'taken_at'", "twice"]),
        ('key = "reading"', 'key = "The Reading"', ["[[columns]] 2", "'The Reading'"]),
        ('key = "reading"\n', "", ["[[columns]] 2", "'key'", "missing"]),
        ('title = "Fermentation"', "", ["'title'", "missing"]),
        ('title = "Fermentation"', 'title = "Fermentation', ["not readable as TOML"]),
        ('stands = "', 'stands = "{gravty} ', ["'stands'", "'gravty'", "gravity_20"]),
        ('stands = "', 'stands = "{gravity_20 ', ["'stands'", "can't be read"]),
        ("records = 20", 'records = "many"', ["'records'", "whole number"]),
        (READING, READING.replace("[[columns]]", "[[prefilled]]\nalcohol = 5\n\n[[columns]]"), ["'alcohol'"]),
    ],
)
def test_a_broken_layout_is_refused(load_with: Load, old: str, new: str, said: list[str]) -> None:
    with pytest.raises(layouts.LayoutError) as refused:
        load_with(old, new)
    for words in (SHEET, *said):
        assert words in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('kind = "line"', 'kind = "pie"', [*CHART_AT, "'pie'", "bar, line, scatter"]),
        ('kind = "line"', 'kind = "line"\ncolour = "red"', [*CHART_AT, "'colour'", "known are"]),
        ('title = "Gravity of the wash"\n', "", ["charts.toml", "[[charts]] 1", "'title'", "missing"]),
        ('y_title = "Gravity at 20 °C"', "", [*CHART_AT, "'y_title'", "missing"]),
        ('sheet = "fermentation"', 'sheet = "mash"', [*CHART_AT, "sheet is 'mash'", "fermentation"]),
        ('sheet = "fermentation"', 'sheet = "batch"', [*CHART_AT, "sheet is 'batch'", "fermentation"]),
        ('x = "taken_at"', 'x = "when"', [*CHART_AT, "x is 'when'", "taken_at"]),
        ('x = "taken_at"', 'x = "note"', [*CHART_AT, "x is 'note'", "a number or a moment"]),
        ('kind = "line"', 'kind = "bar"', [*CHART_AT, "x is 'taken_at'", "a text"]),
        (CHART_Y, 'y = "gravity_20"', [*CHART_AT, "'y'", "a list"]),
        (CHART_Y, "y = []", [*CHART_AT, "'y'", "1 to 3 keys"]),
        (CHART_Y, 'y = ["a", "b", "c", "d"]', [*CHART_AT, "'y'", "1 to 3 keys"]),
        (CHART_Y, "y = [20]", [*CHART_AT, "'y'", "1 to 3 keys"]),
        (CHART_Y, 'y = ["gravity_20", "gravity_20"]', ["charts.toml", "'gravity_20'", "twice"]),
        (CHART_Y, 'y = ["gravity_25"]', [*CHART_AT, "y is 'gravity_25'", "gravity_20"]),
        (CHART_Y, 'y = ["state"]', [*CHART_AT, "y is 'state'", "number"]),
        (CHART_Y, 'y = ["gravity_20", "alcohol"]', [*CHART_AT, "'alcohol' beside 'gravity_20'", "unit"]),
        (CHART_Y, f"{CHART_Y}\nrecords = 0", [*CHART_AT, "'records'", "1 or more"]),
        (CHART_Y, f"{CHART_Y}\nrecords = 21", [*CHART_AT, "'records'", "20 ready rows"]),
        ("landscape = false", '[[lines]]\nstyle = "text"\ntext = "a"', ["charts.toml", "of their own"]),
    ],
)
def test_a_chart_that_cannot_be_drawn_is_refused(
    load_with: Load, old: str, new: str, said: list[str]
) -> None:
    with pytest.raises(layouts.LayoutError) as refused:
        load_with(old, new, "charts.toml")
    for words in said:
        assert words in str(refused.value)


def test_a_chart_of_a_sheet_that_was_dropped_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "templates"
    shutil.copytree(layouts.folder(), folder)
    path = folder / "batch.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"fermentation",', ""), encoding="utf-8")
    with pytest.raises(layouts.LayoutError, match=r"charts\.toml, \[\[charts\]\] 1 .*'fermentation'"):
        layouts.load("batch", folder)


def test_a_sheet_that_is_not_there_is_named(tmp_path: Path) -> None:
    (tmp_path / "odd.toml").write_text('title = "Odd"\nsheets = ["nowhere"]\n', encoding="utf-8")
    with pytest.raises(layouts.LayoutError, match=r"nowhere\.toml.*sheets"):
        layouts.load("odd", tmp_path)


def test_a_column_may_be_renamed_or_translated(load_with: Load) -> None:
    layout = load_with('heading = "Reading"', 'heading = "Ablesung"')
    reading = next(s for s in layout.sheets if s.key == "fermentation").field("reading")
    assert reading and reading.heading == "Ablesung"


def test_a_column_may_have_other_limits(load_with: Load) -> None:
    layout = load_with(LOW, "low = 0.98")
    reading = next(s for s in layout.sheets if s.key == "fermentation").field("reading")
    assert reading and (reading.low, reading.high) == (0.98, None)


@pytest.mark.parametrize("name", [*layouts.kinds(), layouts.REGISTER])
def test_a_column_of_dates_is_wide_enough_to_show_them(name: str) -> None:
    # LibreOffice shows ### where a column is one character wider than its dates, not with one and a half.
    moments = [c for s in layouts.load(name).sheets for c in s.columns if c.quantity == "moment"]
    narrow = [c.key for c in moments if c.width < len(c.number_format("metric")) + 1.5]
    assert not narrow
    assert moments or name == "bench"
