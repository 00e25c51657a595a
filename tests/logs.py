"""Logs for the tests: a clean one of our own invention, typed into a workbook, to be spoilt on purpose."""

import copy
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from demo import type_in

Log = dict[str, Any]

START = datetime(2026, 3, 2, 18, 0)
RUN = datetime(2026, 3, 16, 9, 0)


def clean_log() -> Log:
    """A sugar wash of 25 L in a still of 10 L, metric, with nothing wrong in it (all invented)."""
    gravities = [1.078, 1.071, 1.057, 1.041, 1.025, 1.011, 1.001, 0.994, 0.991, 0.990, 0.990, 0.990]
    return {
        "batch": {
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
            "bottle_size": 500.0,
            "currency": "EUR",
        },
        "instruments": [
            {"instrument": "hydrometer", "scale": "SG", "zero_reading": 1.0, "zero_temperature": 20.0},
            {"instrument": "alcoholmeter", "scale": "% vol", "zero_reading": 0.0, "zero_temperature": 20.0},
            {"instrument": "thermometer", "scale": "°C", "zero_reading": 0.0},
        ],
        "fermentation": [
            {
                "taken_at": START + timedelta(days=day),
                "reading": gravity,
                "sample_temperature": 22.0,
                "wash_temperature": 24.0,
            }
            for day, gravity in enumerate(gravities)
        ],
        "runs": [
            {
                "run": str(number + 1),
                "kind": "stripping",
                "charge_volume": 8.0,
                "charge_strength": 12.0,
                "filled_at": RUN + timedelta(hours=3 * number),
                "first_drip_at": RUN + timedelta(hours=3 * number, minutes=38),
                "stopped_at": RUN + timedelta(hours=3 * number + 1, minutes=45),
                "collected_volume": 1900.0,
                "collected_reading": 45.0,
                "collected_temperature": 22.0,
            }
            for number in range(2)
        ],
        "strength": [
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
        ],
    }


def typed(log: Log, blank: Path, path: Path) -> Path:
    """A copy of a blank workbook with the log typed into it."""
    shutil.copyfile(blank, path)
    type_in(path, log)
    return path


def spoilt(spoil: Callable[[Log], None]) -> Log:
    """The clean log with something done to it."""
    log = copy.deepcopy(clean_log())
    spoil(log)
    return log


def put(sheet: str, record: int | None, **values: Any) -> Callable[[Log], None]:
    """Type other values into a record (or the card, with None) of a sheet."""

    def spoil(log: Log) -> None:
        (log[sheet] if record is None else log[sheet][record]).update(values)

    return spoil
