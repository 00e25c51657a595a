"""What people do to a workbook in LibreOffice, a few things at a time: the next fill finds all of ours.

It harms nothing, and what it can't find it says in a sentence. Each workbook was filled, got other entries,
went through somebody's hands (office_acts.py) and is filled again; the reference has the same entries, and
nobody touched it. What is ours is told here by the headings, apart from files.locate.
"""

import dataclasses
import re
import shutil
import tomllib
import zipfile
from collections import Counter
from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import demo
import pytest
from lxml import etree
from test_peoples_hands import SCENARIO, Opened

from sheetcalc import build, compute, files, filling, layouts
from sheetcalc.files.workbook import Cell, Position
from sheetcalc.findings import Finding

pytestmark = pytest.mark.office

ENDINGS = ("xlsx", "ods")
SHEETS = ("batch", "instruments", "recipe", "fermentation", "runs", "strength", "findings")
LATER = (
    ("batch", None, "original_gravity", 1.082),
    ("instruments", 0, "zero_reading", 1.002),
    ("recipe", 0, "amount", 4.9),
    ("fermentation", 2, "reading", 1.055),
    ("fermentation", 3, "wash_temperature", 38),
    ("runs", 1, "collected_reading", 44),
    ("strength", 0, "volume", 1.9),
)

Typed = dict[str, Any]
Where = tuple[str, str | float, str]
Do = Callable[..., Any]


def typed() -> Typed:
    """The entries of the scenario's sugar wash on the sheets that the hands touch."""
    scenario = tomllib.loads(SCENARIO.read_text(encoding="utf-8"))
    workbook = next(book for book in scenario["workbooks"] if book["file"] == "birch-sugar")
    return {key: workbook[key] for key in SHEETS if key in workbook}


def records(entries: Typed, sheet: str) -> Any:
    """The records of a sheet."""
    return entries[sheet]["records"] if isinstance(entries[sheet], dict) else entries[sheet]


def typed_later() -> Typed:
    """The entries after some were corrected; every sheet's results change."""
    later = deepcopy(typed())
    for sheet, number, key, value in LATER:
        (later[sheet] if number is None else records(later, sheet)[number])[key] = value
    return later


def same(entries: Typed) -> None:
    """The hands left the entries as they were."""


@dataclass(frozen=True)
class Document:
    """What the hands did, one act after the other, and what has to come of it."""

    acts: tuple[tuple[Any, ...], ...]
    # What is said beside what is said of the reference, and what of that is not said: rules and sheets.
    said: frozenset[tuple[str, str]] = frozenset()
    unsaid: frozenset[tuple[str, str]] = frozenset()
    # Results that are not in the workbook any more, or are the person's own now; a sheet alone: all of it.
    gone: frozenset[tuple[str, ...]] = frozenset()
    # What sheets and results are called now.
    words: Mapping[str, str] = field(default_factory=dict)
    # What the hands did to the entries, or what can't be read of them any more.
    entries: Callable[[Typed], None] = same
    # The format it was saved in on its way.
    via: str = ""


def unread(**columns: tuple[str, ...]) -> Callable[[Typed], None]:
    """These columns of all records, or lines of a card, can't be read; a sheet without any is gone."""

    def drop(entries: Typed) -> None:
        for sheet, keys in columns.items():
            if not keys:
                entries[sheet] = {} if isinstance(entries[sheet], dict) else []
            elif isinstance(entries[sheet], dict):
                entries[sheet] |= dict.fromkeys(keys)
            else:
                for record in entries[sheet]:
                    record |= dict.fromkeys(keys)

    return drop


def one_less(sheet: str, number: int) -> Callable[[Typed], None]:
    """A record was deleted."""

    def delete(entries: Typed) -> None:
        del records(entries, sheet)[number]

    return delete


def dragged_away(entries: Typed) -> None:
    """One reading was dragged off its line; two headings, and a value of the card, off their places."""
    entries["fermentation"][2].pop("reading")
    unread(runs=("collected_volume", "collected_reading"), strength=("volume",), batch=("wash_volume",))(
        entries
    )


