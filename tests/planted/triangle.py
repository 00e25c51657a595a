"""Two pairs of lots in triangle tests. And what goes wrong there. All invented."""

from typing import Any

from logs import Planted, put

CLEAN: Any = [
    {"pair": "filtered, unfiltered", "tastings": 12, "correct": 9},
    {"pair": "run 1, run 2", "tastings": 18, "correct": 7},
]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("more_correct_than_tastings", put("triangle", 0, tastings=9, correct=12), "correct", 0),
    ("tastings_no_count", put("triangle", 0, tastings=12.5), "tastings", 0),
    ("tastings_no_count", put("triangle", 0, tastings=-12), "tastings", 0),
    ("correct_no_count", put("triangle", 0, correct=8.5), "correct", 0),
    ("correct_no_count", put("triangle", 0, correct=-1), "correct", 0),
    ("few_tastings", put("triangle", 0, tastings=5, correct=4), "tastings", 0),
    ("fewer_than_guessing", put("triangle", 1, tastings=24, correct=1), "correct", 1),
    ("outside_limits", put("triangle", 1, tastings=1800), "tastings", 1),
    ("not_filled_in", put("triangle", 1, tastings=None), "tastings", 1),
]
# fmt: on
