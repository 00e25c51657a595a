"""A workbook after people rearranged it in LibreOffice: filled right, and nothing else in it touched.

office_hands.py does what people do and saves the workbook, in its own format and across to the other; the
reference is a workbook nobody rearranged, with the same entries.
"""

import re
import shutil
import struct
import tomllib
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import demo
import numpy as np
import pytest
from lxml import etree

from sheetcalc import entries, files, filling, layouts, units
from sheetcalc.build import as_filled
from sheetcalc.files import locate
from sheetcalc.files.workbook import Cell, Position, serial
from sheetcalc.filled import stamp
from sheetcalc.findings import Finding
from sheetcalc.making import new

pytestmark = pytest.mark.office

SCENARIO = Path(demo.__file__).with_name("scenario.toml")
WAYS = ("xlsx-xlsx", "ods-ods", "xlsx-ods", "ods-xlsx")
COPIES = ("Gärung alt", "Strength_2")
OWN_SHEET = "Meine Zahlen"
CHART = re.compile(r"xl/charts/chart\d+\.xml|Object \d+/content\.xml")

Ours = Mapping[str, set[Position]]
Do = Callable[..., Any]

# What tells the records of a sheet apart, wherever they stand.
IDENTITY = {
    "instruments": "instrument",
    "recipe": "item",
    "fermentation": "taken_at",
    "runs": "run",
    "strength": "lot",
}
INSERTED_AT = 5
INSERTED = {
    "taken_at": datetime(2026, 3, 7, 8),
    "reading": 1.018,
    "sample_temperature": 22,
    "wash_temperature": 25,
}
CHANGED = (
    ("fermentation", "reading", 2, 1.055),
    ("fermentation", "wash_temperature", 3, 38),
    ("runs", "collected_reading", 1, 46),
    ("strength", "volume", 0, 1.9),
)
DELETED = (("fermentation", 11), ("strength", 1))
ORIGINAL_GRAVITY = 1.082
RECORDS, RUNS = 12, 5
HIDDEN = 2  # the record that hide_and_colour hides


@dataclass(frozen=True)
class Case:
    """One rearranged workbook: as it was saved, after a fill, after a second one, and what was found."""

    saved: Path
    filled: Path
    again: Path
    findings: tuple[Finding, ...]
    opened: Any  # what LibreOffice shows when it opens the filled one
    was_shown: Any  # and what it showed before


def typed() -> dict[str, Any]:
    """The entries of the scenario on the sheets that the hands rearrange, and a lot between the two."""
    scenario = tomllib.loads(SCENARIO.read_text(encoding="utf-8"))
    workbook = next(book for book in scenario["workbooks"] if book["file"] == "birch-sugar")
    entries = {key: workbook[key] for key in ("batch", "instruments", "fermentation", "runs", "strength")}
    jar = {"lot": "Tasting jar", "volume": 0.7, "reading": 60, "temperature": 20, "target_volume": 1}
    entries["strength"].insert(1, jar)
    return entries


def typed_later() -> dict[str, Any]:
    """The entries as they are after people changed them."""
    later = deepcopy(typed())
    later["batch"]["original_gravity"] = ORIGINAL_GRAVITY
    for sheet, key, number, value in CHANGED:
        later[sheet][number][key] = value
    later["fermentation"].insert(INSERTED_AT, INSERTED)
    for sheet, number in DELETED:
        del later[sheet][number]
    return later