def four_years_on(entries: Typed) -> None:
    """Every date is later by what lies between the two date systems."""
    for value in entries.values():
        for record in (value, *value.get("records", ())) if isinstance(value, dict) else value:
            for key, held in record.items():
                if isinstance(held, datetime):
                    record[key] = held + timedelta(days=1462)


# What the runs' plans take for granted where the batch card is blank.
PLANNED = (
    *("expected_volume", "expected_strength", "expected_first_drip", "expected_end"),
    *("energy", "left_volume", "left_strength", "stages_seen", "first_runnings"),
)
OWN_FORMULAS = (
    "=SUM($Runs.M6:M9)",
    "=mein_Name*2",
    '=$Strength.G6&" %"',
    "=SUM($Runs.M$1:M$99)",
    "=runs_run",
)

DOCUMENTS = {
    "rows, columns and sheets between": Document(
        acts=(
            ("add_name", "mein_Name", "Runs", "M6"),
            ("add_name", "runs", "Runs", "A4"),
            ("add_sheet", "Mine", OWN_FORMULAS, "fermentation_gravity_20"),
            ("write_formula", "runs_charge_volume", 6, 0, "=SUM(C6:C9)"),
            ("write", "runs_run", 6, 0, "Total"),
            ("write_formula", "runs_collected_alcohol", 6, 0, "=SUM(M6:M9)"),
            ("insert_rows", "fermentation_taken_at", -2, 3),
            ("insert_rows", "fermentation_taken_at", 0, 1),
            ("insert_columns", "fermentation_sample_temperature", 2, "Weather"),
            ("insert_columns", "fermentation_taken_at", 1, "No."),
            ("insert_columns", "fermentation_flags", 1, "Mood"),
            ("insert_rows", "runs_run", 1, 1),
            ("insert_rows", "strength_lot", 3, 2),
            ("insert_rows", "batch_yeast_tolerance", 0, 2),
            ("insert_columns", "batch_yeast_tolerance", 1),
            ("insert_rows", "recipe_item", -1, 1),
            ("insert_rows", "instruments_instrument", 2, 1),
        ),
    ),
    "rows and columns gone, values pasted": Document(
        acts=(
            ("paste_values", "fermentation_taken_at", "fermentation_flags", 60),
            ("paste_values", "runs_charge_alcohol", "runs_flags", 4),
            ("write", "strength_water_mass", 2, 0, 5.0),
            ("write", "strength_water_volume", 2, 0, "none"),
            ("write_formula", "runs_recovery", 3, 0, "=1+1"),
            ("delete_rows", "fermentation_taken_at", -3, 3),
            ("delete_column", "fermentation_note"),
            ("delete_column", "runs_stages_seen"),
            ("delete_column", "runs_flags"),
            ("delete_rows", "strength_lot", 3, 1),
            ("delete_rows", "batch_bottle_size", 0, 1),
            ("delete_rows", "recipe_stoichiometric_alcohol", 0, 1),
        ),
        said=frozenset({("own_formula", "Runs")}),
        gone=frozenset({("runs", "recovery"), ("runs", "stages_seen"), ("recipe", "stoichiometric_alcohol")}),
        entries=one_less("strength", 1),
    ),
    "needed columns gone": Document(
        acts=(
            ("delete_column", "fermentation_reading"),
            ("delete_column", "runs_charge_strength"),
            ("delete_column", "strength_temperature"),
            ("delete_rows", "batch_original_gravity", 0, 1),
        ),
        said=frozenset(
            {
                ("column_missing", "Fermentation"),
                ("column_missing", "Runs"),
                ("column_missing", "Strength"),
                ("line_missing", "Batch"),
            }
        ),
        unsaid=frozenset(
            {
                ("not_filled_in", "Fermentation"),
                ("not_filled_in", "Strength"),
                ("charge_strength_missing", "Runs"),
                ("spirit_strength_missing", "Runs"),
            }
        ),
        entries=unread(
            fermentation=("reading",),
            runs=("charge_strength",),
            strength=("temperature",),
            batch=("original_gravity",),
        ),
    ),
    "moved, merged, marked, protected": Document(
        acts=(
            ("merge", "fermentation_taken_at", -2, 0, 1, 3),
            ("merge", "fermentation_state", 4, 0, 1, 2),
            ("merge", "runs_kind", 5, 0, 2, 1),
            ("mark", "fermentation_gravity_20", "fermentation_alcohol", 12),
            ("mark", "runs_collected_alcohol", "runs_recovery", 4),
            ("move_before", "fermentation_wash_temperature", "fermentation_reading"),
            ("move_before", "runs_flags", "runs_run"),
            ("move_before", "runs_recovery", "runs_kind"),
            # Over hidden columns of ours beside it, in the same rows and lower down.
            ("drag_table", "strength_lot", "strength_flags", 40, 0, 4),
            ("drag_table", "instruments_instrument", "instruments_flags", 40, 3, 5),
            ("protect", "Strength", "secret"),
            ("protect", "Runs", ""),
        ),
    ),
    "sorted, filtered, hidden, in other alphabets": Document(
        acts=(
            ("sort", "fermentation_taken_at", "fermentation_taken_at", "fermentation_flags", 2, 12, False),
            ("sort_rows", "strength_volume", 2, 2, False),
            ("filter_by", "runs_run", "runs_flags", "runs_kind", 4, "stripping"),
            ("hide", "fermentation_gravity_20", 4, 2),
            ("group", "strength_volume", 2, 1, 2),
            ("freeze", "Fermentation", 2, 7),
            ("hide_sheet", "Instruments"),
            ("hide_sheet", "Findings"),
            ("rename_sheet", "Fermentation", "Брожение"),
            ("rename_sheet", "Runs", "蒸留 & <1>"),
            ("rename_sheet", "Strength", 'Tom\'s "сила"'),
            ("rename_sheet", "Batch", "Παρτίδα.2026"),
            ("write", "fermentation_reading", 0, 0, "Показание"),
            ("write", "fermentation_taken_at", 0, 0, "Дата\nи время"),
            ("write", "runs_run", 0, 0, "回"),
            ("write", "runs_collected_alcohol", 0, 0, "Alkohol 🥃"),
            ("write", "strength_lot", 0, 0, "שם"),
            ("write", "batch_wash_volume", 0, -1, "Όγκος"),
        ),
        words={
            "Fermentation": "Брожение",
            "Runs": "蒸留 & <1>",
            "Strength": 'Tom\'s "сила"',
            "Batch": "Παρτίδα.2026",
            "Alcohol collected": "Alkohol 🥃",
        },
    ),
    "sorted with units and headings": Document(
        acts=(
            ("sort", "strength_volume", "strength_lot", "strength_flags", 1, 3, True),
            ("sort", "fermentation_taken_at", "fermentation_taken_at", "fermentation_flags", 1, 13, False),
            ("sort", "runs_run", "runs_run", "runs_flags", 0, 6, True),
        ),
        said=frozenset(
            {
                ("records_above", "Strength"),
                ("records_above", "Runs"),
                ("unit_unknown", "Fermentation"),
                ("unit_missing", "Fermentation"),
                ("unreadable", "Fermentation"),
            }
        ),
        unsaid=frozenset({("not_filled_in", "Fermentation")}),
        entries=unread(strength=(), runs=(), fermentation=("sample_temperature", "wash_temperature")),
    ),
    "copied and replaced": Document(
        acts=(
            ("replace_all", "Volume", "Menge"),
            ("copy_sheet", "Runs", "Runs_2", 5),
            ("write_at", "Runs_2", "A6", "other"),
            ("copy_sheet", "Batch", "Batch old", 0),
            ("rename_sheet", "Strength", "Dilution"),
            ("copy_sheet", "Dilution", "Second", 0),
            ("copy_sheet", "Recipe", "Put away", 5),
            ("hide_sheet", "Put away"),
        ),
        said=frozenset(
            {("copied_sheet", "Runs_2"), ("copied_sheet", "Batch old"), ("copied_sheet", "Second")}
        ),
        words={"Strength": "Dilution", "Volume then": "Menge then"},
    ),
    "copy instead, German, days from 1904": Document(
        acts=(
            ("in_german",),
            ("count_days_from", 1904),
            ("write", "runs_run", 0, 0, "回"),
            ("write", "runs_charge_volume", 0, 0, "量"),
            ("copy_sheet", "Runs", "Runs_2", 5),
            ("delete_sheet", "Runs"),
            ("rename_sheet", "Runs_2", "蒸留"),
        ),
        words={"Runs": "蒸留"},
        entries=four_years_on,
    ),
    "headings pasted over": Document(
        acts=(
            ("paste", "runs_charge_volume", 0, 0, "runs_charge_strength", 0, 0),
            ("write", "strength_reading", 0, 0, "Volume"),
            ("write", "fermentation_reading", 0, 0, "Wash temperature"),
            ("write", "fermentation_wash_temperature", 0, 0, "Reading"),
            ("write", "batch_still_minimum", 0, -1, "Still capacity"),
        ),
        said=frozenset(
            {
                ("same_heading", "Runs"),
                ("same_heading", "Strength"),
                ("same_heading", "Batch"),
                ("names_astray", "Fermentation"),
                ("unit_unknown", "Fermentation"),
            }
        ),
        unsaid=frozenset({("not_filled_in", "Fermentation")}),
        entries=unread(fermentation=("reading", "wash_temperature")),
    ),
    "dragged": Document(
        acts=(
            ("drag", "fermentation_reading", 4, 0, "fermentation_flags", 4, 25),
            ("drag", "fermentation_alcohol", 5, 0, "fermentation_flags", 5, 25),
            ("drag", "runs_collected_volume", 0, 0, "runs_collected_reading", 0, 0),
            ("drag", "strength_volume", 0, 0, "strength_volume", -2, 0),
            ("drag", "batch_wash_volume", 0, 0, "batch_wash_volume", 0, 8),
        ),
        said=frozenset(
            {
                ("names_shared", "Runs"),
                ("unit_unknown", "Runs"),
                ("column_missing", "Runs"),
                ("column_missing", "Strength"),
                ("names_astray", "Batch"),
            }
        ),
        unsaid=frozenset({("not_filled_in", "Strength")}),
        entries=dragged_away,
    ),
    "units": Document(
        acts=(
            ("write", "runs_collected_volume", 1, 0, ""),
            ("write", "fermentation_reading", 1, 0, ""),
            ("write", "fermentation_gravity_20", 1, 0, "buckets"),
            ("write", "strength_volume", 1, 0, " l "),
            ("write", "strength_temperature", 1, 0, "° c"),
            ("write", "batch_wash_volume", 0, 1, "barrels"),
            ("write", "batch_original_gravity", 0, 1, ""),
            ("write", "instruments_reference_temperature", 1, 0, ""),
            ("write", "instruments_zero_temperature", 1, 0, "warm"),
        ),
        said=frozenset(
            {
                ("unit_unknown", "Runs"),
                ("unit_unknown", "Fermentation"),
                ("unit_unknown", "Batch"),
                ("unit_unknown", "Instruments"),
                ("unit_missing", "Fermentation"),
                ("unit_missing", "Batch"),
            }
        ),
        gone=frozenset({("fermentation", "gravity_20")}),
        entries=unread(
            runs=("collected_volume",),
            batch=("wash_volume",),
            instruments=("reference_temperature", "zero_temperature"),
        ),
    ),
    "batch card gone": Document(
        acts=(("delete_sheet", "Batch"),),
        said=frozenset({("sheet_missing", "Recipe")}),
        gone=frozenset({("batch",), *(("runs", key) for key in PLANNED)}),
        entries=unread(batch=()),
    ),
    "sheets and headings gone": Document(
        acts=(
            ("delete_sheet", "Findings"),
            ("delete_sheet", "Fermentation"),
            ("delete_sheet", "Recipe"),
            ("delete_rows", "runs_run", 0, 1),
        ),
        said=frozenset({("sheet_missing", "Batch"), ("headings_missing", "Runs")}),
        unsaid=frozenset({("sheet_missing", "Runs")}),  # said on Batch, as Runs has no headings left
        gone=frozenset({("fermentation",), ("recipe",), ("runs",)}),
        entries=unread(fermentation=(), recipe=(), runs=()),
    ),
    "names gone, with copies": Document(
        acts=(
            ("copy_sheet", "Runs", "Runs_2", 0),
            ("copy_sheet", "Strength", "Zwei", 8),
            ("lose_local_names", "Zwei"),
            ("lose_names", ""),
            ("rename_sheet", "Strength", "Eins"),
            ("rename_sheet", "Batch", "Sud"),
        ),
        said=frozenset({("copied_sheet", "Runs_2"), ("copied_sheet", "Zwei")}),
        words={"Strength": "Eins", "Batch": "Sud"},
    ),
    "through an old format": Document(acts=(), via="xls"),
}


