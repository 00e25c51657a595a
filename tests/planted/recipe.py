"""A sugar wash of 25 L with a little molasses and apple juice. And what goes wrong there. All invented."""

from typing import Any

from logs import Log, Planted, put, records

CLEAN: Any = {
    "water_volume": 20.0,
    "wanted_strength": 13.0,
    "pitch_temperature": 26.0,
    "records": [
        {"item": "White sugar", "kind": "sugar", "amount": 4.6, "price": 1.1},
        {"item": "Cane molasses", "kind": "molasses", "amount": 0.4, "fermentable": 50, "price": 2.4},
        {"item": "Apple juice", "kind": "juice", "liquid_volume": 1.8, "solids": 11.5, "liquid_price": 0.9},
    ],
}


def only(**values: Any) -> Any:
    """A recipe of one item."""

    def spoil(log: Log) -> None:
        log["recipe"]["records"] = [values]

    return spoil


def wine_without_strength(log: Log) -> None:
    records(log, "recipe").append({"item": "Leftover wine", "kind": "wine", "liquid_volume": 0.5})


def no_water_no_volume(log: Log) -> None:
    del log["recipe"]["water_volume"]
    del log["batch"]["wash_volume"]


def sweet_without_a_packet(log: Log) -> None:
    del log["batch"]["original_gravity"]
    del log["batch"]["yeast_tolerance"]
    log["recipe"]["water_volume"] = 17.5
    records(log, "recipe")[0]["amount"] = 8.5


def weak_yeast_before_the_gravity_is_known(log: Log) -> None:
    del log["batch"]["original_gravity"]
    log["batch"]["yeast_tolerance"] = 11.0
    del log["recipe"]["wanted_strength"]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("heavier_than_the_wash", put("recipe", 0, amount=4600.0), "amount", 0),
    ("larger_than_the_wash", put("recipe", 2, liquid_volume=1800.0), "liquid_volume", 2),
    ("weight_and_volume", put("recipe", 1, liquid_volume=0.4), "liquid_volume", 1),
    ("solid_by_volume", put("recipe", 0, amount=None, liquid_volume=5.0), "liquid_volume", 0),
    ("amount_missing", put("recipe", 0, amount=None), "amount", 0),
    ("much_of_an_additive", put("recipe", 1, kind="additive", fermentable=None), "amount", 1),
    ("kind_missing", put("recipe", 1, kind=None, fermentable=None), "kind", 1),
    ("share_unknown", put("recipe", 1, kind="other", fermentable=None), "fermentable", 1),
    ("more_than_dissolves", put("recipe", 2, fermentable=15), "fermentable", 2),
    ("more_than_dissolves", put("recipe", 0, fermentable=110), "fermentable", 0),
    ("sweeter_than_its_kind", put("recipe", 1, fermentable=79), "fermentable", 1),
    ("share_for_percent", put("recipe", 1, fermentable=0.5), "fermentable", 1),
    ("strength_missing", wine_without_strength, "strength", 3),
    ("stronger_than_its_kind", put("recipe", 2, kind="wine", solids=None, strength=24), "strength", 2),
    ("another_kind_of_wash", only(item="Molasses", kind="molasses", amount=6.5), "kind", 0),
    ("water_missing", no_water_no_volume, "water_volume", None),
    ("volume_disagrees", put("recipe", None, water_volume=27.0), "water_volume", None),
    ("volume_disagrees", put("recipe", None, water_volume=90.0), "water_volume", None),
    ("volume_disagrees", put("batch", None, wash_volume=20.0), "water_volume", None),
    ("gravity_disagrees", put("recipe", 0, amount=3.5), "expected_gravity", None),
    ("gravity_disagrees", put("batch", None, original_gravity=1.070), "expected_gravity", None),
    ("too_sweet", sweet_without_a_packet, "expected_gravity", None),
    ("beyond_the_yeast", weak_yeast_before_the_gravity_is_known, "potential_alcohol", None),
    ("wanted_beyond_the_yeast", put("recipe", None, wanted_strength=17.0), "wanted_strength", None),
    ("fahrenheit_pitch", put("recipe", None, pitch_temperature=78.0), "pitch_temperature", None),
    ("celsius_pitch", put("recipe", None, pitch_temperature="26 °F"), "pitch_temperature", None),
    ("pitched_too_warm", put("recipe", None, pitch_temperature=38.0), "pitch_temperature", None),
    ("pitched_too_cool", put("recipe", None, pitch_temperature=12.0), "pitch_temperature", None),
    ("unreadable", put("recipe", 0, kind="spuds"), "kind", 0),
    ("outside_limits", put("recipe", 1, kind="malt", efficiency=0.75), "efficiency", 1),
]
# fmt: on