def order() -> dict[str, Any]:
    """What the hands are to do, as office_hands.py wants it told."""
    at = {key: serial(value) if isinstance(value, datetime) else value for key, value in INSERTED.items()}
    plato = float(units.from_base(ORIGINAL_GRAVITY, "gravity", "°Bx"))
    first = {"fermentation": "fermentation_taken_at", "strength": "strength_lot"}
    return {
        "changed": [[f"{sheet}_{key}", number, value] for sheet, key, number, value in CHANGED],
        "inserted_at": INSERTED_AT,
        "inserted": at,
        "deleted": [[first[sheet], number] for sheet, number in DELETED],
        "units": [
            ["fermentation_sample_temperature", "°F", 1.8, 32],
            ["fermentation_wash_temperature", "°F", 1.8, 32],
            ["fermentation_gravity_20", "°Bx", None, None],
            ["runs_collected_alcohol", "L", None, None],
        ],
        "card_units": [["batch_original_gravity", "°Bx", plato], ["batch_lowest_gravity", "°Bx", None]],
        "records": RECORDS,
        "runs": RUNS,
        "headings": [["fermentation_reading", "Ablesung"], ["fermentation_alcohol", "Alkohol bisher"]],
        "labels": [["batch_wash_kind", "Art der Maische"]],
        "sheets": [["Fermentation", "Gärung"]],
        "copies": [["Gärung", COPIES[0], 0], ["Strength", COPIES[1], 3]],
    }


@pytest.fixture(scope="module")
def cases(do: Do, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Case]:
    """The rearranged workbooks by the way they went, such as xlsx-ods."""
    folder = tmp_path_factory.mktemp("hands")
    picture = folder / "picture.png"
    picture.write_bytes(png())
    made = {}
    for start in ("xlsx", "ods"):
        path = folder / f"start.{start}"
        filled_in(path, typed())
        saves = {way: folder / f"{way}.{way.split('-')[1]}" for way in WAYS if way.startswith(start)}
        do("work", path=str(path), saves=[*map(str, saves.values())], picture=str(picture), **order())
        for way, saved in saves.items():
            was_shown = do("read", path=str(saved))
            filled = saved.with_stem(f"{way}-filled")
            found = filling.fill(saved, filled)
            again = saved.with_stem(f"{way}-again")
            shutil.copy(filled, again)
            filling.fill(again)
            made[way] = Case(saved, filled, again, found, do("read", path=str(filled)), was_shown)
    return made


@pytest.fixture(params=WAYS)
def case(request: pytest.FixtureRequest, cases: dict[str, Case]) -> Case:
    """Each of the rearranged workbooks in turn."""
    return cases[request.param]


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Finding, ...]]:
    """A workbook nobody rearranged, with the same entries, filled; and what was found in it."""
    path = tmp_path_factory.mktemp("reference") / "reference.xlsx"
    return path, filled_in(path, typed_later())


def filled_in(path: Path, values: dict[str, Any]) -> tuple[Finding, ...]:
    """Make a workbook, type into it and fill it."""
    new("batch", path)
    demo.type_in(path, values)
    return filling.fill(path)