@dataclass(frozen=True)
class Case:
    """One document in one format: as the hands left it, filled, filled again, and what was found."""

    document: Document
    saved: Opened
    filled: Opened
    again: Path
    findings: tuple[Finding, ...]
    right: Mapping[Where, Any]  # the results of the reference
    expected: tuple[Finding, ...]  # and what was found in it


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the module's workbooks are."""
    return beginnings(tmp_path_factory.mktemp("one-by-one"))


def beginnings(folder: Path) -> Path:
    """In each format a new workbook, and one that was filled and got other entries since."""
    whole = layouts.load("batch")
    layout = dataclasses.replace(whole, sheets=tuple(s for s in whole.sheets if s.key in SHEETS))
    for ending in ENDINGS:
        new, start = folder / f"new.{ending}", folder / f"start.{ending}"
        build.new_workbook(layout, compute.needs(layout), "metric", new)
        shutil.copy(new, start)
        demo.type_in(start, typed())
        filling.fill(start)
        demo.type_in(start, typed_later())
    return folder


@pytest.fixture(scope="module", params=DOCUMENTS)
def name(request: pytest.FixtureRequest) -> str:
    """Each document in turn."""
    return str(request.param)


@pytest.fixture(scope="module")
def reference(name: str, folder: Path) -> tuple[Mapping[Where, Any], tuple[Finding, ...]]:
    """The results of a workbook with the same entries, and what was found in it."""
    entries = typed_later()
    DOCUMENTS[name].entries(entries)
    path = folder / f"{name}-reference.xlsx"
    shutil.copy(folder / "new.xlsx", path)
    demo.type_in(path, entries)
    findings = filling.fill(path)
    return results(Opened(path)), findings


