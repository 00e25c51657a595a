"""Three instruments that read right. And what goes wrong there. All invented."""

from typing import Any

from logs import Planted, put

CLEAN: Any = [
    {"instrument": "hydrometer", "scale": "SG", "zero_reading": 1.0, "zero_temperature": 20.0},
    {"instrument": "alcoholmeter", "scale": "% vol", "zero_reading": 0.0, "zero_temperature": 20.0},
    {"instrument": "thermometer", "scale": "°C", "zero_reading": 0.0},
]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("reading_for_temperature", put("instruments", 1, zero_reading=20.0, zero_temperature=0.5), "zero_temperature", 1),
    ("far_from_zero", put("instruments", 0, zero_reading=1.020), "zero_reading", 0),
    ("scale_of_another_kind", put("instruments", 1, scale="°C"), "scale", 1),
    ("proof_scale_not_at_sixty", put("instruments", 1, scale="proof"), "reference_temperature", 1),
    ("second_of_its_kind", put("instruments", 2, instrument="hydrometer", scale="SG"), "instrument", 2),
    ("water_temperature_missing", put("instruments", 0, zero_temperature=None), "zero_temperature", 0),
    ("division_impossible", put("instruments", 0, division=2.0), "division", 0),
    ("fahrenheit_reference", put("instruments", 0, reference_temperature=60.0), "reference_temperature", 0),
    ("fahrenheit_water", put("instruments", 0, zero_temperature=68.0), "zero_temperature", 0),
]
# fmt: on