def png() -> bytes:
    """A small picture."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = (b"\0" + b"\xd0\x80\x30" * 4) * 4
    head = chunk(b"IHDR", struct.pack(">2I5B", 4, 4, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


class Opened:
    """A workbook with our sheets found and read in it."""

    def __init__(self, path: Path) -> None:
        self.book = files.open_workbook(path)
        sheets = layouts.every_sheet()
        self.found = locate.find(self.book, [s for s in sheets.values() if s.fields or s.columns])
        self.read = {
            key: entries.read(sheets[key], place, self.book.cells(place.tab))
            for key, place in self.found.items()
            if key != "findings"
        }

    def identity(self, sheet: str, row: int) -> str | float:
        """What tells a record apart from others; "" for the lines of a card."""
        if sheet not in IDENTITY or row not in self.read[sheet].rows:
            return ""
        mark = self.read[sheet].values[IDENTITY[sheet]][self.read[sheet].rows.index(row)]
        return mark if isinstance(mark, str) else round(float(mark), 4)

    def results(self) -> Iterator[tuple[tuple[str, str | float, str], str, Any]]:
        """Every computed cell: sheet, record and key; its quantity; its value in base units."""
        for sheet, read in self.read.items():
            cells = self.book.cells(read.found.tab)
            for field in (*read.sheet.fields, *read.sheet.columns):
                if field.role == "computed" and field.key in read.found.cells:
                    for record in range(len(read.rows) if read.is_column(field.key) else 1):
                        place = read.cell(field.key, record)
                        value = cells[place].value if place in cells else None
                        if isinstance(value, float) and field.units:
                            value = float(units.to_base(value, field.quantity, read.units[field.key]))
                        yield (sheet, self.identity(sheet, place[0]), field.key), field.quantity, value

    def ours(self, findings: int) -> dict[str, set[Position]]:
        """The cells that a fill may set: results and flags of its rows, findings, and hidden copies."""
        places: dict[str, set[Position]] = {}
        for read in self.read.values():
            mine = places.setdefault(read.found.tab, set())
            ready = range(read.found.first_row, read.found.first_row + read.sheet.records)
            totals = set(self._totals(read))
            for field in (*read.sheet.fields, *read.sheet.columns):
                row, column = read.found.cells.get(field.key, (0, 0))
                if field.role == "entry" or not row:
                    continue
                if read.is_column(field.key):
                    mine |= {(line, column) for line in {*ready, *read.rows} - totals}
                elif field.role == "flag":
                    lines = [read.found.cells[f.key][0] for f in read.sheet.fields if f.role != "flag"]
                    mine |= {(line, column) for line in lines}
                else:
                    mine.add((row, column))
            for (row, column), cell in self.book.cells(read.found.tab).items():
                if str(cell.value).endswith(as_filled.AS_FILLED):
                    mine |= {(line, column) for line in {*ready, *read.rows} if line > row}
        kept = {row for row, _ in self.book.cells(as_filled.TITLE)}
        places[as_filled.TITLE] = {
            (row, column) for row in kept for column in (as_filled.WAS, as_filled.UNIT_WAS)
        }
        tab, row, column = self.book.names[stamp.NAME]
        places[tab] = {(row, column)}
        # Where each sheet stands, and the link to it left of that, which is named as the sheet is now.
        for name, (_, row, column) in self.book.names.items():
            if name.startswith(as_filled.STANDS):
                places[tab] |= {(row, column), (row, column - 1)}
        told = self.found["findings"]
        last = told.first_row + max(findings, 100)
        columns = [column for _, column in told.cells.values()]
        places[told.tab] = {(row, column) for row in range(told.first_row, last) for column in columns}
        return places

    def _totals(self, read: entries.Entries) -> Iterator[int]:
        """Rows with an entry that are no records: the person's totals."""
        held = [c.key for c in read.sheet.columns if c.role == "entry" and c.key in read.found.cells]
        columns = {read.found.cells[key][1] for key in held}
        for row, column in self.book.cells(read.found.tab):
            if row >= read.found.first_row and column in columns and row not in read.rows:
                yield row


@cache
def opened_at(path: Path) -> Opened:
    """A workbook with our sheets found, opened once for all tests; nothing is written to it."""
    return Opened(path)


def test_the_hands_left_results_that_are_out_of_date(
    case: Case, reference: tuple[Path, tuple[Finding, ...]]
) -> None:
    """Without this the module would prove nothing."""
    before = {where: value for where, _, value in opened_at(case.saved).results()}
    after = {where: value for where, _, value in opened_at(reference[0]).results()}
    for sheet in ("batch", "fermentation", "runs", "strength"):
        differing = [where for where in after if where[0] == sheet and before.get(where) != after[where]]
        assert differing, sheet