@pytest.fixture(scope="module", params=ENDINGS)
def case(
    request: pytest.FixtureRequest,
    name: str,
    reference: tuple[Mapping[Where, Any], tuple[Finding, ...]],
    folder: Path,
    do: Do,
) -> Case:
    """Each document in each format."""
    ending, hands = request.param, DOCUMENTS[name]
    saved, filled, again = (folder / f"{name}-{step}.{ending}" for step in ("saved", "filled", "again"))
    between = folder / f"{name}.{hands.via or ending}"
    do("act", path=str(folder / f"start.{ending}"), acts=hands.acts, saves=[str(between)])
    if hands.via:
        do("act", path=str(between), acts=[], saves=[str(saved)])
    else:
        between.rename(saved)
    findings = filling.fill(saved, filled)
    shutil.copy(filled, again)
    filling.fill(again)
    return Case(hands, Opened(saved), Opened(filled), again, findings, *reference)


def results(opened: Opened) -> dict[Where, Any]:
    """Every result in a workbook by sheet, record and key."""
    return {where: value for where, _, value in opened.results()}


def test_results_are_those_of_a_workbook_nobody_touched(case: Case) -> None:
    before, got, gone = results(case.saved), results(case.filled), case.document.gone
    kept = {
        where: value
        for where, value in case.right.items()
        if (where[0],) not in gone and (where[0], where[2]) not in gone
    }
    assert sum(value is not None for value in kept.values()) > 20
    # Or else the rest would prove nothing.
    assert len({where[0] for where, value in kept.items() if before.get(where) != value}) >= 2
    for read in case.filled.read.values():
        for part in (*read.sheet.fields, *read.sheet.columns):
            if part.role == "computed" and part.key in read.found.cells:
                heading = case.document.words.get(part.heading, part.heading)
                assert read.found.headings[part.key] == heading
    for where, value in kept.items():
        # A moment is kept to the second by some formats.
        near = pytest.approx(value, rel=1e-6, abs=2 / 86400) if isinstance(value, float) else value
        assert got[where] == near, where


