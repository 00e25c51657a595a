"""A person's own workbook is recognised, and filled in place with nothing changed but what they agreed to.

Expected results: 27 CFR 30.61 (193 proof read at 75 °F is 189.5 true proof); "Dilution of alcohol to lower
strengths" from the Gauging Manual (50 to 40: 25.6 volumes of water to 100; 60 to 40: 51.4); pure water of
30 °C, 995.65 kg/m3 by IAPWS-95, in which a hydrometer for 20 °C shows 0.9977; Balling's formula as the ASBC
has it (from memory).
"""

import hashlib
import re
import shutil
from dataclasses import replace
from datetime import datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from adopt_score import judged
from files import harm_ods, harm_xlsx
from files.workbook_samples import CORPUS
from later_logs import LATER, table
from later_logs import log as log_of
from odf.draw import Frame
from odf.number import Number, NumberStyle
from odf.number import Text as NumberText
from odf.opendocument import load
from odf.style import Style, TableCellProperties, TableColumnProperties
from odf.table import Table as OdsTable
from odf.table import TableCell, TableColumn, TableRow
from openpyxl.chart import LineChart
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor
from openpyxl.styles import Border, Font, PatternFill, Side
from openpyxl.utils.cell import column_index_from_string, coordinate_from_string, get_column_letter
from others import OTHERS
from own_logs import (
    DUTCH,
    FRENCH,
    GERMAN,
    LOGS,
    NO_LOG,
    POLISH,
    SEVERAL,
    START,
    TEXTS,
    TITLED,
    UNSEEN,
    US,
    Log,
    Row,
    days,
)
from typer.testing import CliRunner

from sheetcalc import files, filling, layouts
from sheetcalc.cli import app
from sheetcalc.findings import Finding
from sheetcalc.own import adopt, adopted
from sheetcalc.own import tables as own_tables

FILLED = Path(__file__).parents[1] / "examples" / "filled"


def proposed(log: Log, folder: Path, *agreed: str, more: str = "") -> tuple[Path, Path]:
    """A log and the layout proposed for it, with the columns of some keys agreed to."""
    path = log.make(folder)
    layout = folder / "log.toml"
    adopt.propose(path, layout)
    text = layout.read_text(encoding="utf-8")
    for key in agreed:
        block = rf'# \[\[tables\.columns\]\]\n# key = "{key}"\n(?:# .*\n)*?# add = false'
        text = re.sub(block, lambda found: re.sub("^# ", "", found[0], flags=re.M), text)
        text, count = re.subn(rf'(key = "{key}"\n(?:[^\[]*?\n)??)(add|write) = false', r"\1\2 = true", text)
        assert count, key
    layout.write_text(text.replace("[constants]", f"[constants]\n{more}", 1), encoding="utf-8")
    return path, layout


def filled(path: Path, layout: Path) -> tuple[Finding, ...]:
    """The findings of a fill by a layout."""
    return filling.fill(path, layout=layout)


def columns(path: Path, tab: str, row: int) -> dict[str, list[Any]]:
    """What stands under each heading of a row, as another program reads it (xlsx)."""
    sheet = openpyxl.load_workbook(path)[tab]
    return {
        str(head.value): [sheet.cell(r, head.column).value for r in range(row + 1, sheet.max_row + 1)]
        for head in sheet[row]
        if head.value is not None
    }