def test_every_sheet_and_column_is_found_where_it_went(case: Case) -> None:
    found = opened_at(case.filled).found
    assert found["fermentation"].tab == "Gärung"
    assert found["strength"].tab == "Strength"
    assert found["fermentation"].missing == ("note",)
    order = sorted(found["fermentation"].cells, key=lambda key: found["fermentation"].cells[key][1])
    assert order[:4] == ["taken_at", "wash_temperature", "reading", "sample_temperature"]
    assert found["fermentation"].headings["reading"] == "Ablesung"
    assert found["batch"].headings["wash_kind"] == "Art der Maische"
    for key, place in found.items():
        assert all(doubt.place[0] in COPIES for doubt in place.doubts), key
        assert key == "fermentation" or not place.missing, key


def test_entries_are_those_that_people_left(case: Case, reference: tuple[Path, tuple[Finding, ...]]) -> None:
    hands, plain = opened_at(case.filled), opened_at(reference[0])
    for sheet, read in plain.read.items():
        other = hands.read[sheet]
        assert len(other.rows) == len(read.rows), sheet
        marks = [plain.identity(sheet, row) for row in read.rows]
        lines = [[hands.identity(sheet, row) for row in other.rows].index(mark) for mark in marks]
        for key, values in read.values.items():
            if (sheet, key) == ("fermentation", "note"):
                continue
            got = other.values[key][lines] if read.is_column(key) else other.values[key]
            if isinstance(values, str) or values.dtype == object:
                assert np.array_equal(got, values), (sheet, key)
            else:
                assert got == pytest.approx(values, rel=1e-9, nan_ok=True), (sheet, key)


def test_results_equal_those_of_a_workbook_nobody_rearranged(
    case: Case, reference: tuple[Path, tuple[Finding, ...]]
) -> None:
    assert_same_results(case.filled, reference[0])


def test_findings_equal_those_of_a_workbook_nobody_rearranged(
    case: Case, reference: tuple[Path, tuple[Finding, ...]]
) -> None:
    path, findings = reference

    def placed(path: Path, findings: tuple[Finding, ...]) -> Counter[tuple[Any, ...]]:
        opened = opened_at(path)
        keys = {place.tab: key for key, place in opened.found.items()}
        return Counter(
            (f.level, f.rule, keys[f.sheet], opened.identity(keys[f.sheet], f.row))
            for f in findings
            if f.sheet not in COPIES
        )

    assert findings
    assert placed(case.filled, case.findings) == placed(path, findings)


def test_each_finding_stands_in_its_row_and_on_the_findings_sheet(case: Case) -> None:
    opened = opened_at(case.filled)
    flagged = {(f.sheet, f.row): f for f in case.findings}
    for key, read in opened.read.items():
        cells = opened.book.cells(read.found.tab)
        column = read.found.cells["flags"][1]
        for row in read.rows if read.sheet.columns else ():
            said = str(cells[row, column].value) if (row, column) in cells else ""
            finding = flagged.get((read.found.tab, row))
            assert bool(said) == (finding is not None), (key, row)
            for finding in case.findings:
                if (finding.sheet, finding.row) == (read.found.tab, row):
                    assert f"{finding.level.upper()} [{finding.column}] {finding.message}" in said
    told = opened.found["findings"]
    cells = opened.book.cells(told.tab)
    places = [told.cells[key][1] for key in ("level", "cell", "message")]
    lines = [
        tuple(cells[row, column].value for column in places)
        for row in range(told.first_row, told.first_row + 100)
        if (row, places[0]) in cells
    ]
    assert lines == [(f.level.upper(), f"{f.sheet} {f.cell}", f.message) for f in case.findings]


def but_units(chart: bytes) -> bytes:
    """A chart without the units that its titles name."""
    return re.sub(rb" \([^<>()]+\)(?=</)", b"", etree.tostring(etree.fromstring(chart), method="c14n"))


