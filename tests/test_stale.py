"""Results out of date turn grey by themselves, in LibreOffice, in both formats and two locales.

What depends on what is told here by hand, from what the columns mean.
"""

import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from logs import START, clean_log, typed
from office_here import SOFFICE

from sheetcalc import files, filling
from sheetcalc.build import as_filled, look

Blank = Callable[..., Path]
Place = tuple[str, int, int]
# A name, and the number of the record below its heading (from 1; its unit is 0), or None on a card.
Spot = tuple[str, int | None]

ENDINGS = (".xlsx", ".ods")
LOCALES = ("en-US", "de-DE")
TABLE_EDITS: dict[Spot, float | str] = {
    ("fermentation_reading", 2): 1.061,
    ("cuts_smell", 1): "like pears",
    ("strength_temperature", 1): 23.5,
    ("runs_energy", 0): "MJ",
}
TURN_GREY: list[Spot] = [
    ("fermentation_gravity_20", 2),
    ("fermentation_alcohol", 2),
    ("fermentation_daily_change", 3),
    ("fermentation_state", 12),
    ("bottling_flags", 1),
    ("runs_charge_alcohol", 1),
    ("runs_recovery", 1),
    ("runs_energy", 1),
    ("runs_energy", 2),
    ("strength_water_mass", 1),
    ("strength_strength_20", 1),
    ("balance_alcohol", 1),
    ("batch_planned_strength", None),
    ("findings_level", 1),
    ("stands_batch", None),
    ("stands_bottling", None),
]
STAY: list[Spot] = [
    ("fermentation_gravity_20", 1),
    ("fermentation_gravity_20", 3),
    ("fermentation_alcohol", 1),
    ("fermentation_reading", 2),
    ("runs_collected_strength", 1),
    ("runs_collected_alcohol", 1),
    ("cuts_strength_20", 1),
    ("cuts_alcohol", 1),
    ("bottling_volume", 1),
    ("batch_lowest_gravity", None),
]
CARD_GREY: list[Spot] = [
    ("batch_lowest_gravity", None),
    ("fermentation_alcohol", 1),
    ("fermentation_attenuation", 3),
    ("runs_recovery", 1),
    ("stands_runs", None),
]
CARD_STAY: list[Spot] = [
    ("batch_planned_charges", None),
    ("runs_collected_strength", 1),
    ("strength_water_mass", 1),
]


def place(book: files.Workbook, spot: Spot) -> Place:
    name, record = spot
    tab, row, column = book.names[name]
    return (tab, row, column) if record is None else (tab, row + record + 1, column)


def edit(path: Path, edits: dict[Spot, float | str], to: Path) -> Path:
    """A copy in which somebody typed other values, as a spreadsheet program would save it."""
    book = files.open_workbook(path)
    for spot, value in edits.items():
        book.write(*place(book, spot), value)
    book.save(to)
    return to


class Greys(HTMLParser):
    """The places of grey cells in LibreOffice's HTML, sheet by sheet as they come."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[tuple[int, int, int]] = set()
        self.sheet, self.row, self.column, self.width = -1, 0, 0, 1
        self.taken: set[tuple[int, int]] = set()

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        given = dict(attributes)
        if tag == "table":
            self.sheet, self.row, self.taken = self.sheet + 1, 0, set()
        elif tag == "tr":
            self.row, self.column = self.row + 1, 1
        elif tag == "td":
            while (self.row, self.column) in self.taken:
                self.column += 1
            self.width = int(given.get("colspan") or 1)
            height = int(given.get("rowspan") or 1)
            self.taken |= {
                (self.row + down, self.column + right)
                for down in range(height)
                for right in range(self.width)
            }
        elif tag == "font" and (given.get("color") or "").upper() == f"#{look.STALE.ink}":
            self.found.add((self.sheet, self.row, self.column))


@pytest.fixture(scope="module")
def made(blank: Blank, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the clean log just filled, and edited since in two ways."""
    folder = tmp_path_factory.mktemp("stale")
    for ending in ENDINGS:
        fresh = typed(clean_log(), blank("batch", "metric", ending), folder / f"fresh{ending}")
        filling.fill(fresh)
        edit(fresh, TABLE_EDITS, folder / f"table{ending}")
        edit(fresh, {("batch_original_gravity", None): 1.085}, folder / f"card{ending}")
    return folder


@pytest.fixture(scope="module")
def greys(made: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str, str], set[Place]]:
    """By locale, workbook and ending: the cells that LibreOffice shows grey."""
    assert SOFFICE
    found = {}
    for locale in LOCALES:
        folder = tmp_path_factory.mktemp("shown")
        settings = folder / "profile" / "user" / "registrymodifications.xcu"
        settings.parent.mkdir(parents=True)
        settings.write_text(
            '<?xml version="1.0" encoding="UTF-8"?><oor:items xmlns:oor="http://openoffice.org/2001/registry">'
            '<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">'
            f"<value>{locale}</value></prop></item></oor:items>",
            encoding="utf-8",
        )
        for ending in ENDINGS:
            shown = [folder / f"{path.stem}-{ending[1:]}{ending}" for path in made.glob(f"*{ending}")]
            for path in shown:
                shutil.copyfile(made / f"{path.stem.split('-')[0]}{ending}", path)
            profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
            command = [SOFFICE, "--headless", profile, "--convert-to", "html", "--outdir", str(folder)]
            subprocess.run([*command, *map(str, shown)], check=True, capture_output=True, timeout=300)
            for path in shown:
                reader = Greys()
                reader.feed(path.with_suffix(".html").read_text(encoding="utf-8"))
                tabs = files.open_workbook(path).sheets
                found[locale, path.stem.split("-")[0], ending] = {
                    (tabs[sheet], row, column) for sheet, row, column in reader.found
                }
    return found


