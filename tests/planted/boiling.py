"""A sample of the finished wash boiled off. And what goes wrong there. All invented."""

from typing import Any

from logs import Planted, put

CLEAN: Any = [
    {
        "sample": "Finished wash",
        "before": 0.990,
        "before_temperature": 22.0,
        "after": 1.006,
        "after_temperature": 22.0,
    }
]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("before_impossible", put("boiling", 0, before=9.9), "before", 0),
    ("after_impossible", put("boiling", 0, after=10.07), "after", 0),
    ("lighter_after_boiling", put("boiling", 0, before=1.007, after=0.990), "after", 0),
    ("lighter_than_water", put("boiling", 0, after=0.996), "after", 0),
    ("disagrees", put("boiling", 0, after=1.001), "after", 0),
    ("fahrenheit_before", put("boiling", 0, before_temperature=72.0), "before_temperature", 0),
    ("fahrenheit_after", put("boiling", 0, after_temperature=72.0), "after_temperature", 0),
    ("still_hot", put("boiling", 0, after_temperature=43.0), "after_temperature", 0),
    ("not_filled_in", put("boiling", 0, after=None), "after", 0),
]
# fmt: on