def test_parts_of_the_file_that_hold_no_results_are_the_same_bytes(case: Case) -> None:
    with zipfile.ZipFile(case.saved) as old, zipfile.ZipFile(case.filled) as new:
        assert new.namelist() == old.namelist()
        ours = opened_at(case.saved).ours(0)
        parts = {"content.xml"}
        if case.saved.suffix == ".xlsx":
            own = formula_sheets(old)
            parts = {part for tab, part in sheet_parts(old).items() if tab in {*ours, *own}}
            parts |= {"xl/workbook.xml"}
        changed = {name for name in old.namelist() if old.read(name) != new.read(name)}
        assert changed
        charts = {name for name in changed if CHART.fullmatch(name)}
        assert changed - charts <= parts
        for name in charts:
            assert but_units(old.read(name)) == but_units(new.read(name)), name
        for name in set(old.namelist()) - changed:
            before, after = old.getinfo(name), new.getinfo(name)
            assert (before.date_time, before.compress_type, before.CRC) == (
                after.date_time,
                after.compress_type,
                after.CRC,
            ), name


def test_cells_that_are_not_ours_keep_value_formula_and_style(case: Case) -> None:
    old, new = opened_at(case.saved), opened_at(case.filled)
    ours = old.ours(len(case.findings))
    assert new.book.sheets == old.book.sheets
    assert new.book.names == old.book.names
    for tab in old.book.sheets:
        mine = ours.get(tab, set())

        def theirs(cells: Mapping[Position, Cell], mine: set[Position] = mine) -> dict[Position, Any]:
            return {p: "formula" if c.formula else c for p, c in cells.items() if p not in mine}

        assert theirs(new.book.cells(tab)) == theirs(old.book.cells(tab)), tab


def test_xml_is_the_same_but_for_what_stands_in_our_cells(case: Case) -> None:
    """Comments, shapes, charts, marks, drop-downs, filters, hidden rows, styles: all of it."""
    ours = opened_at(case.saved).ours(len(case.findings))
    with zipfile.ZipFile(case.saved) as old, zipfile.ZipFile(case.filled) as new:
        if case.saved.suffix == ".ods":
            assert_same(masked_content(old, ours), masked_content(new, ours), "content.xml")
            return
        assert_same(masked_book(old), masked_book(new), "xl/workbook.xml")
        for tab, part in sheet_parts(old).items():
            before, was = masked_sheet(old.read(part), ours.get(tab, set()))
            after, now = masked_sheet(new.read(part), ours.get(tab, set()))
            assert_same(before, after, part)
            for place, style in was.items():
                assert now[place] == style, (tab, place)


def test_own_totals_and_words_beside_our_results_stay(case: Case) -> None:
    opened = opened_at(case.filled)
    runs = opened.found["runs"]
    cells = opened.book.cells("Runs")
    total = runs.first_row + RUNS
    assert cells[total, runs.cells["run"][1]].value == "Total"
    assert cells[total, runs.cells["charge_volume"][1]].formula
    assert cells[total, runs.cells["collected_alcohol"][1]].formula
    assert cells[total, runs.cells["flags"][1]].value == "all of them"
    assert any(cell.value == "Words below the table" for cell in cells.values())
    place = opened.found["fermentation"]
    weather = place.cells["sample_temperature"][1] - 1
    cells = opened.book.cells(place.tab)
    said = {cell.value for (row, column), cell in cells.items() if column == weather}
    assert {"Weather", "sun", "rain", "fog", "snow"} <= said