@pytest.mark.office
@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize(
    ("kind", "grey", "stay"), [("table", TURN_GREY, STAY), ("card", CARD_GREY, CARD_STAY)]
)
def test_what_comes_from_an_edited_cell_turns_grey_and_nothing_else(
    made: Path,
    greys: dict[tuple[str, str, str], set[Place]],
    locale: str,
    ending: str,
    kind: str,
    grey: list[Spot],
    stay: list[Spot],
) -> None:
    book = files.open_workbook(made / f"{kind}{ending}")
    shown = greys[locale, kind, ending]
    assert [spot for spot in grey if place(book, spot) not in shown] == []
    assert [spot for spot in stay if place(book, spot) in shown] == []


@pytest.mark.office
@pytest.mark.parametrize("ending", ENDINGS)
@pytest.mark.parametrize("locale", LOCALES)
def test_a_workbook_just_filled_shows_nothing_grey(
    greys: dict[tuple[str, str, str], set[Place]], locale: str, ending: str
) -> None:
    assert {place for place in greys[locale, "fresh", ending] if place[0] != "Start"} == set()
    assert len(greys[locale, "fresh", ending]) == 1  # the swatch that explains the grey


@pytest.mark.parametrize("ending", ENDINGS)
def test_check_tells_what_was_edited_since_the_last_fill(made: Path, ending: str) -> None:
    assert not [f for f in filling.check(made / f"fresh{ending}") if f.rule == "edited"]
    found = [f for f in filling.check(made / f"table{ending}") if f.rule == "edited"]
    book = files.open_workbook(made / f"table{ending}")
    at = {(f.sheet, f.row, f.place): f.message for f in found}
    assert at.keys() == {place(book, spot) for spot in TABLE_EDITS}
    assert "Reading (was '1.0" in at[place(book, ("fermentation_reading", 2))]
    assert "Energy (was 'kWh')" in at[place(book, ("runs_energy", 0))]
    assert all(f.level == "note" for f in found)
    later = edit(made / f"fresh{ending}", {("fermentation_taken_at", 1): 46090.5}, made / f"later{ending}")
    (told,) = [f for f in filling.check(later) if f.rule == "edited"]
    assert f"(was {START:%Y-%m-%d %H:%M})" in told.message


@pytest.mark.parametrize("ending", ENDINGS)
def test_another_unit_over_what_was_typed_is_told_at_the_unit(
    made: Path, tmp_path: Path, ending: str
) -> None:
    unit = ("fermentation_sample_temperature", 0)
    path = edit(made / f"fresh{ending}", {unit: "°F", ("runs_energy", 0): "MJ"}, tmp_path / f"log{ending}")
    (told,) = [f for f in filling.check(path) if f.rule == "unit_changed"]
    assert (told.sheet, told.row, told.place) == place(files.open_workbook(path), unit)
    assert "°C" in told.message and "12 numbers" in told.message and "°F" in told.message


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_new_workbook_was_not_edited_since_any_fill(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    assert not [f for f in filling.check(path) if f.rule == "edited"]


@pytest.mark.parametrize("ending", ENDINGS)
def test_filling_again_makes_it_all_new(made: Path, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"again{ending}"
    filling.fill(made / f"table{ending}", path)
    assert not [f for f in filling.check(path) if f.rule == "edited"]
    before = path.read_bytes()
    filling.fill(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_column_whose_last_entry_was_deleted_is_not_out_of_date_after_a_fill(
    blank: Blank, tmp_path: Path, ending: str
) -> None:
    lot = {"lot": "A", "volume": 0.7, "reading": 60, "temperature": 20, "target_volume": 1}
    path = typed({"strength": [lot]}, blank("bench", "metric", ending), tmp_path / f"log{ending}")
    filling.fill(path)
    book = files.open_workbook(path)
    (tab, line, _), (sheet, row, column) = (
        book.named["edited_strength_target_volume"],
        book.named["strength_target_volume"],
    )
    copy = book.named["filled_strength_target_volume"][2]
    tally = (line, as_filled.WAS)
    assert book.cells(tab)[tally].value == 1
    # As when its row is deleted: the entry goes, and its copy with it.
    for place in (column, copy):
        assert book.cells(sheet)[row + 2, place].value == 1
        book.write(sheet, row + 2, place, None)
    book.save()
    filling.fill(path)
    assert tally not in files.open_workbook(path).cells(tab)
