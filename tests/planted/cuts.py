"""The jars of the first run. And what goes wrong there. All invented; the vapour after Perry, 1 °C cooler."""

from typing import Any

from logs import Log, Planted, put

JARS = [
    (40.0, 61.0, 90.5, "first runnings"),
    (160.0, 60.5, 91.0, "heads"),
    (400.0, 57.0, 91.5, "hearts"),
    (400.0, 50.0, 93.0, "hearts"),
    (400.0, 41.5, 94.5, "hearts"),
    (500.0, 29.5, 96.0, "tails"),
]

CLEAN: Any = [
    {
        "run": "1",
        "jar": str(number),
        "volume": volume,
        "reading": reading,
        "temperature": 22.0,
        "vapour_temperature": vapour,
        "fraction": fraction,
    }
    for number, (volume, reading, vapour, fraction) in enumerate(JARS, start=1)
]


def third_jar_again(log: Log) -> None:
    log["cuts"].insert(4, dict(log["cuts"][2], jar="3 again"))


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("unknown_run", put("cuts", 5, run="7"), "run", 5),
    ("beyond_the_charge", put("cuts", 4, volume=9000.0), "volume", 4),
    ("more_alcohol_out", put("cuts", 3, volume=1900.0), "reading", 3),
    ("jars_do_not_add_up", put("cuts", 4, volume=260.0), "volume", 5),
    ("one_jar_is_off", put("cuts", 4, volume=40.0), "volume", 4),
    ("jar_twice", third_jar_again, "volume", 4),
    ("above_azeotrope", put("cuts", 3, reading=100.5), "reading", 3),
    ("does_not_get_weaker", put("cuts", 3, reading=66.0), "reading", 3),
    ("does_not_get_weaker", put("cuts", 3, reading=5.0), "reading", 3),
    ("catches_fire", lambda log: None, "reading", 0),
    ("fahrenheit_sample", put("cuts", 3, temperature=72.0), "temperature", 3),
    ("exchanged_with_strength", put("cuts", 3, reading=22.0, temperature=50.0), "temperature", 3),
    ("sample_and_vapour_exchanged", put("cuts", 3, temperature=93.0, vapour_temperature=22.0), "temperature", 3),
    ("celsius_sample", put("cuts", 3, temperature="22 °F"), "temperature", 3),
    ("temperature_missing", put("cuts", 3, temperature=None), "temperature", 3),
    ("fahrenheit_vapour", put("cuts", 3, vapour_temperature=199.0), "vapour_temperature", 3),
    ("vapour_too_cool", put("cuts", 3, vapour_temperature="93 °F"), "vapour_temperature", 3),
    ("vapour_disagrees", put("cuts", 3, vapour_temperature=89.0), "vapour_temperature", 3),
    ("vapour_disagrees_throughout", put("batch", None, altitude=2500.0), "vapour_temperature", 1),
    ("fraction_out_of_order", put("cuts", 1, fraction="tails"), "fraction", 1),
    ("first_runnings_kept", put("cuts", 0, fraction="heads"), "fraction", 0),
    ("little_set_aside", put("cuts", 0, volume=8.0), "volume", 0),
    ("not_filled_in", put("cuts", 3, volume=None), "volume", 3),
]
# fmt: on