def test_own_formulas_show_fresh_values_when_the_file_is_opened(case: Case) -> None:
    shown = {(sheet, row, column): value for sheet, row, column, value, _ in case.opened["cells"]}
    for sheet, row, column, value, afresh in case.opened["cells"]:
        assert value == (pytest.approx(afresh) if isinstance(afresh, float) else afresh), (sheet, row, column)
    opened = opened_at(case.filled)
    results = {where: value for where, _, value in opened.results()}
    alcohol = {
        who: v for (sheet, who, key), v in results.items() if (sheet, key) == ("fermentation", "alcohol")
    }
    collected = [v for (sheet, _, key), v in results.items() if (sheet, key) == ("runs", "collected_alcohol")]
    mine = [shown[OWN_SHEET, row, 1] for row in range(3, 11)]
    assert mine[0] == pytest.approx(max(alcohol.values()))
    assert mine[1] == pytest.approx(10 * max(alcohol.values()))
    assert mine[2] == pytest.approx(sum(v for v in collected if v is not None))
    assert mine[3] == pytest.approx(2 * 100 * results["runs", "1", "recovery"])
    water = results["strength", "To bottle", "water_mass"]
    assert mine[4] == pytest.approx(float(units.from_base(water, "mass", "g")))
    assert mine[5] == len(case.findings)
    assert mine[6] == f"about {max(alcohol.values()):.0f} %"
    assert mine[7] == RECORDS - 2  # two readings are texts
    place = opened.found["fermentation"]
    cells = opened.book.cells(place.tab)
    (column,) = (at[1] for at, cell in cells.items() if cell.value == "Twice the alcohol")
    for row in opened.read["fermentation"].rows:
        who = opened.identity("fermentation", row)
        assert shown[place.tab, row, column] == pytest.approx(2 * alcohol[who])
    was = {(sheet, row, column): value for sheet, row, column, value, _ in case.was_shown["cells"]}
    assert was[OWN_SHEET, 3, 1] != pytest.approx(shown[OWN_SHEET, 3, 1])


def test_charts_show_fresh_values_when_the_file_is_opened(case: Case) -> None:
    """The person's own one, and ours, which leaves out the row that was hidden."""
    opened = opened_at(case.filled)
    place = opened.found["fermentation"]
    column = place.cells["gravity_20"][1]
    cells = opened.book.cells(place.tab)
    gravities = [cells[row, column].value for row in opened.read["fermentation"].rows]
    (own,), ours = case.opened["charts"][OWN_SHEET], case.opened["charts"]["Charts"][0]
    assert own == pytest.approx(gravities)
    assert case.was_shown["charts"][OWN_SHEET] != [own]
    assert ours == pytest.approx(gravities[:HIDDEN] + gravities[HIDDEN + 1 :])


def test_second_fill_changes_no_byte(case: Case) -> None:
    assert case.again.read_bytes() == case.filled.read_bytes()


def test_copied_sheets_confuse_nothing_and_stay_as_they_are(case: Case) -> None:
    old, new = opened_at(case.saved), opened_at(case.filled)
    assert not {place.tab for place in new.found.values()} & {*COPIES}
    told = Counter((f.rule, f.sheet) for f in case.findings if f.sheet in COPIES)
    assert told == Counter(("copied_sheet", tab) for tab in COPIES)
    for tab in COPIES:
        assert old.book.cells(tab)
        assert new.book.cells(tab) == old.book.cells(tab)


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_copy_that_took_its_sheets_place_is_filled_and_lost_names_do_no_harm(
    do: Do, tmp_path: Path, ending: str
) -> None:
    """Names of one sheet went with it, those of another were deleted, a third sheet is hidden."""
    start, saved, plain = (tmp_path / f"{name}.{ending}" for name in ("start", "saved", "plain"))
    filled_in(start, typed())
    do("replace", path=str(start), save=str(saved), volume=2.5)
    findings = filling.fill(saved)
    later = typed()
    later["strength"][0]["volume"] = 2.5
    expected = filled_in(plain, later)
    found = opened_at(saved).found
    assert found["strength"].tab == "Strength, second try"
    assert found["runs"].tab == "Brennen"
    assert_same_results(saved, plain)
    assert [(f.rule, f.cell, f.message) for f in findings] == [(f.rule, f.cell, f.message) for f in expected]
    once = saved.read_bytes()
    filling.fill(saved)
    assert saved.read_bytes() == once


