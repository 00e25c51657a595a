"""Every way a typed log goes wrong that we know of is flagged on the right cell, and a clean log is not.

What is planted is a fact about the log, known from how it was planted; no expected value here comes from
the program. The limits (standstill, foam, flash point, legal minimum) are those of the trade: common
practice, unless a source stands beside the check itself.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import in_memory
import pytest
from logs import START, Log, clean_log, put, sheets, spoilt, typed

from sheetcalc import compute
from sheetcalc.entries import Entries
from sheetcalc.filling import examine
from sheetcalc.findings import Finding
from sheetcalc.stages.registry import CHECKS

Blank = Callable[..., Path]


PLANTED = [(sheet, *case) for sheet, module in sheets().items() for case in module.PLANTED]
swapped_month = sheets()["fermentation"].swapped_month


Examine = Callable[[Log], tuple[compute.Values, list[Finding]]]


@pytest.fixture(scope="module")
def examined() -> Iterator[Examine]:
    """The values of a log and what is found in it, computed as far as it differs from the clean one."""
    book = in_memory.blank("metric")

    def read(log: Log) -> dict[str, Entries]:
        return in_memory.read(book, dict(in_memory.places(log)))

    clean = compute.Values(read(clean_log()))

    def examine_log(log: Log) -> tuple[compute.Values, list[Finding]]:
        values = in_memory.Again(read(log), clean)
        return values, list(compute.findings(values))

    with in_memory.remembering():
        yield examine_log


@pytest.fixture
def found(examined: Examine) -> Callable[[Log], list[Finding]]:
    """What is found in a log."""
    return lambda log: examined(log)[1]


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_clean_log_has_neither_errors_nor_warnings(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    assert [f for f in examine(path).findings if f.level != "note"] == []


@pytest.mark.parametrize(
    ("sheet", "rule", "spoil", "key", "record"), PLANTED, ids=[f"{p[0]}-{p[1]}-{p[3]}" for p in PLANTED]
)
def test_a_planted_mistake_is_flagged_on_its_cell(
    examined: Examine, sheet: str, rule: str, spoil: Callable[[Log], None], key: str, record: int | None
) -> None:
    values, findings = examined(spoilt(spoil))
    read = values.entries[sheet]
    cell = (read.found.tab, *read.cell(key, record or 0))
    flagged = [f for f in findings if f.rule == rule]
    assert cell in [(f.sheet, f.row, f.place) for f in flagged], [(f.rule, f.cell) for f in findings]
    for finding in flagged:
        assert finding.message.endswith(".")
        assert finding.advice.endswith(".")
        assert "{" not in finding.message + finding.advice
        assert "nan" not in finding.message.split()


def weak_yeast_for_molasses(log: Log) -> None:
    """Of molasses near half stays unfermented: 1.090 gives about 8 % vol, which this yeast stands."""
    log["batch"].update(wash_kind="molasses", original_gravity=1.090, yeast_tolerance=10.0)


def second_run_by_jars_to_come(log: Log) -> None:
    """A lot of both runs, while what the second gave is not written down yet."""
    for key in ("collected_volume", "collected_reading", "collected_temperature"):
        del log["runs"][1][key]
    log["strength"][0]["volume"] = 1.6


def stood_and_went_on(log: Log) -> None:
    """A cold day in the midst of it: from there it goes on, but no faster than before."""
    for record, gravity in zip(log["fermentation"][3:6], (1.057, 1.046, 1.034), strict=True):
        record["reading"] = gravity


def strong_charge_of_a_working_wash(log: Log) -> None:
    """The readings end long before the end, so that they don't tell what was charged."""
    del log["fermentation"][7:]


def strong_part_of_what_is_in_bottles(log: Log) -> None:
    """It was poured together with a weaker one, and the blend, of 50 % vol, is bottled."""
    del log["cuts"]
    log["blend"][3]["strength"] = 72.0
    log["bottling"][1]["lot"] = "Jars"


def cleared_since(log: Log) -> None:
    """It stood still, and was cleared: nobody needs to be told to clear it."""
    del log["runs"], log["cuts"]


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("finished", cleared_since),
        ("catches_fire", strong_part_of_what_is_in_bottles),
        ("beyond_yeast", weak_yeast_for_molasses),
        ("more_than_collected", second_run_by_jars_to_come),
        ("copied_from_above", stood_and_went_on),
        ("not_as_fermented", strong_charge_of_a_working_wash),
    ],
)
def test_what_is_in_order_is_not_flagged(found: Any, rule: str, change: Callable[[Log], None]) -> None:
    assert rule not in [f.rule for f in found(spoilt(change))]


def test_every_check_has_a_planted_mistake() -> None:
    planted = {(sheet, rule) for sheet, rule, *_ in PLANTED}
    known = {(sheet, check.rule) for sheet, checks in CHECKS.items() for check in checks}
    in_us_logs = {("fermentation", "celsius_sample"), ("fermentation", "celsius_wash")}
    in_us_logs |= {("strength", "percent_for_proof")}
    assert known - planted == in_us_logs


@pytest.mark.parametrize(
    ("key", "rule"), [("sample_temperature", "celsius_sample"), ("wash_temperature", "celsius_wash")]
)
def test_celsius_in_a_fahrenheit_column_is_flagged(blank: Blank, tmp_path: Path, key: str, rule: str) -> None:
    record = {
        "taken_at": START,
        "reading": 1.05,
        "sample_temperature": 72.0,
        "wash_temperature": 75.0,
        key: 22.0,
    }
    log = {"fermentation": [record]}
    found = examine(typed(log, blank("batch", "us", ".xlsx"), tmp_path / "log.xlsx")).findings
    assert rule in [f.rule for f in found]


def test_the_meant_reading_is_named(found: Any) -> None:
    said = {
        1.065: "1.056 with two digits exchanged",  # after 1.057, before 1.041
        13.0: "13 °Bx, which is 1.053",  # ICUMSA: 13 °Bx is SG 1.0526
    }
    for reading, words in said.items():
        log = spoilt(put("fermentation", 2, reading=reading))
        log["fermentation"][1]["reading"] = 1.057
        messages = [f.message for f in found(log) if f.column == "Reading"]
        assert any(words in message for message in messages), messages


def test_a_date_with_day_and_month_exchanged_is_named(found: Any) -> None:
    messages = [f.message for f in found(spoilt(swapped_month)) if f.rule == "date_out_of_order"]
    assert any("2026-03-07" in message for message in messages), messages


def test_one_mistake_makes_one_flag(found: Any) -> None:
    """A slip in one reading does not set off warnings on the readings around it."""
    one = [put("fermentation", 3, reading=1.074), put("fermentation", 3, reading=10.2), swapped_month]
    one += [put("runs", 0, collected_reading=90.0), put("strength", 0, reading_after=43.5)]
    for spoil in one:
        serious = [f for f in found(spoilt(spoil)) if f.level != "note"]
        assert len(serious) == 1, serious
