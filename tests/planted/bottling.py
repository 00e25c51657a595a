"""Two lots in bottles. And what goes wrong there. All invented."""

from datetime import datetime, timedelta
from typing import Any

from logs import RUN, Planted, put

CLEAN: Any = [
    {
        "bottled_at": datetime(2026, 4, 20, 15, 0),
        "product": "vodka",
        "lot": "first",
        "bottle_size": 350.0,
        "bottles": 2,
        "filled_volume": 351.0,
        "label_strength": 40.0,
        "measured_strength": 40.2,
    },
    {"bottled_at": datetime(2026, 4, 21), "lot": "second", "bottles": 1, "label_strength": 40.5},
]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("size_in_another_unit", put("bottling", 0, bottle_size=0.35), "bottle_size", 0),
    ("size_in_another_unit", put("bottling", 0, bottle_size="350 L"), "bottle_size", 0),
    ("size_in_centilitres", put("bottling", 1, bottle_size=50.0), "bottle_size", 1),
    ("unknown_lot", put("bottling", 1, lot="secnd"), "lot", 1),
    ("label_not_as_the_lot", put("bottling", 1, label_strength=43.0), "label_strength", 1),
    ("part_of_a_bottle", put("bottling", 0, bottles=1.5), "bottles", 0),
    ("more_than_there_was", put("bottling", 0, bottles=20), "bottles", 0),
    ("more_than_there_was", put("bottling", 1, volume_available=0.3), "bottles", 1),
    ("a_little_more_than_there_was", put("bottling", 0, volume_available=0.69), "bottles", 0),
    ("fill_outside_tolerance", put("bottling", 0, filled_volume=335.0), "filled_volume", 0),
    ("label_strength_missing", put("bottling", 1, label_strength=None), "label_strength", 1),
    ("label_in_another_unit", put("bottling", 0, label_strength=80.0), "label_strength", 0),
    ("measured_in_another_unit", put("bottling", 0, measured_strength=80.4), "measured_strength", 0),
    ("label_untrue", put("bottling", 0, measured_strength=42.0), "measured_strength", 0),
    ("alcoholmeter_too_coarse", put("bottling", 0), "measured_strength", 0),
    ("below_legal_minimum", put("bottling", 0, product="neutral"), "label_strength", 0),
    ("below_legal_minimum", put("bottling", 0, label_strength=37.0, measured_strength=37.0), "label_strength", 0),
    ("before_it_was_ready", put("bottling", 0, bottled_at=RUN - timedelta(days=5)), "bottled_at", 0),
    ("no_batch_code", put("batch", None, batch_code=None), "bottled_at", 0),
    ("not_filled_in", put("bottling", 1, bottles=None), "bottles", 1),
]
# fmt: on