def assert_same_results(path: Path, reference: Path) -> None:
    """The same results for the same records, whatever their places and units."""
    right = {where: (quantity, value) for where, quantity, value in opened_at(reference).results()}
    got = {where: value for where, _, value in opened_at(path).results()}
    assert got.keys() == right.keys()
    assert sum(value is not None for value in got.values()) > 100
    for where, (quantity, value) in right.items():
        if isinstance(value, float):
            near = (0.0, 2 / 86400) if quantity == "moment" else (1e-6, 1e-8)
            assert got[where] == pytest.approx(value, rel=near[0], abs=near[1]), where
        else:
            assert got[where] == value, where


def assert_same(before: bytes, after: bytes, what: str) -> None:
    """Equal, or fail with the first difference alone: the parts are long."""
    if before != after:
        at = next((i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), -1)
        around = slice(max(at - 300, 0), at + 300)
        pytest.fail(f"{what}:\n{before[around]!r}\nbecame\n{after[around]!r}")


def sheet_parts(package: zipfile.ZipFile) -> dict[str, str]:
    """The part of each sheet of an xlsx file."""
    relations = etree.fromstring(package.read("xl/_rels/workbook.xml.rels"))
    targets = {str(r.get("Id")): f"xl/{r.get('Target')}" for r in relations}
    book = etree.fromstring(package.read("xl/workbook.xml"))
    return {
        str(sheet.get("name")): targets[next(str(v) for k, v in sheet.items() if str(k).endswith("}id"))]
        for sheet in book.iterfind("{*}sheets/{*}sheet")
    }


def formula_sheets(package: zipfile.ZipFile) -> set[str]:
    """The sheets of an xlsx file that hold formulas."""
    return {tab for tab, part in sheet_parts(package).items() if b"<f " in package.read(part)}


def masked_book(package: zipfile.ZipFile) -> bytes:
    """The workbook's part without its order to compute when it is opened."""
    root = etree.fromstring(package.read("xl/workbook.xml"))
    for settings in root.iterfind("{*}calcPr"):
        settings.attrib.pop("fullCalcOnLoad", "")
    return etree.tostring(root, method="c14n")


def masked_sheet(data: bytes, ours: set[Position]) -> tuple[bytes, dict[Position, str | None]]:
    """An xlsx sheet without our cells, their links and the results of formulas; the styles of our cells.

    The height of a row that holds our cells goes with their texts, unless a person has set it.
    """
    root = etree.fromstring(data)
    styles: dict[Position, str | None] = {}
    for row in root.findall("{*}sheetData/{*}row"):
        for cell in row.findall("{*}c"):
            place = position(str(cell.get("r")))
            formula = cell.find("{*}f")
            if formula is not None:
                cell.attrib.pop("t", "")
                for result in cell.findall("{*}v"):
                    cell.remove(result)
            elif place in ours:
                styles[place] = cell.get("s")
                row.remove(cell)
        mine = any(place[0] == int(str(row.get("r"))) for place in ours)
        if mine and row.get("customHeight") not in ("1", "true"):
            row.attrib.pop("ht", "")
        if len(row) == 0 and set(row.keys()) == {"r"}:
            parent = row.getparent()
            assert parent is not None
            parent.remove(row)
    for links in root.findall("{*}hyperlinks"):
        for link in links.findall("{*}hyperlink"):
            if position(str(link.get("ref"))) in ours:
                links.remove(link)
        if len(links) == 0:
            root.remove(links)
    for dimension in root.findall("{*}dimension"):
        root.remove(dimension)
    return etree.tostring(root, method="c14n"), styles


def position(name: str) -> Position:
    """Row and column of a cell's name, such as B7 or B7:B7."""
    letters = "".join(c for c in name.split(":")[0] if c.isalpha())
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - 64
    return int(name.split(":")[0][len(letters) :]), column


OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
STYLE = f"{TABLE}style-name"
CELLS = (f"{TABLE}table-cell", f"{TABLE}covered-table-cell")
REPEATED = {"rows": f"{TABLE}number-rows-repeated", "columns": f"{TABLE}number-columns-repeated"}


