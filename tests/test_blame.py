"""What is said of a mistake stands at the cell that is at fault, and names what was meant; all invented.

What was meant is known from how the mistake was made; units are converted by hand (9/5 t + 32; a proof is
half a percent on the glass).
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import in_memory
import pytest
from logs import Log, clean_log, put, records, spoilt

from sheetcalc import compute

Told = dict[tuple[str, int, str], list[str]]
Labels = dict[tuple[str, str], str]


def told(log: Log, labels: Labels | None = None) -> Told:
    """What is told of a log, notes aside, by sheet, record and key of the cell."""
    return _told(log, labels, ("error", "warning"))


def notes(log: Log) -> Told:
    """The notes of a log, by sheet, record and key of the cell."""
    return _told(log, None, ("note",))


def _told(log: Log, labels: Labels | None, levels: tuple[str, ...]) -> Told:
    read = in_memory.read(in_memory.blank("metric"), dict(in_memory.places(log)), labels)
    at = {
        (entries.found.tab, *entries.cell(key, record)): (sheet, record, key)
        for sheet, entries in read.items()
        for key in entries.found.cells
        for record in range(len(entries.rows) if entries.is_column(key) else 1)
    }
    found: Told = {}
    for finding in compute.findings(compute.Values(read)):
        if finding.level in levels:
            found.setdefault(at[finding.sheet, finding.row, finding.place], []).append(finding.message)
    return found


AMERICAN: Labels = {
    ("cuts", "reading"): "proof",
    ("cuts", "temperature"): "°F",
    ("strength", "reading"): "proof",
    ("strength", "temperature"): "°F",
}


def american(sheet: str, record: int, **values: Any) -> Callable[[Log], None]:
    """Jars and lots as they are read in proof and °F, with something else in one of them."""

    def spoil(log: Log) -> None:
        for line in (*log["cuts"], *log["strength"]):
            line["reading"] *= 2
            line["temperature"] = line["temperature"] * 9 / 5 + 32
        records(log, sheet)[record].update(values)

    return spoil


def test_a_log_in_proof_and_fahrenheit_is_as_clean() -> None:
    assert told(spoilt(american("cuts", 0)), AMERICAN) == {}


def test_a_digit_left_out_of_what_was_collected_is_told_there() -> None:
    found = told(spoilt(put("runs", 1, collected_volume=190.0)))
    assert list(found) == [("runs", 1, "collected_volume")]
    assert found["runs", 1, "collected_volume"][0].endswith("It would fit as 1900 mL (a digit missing).")


def test_gallons_in_a_column_of_ounces_are_named() -> None:
    log = spoilt(put("runs", 0, collected_volume=64.25))
    log["runs"][1]["collected_volume"] = 0.5  # gal; 1.9 L
    (messages,) = told(log, {("runs", "collected_volume"): "fl oz"}).values()
    assert messages[0].endswith("It would fit as 0.5 gal.")


def test_a_strength_too_weak_for_its_charge_is_not_blamed_on_the_volume() -> None:
    assert list(told(spoilt(put("runs", 1, collected_reading=4.5)))) == [("runs", 1, "collected_reading")]


@pytest.mark.parametrize(
    ("sheet", "record", "said"),
    [("cuts", 3, "colder than anyone reads"), ("strength", 0, "colder than anyone reads")],
)
def test_celsius_among_fahrenheit_is_told_once_and_not_of_the_strength(
    sheet: str, record: int, said: str
) -> None:
    found = told(spoilt(american(sheet, record, temperature=22.0)), AMERICAN)
    assert list(found) == [(sheet, record, "temperature")]
    assert said in found[sheet, record, "temperature"][0]


def test_strength_and_temperature_in_each_others_cell_are_told_and_no_unit_that_is_there() -> None:
    found = told(spoilt(american("cuts", 2, reading=72.0, temperature=114.0)), AMERICAN)
    assert list(found) == [("cuts", 2, "temperature")]
    (message,) = found["cuts", 2, "temperature"]
    assert "Strength and temperature may be exchanged." in message
    assert "°F" not in message.removeprefix("114.0 °F")


@pytest.mark.parametrize(
    ("sheet", "record", "reading", "temperature"),
    [
        ("cuts", 2, "reading", "temperature"),
        ("runs", 0, "collected_reading", "collected_temperature"),
        ("strength", 0, "reading", "temperature"),
    ],
)
def test_of_celsius_exchanged_with_a_strength_that_is_told_before_fahrenheit(
    sheet: str, record: int, reading: str, temperature: str
) -> None:
    log = clean_log()
    line = log[sheet][record]
    line[reading], line[temperature] = line[temperature], line[reading]
    found = told(log)
    assert list(found) == [(sheet, record, temperature)]
    (message,) = found[sheet, record, temperature]
    assert message.index("exchanged") < (message + "°F").index("°F")


def test_strength_and_temperature_that_pass_for_each_other_are_told_apart_by_what_is_expected() -> None:
    found = told(
        spoilt(american("strength", 0, reading=66.0, temperature=97.0, reading_after=None)), AMERICAN
    )
    assert list(found) == [("strength", 0, "reading")]
    assert "Exchanged with its temperature it would fit." in found["strength", 0, "reading"][0]


@pytest.mark.parametrize(
    ("key", "value", "told_at"),
    [
        ("volume", 0.1, "volume"),
        ("reading", 116.0, "reading"),
        ("reading", 5.8, "target_strength"),
        ("temperature", 68.0, "temperature"),
        ("target_strength", 80.0, "target_strength"),
        ("reading_after", 4.0, "reading_after"),
    ],
)
def test_a_wrong_line_on_strength_is_told_there_and_not_where_the_lot_goes_on(
    key: str, value: float, told_at: str
) -> None:
    log = spoilt(put("strength", 0, **{key: value}))
    log["blend"][0] |= {"part": "First", "strength": 40.0, "wanted_strength": 38.0}
    log["blend"][1] |= {"strength": 40.0}
    assert list(told(log)) == [("strength", 0, told_at)]


def test_a_reading_in_water_exchanged_with_its_temperature_is_told_and_corrects_nothing() -> None:
    found = told(spoilt(put("instruments", 1, zero_reading=20.0, zero_temperature=0.0)))
    assert list(found) == [("instruments", 1, "zero_temperature")]


def test_readings_before_and_after_the_water_that_are_exchanged_are_told_as_that() -> None:
    found = told(spoilt(put("strength", 0, reading=40.0, reading_after=58.0)))
    assert list(found) == [("strength", 0, "reading_after")]
    assert found["strength", 0, "reading_after"][0].endswith(
        "Exchanged with the reading before it would fit."
    )


def test_a_wrong_charge_is_told_on_runs_and_not_at_its_jars() -> None:
    found = told(spoilt(put("runs", 0, charge_volume="0.8 L")))
    assert found and not any(sheet == "cuts" for sheet, *_ in found)


def test_the_odd_jar_is_told_where_the_jars_do_not_add_up_and_the_run_where_none_is_odd() -> None:
    found = told(spoilt(put("cuts", 3, volume=0.4)))
    assert found["cuts", 3, "volume"][0].endswith("It would fit as 0.4 L.")
    assert not any(sheet == "cuts" for sheet, record, _ in found if record != 3)
    (message,) = told(spoilt(put("runs", 0, collected_volume=1090.0)))["cuts", 5, "volume"]
    assert message.endswith("That would fit as 1900 mL (two digits exchanged).")


def test_percent_typed_for_proof_is_told_at_the_part_and_not_at_what_is_wanted() -> None:
    log = spoilt(put("blend", 0))
    log["blend"] = [
        {"lot": "house", "volume": 0.6, "strength": 52.0, "wanted_strength": 90.0},  # meant: 104 proof
        {"lot": "house", "part": "water", "strength": 0.0},
        {"lot": "right", "volume": 0.6, "strength": 116.0, "wanted_strength": 140.0},
        {"lot": "right", "part": "water", "strength": 0.0},
    ]
    found = told(log, {("blend", "strength"): "proof", ("blend", "wanted_strength"): "proof"})
    assert list(found) == [("blend", 2, "wanted_strength"), ("blend", 0, "strength")]
    assert "as % vol it would fit" in found["blend", 0, "strength"][0]
    assert "s proof" not in found["blend", 2, "wanted_strength"][0]


def test_percent_typed_for_proof_is_told_at_the_reading_of_a_lot() -> None:
    found = told(spoilt(american("strength", 0, reading=58.0, target_strength=40.0)), AMERICAN)
    assert [place for place in found if place[0] == "strength"] == [("strength", 0, "reading")]
    assert "as % vol it would fit" in found["strength", 0, "reading"][0]


def test_a_unit_that_is_in_force_is_never_proposed() -> None:
    log = spoilt(put("recipe", 2, kind="wine", solids=None, strength=40.0))
    assert "As proof" in told(log)["recipe", 2, "strength"][0]
    log["recipe"]["records"][2]["strength"] = 80.0
    log["bottling"][0]["label_strength"], log["bottling"][0]["measured_strength"] = 160.0, 80.4
    proof = {("recipe", "strength"), ("bottling", "label_strength"), ("bottling", "measured_strength")}
    found = told(log, dict.fromkeys(proof, "proof"))
    assert found["recipe", 2, "strength"] and found["bottling", 0, "label_strength"]
    assert not any("as proof" in text.casefold() for texts in found.values() for text in texts)


def test_ounces_in_a_column_of_pounds_are_named_and_pounds_in_one_of_ounces() -> None:
    log = spoilt(put("batch", None, wash_kind="grain", original_gravity=1.080, wash_volume=20.0))
    log["recipe"] = {"records": [{"item": "Rye", "kind": "grain", "amount": 120.0}]}
    (message,) = told(log, {("recipe", "amount"): "lb"})["recipe", 0, "amount"]
    assert "It would fit as 120 oz" in message
    # 1.080 from 20 L takes about 6.8 kg of malt; 15 lb are 6.8 kg.
    log["recipe"]["records"] = [{"item": "Pale malt", "kind": "malt", "amount": 15.0}]
    for amount, column in ((15.0, "oz"), ("15 oz", "lb")):
        log["recipe"]["records"][0]["amount"] = amount
        (message,) = told(log, {("recipe", "amount"): column})["recipe", 0, "expected_gravity"]
        assert "It would fit as 15 lb of Pale malt." in message


def test_pounds_of_nutrient_are_told_and_ounces_are_not() -> None:
    line = {"item": "Yeast food", "kind": "additive", "amount": "1.5 lb"}
    log = clean_log()
    records(log, "recipe").append(line)
    assert list(told(log)) == [("recipe", 3, "amount")]
    line["amount"] = "1.5 oz"
    assert told(log) == {}


def test_a_zero_left_out_of_a_gravity_is_named() -> None:
    (message,) = told(spoilt(put("fermentation", 4, reading="1,25")))["fermentation", 4, "reading"]
    assert message.endswith("It would fit as 1.025 with a zero that was left out.")


def test_a_letter_among_the_digits_is_told_as_one() -> None:
    for reading, letter in (("1.O25", "O"), ("l.025", "l"), ("1.02O", "O")):
        (message,) = told(spoilt(put("fermentation", 4, reading=reading)))["fermentation", 4, "reading"]
        assert f"the letter {letter} among its digits" in message
    assert told(spoilt(put("runs", 0, charge_volume="8l"))) == {}


def test_a_first_day_faster_than_any_but_turbo_washes_is_noted_the_same_evening() -> None:
    log = spoilt(put("fermentation", 1, reading=1.026))
    del log["fermentation"][2:]
    assert any("It fell at" in said for said in notes(log)["fermentation", 1, "reading"])
    log["fermentation"][1]["reading"] = 1.043
    assert ("fermentation", 1, "reading") not in notes(log)


def test_a_jar_typed_twice_is_told_at_its_second_line_and_named() -> None:
    log = clean_log()
    log["cuts"].insert(4, dict(log["cuts"][2], jar="5"))
    for number, line in enumerate(log["cuts"], start=1):
        line["jar"] = str(number)
    found = told(log)
    assert "as jar 3;" in found["cuts", 4, "volume"][0]
    assert list(found) == [("cuts", 4, "volume")]


def test_first_runnings_under_a_misspelled_run_are_told_as_that_alone() -> None:
    found = told(spoilt(put("cuts", 0, run="run 1")))
    assert list(found) == [("cuts", 0, "run")]
    assert found["cuts", 0, "run"][0].endswith("It may be '1'.")


def test_a_run_typed_a_year_late_is_told_there_and_not_at_the_bottles() -> None:
    log = clean_log()
    for run in log["runs"]:
        for key in ("filled_at", "first_drip_at", "stopped_at"):
            run[key] = run[key].replace(year=2027)
    found = told(log)
    assert list(found) == [("runs", 0, "filled_at"), ("runs", 1, "filled_at")]
    assert "2026-03-16 09:00" in found["runs", 0, "filled_at"][0]


@pytest.mark.parametrize("key", ["filled_at", "first_drip_at", "stopped_at"])
@pytest.mark.parametrize("year", [2025, 2027])
def test_one_time_of_a_run_in_another_year_is_no_run_of_a_year(key: str, year: int) -> None:
    log = clean_log()
    log["runs"][0][key] = log["runs"][0][key].replace(year=year)
    assert list(told(log)) == [("runs", 0, key)]


@pytest.mark.parametrize("keys", [("started_at",), ("ended_at",), ("started_at", "ended_at")])
@pytest.mark.parametrize("year", [2025, 2027])
def test_a_filter_in_another_year_is_told_there_with_the_day_that_was_meant(
    keys: tuple[str, ...], year: int
) -> None:
    log = clean_log()
    line = log["carbon"][0]
    meant = line[keys[0]]
    for key in keys:
        line[key] = line[key].replace(year=year)
    found = told(log)
    assert list(found) == [("carbon", 0, keys[0])]
    assert f"{meant:%Y-%m-%d} and fit" in found["carbon", 0, keys[0]][0]


def test_bottles_of_the_year_before_are_told_with_the_day_that_was_meant() -> None:
    found = told(spoilt(put("bottling", 0, bottled_at=datetime(2025, 4, 20, 15))))
    assert "2026-04-20 and fit" in found["bottling", 0, "bottled_at"][0]


def test_a_boiling_exchanged_with_its_temperature_is_told_once() -> None:
    log = clean_log()
    line = records(log, "boiling")[0]
    line["before"], line["before_temperature"] = line["before_temperature"], line["before"]
    found = told(log)
    assert list(found) == [("boiling", 0, "before")]
    assert found["boiling", 0, "before"][0].endswith("Reading and temperature may be exchanged.")


def test_a_last_reading_a_year_late_is_not_blamed_on_the_runs() -> None:
    log = clean_log()
    log["fermentation"][11]["taken_at"] = log["fermentation"][11]["taken_at"].replace(year=2027)
    assert list(told(log)) == [("fermentation", 11, "taken_at")]


def test_spirit_bottled_a_year_later_is_noted_but_not_after_years_in_wood() -> None:
    log = clean_log()
    for year, noted in ((2026, False), (2027, True), (2029, False)):
        log["bottling"][1]["bottled_at"] = log["bottling"][1]["bottled_at"].replace(year=year)
        said = notes(log).get(("bottling", 1, "bottled_at"), [])
        assert any("a year earlier" in text for text in said) == noted
