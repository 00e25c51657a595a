"""The batch card of the clean log: a sugar wash of 25 L, a still of 10 L. And what goes wrong there. All invented."""

from datetime import datetime
from typing import Any

from logs import START, Log, Planted, put

CLEAN: Any = {
    "batch_code": "TEST-1",
    "wash_kind": "sugar",
    "started_at": START,
    "wash_volume": 25.0,
    "original_gravity": 1.080,
    "yeast_tolerance": 14.0,
    "temperature_low": 18.0,
    "temperature_high": 30.0,
    "target_strength": 40.0,
    "place": "EU",
    "altitude": 300.0,
    "still_capacity": 10.0,
    "still_minimum": 2.0,
    "still_power": 1500.0,
    "open_to_air": "yes",
    "bottle_size": 500.0,
    "currency": "EUR",
}


def without_gravity(log: Log) -> None:
    del log["batch"]["original_gravity"]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("original_gravity_missing", without_gravity, "original_gravity", None),
    ("original_gravity_impossible", put("batch", None, original_gravity=19.3), "original_gravity", None),
    ("beyond_yeast", put("batch", None, original_gravity=1.105), "yeast_tolerance", None),
    ("temperatures_reversed", put("batch", None, temperature_low=33.0), "temperature_high", None),
    ("fahrenheit_yeast_limit", put("batch", None, temperature_high=86.0), "temperature_high", None),
    ("target_above_azeotrope", put("batch", None, target_strength=99.0), "target_strength", None),
    ("target_below_legal_minimum", put("batch", None, target_strength=37.0), "target_strength", None),
    ("target_below_legal_minimum", put("batch", None, place="South Africa"), "target_strength", None),
    ("not_open_to_air", put("batch", None, open_to_air="no"), "open_to_air", None),
    ("not_said_to_be_open", put("batch", None, open_to_air=None), "open_to_air", None),
    ("still_never_covered", put("batch", None, still_minimum=12.0), "still_minimum", None),
    ("less_than_one_stage", put("batch", None, effective_stages=0.5), "effective_stages", None),
    ("charges_stop_early", put("batch", None, still_minimum=7.0), "planned_charges", None),
    ("unreadable", put("batch", None, place="Atlantis"), "place", None),
    ("outside_limits", put("batch", None, still_power=15.0), "still_power", None),
    ("original_gravity_too_low", put("batch", None, original_gravity=1.008), "original_gravity", None),
    ("started_at_another_time", put("batch", None, started_at=datetime(2025, 3, 2)), "started_at", None),
    ("started_at_another_time", put("batch", None, started_at=datetime(2026, 3, 20)), "started_at", None),
]
# fmt: on
