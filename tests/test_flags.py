"""Every way a typed log goes wrong that we know of is flagged on the right cell, and a clean log is not.

What is planted is a fact about the log, known from how it was planted; no expected value here comes from
the program. The limits (standstill, foam, flash point, legal minimum) are those of the trade: common
practice, unless a source stands beside the check itself.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from logs import RUN, START, Log, clean_log, put, spoilt, typed

from sheetcalc.fill import examine
from sheetcalc.findings import Finding
from sheetcalc.stages.registry import CHECKS

Blank = Callable[..., Path]


def swapped_month(log: Log) -> None:
    log["fermentation"][5]["taken_at"] = datetime(2026, 7, 3, 18, 0)  # meant: 2026-03-07


def fell_overnight(log: Log) -> None:
    for record, gravity in zip(log["fermentation"], [1.078] * 9 + [0.990] * 3, strict=True):
        record["reading"] = gravity


def stuck(log: Log) -> None:
    for record in log["fermentation"][4:]:
        record["reading"] = 1.040


def without_gravity(log: Log) -> None:
    del log["batch"]["original_gravity"]


def third_charge(log: Log) -> None:
    log["runs"] += [dict(log["runs"][0], run=str(n)) for n in (3, 4)]


def no_target(log: Log) -> None:
    del log["strength"][1]["target_volume"]


def no_temperature(log: Log) -> None:
    del log["fermentation"][3]["sample_temperature"]


# A line each, so that the table can be read down.
# fmt: off
# ruff: noqa: E501
PLANTED: list[tuple[str, Callable[[Log], None], str, str, int | None]] = [
    # rule, what is done, sheet, key, record
    ("out_of_line", put("fermentation", 3, reading=1.074), "fermentation", "reading", 3),
    ("gravity_impossible", put("fermentation", 3, reading=10.2), "fermentation", "reading", 3),
    ("gravity_impossible", put("fermentation", 3, reading=0.141), "fermentation", "reading", 3),
    ("above_original", put("fermentation", 0, reading=1.098), "fermentation", "reading", 0),
    ("below_lowest", put("fermentation", 11, reading=0.970), "fermentation", "reading", 11),
    ("falls_too_fast", fell_overnight, "fermentation", "reading", 9),
    ("date_out_of_order", swapped_month, "fermentation", "taken_at", 5),
    ("long_gap", put("fermentation", 11, taken_at=datetime(2027, 3, 13)), "fermentation", "taken_at", 11),
    ("before_the_yeast", put("fermentation", 0, taken_at=datetime(2026, 2, 2)), "fermentation", "taken_at", 0),
    ("fahrenheit_sample", put("fermentation", 2, sample_temperature=72.0), "fermentation", "sample_temperature", 2),
    ("fahrenheit_wash", put("fermentation", 2, wash_temperature=75.0), "fermentation", "wash_temperature", 2),
    ("wash_too_warm", put("fermentation", 2, wash_temperature=36.0), "fermentation", "wash_temperature", 2),
    ("wash_too_cool", put("fermentation", 2, wash_temperature=12.0), "fermentation", "wash_temperature", 2),
    ("sample_too_hot", put("fermentation", 2, sample_temperature=43.0), "fermentation", "sample_temperature", 2),
    ("stalled", stuck, "fermentation", "reading", 11),
    ("finished", lambda log: None, "fermentation", "reading", 11),
    ("beyond_tolerance", put("batch", None, yeast_tolerance=8.0), "fermentation", "reading", 11),
    ("unreadable", put("fermentation", 2, reading="about 1.05"), "fermentation", "reading", 2),
    ("unreadable", put("fermentation", 2, taken_at="yesterday"), "fermentation", "taken_at", 2),
    ("not_filled_in", no_temperature, "fermentation", "sample_temperature", 3),
    ("original_gravity_missing", without_gravity, "batch", "original_gravity", None),
    ("original_gravity_impossible", put("batch", None, original_gravity=19.3), "batch", "original_gravity", None),
    ("beyond_yeast", put("batch", None, original_gravity=1.105), "batch", "yeast_tolerance", None),
    ("temperatures_reversed", put("batch", None, temperature_low=33.0), "batch", "temperature_high", None),
    ("fahrenheit_yeast_limit", put("batch", None, temperature_high=86.0), "batch", "temperature_high", None),
    ("target_above_azeotrope", put("batch", None, target_strength=99.0), "batch", "target_strength", None),
    ("target_below_legal_minimum", put("batch", None, target_strength=37.0), "batch", "target_strength", None),
    ("target_below_legal_minimum", put("batch", None, place="South Africa"), "batch", "target_strength", None),
    ("still_never_covered", put("batch", None, still_minimum=12.0), "batch", "still_minimum", None),
    ("less_than_one_stage", put("batch", None, effective_stages=0.5), "batch", "effective_stages", None),
    ("unreadable", put("batch", None, place="Atlantis"), "batch", "place", None),
    ("far_from_zero", put("instruments", 0, zero_reading=1.020), "instruments", "zero_reading", 0),
    ("scale_of_another_kind", put("instruments", 1, scale="°C"), "instruments", "scale", 1),
    ("proof_scale_not_at_sixty", put("instruments", 1, scale="proof"), "instruments", "reference_temperature", 1),
    ("second_of_its_kind", put("instruments", 2, instrument="hydrometer", scale="SG"), "instruments", "instrument", 2),
    ("water_temperature_missing", put("instruments", 0, zero_temperature=None), "instruments", "zero_temperature", 0),
    ("charge_strength_taken", put("runs", 1, charge_strength=None), "runs", "charge_strength", 1),
    ("charge_strength_missing", put("runs", 1, kind="spirit", charge_strength=None), "runs", "charge_strength", 1),
    ("temperature_missing", put("runs", 1, collected_temperature=None), "runs", "collected_temperature", 1),
    ("catches_fire", put("runs", 1, collected_volume=900.0, collected_reading=66.0), "runs", "collected_volume", 1),
    ("already_there", put("strength", 0, target_strength=58.3, reading_after=58.0), "strength", "target_strength", 0),
    ("fahrenheit_sample_after", put("strength", 0, temperature_after=68.0), "strength", "temperature_after", 0),
    ("temperature_after_missing", put("strength", 0, temperature_after=None), "strength", "temperature_after", 0),
    ("over_full", put("runs", 0, charge_volume=80.0), "runs", "charge_volume", 0),
    ("little_room_for_foam", put("runs", 0, charge_volume=9.4), "runs", "charge_volume", 0),
    ("dry_pot", put("runs", 0, charge_volume=3.5), "runs", "charge_volume", 0),
    ("more_charged_than_wash", third_charge, "runs", "charge_volume", 3),
    ("stronger_than_the_wash", put("runs", 0, charge_strength=24.0), "runs", "charge_strength", 0),
    ("charge_too_strong", put("runs", 0, kind="spirit", charge_strength=55.0), "runs", "charge_strength", 0),
    ("more_volume_out", put("runs", 0, collected_volume=19000.0), "runs", "collected_volume", 0),
    ("litres_for_millilitres", put("runs", 0, collected_volume=1.9), "runs", "collected_volume", 0),
    ("above_azeotrope", put("runs", 0, collected_reading=104.0), "runs", "collected_reading", 0),
    ("more_alcohol_out", put("runs", 0, collected_reading=90.0), "runs", "collected_reading", 0),
    ("weaker_than_a_plain_pot", put("runs", 0, collected_reading=20.0), "runs", "collected_reading", 0),
    ("stronger_than_the_still", put("runs", 0, collected_volume=700.0, collected_reading=93.0), "runs", "collected_reading", 0),
    ("fahrenheit_sample", put("runs", 0, collected_temperature=71.0), "runs", "collected_temperature", 0),
    ("drip_before_heat", put("runs", 0, first_drip_at=RUN - timedelta(hours=1)), "runs", "first_drip_at", 0),
    ("drip_too_soon", put("runs", 0, first_drip_at=RUN + timedelta(minutes=6)), "runs", "first_drip_at", 0),
    ("stopped_before_it_began", put("runs", 0, stopped_at=RUN), "runs", "stopped_at", 0),
    ("very_long_run", put("runs", 0, stopped_at=RUN + timedelta(days=1)), "runs", "stopped_at", 0),
    ("target_above_source", put("strength", 0, target_strength=70.0), "strength", "target_strength", 0),
    ("target_below_volume", put("strength", 1, target_volume=0.5), "strength", "target_volume", 1),
    ("nothing_wanted", no_target, "strength", "target_strength", 1),
    ("two_wants", put("strength", 0, target_volume=1.2), "strength", "target_volume", 0),
    ("more_than_collected", put("strength", 0, volume=1000.0), "strength", "volume", 0),
    ("not_as_expected", put("strength", 0, reading_after=43.5), "strength", "reading_after", 0),
    ("below_legal_minimum", put("strength", 0, target_strength=35.0, reading_after=35.0), "strength", "target_strength", 0),
    ("above_azeotrope", put("strength", 0, reading=116.0), "strength", "reading", 0),
    ("fahrenheit_sample", put("strength", 0, temperature=68.0), "strength", "temperature", 0),
    ("catches_fire", put("strength", 1, reading=72.0), "strength", "reading", 1),
    ("outside_limits", put("batch", None, still_power=15.0), "batch", "still_power", None),
    ("negative", put("strength", 0, volume=-1.0), "strength", "volume", 0),
    ("comma_in_doubt", put("strength", 0, volume="1,000"), "strength", "volume", 0),
    ("impossible_number", put("strength", 0, volume=1e30), "strength", "volume", 0),
    ("date_in_doubt", put("runs", 0, filled_at="3/4/2026"), "runs", "filled_at", 0),
]
# fmt: on


@pytest.fixture
def found(blank: Blank, tmp_path: Path) -> Callable[..., tuple[Finding, ...]]:
    """What is found in a log, in a workbook of either format."""

    def examine_log(log: Log, ending: str = ".xlsx") -> tuple[Finding, ...]:
        return examine(typed(log, blank("batch", "metric", ending), tmp_path / f"log{ending}")).findings

    return examine_log


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_a_clean_log_has_neither_errors_nor_warnings(found: Any, ending: str) -> None:
    assert [f for f in found(clean_log(), ending) if f.level != "note"] == []


@pytest.mark.parametrize(
    ("rule", "spoil", "sheet", "key", "record"), PLANTED, ids=[f"{p[0]}-{p[2]}-{p[3]}" for p in PLANTED]
)
def test_a_planted_mistake_is_flagged_on_its_cell(
    blank: Blank,
    tmp_path: Path,
    rule: str,
    spoil: Callable[[Log], None],
    sheet: str,
    key: str,
    record: int | None,
) -> None:
    seen = examine(typed(spoilt(spoil), blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx"))
    read = seen.values.entries[sheet]
    cell = (read.found.tab, *read.cell(key, record or 0))
    flagged = [f for f in seen.findings if f.rule == rule]
    assert cell in [(f.sheet, f.row, f.place) for f in flagged], [(f.rule, f.cell) for f in seen.findings]
    for finding in flagged:
        assert finding.message.endswith(".")
        assert finding.advice.endswith(".")
        assert "{" not in finding.message + finding.advice
        assert "nan" not in finding.message.split()


def test_every_check_has_a_planted_mistake() -> None:
    planted = {(sheet, rule) for rule, _, sheet, _, _ in PLANTED}
    known = {(sheet, check.rule) for sheet, checks in CHECKS.items() for check in checks}
    in_us_logs = {("fermentation", "celsius_sample"), ("fermentation", "celsius_wash")}
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