@pytest.mark.parametrize("log", (*LOGS, *UNSEEN, *LATER, *OTHERS), ids=lambda log: log.name)
def test_no_heading_is_taken_for_what_it_is_not_and_hardly_one_is_missed(log: Log, tmp_path: Path) -> None:
    verdicts = judged(log, tmp_path)
    assert not {place: verdict for place, verdict in verdicts.items() if verdict == "wrong"}
    assert list(verdicts.values()).count("missed") <= (len(verdicts) // 8 if log in OTHERS else 1)


RUN = ["runs.run", "runs.charge_volume L", "runs.charge_strength % vol"]
OUT = ["runs.collected_volume L", "runs.collected_reading % vol", "runs.collected_temperature °C"]
JAR = ["cuts.jar", "cuts.volume mL", "cuts.reading % vol", "cuts.temperature °C"]
FILTER = ["carbon.volume_in L", "carbon.strength_in % vol", "carbon.carbon_mass g"]
FILTER += ["carbon.volume_out L", "carbon.strength_out % vol"]
CHARGES: list[Row] = [[1, 40, 8, 6, 55, 20], [2, 42, 8, 6.1, 54, 19], [3, 41, 8, 6, 55, 19]]
GLASSES: list[Row] = [[1, 250, 82, 20], [2, 250, 80, 20], [3, 250, 70, 21]]
SHORT = (
    log_of(
        "a strength is of the volume left of it.xlsx",
        Runs=table(["#", "In L", "%", "Out L", "%", "°C"], [*RUN, *OUT], *CHARGES),
    ),
    log_of(
        "the unit says what kind of value it is.xlsx",
        Carbon=table(
            ["L in", "% in", "g", "L out", "% out"], FILTER, [10, 45, 200, 9.8, 44.8], [9, 44, 200, 8.9, 43.8]
        ),
    ),
    log_of(
        "a group stands for the columns right of it.xlsx",
        Gotowanie=table(
            ["nr", "l", "%", "l", "%", "°C"],
            [*RUN, *OUT],
            *CHARGES,
            above=[[None, "wsad", None, "odebrane"]],
        ),
    ),
    log_of(
        "usual values tell a unit and a count the jar.xlsx",
        Feinbrand=table(["Dings", "Menge", "%", "Temp."], JAR, *GLASSES),
        Cuts=table(["No", "Vol", "%", "Temp"], JAR, *GLASSES),
    ),
    log_of(
        "words of the trade tell their column.xlsx",
        Cuts=table(
            ["Jar", "mL", "Who knows"],
            ["cuts.jar", "cuts.volume mL", "cuts.fraction"],
            ["a", 100, "heads"],
            ["b", 200, "hearts"],
        ),
    ),
    log_of(
        "an ordinal and a card beside are headings still.xlsx",
        Brand=table(
            ["Nr.", "Maische L", "1. Tropfen", "Destillat L", "% vol", None, "Hefe g", 5],
            ["runs.run", "runs.charge_volume L", "runs.first_drip_at", *OUT[:2]],
            [1, 40, datetime(2025, 9, 6, 9), 6, 55],
            [2, 40, datetime(2025, 9, 7, 9), 6, 54],
        ),
    ),
    log_of(
        "a title makes up for headings.xlsx",
        Fining=table(
            ["Date", "Whatever", "mL"],
            ["clearing.done_at", "", "clearing.dose mL"],
            [datetime(2025, 9, 6), "x", 30],
            [datetime(2025, 9, 8), "y", 40],
        ),
    ),
)


@pytest.mark.parametrize("log", SHORT, ids=lambda log: log.name)
def test_short_headings_are_read_by_what_stands_around_them(log: Log, tmp_path: Path) -> None:
    assert set(judged(log, tmp_path).values()) <= {"right", "rightly left alone"}


@pytest.mark.parametrize(
    "headings", [["Date", "°C", "%", "mm"], ["Lot", "L", "%", "°C"], ["Name", "Start", "Hours", "%"]]
)
def test_a_bare_percent_alone_switches_nothing_on(headings: list[str], tmp_path: Path) -> None:
    records: list[Row] = [[datetime(2025, 9, 6), 12, 60, 3], [datetime(2025, 9, 7), 14, 70, 5]]
    verdicts = judged(log_of("list.xlsx", List=table(headings, [""] * 4, *records)), tmp_path)
    assert "wrong" not in verdicts.values()


@pytest.mark.parametrize("log", [log for log in LOGS if log is not NO_LOG], ids=lambda log: log.name)
def test_adopting_writes_no_workbook_and_its_layout_fills_nothing_until_agreed(
    log: Log, tmp_path: Path
) -> None:
    path = log.make(tmp_path)
    before = path.read_bytes()
    adopt.propose(path)
    layout = path.with_suffix(".layout.toml")
    filled(path, layout)
    assert path.read_bytes() == before


def test_of_what_is_no_log_nothing_is_switched_on_and_a_letter_is_refused(tmp_path: Path) -> None:
    adopt.propose(NO_LOG.make(tmp_path), tmp_path / "household.toml")
    with pytest.raises(layouts.LayoutError, match=r"no \[\[tables\]\] is switched on"):
        adopted.load(tmp_path / "household.toml")
    letter = Log("letter.xlsx", {"Letter": [["Dear all,"], ["no numbers", "here"], ["at all"]]}, {})
    with pytest.raises(files.BadWorkbook, match="Nothing in it looks like a table"):
        adopt.propose(letter.make(tmp_path), tmp_path / "letter.toml")
    assert not (tmp_path / "letter.toml").exists()


def test_a_table_that_is_not_recognised_is_told_and_can_be_declared_by_hand(tmp_path: Path) -> None:
    barrels: list[Row] = [
        ["Fassbuch", None, None],
        ["Tag", "Grädigkeit A", "Wärme B"],
        [datetime(2025, 9, 6), 52, 30],
        [datetime(2025, 9, 7), 40, 20],
    ]
    path = replace(GERMAN, tabs=GERMAN.tabs | {"Fässer": barrels}).make(tmp_path)
    told = adopt.propose(path)
    assert "  Not recognised, left alone: table at Fässer!A2 (Tag, Grädigkeit A, Wärme B)" in told
    layout = path.with_suffix(".layout.toml")
    text = layout.read_text(encoding="utf-8")
    assert "# strength: lot (Lot), volume (Volume), reading (" in text
    by_hand = text[text.index('# [[tables]]\n# sheet = "?"') :].replace("# ", "")
    for sign in ("strength", "lot", "reading", "temperature"):
        by_hand = by_hand.replace('"?"', f'"{sign}"', 1)
    by_hand = by_hand.replace(' A"', ' A"\nunit = "% vol"').replace(' B"', ' B"\nunit = "°C"')
    added = '[[tables.columns]]\nkey = "strength_20"\nheading = "wahr"\nunit = "% vol"\nadd = true\n'
    layout.write_text(by_hand + added, encoding="utf-8")
    filled(path, layout)
    assert columns(path, "Fässer", 2)["wahr"][1] == pytest.approx(40, abs=0.05), "read at 20 °C"


def test_one_of_our_own_workbooks_needs_no_layout(tmp_path: Path) -> None:
    for path in sorted(FILLED.glob("bench*.*")):
        with pytest.raises(files.BadWorkbook, match="one of ours"):
            adopt.propose(path, tmp_path / "x.toml")


def test_a_layout_that_is_there_is_not_written_over_without_being_told(tmp_path: Path) -> None:
    path = GERMAN.make(tmp_path)
    layout = path.with_suffix(".layout.toml")
    layout.write_text("mine", encoding="utf-8")
    with pytest.raises(files.BadWorkbook, match="is there already"):
        adopt.propose(path)
    assert layout.read_text(encoding="utf-8") == "mine"
    adopt.propose(path, over=True)
    assert adopted.load(layout).parts
    assert layout.with_name(layout.name + ".before").read_text(encoding="utf-8") == "mine"


def test_adopting_again_knows_the_columns_that_fill_added(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    filled(path, layout)
    adopt.propose(path, tmp_path / "again.toml")
    book = openpyxl.load_workbook(path)
    book["Maische"]["B2"] = 1.06
    book.save(path)
    filled(path, tmp_path / "again.toml")
    assert columns(path, "Maische", 1)["Gravity at 20 °C (SG)"][0] == pytest.approx(1.06, abs=0.0002)


def test_adopting_a_filled_workbook_takes_no_result_for_a_reading(tmp_path: Path) -> None:
    heads = ["Datum", "Dichte", "Temp"]
    tab: list[Row] = [[*heads, None, *heads, None, *JARS[0]]]
    jars = dict(enumerate(JARS[1:]))
    for n, day in enumerate(days(5)):
        tab.append([day, 1.06 - n / 100, 20, None, day, 1.05 - n / 100, 20, None, *jars[n]])
    path, layout = proposed(
        Log("side.xlsx", {"Log": tab}, {}),
        tmp_path,
        "gravity_20",
        "strength_20",
        "flags",
        "alcohol",
        more="original_gravity = 1.07",
    )
    text = layout.read_text(encoding="utf-8")
    layout.write_text(
        text.replace('batch = "Log 1"', 'batch = "pears"').replace("(Log 1)", "(pears)"), "utf-8"
    )
    filled(path, layout)
    book = files.open_workbook(path)
    (tab_, row, column) = book.names["sheetcalc_cuts_strength_20"]
    book.write(tab_, row, column, "wahre Stärke")
    book.save()
    before = columns(path, "Log", 1)
    again = tmp_path / "again.toml"
    adopt.propose(path, again)
    assert [[h.key for h in part.headings if not h.add] for part in adopted.load(again).parts] == [
        [h.key for h in part.headings if not h.add] for part in adopted.load(layout).parts
    ]
    assert not [f for f in filling.check(path, layout=again) if f.level == "error"]
    again.write_text(
        again.read_text("utf-8").replace("[constants]", "[constants]\noriginal_gravity = 1.07", 1), "utf-8"
    )
    filled(path, again)
    after = columns(path, "Log", 1)
    # The advice in flags names the layout file.
    assert {k: v for k, v in after.items() if "look" not in k} == {
        k: v for k, v in before.items() if "look" not in k
    }
    assert list(after) == list(before)


def test_labels_of_a_card_that_are_not_recognised_are_told_and_words_parted_at_a_line_are_joined(
    tmp_path: Path,
) -> None:
    tab: list[Row] = [
        ["Lot", "P-1"],
        ["Fruit", "Birnen"],
        ["OG", 1.06],
        [],
        ["Datum", "Uhr-", "Dichte", "Temp."],
    ]
    tab += [[None, "zeit", None, None]]
    tab += [
        [day.replace(hour=0, minute=0), time(18, 30), 1.06 - n / 100, 20] for n, day in enumerate(days(3))
    ]
    path = Log("karte.xlsx", {"Maische": tab}, {}).make(tmp_path)
    told = adopt.propose(path)
    assert any(re.search(r"A2 +Fruit +not recognised, left alone", line) for line in told)
    assert any(re.search(r"B6 +Uhrzeit +sure +Taken at, date in 'Datum'", line) for line in told)
    layout = path.with_suffix(".layout.toml")
    layout.write_text(layout.read_text("utf-8").replace('"Uhrzeit"', '"Uhr- zeit"'), encoding="utf-8")
    assert not [f for f in filling.check(path, layout=layout) if f.level == "error"], (
        "as it was called before"
    )


def test_a_column_whose_values_repeat_does_not_tell_runs_apart(tmp_path: Path) -> None:
    rows: list[Row] = [
        ["Passe", "Charge (L)", "TAV charge (%)"],
        ["1re", 50, 8],
        ["1re", 50, 8],
        ["2e", 20, 25],
    ]
    _, layout = proposed(replace(GERMAN, tabs=GERMAN.tabs | {"Distillation": rows}), tmp_path)
    (part,) = [part for part in adopted.load(layout).parts if part.sheet == "runs"]
    assert "run" not in [heading.key for heading in part.headings]


def test_of_a_workbook_with_nothing_of_the_trade_no_layout_is_written_unless_asked_for(
    tmp_path: Path,
) -> None:
    wages: list[Row] = [["Name", "Hours", "Pay", "Date"], ["A", 8, 172, START], ["B", 7, 140, START]]
    path = Log("wages.xlsx", {"May": wages}, {}).make(tmp_path)
    with pytest.raises(files.BadWorkbook, match=r"Found nothing of the trade in it\. Its tables: May!A1"):
        adopt.propose(path)
    assert not list(tmp_path.glob("*.toml"))
    adopt.propose(path, tmp_path / "mine.toml")
    assert (tmp_path / "mine.toml").exists()
    cellar: list[Row] = [["Fass", "wieviel % vol"], [1, 50], [2, 52]]
    adopt.propose(Log("cellar.xlsx", {"Keller": cellar}, {}).make(tmp_path))
    assert (tmp_path / "cellar.layout.toml").exists()


def test_every_match_is_explained_with_its_cell_and_first_values(tmp_path: Path) -> None:
    _, layout = proposed(TEXTS, tmp_path)
    text = layout.read_text(encoding="utf-8")
    assert '# C1 Sample temp = "Sample temperature": sure' in text
    assert "each value says °F" in text
    assert "read as 68.0 °F" in text


def test_true_proof_from_a_proof_hydrometer_in_their_fahrenheit_log(tmp_path: Path) -> None:
    path, layout = proposed(US, tmp_path, "strength_20", "flags")
    filled(path, layout)
    strengths = columns(path, "Jars 2025", 1)["Strength (proof)"]
    assert strengths[0] == pytest.approx(189.5, abs=0.1)
    assert strengths[3] is None, "the totals row"
    assert columns(path, "Jars 2025", 1)["Volume (fl oz)"][3] == "=SUM(C2:C4)"


def test_water_to_add_in_their_own_column_once_they_said_so(tmp_path: Path) -> None:
    path, layout = proposed(FRENCH, tmp_path)
    filled(path, layout)
    assert columns(path, "Réduction", 1)["Eau à ajouter (L)"] == [None, None]
    text = layout.read_text(encoding="utf-8")
    block = 'heading = "Eau à ajouter (L)"\nunit = "L"\nwrite = '
    layout.write_text(text.replace(f"{block}false", f"{block}true"), encoding="utf-8")
    filled(path, layout)
    assert columns(path, "Réduction", 1)["Eau à ajouter (L)"] == pytest.approx([25.6, 51.4], abs=0.5)


def test_headings_of_two_lines_with_merged_cells(tmp_path: Path) -> None:
    path, layout = proposed(FRENCH, tmp_path, "collected_strength")
    filled(path, layout)
    under = columns(path, "Distillation", 2)
    assert under["Collected strength (% vol)"][0] == pytest.approx(52, abs=0.05), "read at 20 °C"
    assert under["Collected strength (% vol)"][2] is None
    assert under["Volume chargé (L)"][2] == "=SUM(B3:B4)"


def test_gravity_of_pure_water_at_30_degrees(tmp_path: Path) -> None:
    # Without an original gravity there is no alcohol to reckon with.
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    filled(path, layout)
    assert columns(path, "Maische", 1)["Gravity at 20 °C (SG)"][4] == pytest.approx(1.0, abs=0.0002)


def test_alcohol_by_balling_from_an_original_gravity_in_the_layout(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "alcohol", more='original_gravity = "12 °P"')
    filled(path, layout)
    apparent = 2.5156  # °P of 1.0098, by the polynomial of the ASBC
    real = 0.1808 * 12 + 0.8192 * apparent
    by_mass = (12 - real) / (2.0665 - 0.010665 * 12)
    by_volume = by_mass * 1.0098 * 0.998203 / 0.78924
    assert columns(path, "Maische", 1)["Alcohol so far (% vol)"][3] == pytest.approx(by_volume, abs=0.15)


def test_a_result_that_lacks_something_says_what_to_give(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "alcohol")
    (told,) = [f for f in filling.check(path, layout=layout) if f.rule == "stays_blank"]
    assert "Original gravity (original_gravity)" in told.message
    assert "[constants]" in told.advice


def test_a_finding_names_the_tabs_that_they_have(tmp_path: Path) -> None:
    tabs: dict[str, list[Row]] = {
        "Verdünnung": [
            ["Charge", "Volumen (L)", "Alkoholgehalt (% vol)", "Temperatur (°C)", "Zielstärke (% vol)"],
            ["A", 10, 70, 20, 40],
        ],
        "Flaschen": [
            ["Datum", "Charge", "Flaschen", "Flaschengröße (mL)", "Alkohol Etikett (% vol)"],
            [datetime(2025, 11, 1), "B", 20, 500, 40],
        ],
    }
    path, layout = proposed(Log("keller.xlsx", tabs, {}), tmp_path)
    (told,) = [f for f in filling.check(path, layout=layout) if f.rule == "unknown_lot"]
    assert told.message.startswith("There is no lot B on Verdünnung, so")


@pytest.mark.parametrize("name", ["zeiten.xlsx", "zeiten.ods"])
def test_date_and_time_of_two_columns_are_read_as_one_moment(name: str, tmp_path: Path) -> None:
    times = [time(18, 30), time(6, 30), time(9, 0)] if name.endswith("xlsx") else ["18:30", "6:30 am", "9:00"]
    days = [datetime(2025, 9, 6), "7.9.2025", None]
    tab: list[Row] = [["Datum", "Uhrzeit", "Dichte", "Temp"]]
    tab += [[day, at, sg, 20] for day, at, sg in zip(days, times, (1.06, 1.05, 1.04), strict=True)]
    path, layout = proposed(Log(name, {"Gärung": tab}, {}), tmp_path, "daily_change")
    (told,) = [f for f in filled(path, layout) if f.rule == "time_without_date"]
    assert (told.cell, told.advice) == ("B4", "Type the date in A4.")
    after = files.open_workbook(path).cells("Gärung")
    assert after[3, 5].value == pytest.approx(-20, abs=0.2), "ten points in half a day"


def test_which_instruments_were_taken_for_granted_is_told(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path)
    told = filling.check(path, layout=layout)
    assert any(f.rule == "taken_for_granted" and "20 °C" in f.message for f in told)


def test_a_card_above_the_table_and_notes_beside_it(tmp_path: Path) -> None:
    path, layout = proposed(TITLED, tmp_path, "alcohol", "flags")
    before = columns(path, "Hoja1", 5)
    filled(path, layout)
    after = columns(path, "Hoja1", 5)
    assert {key: after[key] for key in before} == before
    assert list(after)[len(before) :] == ["Alcohol so far (% vol)", "To look at"]
    assert after["Alcohol so far (% vol)"][3] > 8, (
        "1.080 to 1.012: common practice, 131 x the difference is 8.9"
    )
    assert after["Alcohol so far (% vol)"][3] < 9.8


def test_several_tables_of_one_kind_on_one_sheet_are_batches_of_their_own(tmp_path: Path) -> None:
    path, layout = proposed(SEVERAL, tmp_path, "daily_change")
    assert [p.batch for p in adopted.load(layout).parts] == ["2025 1", "2025 2", ""]
    filled(path, layout)
    first, second = columns(path, "2025", 2), columns(path, "2025", 9)
    assert first["Daily change (points/d)"][1] == pytest.approx(-18, abs=0.2)
    assert second["Daily change (points/d)"][0] is None
    assert second["Daily change (points/d)"][1] == pytest.approx(-17, abs=0.2)


def test_results_of_tables_side_by_side_stand_beside_each_other(tmp_path: Path) -> None:
    heads = ["Datum", "Dichte", "Temp"]
    tab: list[Row] = [[*heads, None, *heads]]
    tab += [[day, 1.06, 20, None, day, 1.04, 20] for day in days(3)]
    path, layout = proposed(Log("side.xlsx", {"Gärung": tab}, {}), tmp_path)
    text = layout.read_text(encoding="utf-8")
    offer = re.compile(r'(key = "gravity_20"\n.*\n.*\nadd = )false')
    layout.write_text(offer.sub(r"\1true", text, count=1), encoding="utf-8")
    filled(path, layout)
    layout.write_text(offer.sub(r"\1true", text), encoding="utf-8")
    filled(path, layout)
    after = files.open_workbook(path).cells("Gärung")
    assert [after[4, column].value for column in (8, 9)] == [1.06, 1.04], "read at 20 °C"


def test_flags_stand_in_the_column_of_their_own_table_alone_and_on_one_line(tmp_path: Path) -> None:
    wash: list[Any] = ["Date", "SG", "Sample temp (°C)"]
    jars: list[Any] = ["Jar", "mL", "ABV", "Jar temp (°C)", "Vapour °C"]
    rows = [[day, sg, 20] for day, sg in zip(days(3), (1.06, 1.05, 1.04), strict=True)]
    rows[1][2] = 68
    beside: list[Row] = [["1", 200, 80, 20, 79], ["2", 200, 180, 20, 174], ["3", 200, 70, 20, 82]]
    tab: list[Row] = [[*wash, None, *jars], *[[*a, None, *b] for a, b in zip(rows, beside, strict=True)]]
    path, layout = proposed(Log("flags.xlsx", {"Log": tab}, {}), tmp_path, "flags")
    filled(path, layout)
    under = columns(path, "Log", 1)
    of_wash, of_jars = under["To look at (fermentation)"][1], under["To look at (cuts)"][1]
    assert "[Sample temp (°C)]" in of_wash and "[ABV]" not in of_wash and "[Vapour °C]" not in of_wash
    assert "[ABV]" in of_jars and "[Vapour °C]" in of_jars and "[Sample temp (°C)]" not in of_jars
    assert "\n" not in of_jars


JARS: list[Row] = [
    ["Jar", "mL", "ABV", "Jar temp (°C)", "Vapour °C", "Cut"],
    *[[str(n), 400, abv, 20, hot, cut] for n, abv, hot, cut in zip(
        (1, 2, 3, 4, 5), (80, 78, 74, 68, 60), (99, 99, 99.5, 99.5, 100),
        ("foreshots", "tête", "Herzstück", "corazón", "coda"), strict=True,
    )],
]  # fmt: skip


def test_jars_without_a_run_are_of_one_and_fractions_are_understood_in_the_words_of_the_trade(
    tmp_path: Path,
) -> None:
    path, layout = proposed(Log("jars.xlsx", {"Cuts": JARS}, {}), tmp_path, "cumulative_volume")
    told = filled(path, layout)
    assert columns(path, "Cuts", 1)["Volume so far (mL)"] == [400, 800, 1200, 1600, 2000]
    assert not [f for f in told if f.rule in ("fraction_out_of_order", "unreadable", "first_runnings_kept")]
    (hot,) = [f for f in told if f.rule == "vapour_disagrees_throughout"]
    assert "batch card" not in hot.advice and "[constants] in log.toml" in hot.advice


def test_a_run_given_in_the_layout_tells_of_which_charge_the_jars_are(tmp_path: Path) -> None:
    runs: list[Row] = [["Run", "Charge (L)", "Charge ABV"], ["3", 20, 25], ["4", 10, 30]]
    log = Log("jars.xlsx", {"Still runs": runs, "Cuts": JARS}, {})
    path, layout = proposed(log, tmp_path, "expected_strength")
    (told,) = [f for f in filled(path, layout) if f.rule == "run_not_said"]
    assert "log.toml" in told.advice
    text = layout.read_text(encoding="utf-8")
    for given in ('[constants]\nrun = "4"', 'sheet = "cuts"\nconstants = { run = "4" }'):
        place = given.partition("\n")[0]
        layout.write_text(text.replace(place, given, 1), encoding="utf-8")
        filled(path, layout)
        strengths = columns(path, "Cuts", 1)["Expected strength (% vol)"]
        assert all(strengths), given


def test_words_of_their_own_for_a_fraction_are_said_in_the_layout(tmp_path: Path) -> None:
    rows: list[Row] = [[*row] for row in JARS]
    rows[2] = [*rows[2][:5], "hd"]
    path, layout = proposed(Log("jars.xlsx", {"Cuts": rows}, {}), tmp_path)
    (told,) = [f for f in filled(path, layout) if f.rule == "unreadable"]
    assert 'words = { "hd" = "' in told.advice and "log.toml" in told.advice
    text = layout.read_text(encoding="utf-8")
    words = 'words = { "HD" = "heads" }\n'
    for place in ('sheet = "cuts"\n', 'heading = "Cut"\n'):
        layout.write_text(text.replace(place, place + words), encoding="utf-8")
        assert not [f for f in filled(path, layout) if f.rule == "unreadable"]
    layout.write_text(text.replace(place, place + words.replace("heads", "head")), encoding="utf-8")
    with pytest.raises(layouts.LayoutError, match="'HD' is to mean 'head'; it can be first runnings, heads"):
        adopted.load(layout)


def test_a_constant_that_can_hardly_be_is_told_as_a_cell_would_be(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, more="original_gravity = 52")
    (told,) = [f for f in filling.check(path, layout=layout) if f.column == "original_gravity in log.toml"]
    assert told.level == "error" and "would fit as 52 points" in told.message.casefold()


def test_results_that_lack_something_are_listed_with_what_they_lack(tmp_path: Path) -> None:
    wash: list[Row] = [["Date", "SG", "Wash temp (°C)"]]
    wash += [[day, sg, 20] for day, sg in zip(days(3), (1.06, 1.04, 1.02), strict=True)]
    path, layout = proposed(Log("wash.xlsx", {"Wash": wash, "Cuts": JARS}, {}), tmp_path)
    text = layout.read_text(encoding="utf-8")

    def off(key: str) -> str:
        told = r"# SWITCHED OFF: needs ([^.]*)\.\n# \[\[tables.columns\]\]\n"
        block = re.search(rf'{told}# key = "{key}"', text)
        return " ".join(block[1].replace("#", "").split()) if block else ""

    assert off("gravity_20") == "sample_temperature (Sample temperature)"
    assert "original_gravity (Original gravity) under [constants]" in off("attenuation")
    assert off("expected_strength") == "a table of runs"
    assert re.search(r'\n\[\[tables.columns\]\]\nkey = "strength_20"\n.*\n.*\nadd = false', text)
    other = re.sub(r'key = "wash_temperature"\n((?:.*\n){1,4})# (key = "sample_temperature")', r"\1\2", text)
    block = '[[tables.columns]]\nkey = "gravity_20"\nheading = "true"\nunit = "SG"\nadd = true\n'
    layout.write_text(other.replace("# Cuts:", f"{block}# Cuts:"), encoding="utf-8")
    filled(path, layout)
    assert columns(path, "Wash", 1)["true"] == pytest.approx([1.06, 1.04, 1.02, *[None] * 2][:3], abs=5e-4)


def test_a_second_fill_finds_its_columns_again_and_changes_nothing(tmp_path: Path) -> None:
    for log, key in ((GERMAN, "gravity_20"), (POLISH, "strength_20")):
        folder = tmp_path / log.name
        folder.mkdir()
        path, layout = proposed(log, folder, key, "flags")
        filled(path, layout)
        once = path.read_bytes()
        filled(path, layout)
        assert path.read_bytes() == once


def test_moved_columns_inserted_rows_and_sorted_records_are_found_by_their_headings(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    filled(path, layout)
    book = openpyxl.load_workbook(path)
    sheet = book["Maische"]
    rows: list[list[Any]] = [[c.value for c in row] for row in sheet.iter_rows()]
    sheet.delete_rows(1, sheet.max_row)
    for row in [["Mein Gärbuch", "erfunden"], [], rows[0], *reversed(rows[1:])]:
        sheet.append([*row[1:3], "x" if row == rows[0] else None, row[0], *row[3:]] if len(row) > 3 else row)
    book.save(path)
    filled(path, layout)
    under = columns(path, "Maische", 3)
    assert under["Gravity at 20 °C (SG)"][0] == pytest.approx(1.0, abs=0.0002)
    assert list(under).count("Gravity at 20 °C (SG)") == 1


@pytest.mark.parametrize("log", [GERMAN, POLISH, SEVERAL], ids=lambda log: log.name)
def test_a_column_of_ours_that_was_renamed_is_found_again(log: Log, tmp_path: Path) -> None:
    key = "strength_20" if log is POLISH else "daily_change"
    path, layout = proposed(log, tmp_path, key)
    filled(path, layout)
    book = files.open_workbook(path)
    ours = [place for name, place in book.names.items() if name.startswith("sheetcalc_")]
    assert ours
    for place in ours:
        book.write(*place, "Mine")
    book.save()
    before = path.read_bytes()
    filled(path, layout)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("Maische", "B1", "Spindel"), r'"°Oe/SG" \(reading\) is not on sheet'),
        (("Maische", "D1", "Temp"), r'"Temp" stands 2 times'),
        (("Maische", "title", "Gaerung"), r"there is no sheet 'Maische'"),
    ],
)
def test_a_heading_that_is_gone_or_doubled_is_told_and_nothing_is_written(
    change: tuple[str, str, str], says: str, tmp_path: Path
) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    text = layout.read_text(encoding="utf-8")
    layout.write_text(re.sub(r'# D1 .*?heading = "Bemerkung"\n', "", text, flags=re.S), encoding="utf-8")
    book = openpyxl.load_workbook(path)
    tab, cell, value = change
    if cell == "title":
        book[tab].title = value
    else:
        book[tab][cell] = value
    book.save(path)
    before = path.read_bytes()
    with pytest.raises(files.BadWorkbook, match=says) as trouble:
        filled(path, layout)
    assert str(trouble.value).startswith("log.toml, [[tables]] 1 (fermentation)")
    assert path.read_bytes() == before