def test_what_is_said_is_what_was_lost_and_what_is_said_of_a_workbook_nobody_touched(case: Case) -> None:
    words = case.document.words
    got = Counter((f.rule, f.sheet) for f in case.findings)
    expected = Counter((f.rule, words.get(f.sheet, f.sheet)) for f in case.expected)
    assert set(got - expected) == case.document.said
    there = {place.tab for place in case.saved.found.values()}
    assert {(rule, tab) for rule, tab in expected - got if tab in there} == case.document.unsaid


def test_what_was_lost_is_told_in_a_sentence_with_its_sheet_cell_and_what_to_do(case: Case) -> None:
    for finding in case.findings:
        if (finding.rule, finding.sheet) in case.document.said:
            assert finding.sheet in case.filled.book.sheets
            assert finding.row >= 1
            assert finding.place >= 1
            for text in (finding.message, finding.advice):
                assert re.fullmatch(r"['\"A-Z].*\.", text), text
                assert len(text) < 220, text


def test_only_cells_under_our_headings_changed(case: Case) -> None:
    old, new, words = case.saved.book, case.filled.book, case.document.words
    assert (new.sheets, new.names, new.local_names) == (old.sheets, old.names, old.local_names)
    ours = {words.get(s.title, s.title): s for s in layouts.load("batch").sheets}
    changed_tabs = 0
    for tab in old.sheets:
        before, after = shown(old.cells(tab)), shown(new.cells(tab))
        changed = {at for at in before.keys() | after.keys() if before.get(at) != after.get(at)}
        headings = results_of(ours[tab], words) if changed else set()
        assert not {at for at in changed if not is_ours(old.cells(tab), at, headings)}, tab
        changed_tabs += bool(changed)
    assert changed_tabs >= 2


