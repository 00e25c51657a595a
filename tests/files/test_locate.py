"""Our tables and cards found again after people and programs rearranged them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName

from sheetcalc.files import open_workbook
from sheetcalc.files.locate import Found, find


@dataclass(frozen=True)
class Part:
    key: str
    heading: str
    units: tuple[str, ...] = ()


@dataclass(frozen=True)
class Look:
    key: str
    title: str
    fields: tuple[Part, ...] = ()
    columns: tuple[Part, ...] = ()


VOLUMES, DEGREES = ("L", "mL", "gal"), ("°C", "°F")
CUTS = Look(
    "cuts",
    "Cuts",
    columns=(
        Part("jar", "Jar"),
        Part("volume", "Volume", VOLUMES),
        Part("temperature", "Temperature", DEGREES),
        Part("flags", "Flags"),
    ),
)
BATCH = Look(
    "batch",
    "Batch",
    fields=(Part("code", "Batch code"), Part("wash", "Wash volume", VOLUMES), Part("place", "Place")),
)
RECIPE = Look(
    "recipe",
    "Recipe",
    fields=(Part("water", "Water", VOLUMES),),
    columns=(Part("item", "Item"), Part("amount", "Amount", ("kg", "lb"))),
)
SHEETS = (BATCH, RECIPE, CUTS)

CUTS_CELLS = {
    "A3": "Jar",
    "B3": "Volume",
    "C3": "Temperature",
    "D3": "Flags",
    "B4": "mL",
    "C4": "°C",
    "A5": 1,
}
BATCH_CELLS = {
    "B3": "Batch code", "C3": "B-1", "B4": "Wash volume", "C4": 25, "D4": "L", "B5": "Place", "C5": "here",
}  # fmt: skip
RECIPE_CELLS = {"A2": "Water", "B2": 20, "C2": "L", "A5": "Item", "B5": "Amount", "B6": "kg", "A7": "sugar"}
NAMES = {
    "cuts_jar": "Cuts!$A$3", "cuts_volume": "Cuts!$B$3",
    "cuts_temperature": "Cuts!$C$3", "cuts_flags": "Cuts!$D$3",
    "batch_code": "Batch!$C$3", "batch_wash": "Batch!$C$4", "batch_place": "Batch!$C$5",
    "recipe_water": "Recipe!$B$2", "recipe_item": "Recipe!$A$5", "recipe_amount": "Recipe!$B$5",
}  # fmt: skip
PAGES: dict[str, dict[str, Any]] = {"Batch": BATCH_CELLS, "Recipe": RECIPE_CELLS, "Cuts": CUTS_CELLS}


def search(
    tmp_path: Path,
    pages: Mapping[str, Mapping[str, Any]],
    names: Mapping[str, str],
    looks: Sequence[Look] = SHEETS,
) -> dict[str, Found]:
    book = openpyxl.Workbook()
    del book["Sheet"]
    for title, cells in pages.items():
        sheet = book.create_sheet(title)
        for cell, value in cells.items():
            sheet[cell] = value
    for name, target in names.items():
        book.defined_names[name] = DefinedName(name, attr_text=target)
    path = tmp_path / "log.xlsx"
    book.save(path)
    return find(open_workbook(path), looks)


def cuts(tmp_path: Path, cells: Mapping[str, Any], names: Mapping[str, str] = NAMES) -> Found:
    return search(tmp_path, {"Cuts": cells}, {n: t for n, t in names.items() if "Cuts" in t}, [CUTS])["cuts"]


@pytest.mark.parametrize("names", [NAMES, {}])
def test_as_it_was_made(tmp_path: Path, names: dict[str, str]) -> None:
    found = search(tmp_path, PAGES, names)
    assert found["cuts"] == Found(
        "Cuts",
        {"jar": (3, 1), "volume": (3, 2), "temperature": (3, 3), "flags": (3, 4)},
        {"jar": "Jar", "volume": "Volume", "temperature": "Temperature", "flags": "Flags"},
        {"volume": (4, 2), "temperature": (4, 3)},
        5,
        (),
    )
    assert found["batch"] == Found(
        "Batch",
        {"code": (3, 3), "wash": (4, 3), "place": (5, 3)},
        {"code": "Batch code", "wash": "Wash volume", "place": "Place"},
        {"wash": (4, 4)},
        0,
        (),
    )
    if names:
        assert found["recipe"].cells == {"water": (2, 2), "item": (5, 1), "amount": (5, 2)}
        assert found["recipe"].units == {"water": (2, 3), "amount": (6, 2)}
        assert found["recipe"].first_row == 7


def test_renamed_translated_and_moved(tmp_path: Path) -> None:
    cells = {"B6": "Spitze", "E6": "Glas", "F6": "Mein", "G6": "Menge", "H6": "Grad", "G7": "L", "H7": "°F"}
    names = {
        "cuts_flags": "'Meine Schnitte'!$B$6", "cuts_jar": "'Meine Schnitte'!$E$6",
        "cuts_volume": "'Meine Schnitte'!$G$6", "cuts_temperature": "'Meine Schnitte'!$H$6",
    }  # fmt: skip
    found = search(tmp_path, {"Meine Schnitte": cells, "Cuts": CUTS_CELLS}, names, [CUTS])["cuts"]
    assert found.tab == "Meine Schnitte"
    assert found.cells == {"flags": (6, 2), "jar": (6, 5), "volume": (6, 7), "temperature": (6, 8)}
    assert found.headings["volume"] == "Menge" and found.first_row == 8
    assert [(d.rule, d.place) for d in found.doubts] == [("copied_sheet", ("Cuts", 3, 1))]


def test_headings_find_what_has_no_name(tmp_path: Path) -> None:
    names = {n: t for n, t in NAMES.items() if n not in ("cuts_volume", "cuts_flags")}
    found = cuts(tmp_path, {**CUTS_CELLS, "B3": " VOLUME\n"}, names)
    assert found.cells["volume"] == (3, 2) and not found.missing
    found = cuts(tmp_path, {**CUTS_CELLS, "D3": "Remarks"}, names)
    assert found.missing == ("flags",)


def test_names_pointing_astray(tmp_path: Path) -> None:
    astray = {**NAMES, "cuts_volume": "Other!$A$1", "cuts_flags": "Cuts!$D$30"}
    found = search(tmp_path, {**PAGES, "Other": {"A1": 1}}, astray)["cuts"]
    assert found.cells["volume"] == (3, 2) and found.cells["flags"] == (3, 4)


def test_tab_is_found_by_its_headings(tmp_path: Path) -> None:
    pages: dict[str, dict[str, Any]] = {"One": {"A1": "nothing"}, "Two": CUTS_CELLS, "Three": BATCH_CELLS}
    found = search(tmp_path, pages, {}, [CUTS, BATCH])
    assert found["cuts"].tab == "Two" and found["batch"].tab == "Three"
    few = {"A1": "Jar", "B1": "Something", "C1": "Else"}
    assert search(tmp_path, {"One": few}, {}, [CUTS, BATCH]) == {}
    low = {cell.replace("3", "99"): value for cell, value in CUTS_CELLS.items()}
    assert search(tmp_path, {"One": low}, {}, [CUTS]) == {}


def test_a_copied_sheet_does_not_confuse(tmp_path: Path) -> None:
    pages: dict[str, dict[str, Any]] = {"Cuts (2)": CUTS_CELLS, "Cuts": CUTS_CELLS}
    assert search(tmp_path, pages, {"cuts_jar": "Cuts!$A$3"}, [CUTS])["cuts"].tab == "Cuts"
    assert search(tmp_path, pages, {"cuts_jar": "'Cuts (2)'!$A$3"}, [CUTS])["cuts"].tab == "Cuts (2)"


def test_twofold_headings_are_reported(tmp_path: Path) -> None:
    cells = {**CUTS_CELLS, "F3": "Volume"}
    assert cuts(tmp_path, cells).doubts == ()
    found = cuts(tmp_path, cells, {})
    assert found.cells["volume"] == (3, 2)
    assert [(d.rule, d.place) for d in found.doubts] == [("column_in_doubt", ("Cuts", 3, 2))]
    assert '"Volume" stands 2 times' in found.doubts[0].message


def test_two_names_for_one_place_are_reported(tmp_path: Path) -> None:
    found = cuts(tmp_path, CUTS_CELLS, {**NAMES, "cuts_flags": "Cuts!$B$3"})
    assert found.cells["volume"] == (3, 2) and found.cells["flags"] == (3, 4)
    assert len(found.doubts) == 1


def test_names_left_behind_by_a_program(tmp_path: Path) -> None:
    columns = {
        "A3": "Jar",
        "B3": "Mine",
        "C3": "Volume",
        "D3": "Temperature",
        "E3": "Flags",
        "C4": "mL",
        "D4": "°C",
    }
    found = cuts(tmp_path, columns)
    assert found.cells == {"jar": (3, 1), "volume": (3, 3), "temperature": (3, 4), "flags": (3, 5)}
    assert [(d.rule, d.place) for d in found.doubts] == [("names_astray", ("Cuts", 3, 3))]
    for heading in ("Volume", "Temperature", "Flags"):
        assert f'"{heading}"' in found.doubts[0].message
    rows = {
        "A1": "title",
        "A5": "Jar",
        "B5": "Volume",
        "C5": "Temperature",
        "D5": "Flags",
        "B6": "mL",
        "C6": "°C",
    }
    found = cuts(tmp_path, rows)
    assert {row for row, _ in found.cells.values()} == {5} and found.first_row == 7


def test_unit_row(tmp_path: Path) -> None:
    heading = {cell: value for cell, value in CUTS_CELLS.items() if cell.endswith("3")}
    assert cuts(tmp_path, heading).first_row == 4
    assert cuts(tmp_path, {**heading, "A4": "x", "B6": "L", "C6": "°C"}).first_row == 7
    assert cuts(tmp_path, {**heading, "B7": "L"}).first_row == 4
    found = cuts(tmp_path, {**heading, "B4": "furlong", "C4": "°F"})
    assert found.units == {"volume": (4, 2), "temperature": (4, 3)} and found.first_row == 5
    assert cuts(tmp_path, {**heading, "C4": "°F"}).units == {"temperature": (4, 3)}


def test_card_rearranged(tmp_path: Path) -> None:
    cells = {
        "D9": "Lieu", "F9": "here", "D2": "Ansatz", "F2": "B-1",
        "D4": "Menge", "F4": 25, "H4": "gal", "B4": "L",
    }  # fmt: skip
    names = {"batch_code": "Log!$F$2", "batch_wash": "Log!$F$4", "batch_place": "Log!$F$9"}
    found = search(tmp_path, {"Log": cells}, names, [BATCH])["batch"]
    assert found.cells == {"code": (2, 6), "wash": (4, 6), "place": (9, 6)}
    assert found.headings["wash"] == "Menge" and found.units == {"wash": (4, 8)}


def test_card_without_some_names(tmp_path: Path) -> None:
    names = {"batch_code": "Batch!$C$3"}
    found = search(tmp_path, {"Batch": BATCH_CELLS}, names, [BATCH])["batch"]
    assert found.cells == {"code": (3, 3), "wash": (4, 3), "place": (5, 3)} and not found.missing
    found = search(tmp_path, {"Batch": {**BATCH_CELLS, "B5": "Lieu"}}, names, [BATCH])["batch"]
    assert found.missing == ("place",)


def test_blank_values_on_a_card(tmp_path: Path) -> None:
    cells = {cell: value for cell, value in BATCH_CELLS.items() if not cell.startswith("C")}
    for names in (NAMES, {}):
        kept = {n: t for n, t in names.items() if "Batch" in t}
        found = search(tmp_path, {"Batch": cells}, kept, [BATCH])["batch"]
        assert found.cells == {"code": (3, 3), "wash": (4, 3), "place": (5, 3)}


def test_a_record_may_be_called_as_a_line_of_the_card_above(tmp_path: Path) -> None:
    for names in (NAMES, {}):
        kept = {n: t for n, t in names.items() if "Recipe" in t}
        fields = (*RECIPE.fields, Part("sugar", "Sugar"))
        cells = {**RECIPE_CELLS, "A3": "Sugar", "A8": "water"}
        found = search(tmp_path, {"Recipe": cells}, kept, [replace(RECIPE, fields=fields)])["recipe"]
        assert found.cells == {"water": (2, 2), "sugar": (3, 2), "item": (5, 1), "amount": (5, 2)}
        assert not found.doubts


def test_a_cards_flags_are_found_by_their_heading_above_its_lines(tmp_path: Path) -> None:
    look = replace(BATCH, fields=(*BATCH.fields, Part("flags", "To look at")))
    cells = {**BATCH_CELLS, "B2": "Field", "C2": "Value", "F2": "To look at"}
    found = search(tmp_path, {"Batch": cells}, {}, [look])["batch"]
    assert found.cells["flags"] == (2, 6)
    assert found.headings["flags"] == "To look at"
    assert not found.missing


def test_names_of_a_copied_sheet_lead_to_it_where_the_sheet_is_gone(tmp_path: Path) -> None:
    search(tmp_path, {"Schnitte": {**CUTS_CELLS, "A3": "Glas", "B3": "Menge"}}, {}, [])
    path = tmp_path / "log.xlsx"
    book = openpyxl.load_workbook(path)
    for name, target in NAMES.items():
        if "Cuts" in target:
            book.defined_names[name] = DefinedName(name, attr_text="#REF!")
            text = target.replace("Cuts", "Schnitte")
            book["Schnitte"].defined_names[name] = DefinedName(name, attr_text=text)
    book.save(path)
    found = find(open_workbook(path), [CUTS])["cuts"]
    assert (found.tab, found.cells["jar"], found.cells["volume"]) == ("Schnitte", (3, 1), (3, 2))
    assert not found.missing
    assert not found.doubts


def test_what_stands_above_headings_or_units_is_told(tmp_path: Path) -> None:
    sorted_units = {"A3": "Jar", "B3": "Volume", "B4": 250, "B5": "mL", "C3": "Temperature", "C5": "°C"}
    sorted_all = {"A3": 1, "B3": 250, "A4": "Jar", "B4": "Volume", "C4": "Temperature", "B5": "mL"}
    for cells, place in ((sorted_units, (4, 2)), (sorted_all, (3, 1))):
        (doubt,) = (d for d in cuts(tmp_path, cells).doubts if d.rule == "records_above")
        assert doubt.place == ("Cuts", *place)
    above = {**CUTS_CELLS, "A1": 2026, "B2": 5}
    assert not cuts(tmp_path, above).doubts


def test_a_unit_nobody_knows_is_still_the_units_row_or_column(tmp_path: Path) -> None:
    heading = {cell: value for cell, value in CUTS_CELLS.items() if cell.endswith("3")}
    found = cuts(tmp_path, {**heading, "C4": "warm", "A5": 1})
    assert found.first_row == 5
    assert found.units == {"temperature": (4, 3)}
    fields = (*BATCH.fields, Part("pot", "Pot", VOLUMES))
    cells = {**BATCH_CELLS, "D4": "barrels", "B6": "Pot", "C6": 10, "D6": "L"}
    found = search(tmp_path, {"Batch": cells}, {}, [replace(BATCH, fields=fields)])["batch"]
    assert found.units == {"wash": (4, 4), "pot": (6, 4)}
