"""Three blends: water solved, a jar's strength solved, all known. And what goes wrong there. All invented."""

from typing import Any

from logs import Log, Planted, put

CLEAN: Any = [
    {"lot": "house", "part": "middle, run 1", "volume": 0.6, "strength": 58.0, "wanted_strength": 43.0},
    {"lot": "house", "part": "middle, run 2", "volume": 0.5, "strength": 55.0},
    {"lot": "house", "part": "water", "strength": 0.0},
    {"lot": "jars", "part": "jar 3", "volume": 0.3, "strength": 52.0},
    {"lot": "jars", "part": "jar 4", "volume": 0.2, "wanted_strength": 50.0},
    {"lot": "shelf", "part": "last year", "volume": 0.5, "strength": 42.0, "wanted_volume": 1.0},
    {"lot": "shelf", "part": "this year", "volume": 0.5, "strength": 40.0, "wanted_strength": 41.0},
]


def two_volumes(strong: float, weak: float, wanted: float) -> Any:
    def spoil(log: Log) -> None:
        log["blend"][3:5] = [
            {"lot": "jars", "strength": strong, "wanted_strength": wanted, "wanted_volume": 5.0},
            {"lot": "jars", "strength": weak},
        ]

    return spoil


def weak_and_nothing_wanted(log: Log) -> None:
    for record in log["blend"][5:7]:
        record |= {"strength": 36.0, "wanted_strength": None}


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("above_azeotrope", put("blend", 0, strength=116.0), "strength", 0),
    ("out_of_reach", put("blend", 0, wanted_strength=80.0), "wanted_strength", 0),
    ("out_of_reach", put("blend", 2, strength=43.0), "wanted_strength", 0),
    ("no_such_strength", put("blend", 4, wanted_strength=80.0), "wanted_strength", 4),
    ("no_such_volumes", two_volumes(58.0, 0.0, 86.0), "wanted_strength", 3),
    ("no_such_volumes", two_volumes(58.0, 45.0, 40.0), "wanted_strength", 3),
    ("less_than_the_parts", put("blend", 0, wanted_strength=None, wanted_volume=1.0), "wanted_volume", 0),
    ("strength_missed", put("blend", 6, wanted_strength=42.0), "wanted_strength", 6),
    ("part_in_another_unit", put("blend", 5, strength=84.0), "strength", 5),
    ("part_not_as_the_lot", put("blend", 6, part="first", strength=4.0), "strength", 6),
    ("volume_missed", put("blend", 5, wanted_volume=2.0), "wanted_volume", 5),
    ("volume_missed", put("blend", 1, wanted_volume=2.0), "wanted_volume", 1),
    ("two_wanted_strengths", put("blend", 1, wanted_strength=40.0), "wanted_strength", 1),
    ("two_wanted_volumes", put("blend", 6, wanted_volume=2.0), "wanted_volume", 6),
    ("nothing_wanted", put("blend", 0, wanted_strength=None), "volume", 2),
    ("too_many_blanks", put("blend", 1, volume=None), "volume", 2),
    ("strength_unknown", put("blend", 4, wanted_strength=None), "strength", 4),
    ("misspelled_part", put("blend", 5, part="frist"), "part", 5),
    ("one_part_only", put("blend", 4, lot="jar"), "lot", 4),
    ("more_than_the_lot", put("blend", 0, part="First", volume=14.0), "volume", 0),
    ("millilitres_for_litres", put("blend", 0, volume=600.0), "volume", 0),
    ("below_legal_minimum", put("blend", 0, wanted_strength=35.0), "blend_strength", 0),
    ("came_out_below_minimum", weak_and_nothing_wanted, "blend_strength", 5),
    ("catches_fire", put("blend", 3, strength=72.0), "strength", 3),
    ("negative", put("blend", 0, volume=-1.0), "volume", 0),
    ("not_filled_in", put("blend", 1, lot=None), "lot", 1),
]
# fmt: on
