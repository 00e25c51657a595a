"""Two lots brought to strength. And what goes wrong there. All invented."""

from typing import Any

from logs import Log, Planted, put

CLEAN: Any = [
    {
        "lot": "first",
        "volume": 1.0,
        "reading": 58.0,
        "temperature": 20.0,
        "target_strength": 40.0,
        "reading_after": 40.0,
        "temperature_after": 20.0,
    },
    {"lot": "second", "volume": 0.7, "reading": 58.0, "temperature": 20.0, "target_volume": 1.0},
]


def no_target(log: Log) -> None:
    del log["strength"][1]["target_volume"]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("already_there", put("strength", 0, target_strength=58.3, reading_after=58.0), "target_strength", 0),
    ("celsius_sample", put("strength", 0, temperature="20 °F"), "temperature", 0),
    ("celsius_sample_after", put("strength", 0, temperature_after="20 °F"), "temperature_after", 0),
    ("exchanged_with_strength", put("strength", 0, reading=20.0, temperature=58.0), "temperature", 0),
    ("exchanged_with_strength_after", put("strength", 0, reading_after=20.0, temperature_after=41.0), "temperature_after", 0),
    ("temperature_for_strength", put("strength", 0, reading=20.0, temperature=39.0, target_strength=38.0, reading_after=38.0), "reading", 0),
    ("fahrenheit_sample_after", put("strength", 0, temperature_after=68.0), "temperature_after", 0),
    ("temperature_after_missing", put("strength", 0, temperature_after=None), "temperature_after", 0),
    ("target_above_source", put("strength", 0, target_strength=70.0), "target_strength", 0),
    ("target_below_volume", put("strength", 1, target_volume=0.5), "target_volume", 1),
    ("nothing_wanted", no_target, "target_strength", 1),
    ("less_than_was_used", put("strength", 0, volume=0.1), "volume", 0),
    ("weaker_than_was_used", put("strength", 0, volume=0.9, reading=46.0), "reading", 0),
    ("two_wants", put("strength", 0, target_volume=1.2), "target_volume", 0),
    ("more_than_collected", put("strength", 0, volume=1000.0), "volume", 0),
    ("not_as_expected", put("strength", 0, reading_after=43.5), "reading_after", 0),
    ("below_legal_minimum", put("strength", 0, target_strength=35.0, reading_after=35.0), "target_strength", 0),
    ("above_azeotrope", put("strength", 0, reading=116.0), "reading", 0),
    ("fahrenheit_sample", put("strength", 0, temperature=68.0), "temperature", 0),
    ("catches_fire", put("strength", 1, reading=72.0), "reading", 1),
    ("negative", put("strength", 0, volume=-1.0), "volume", 0),
    ("comma_in_doubt", put("strength", 0, volume="1,000"), "volume", 0),
    ("impossible_number", put("strength", 0, volume=1e30), "volume", 0),
]
# fmt: on