def masked_content(package: zipfile.ZipFile, ours: Ours) -> bytes:
    """The content of an ods file without the values of our cells and formulas.

    Cells that follow each other and are alike become one, however often the file repeats them.
    """
    root = etree.fromstring(package.read("content.xml"))
    for table in root.iterfind(f"{OFFICE}body/{OFFICE}spreadsheet/{TABLE}table"):
        mine = ours.get(str(table.get(f"{TABLE}name")), set())
        rows_of_ours = {row for row, _ in mine}
        number = 1
        for row in list(table.iter(f"{TABLE}table-row")):
            count = int(row.attrib.pop(REPEATED["rows"], "1"))
            inside = sorted(line for line in rows_of_ours if number <= line < number + count)
            parts: list[tuple[str, int]] = []
            for line in inside:
                gap = line - number - sum(c for _, c in parts)
                parts += [(row_text(row, 0, set()), gap)] if gap else []
                parts.append((row_text(row, line, mine), 1))
            rest = count - sum(c for _, c in parts)
            parts += [(row_text(row, 0, set()), rest)] if rest else []
            number += count
            row.tail = "".join(f"\n{text} × {times}" for text, times in parts)
            for child in list(row):
                row.remove(child)
            row.attrib.clear()
        merge_rows(table)
    return etree.tostring(root, method="c14n")


def row_text(row: etree._Element, line: int, ours: set[Position]) -> str:
    """A row's attributes and cells as text, equal neighbours counted together."""
    cells: list[tuple[str, int]] = []
    column = 1
    for cell in row.iterchildren(*CELLS):
        count = int(cell.get(REPEATED["columns"], "1"))
        held = [at for at in range(column, column + count) if (line, at) in ours] if ours else []
        parts: list[tuple[str, int]] = []
        start = column
        for at in held:
            parts += [(cell_text(cell, False), at - start)] if at > start else []
            parts.append((cell_text(cell, True), 1))
            start = at + 1
        if start < column + count:
            parts.append((cell_text(cell, False), column + count - start))
        for text, times in parts:
            if cells and cells[-1][0] == text:
                cells[-1] = (text, cells[-1][1] + times)
            else:
                cells.append((text, times))
        column += count
    looks = sorted((str(k), str(v)) for k, v in row.attrib.items() if k != REPEATED["rows"])
    return f"{looks} {cells}"


def cell_text(cell: etree._Element, ours: bool) -> str:
    """A cell as text, without its value where it is ours or a formula's result."""
    twin = deepcopy(cell)
    twin.tail = None
    twin.attrib.pop(REPEATED["columns"], "")
    if ours or twin.get(f"{TABLE}formula") is not None:
        for name in map(str, twin.attrib):
            if name.startswith(OFFICE) or name.endswith("}value-type"):
                del twin.attrib[name]
        for text in twin.findall(f"{TEXT}p"):
            twin.remove(text)
    return etree.tostring(twin, method="c14n", exclusive=True).decode()


def merge_rows(table: etree._Element) -> None:
    """Put the rows' texts together where the same ones follow each other."""
    for row in list(table.iter(f"{TABLE}table-row")):
        parent = row.getparent()
        assert parent is not None
        lines = [line.rsplit(" × ", 1) for line in (row.tail or "").split("\n") if line]
        before = row.getprevious()
        held = before is not None and before.tag == f"{TABLE}table-row"
        if before is not None and held:
            lines = [line.rsplit(" × ", 1) for line in (before.tail or "").split("\n") if line] + lines
            parent.remove(before)
        merged: list[tuple[str, int]] = []
        for text, times in lines:
            if merged and merged[-1][0] == text:
                merged[-1] = (text, merged[-1][1] + int(times))
            else:
                merged.append((text, int(times)))
        row.tail = "".join(f"\n{text} × {times}" for text, times in merged)