def test_an_added_column_of_an_xlsx_looks_like_its_neighbours_and_shows_its_heading(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20", "attenuation", more="original_gravity = 1.06")
    book = openpyxl.load_workbook(path)
    sheet = book["Maische"]
    line = Side(style="thin")
    for row in sheet["A1:D6"]:
        for cell in row:
            cell.fill = PatternFill("solid", fgColor="DDEEFF" if cell.row > 1 else "224466")
            cell.border = Border(line, line, line, line)
            cell.number_format = {2: "0.000", 3: '0.0" °C"'}.get(cell.column, "General")
    sheet["B1"].font = sheet["D1"].font = Font(bold=True)
    sheet.column_dimensions["D"].width, sheet.column_dimensions["E"].width = 30, 3
    # As spreadsheet programs write it: one width for all columns to the right.
    sheet.column_dimensions["E"].min, sheet.column_dimensions["E"].max = 5, 16384
    book.save(path)
    filled(path, layout)
    sheet = openpyxl.load_workbook(path)["Maische"]
    assert (sheet["E1"].value, sheet["F1"].value) == ("Gravity at 20 °C (SG)", "Sugar fermented (%)")
    assert sheet["E1"].font.bold and sheet["F1"].fill.fgColor.rgb == sheet["D1"].fill.fgColor.rgb
    for cell in (sheet["E3"], sheet["F3"]):
        assert (cell.fill.fgColor.rgb, cell.border.left.style) == (sheet["C3"].fill.fgColor.rgb, "thin")
    assert (sheet["E3"].number_format, sheet["F3"].number_format) == ("0.000", "0")
    widths = sheet.column_dimensions
    assert widths["E"].width >= len("Gravity at 20 °C (SG)")
    assert widths["F"].width >= len("Sugar fermented (%)")
    assert (widths["D"].width, widths["G"].width, widths["G"].max) == (30, 3, 16384)


@pytest.mark.parametrize("ending", ["xlsx", pytest.param("ods", marks=pytest.mark.office)])
def test_results_show_dates_and_digits_of_ours_and_not_the_colour_of_one_record(
    ending: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    runs: list[Row] = [["Run", "Day", "Charge (L)", "Charge ABV", "Heat on", "Drip"]]
    runs += [[str(n), day, 40, 8.0, "18:30", "19:10"] for n, day in enumerate(days(2), start=1)]
    log = Log(f"dates.{ending}", {"Still runs": runs}, {})
    path, layout = proposed(log, tmp_path, "expected_end", "expected_strength", more='still_power = "4 kW"')
    _redden(path, "C2")
    filled(path, layout)
    book = files.open_workbook(path)
    cells = book.cells("Still runs")
    by_heading = {cell.value: column for (row, column), cell in cells.items() if row == 1}
    end, strength = by_heading["End due"], by_heading["Expected strength (% vol)"]
    assert cells[2, end].kind == "moment"
    if ending == "ods":
        request.getfixturevalue("soffice")("xlsx", tmp_path, path)
    shown = openpyxl.load_workbook(path.with_suffix(".xlsx"))["Still runs"]
    assert shown.cell(2, end).number_format.casefold().replace("\\", "") == "yyyy-mm-dd hh:mm"
    assert shown.cell(2, strength).number_format == "0.0"
    assert shown.column_dimensions[get_column_letter(end)].width >= len("2025-09-06 20:15")
    assert [shown.cell(2, c).fill.fill_type for c in (3, strength)] == ["solid", None]


def _redden(path: Path, cell: str) -> None:
    """Give one cell a red ground, as a person does who wants to look at it again."""
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        book.worksheets[0][cell].fill = PatternFill("solid", fgColor="FF0000")
        book.save(path)
        return
    column, row = coordinate_from_string(cell)
    odf = load(path)
    red = Style(name="red", family="table-cell")
    red.addElement(TableCellProperties(backgroundcolor="#ff0000"))
    odf.automaticstyles.addElement(red)
    line = odf.spreadsheet.getElementsByType(OdsTable)[0].getElementsByType(TableRow)[row - 1]
    line.getElementsByType(TableCell)[column_index_from_string(column) - 1].setAttribute("stylename", "red")
    odf.save(path)


def test_an_added_column_of_an_ods_looks_like_its_neighbours_and_shows_its_heading(tmp_path: Path) -> None:
    path, layout = proposed(DUTCH, tmp_path, "gravity_20", "attenuation", more="original_gravity = 1.066")
    book = load(path)
    degrees = NumberStyle(name="N1")
    degrees.addElement(Number(decimalplaces=1, minintegerdigits=1))
    degrees.addElement(NumberText(text=" °C"))
    blue = Style(name="blue", family="table-cell", datastylename="N1")
    blue.addElement(TableCellProperties(backgroundcolor="#ddeeff"))
    for style in (degrees, blue):
        book.automaticstyles.addElement(style)
    sheet = book.spreadsheet.getElementsByType(OdsTable)[0]
    for cell in sheet.getElementsByType(TableCell):
        cell.setAttribute("stylename", "blue")
    book.save(path)
    filled(path, layout)
    book = load(path)
    styles = {s.getAttribute("name"): s for s in book.automaticstyles.getElementsByType(Style)}
    sheet = book.spreadsheet.getElementsByType(OdsTable)[0]
    row = sheet.getElementsByType(TableRow)[2].getElementsByType(TableCell)
    look = styles[row[5].getAttribute("stylename")]
    assert look.getElementsByType(TableCellProperties)[0].getAttribute("backgroundcolor") == "#ddeeff"
    assert look.getAttribute("datastylename") != "N1"
    columns = sheet.getElementsByType(TableColumn)
    assert [c.getAttribute("numbercolumnsrepeated") for c in columns] == ["4", None, None]
    for column, heading in zip(columns[1:], ("Gravity at 20 °C (SG)", "Sugar fermented (%)"), strict=True):
        (width,) = styles[column.getAttribute("stylename")].getElementsByType(TableColumnProperties)
        # A letter of 10 points is a fifth of a centimetre.
        assert float(width.getAttribute("columnwidth").removesuffix("cm")) >= len(heading) / 5


@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_added_columns_stand_beside_a_chart_and_results_under_one_are_told(
    ending: str, tmp_path: Path
) -> None:
    log = replace(GERMAN, name=f"gaerbuch.{ending}")
    path, layout = proposed(log, tmp_path, "gravity_20", "daily_change", "flags")
    _draw(path, "F3", "H9")
    filled(path, layout)
    headings = [column for row, column in files.open_workbook(path).cells("Maische") if row == 1]
    assert headings == [1, 2, 3, 4, 5, 9, 10]
    assert not [f for f in filling.check(path, layout=layout) if f.rule == "under_a_drawing"]
    _draw(path, "E4", "E9")
    (told,) = [f for f in filling.check(path, layout=layout) if f.rule == "under_a_drawing"]
    assert told.cell == "E4"


def _draw(path: Path, first: str, last: str) -> None:
    """Put a drawing over some cells, as spreadsheet programs do: anchored to the first and the last."""
    (column, row), (right, bottom) = (coordinate_from_string(cell) for cell in (first, last))
    left, end = column_index_from_string(column), column_index_from_string(right)
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        corners = [AnchorMarker(col=c - 1, row=r - 1) for c, r in ((left, row), (end, bottom))]
        chart: Any = LineChart()
        chart.anchor = TwoCellAnchor(_from=corners[0], to=corners[1])
        book["Maische"].add_chart(chart)
        book.save(path)
        return
    odf = load(path)
    line = odf.spreadsheet.getElementsByType(OdsTable)[0].getElementsByType(TableRow)[row - 1]
    cells = line.getElementsByType(TableCell)
    for _ in range(left - len(cells)):
        line.addElement(TableCell())
    frame = Frame(endcelladdress=f"Maische.{last}", width="1cm", height="1cm")
    line.getElementsByType(TableCell)[left - 1].addElement(frame)
    odf.save(path)


def test_check_tells_which_results_an_edited_reading_has_made_out_of_date(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")

    def stale() -> list[tuple[str, str]]:
        told = filling.check(path, layout=layout)
        return [(f.cell, f.message) for f in told if f.rule == "out_of_date"]

    assert not stale(), "the column is not there yet"
    filled(path, layout)
    assert not stale()
    book = openpyxl.load_workbook(path)
    book["Maische"]["B4"] = 1.022
    book.save(path)
    before = path.read_bytes()
    ((cell, message),) = stale()
    assert cell == "E4" and message.endswith("in row 4.")
    assert path.read_bytes() == before


TWINS = Log(
    "twins.xlsx",
    {
        "Jars": [
            ["Jar", "mL", "ABV", "Temp", "Temp", "Smells like"],
            ["1", 200, 80, 20, 79, "glue"],
            ["2", 200, 75, 20, 80, "sweet"],
        ]
    },
    {},
)


def test_averages_and_the_labels_of_the_next_batch_are_no_records(tmp_path: Path) -> None:
    path, layout = proposed(SEVERAL, tmp_path)
    book = openpyxl.load_workbook(path)
    rows: list[list[Any]] = [
        ["Ø", None, "=AVERAGE(C3:C5)"],
        ["AVG", "=AVERAGE(B3:B5)"],
        [],
        ["Lotto:", 8, "OG:", 1.061],
    ]
    for row in rows:
        book["2025"].append(row)
    book.save(path)
    last = book["2025"].max_row
    assert not [f for f in filling.check(path, layout=layout) if f.row > last - len(rows)]


def test_a_stock_list_with_prices_is_no_card_but_a_unit_beside_a_value_is_read(tmp_path: Path) -> None:
    stock: list[Row] = [
        ["Maische", "L", 0.4],
        ["Heizstab", 49.9, "€"],
        ["Hefe", 12, "€/kg"],
        ["Bottle size", "500 mL", 0.85],
        ["Brennkessel", 12, "L", 129.0],
    ]
    card: list[Row] = [["Heizleistung", 2, "kW", "OG", 1.06]]
    _, layout = proposed(replace(GERMAN, tabs=GERMAN.tabs | {"Vorrat": stock, "Blase": card}), tmp_path)
    (part,) = [part for part in adopted.load(layout).parts if part.kind == "card"]
    assert [(h.text, h.key, h.unit) for h in part.headings] == [
        ("Heizleistung", "still_power", "kW"),
        ("OG", "original_gravity", "SG"),
    ]


def test_the_layout_lists_the_keys_that_can_be_given(tmp_path: Path) -> None:
    _, layout = proposed(SEVERAL, tmp_path)
    told = " ".join(layout.read_text(encoding="utf-8").replace("\n#", " ").split())
    assert "still_capacity (Still capacity)" in told and "wash_kind (Kind of wash)" in told


def test_of_twin_headings_the_layout_names_one_and_a_fill_notices_another(tmp_path: Path) -> None:
    path, layout = proposed(TWINS, tmp_path, "strength_20")
    assert re.search(
        r'key = "temperature"\nheading = "Temp"\n.*\nnth = 1.*\nof = 2', layout.read_text("utf-8")
    )
    filled(path, layout)
    assert columns(path, "Jars", 1)["Strength (% vol)"] == pytest.approx([80, 75], abs=0.05), "read at 20 °C"
    book = openpyxl.load_workbook(path)
    book["Jars"].insert_cols(4)
    book["Jars"]["D1"] = "temp"
    book.save(path)
    before = path.read_bytes()
    with pytest.raises(files.BadWorkbook, match=r'"Temp" stood 2 times .* now 3 times, in D1 and E1 and F1'):
        filled(path, layout)
    assert path.read_bytes() == before


def test_a_new_table_under_the_same_headings_is_told(tmp_path: Path) -> None:
    path, layout = proposed(SEVERAL, tmp_path)
    assert not [f for f in filling.check(path, layout=layout) if f.rule == "another_table"]
    book = openpyxl.load_workbook(path)
    for row in ([], ["Data", "Densità", "Temp. campione °C", "Note"], [datetime(2025, 10, 1), 1.05, 20]):
        book["2025"].append(row)
    book.save(path)
    (told,) = [f for f in filling.check(path, layout=layout) if f.rule == "another_table"]
    assert (told.row, "rows 2, 9, 19: 3 tables" in told.message) == (19, True)


TABLE = '[[tables]]\nsheet = "fermentation"\ntab = "Maische"\n'
COLUMN = '[[tables.columns]]\nkey = "reading"\nheading = "°Oe/SG"\nunit = "SG"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", r"no \[\[tables\]\] is switched on"),
        ("tables = 3", r"tables is written as \[\[tables\]\]"),
        ("[[tables]", "not readable as TOML"),
        (TABLE.replace("fermentation", "wash"), "sheet is 'wash'; it can be .*fermentation"),
        (TABLE, "none of your own headings"),
        (TABLE + COLUMN.replace("reading", "readings"), "has no such key; it has .*reading"),
        (TABLE + COLUMN.replace('"SG"', '"grams"'), "unit is 'grams'; it can be SG"),
        (TABLE + COLUMN.replace('unit = "SG"', ""), "'unit' is missing"),
        (TABLE + COLUMN + "add = true", "this is what you type"),
        (TABLE + COLUMN + 'date = "Datum"', "'date' goes with a column for the time of day"),
        (TABLE + COLUMN + COLUMN, "'reading' stands there twice"),
        (TABLE + COLUMN + TABLE + COLUMN, "give each a batch"),
        (TABLE + COLUMN + "nth = 3\nof = 2", "nth is 3 and of is 2"),
        (TABLE + COLUMN + "colour = 1", "'colour' is not known here"),
        (TABLE + "heading_lines = 9\n" + COLUMN, "heading_lines is 9"),
        ("[constants]\naltitde = 3\n" + TABLE + COLUMN, "'altitde' is not known here"),
        (
            '[constants]\naltitude = "high"\n' + TABLE + COLUMN,
            r"\[constants\], altitude: 'high' is not a number",
        ),
        ('[constants.pears]\naltitude = "3 m"\n' + TABLE + COLUMN, "no table here has batch = 'pears'"),
        ('[[instruments]]\ninstrument = "ruler"\n' + TABLE + COLUMN, "'ruler' is not one of"),
    ],
)
def test_a_wrong_layout_file_is_refused_with_file_place_and_what_to_do(
    text: str, says: str, tmp_path: Path
) -> None:
    layout = tmp_path / "mine.toml"
    layout.write_text(text, encoding="utf-8")
    with pytest.raises(layouts.LayoutError, match=says) as trouble:
        adopted.load(layout)
    assert "mine.toml" in str(trouble.value)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("tab = Feinbrand", r'line 2 is "tab = Feinbrand".*tab = "Feinbrand"'),
        ("tab = „Feinbrand“", r'line 2 .*tab = "Feinbrand"'),
        ("[[tables.columns]]\n[[tables]]", r"take the '#' from its \[\[tables\]\], too"),
        ("add = yes", r'line 2 is "add = yes".*add = true'),
    ],
)
def test_a_line_that_is_no_toml_is_quoted_with_what_it_should_look_like(
    line: str, says: str, tmp_path: Path
) -> None:
    layout = tmp_path / "mine.toml"
    layout.write_text(f"{'' if line[0] == '[' else '[[tables]]'}\n{line}\n", encoding="utf-8")
    with pytest.raises(layouts.LayoutError, match=says):
        adopted.load(layout)