def shown(cells: Mapping[Position, Cell]) -> dict[Position, Cell | str]:
    """The cells, of formulas only that they are there."""
    return {at: "formula" if cell.formula else cell for at, cell in cells.items()}


def results_of(sheet: layouts.Sheet, words: Mapping[str, str]) -> set[str]:
    """What the results and flags of a sheet are called now."""
    fields = (*sheet.fields, *sheet.columns)
    return {words.get(f.heading, f.heading) for f in fields if f.role != "entry"}


def is_ours(cells: Mapping[Position, Cell], at: Position, headings: set[str]) -> bool:
    """Whether a result's heading stands above the cell or left of it, or that of a hidden copy above."""
    above = [str(cells[row, at[1]].value) for row in range(1, at[0]) if (row, at[1]) in cells]
    left = [str(cells[at[0], column].value) for column in range(1, at[1]) if (at[0], column) in cells]
    return bool(headings & {*above, *left}) or any(text.endswith(", as filled") for text in above)


def test_formulas_and_all_parts_that_hold_no_cells_of_ours_are_the_same(case: Case) -> None:
    with zipfile.ZipFile(case.saved.book.path) as old, zipfile.ZipFile(case.filled.book.path) as new:
        assert new.namelist() == old.namelist()
        for part in old.namelist():
            before, after = old.read(part), new.read(part)
            if re.search(r"worksheets/[^/]*\.xml$|xl/workbook\.xml$|^content\.xml$", part):
                assert before == after or formulas(before) == formulas(after), part
            else:
                assert before == after, part


def formulas(part: bytes) -> list[tuple[str | None, str]]:
    """The formulas in an XML part, in their order."""
    told: list[tuple[str | None, str]] = []
    for element in etree.fromstring(part).iter("{*}f", "{*}table-cell"):
        if etree.QName(element).localname == "f":
            told.append((element.text, str(element.attrib)))
        else:
            told += [(None, str(v)) for k, v in element.attrib.items() if str(k).endswith("}formula")]
    return told


def test_second_fill_changes_no_byte(case: Case) -> None:
    assert case.again.read_bytes() == case.filled.book.path.read_bytes()


@pytest.mark.parametrize(("kind", "told"), [("xls", "an old .xls workbook"), ("fods", "save it as")])
def test_other_formats_of_libreoffice_are_refused_in_a_sentence(
    folder: Path, do: Do, kind: str, told: str
) -> None:
    path = folder / f"other.{kind}"
    do("act", path=str(folder / "start.ods"), acts=[], saves=[str(path)])
    before = path.read_bytes()
    with pytest.raises(files.BadWorkbook, match=told):
        filling.fill(path)
    assert path.read_bytes() == before
