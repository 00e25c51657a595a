"""Twelve days of a sugar wash. And what goes wrong there. All invented."""

from datetime import datetime, timedelta
from typing import Any

from logs import START, Log, Planted, put

GRAVITIES = [1.078, 1.071, 1.057, 1.041, 1.025, 1.011, 1.001, 0.994, 0.991, 0.990, 0.990, 0.990]

CLEAN: Any = [
    {
        "taken_at": START + timedelta(days=day),
        "reading": gravity,
        "sample_temperature": 22.0,
        "wash_temperature": 24.0,
    }
    for day, gravity in enumerate(GRAVITIES)
]


def swapped_month(log: Log) -> None:
    log["fermentation"][5]["taken_at"] = datetime(2026, 7, 3, 18, 0)  # meant: 2026-03-07


def fell_overnight(log: Log) -> None:
    for record, gravity in zip(log["fermentation"], [1.078] * 9 + [0.990] * 3, strict=True):
        record["reading"] = gravity


def fell_on_the_first_day(log: Log) -> None:
    log["fermentation"][1]["reading"] = 1.026
    del log["fermentation"][2:]


def stuck(log: Log) -> None:
    for record in log["fermentation"][4:]:
        record["reading"] = 1.040


def nothing_done_since(log: Log) -> None:
    for sheet in ("clearing", "runs", "cuts"):
        del log[sheet]


def no_temperature(log: Log) -> None:
    del log["fermentation"][3]["sample_temperature"]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("out_of_line", put("fermentation", 3, reading=1.074), "reading", 3),
    ("copied_from_above", put("fermentation", 3, reading=1.057), "reading", 3),
    ("gravity_impossible", put("fermentation", 3, reading=10.2), "reading", 3),
    ("gravity_impossible", put("fermentation", 3, reading=0.141), "reading", 3),
    ("above_original", put("fermentation", 0, reading=1.098), "reading", 0),
    ("below_lowest", put("fermentation", 11, reading=0.970), "reading", 11),
    ("falls_too_fast", fell_overnight, "reading", 9),
    ("falls_very_fast", fell_on_the_first_day, "reading", 1),
    ("date_out_of_order", swapped_month, "taken_at", 5),
    ("long_gap", put("fermentation", 11, taken_at=datetime(2027, 3, 13)), "taken_at", 11),
    ("before_the_yeast", put("fermentation", 0, taken_at=datetime(2026, 2, 2)), "taken_at", 0),
    ("fahrenheit_sample", put("fermentation", 2, sample_temperature=72.0), "sample_temperature", 2),
    ("fahrenheit_wash", put("fermentation", 2, wash_temperature=75.0), "wash_temperature", 2),
    ("wash_too_warm", put("fermentation", 2, wash_temperature=36.0), "wash_temperature", 2),
    ("wash_too_cool", put("fermentation", 2, wash_temperature=12.0), "wash_temperature", 2),
    ("sample_too_hot", put("fermentation", 2, sample_temperature=43.0), "sample_temperature", 2),
    ("stalled", stuck, "reading", 11),
    ("finished", nothing_done_since, "reading", 11),
    ("beyond_tolerance", put("batch", None, yeast_tolerance=8.0), "reading", 11),
    ("unreadable", put("fermentation", 2, reading="about 1.05"), "reading", 2),
    ("unreadable", put("fermentation", 2, taken_at="yesterday"), "taken_at", 2),
    ("not_filled_in", no_temperature, "sample_temperature", 3),
    ("sample_far_from_wash", put("fermentation", 2, sample_temperature=2.2), "sample_temperature", 2),
]
# fmt: on