def test_a_wrong_date_column_is_corrected_at_date(tmp_path: Path) -> None:
    tab: list[Row] = [["Datum", "Uhrzeit", "Dichte", "Temp"]]
    tab += [[day.replace(hour=0, minute=0), "18:30", 1.05, 20] for day in days(2)]
    path, layout = proposed(Log("zeiten.xlsx", {"Gärung": tab}, {}), tmp_path)
    text = layout.read_text(encoding="utf-8")
    layout.write_text(text.replace('date = "Datum"', 'date = "Tag"'), encoding="utf-8")
    with pytest.raises(files.BadWorkbook, match=r'"Tag" \(taken_at\) is not on .* Correct \'date\' there'):
        filled(path, layout)


def test_a_new_record_is_told_once_not_for_each_column(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20", "daily_change")
    filled(path, layout)
    book = openpyxl.load_workbook(path)
    book["Maische"].append([START.replace(day=15), 0.996, 20])
    book.save(path)
    (told,) = [f for f in filling.check(path, layout=layout) if f.rule == "out_of_date"]
    assert "Gravity at 20 °C (SG)" in told.message and "Daily change" in told.message


def test_their_formula_in_an_agreed_column_stays(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    filled(path, layout)
    book = openpyxl.load_workbook(path)
    book["Maische"]["E3"] = "=B3"
    book.save(path)
    told = filled(path, layout)
    assert columns(path, "Maische", 1)["Gravity at 20 °C (SG)"][1] == "=B3"
    assert any(f.rule == "own_formula" for f in told)


def test_results_of_deleted_records_go_and_a_total_typed_below_stays(tmp_path: Path) -> None:
    path, layout = proposed(GERMAN, tmp_path, "gravity_20")
    filled(path, layout)
    book = openpyxl.load_workbook(path)
    sheet = book["Maische"]
    for cell in sheet[6][:4]:
        cell.value = None
    sheet["A8"], sheet["E8"] = "Mittelwert", 1.02
    book.save(path)
    filled(path, layout)
    under = columns(path, "Maische", 1)["Gravity at 20 °C (SG)"]
    assert under[3] is not None
    assert under[4] is None
    assert under[6] == 1.02


def test_the_terminal_tells_what_was_recognised_and_what_to_do_next(tmp_path: Path) -> None:
    path = GERMAN.make(tmp_path)
    result = CliRunner().invoke(app, ["adopt", str(path)])
    assert result.exit_code == 0
    assert re.search(r"B1 +°Oe/SG +sure +Reading \[SG\]", result.output)
    layout = path.with_suffix(".layout.toml")
    assert f"sheetcalc fill {path} --layout {layout}" in result.output
    assert CliRunner().invoke(app, ["check", str(path), "--layout", str(layout)]).exit_code == 0
    layout.write_text("[[tables]]", encoding="utf-8")
    result = CliRunner().invoke(app, ["fill", str(path), "--layout", str(layout)])
    assert result.exit_code == 2
    assert "'sheet' is missing" in result.output


@pytest.mark.parametrize("log", [GERMAN, US, FRENCH, TITLED, SEVERAL, POLISH], ids=lambda log: log.name)
def test_every_other_part_keeps_its_bytes_and_only_agreed_cells_differ(log: Log, tmp_path: Path) -> None:
    path, layout = proposed(log, tmp_path)
    text = layout.read_text(encoding="utf-8")
    layout.write_text(text.replace("add = false", "add = true"), encoding="utf-8")
    old = tmp_path / f"old{path.suffix}"
    shutil.copyfile(path, old)
    filled(path, layout)
    before, after = files.open_workbook(old), files.open_workbook(path)
    ours = {
        (part.tab, place[1])
        for batch in own_tables.read(adopted.load(layout), after)
        for read in batch.read.values()
        for part in adopted.load(layout).parts
        for key, place in read.found.cells.items()
        if part.tab == read.found.tab and any(h.key == key and h.add for h in part.headings)
    }
    written: dict[str, dict[tuple[int, int], Any]] = {}
    for tab in after.sheets:
        was, now = before.cells(tab), after.cells(tab)
        changed = {place for place in was.keys() | now.keys() if was.get(place) != now.get(place)}
        formulas = {place for place in changed if place in was and was[place].formula}
        assert not [place for place in changed - formulas if (tab, place[1]) not in ours]
        written[tab] = dict.fromkeys(changed - formulas)
    assert any(written.values())
    compare = harm_ods.compare if path.suffix == ".ods" else harm_xlsx.compare
    added = {tab: {column for at, column in ours if at == tab} for tab in after.sheets}
    compared = compare(old, path, written, added)
    # A date of ours takes the look of theirs in its row, which is told as a new cell of another style.
    assert not [stray for stray in compared.strays if "there is a new cell" not in stray]
    assert compared.parts > len(compared.edited)


def test_a_table_that_could_be_of_two_kinds_is_switched_off_as_a_whole(tmp_path: Path) -> None:
    either: list[Row] = [["Lot", "Volume (L)", "ABV"], ["A", 10, 40], ["B", 12, 42]]
    _, layout = proposed(replace(GERMAN, tabs=GERMAN.tabs | {"Stock": either}), tmp_path)
    assert [part.tab for part in adopted.load(layout).parts] == ["Maische"]
    assert "the table could be" in layout.read_text(encoding="utf-8")


def test_a_table_of_mostly_strange_headings_is_switched_off_as_a_whole(tmp_path: Path) -> None:
    shop: list[Row] = [["Date", "Maker", "ABV", "Price", "Rating"], ["2025-10-01", "a", 5.2, 3.5, 4]]
    _, layout = proposed(replace(GERMAN, tabs=GERMAN.tabs | {"Beer": shop}), tmp_path)
    assert [part.tab for part in adopted.load(layout).parts] == ["Maische"]
    assert "most headings of the table are not recognised" in layout.read_text(encoding="utf-8")


@pytest.mark.corpus
def test_real_workbooks_are_refused_or_read_and_never_changed(tmp_path: Path) -> None:
    paths = sorted(path for path in CORPUS.glob("*.*") if path.suffix != ".md")
    assert paths
    for path in paths:
        before = hashlib.sha256(path.read_bytes()).digest()
        layout = tmp_path / f"{path.name}.toml"
        try:
            adopt.propose(path, layout)
        except files.BadWorkbook:
            assert not layout.exists()
        else:
            try:
                adopted.load(layout)
            except layouts.LayoutError as trouble:
                assert "is switched on" in str(trouble)
        assert hashlib.sha256(path.read_bytes()).digest() == before


def test_text_that_looks_like_a_formula_or_toml_in_a_heading_is_only_text(tmp_path: Path) -> None:
    odd = '=cmd "]]\n[x]\\ (SG)'
    log = Log(
        "odd.xlsx",
        {
            "T": [
                ["Date", "Gravity (SG)", odd],
                [datetime(2025, 1, 1), 1.05, 3],
                [datetime(2025, 1, 2), 1.04, 3],
            ]
        },
        {},
    )
    path = tmp_path / log.name
    log.make(tmp_path)
    book = openpyxl.load_workbook(path)
    book["T"]["C1"].data_type = "s"
    book.save(path)
    adopt.propose(path)
    assert adopted.load(path.with_suffix(".layout.toml")).parts[0].sheet == "fermentation"
