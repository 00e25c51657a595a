"""Recipes against the rules of the trade, the laboratory mash, and the laws of mass."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sheetcalc.instruments import DEFAULTS
from sheetcalc.liquids import must, sugar, wash
from sheetcalc.stages import recipe as stage
from sheetcalc.stages.registry import CHECKS, COLUMNS

COLUMN_KEYS = ("amount", "liquid_volume", "strength", "fermentable", "solids", "efficiency")
CARD_KEYS = ("water_volume", "wanted_strength", "wash_volume", "original_gravity", "yeast_tolerance")
POUND, GALLON = 0.45359237, 3.785411784


class Recipe:
    """A recipe as it would be typed, in base units: items as dictionaries, the card and the batch as keys."""

    def __init__(self, *items: dict[str, Any], grain_and_pulp: str = "left in", **card: float) -> None:
        self.values: dict[str, Any] = {
            key: np.array([item.get(key, np.nan) for item in items], dtype=float)
            for key in (*COLUMN_KEYS, "price", "liquid_price")
        }
        for key in ("item", "kind"):
            self.values[key] = np.array([item.get(key, "") for item in items], dtype=object)
        self.values |= {key: np.asarray(card.get(key, np.nan)) for key in CARD_KEYS}
        self.values |= {"grain_and_pulp": grain_and_pulp, "hydrometer": DEFAULTS["hydrometer"]}
        self.values |= {
            "batch_usual_strength": np.asarray(wash.highest_strength(self.values["original_gravity"]))
        }

    def get(self, key: str) -> Any:
        """A typed or computed value."""
        if key not in self.values:
            column = COLUMNS["recipe"][key]
            self.values[key] = column.function(*map(self.get, column.needs))
        return self.values[key]


def item(kind: str, amount: float = np.nan, **more: float) -> dict[str, Any]:
    """An item by weight (kg), or with `liquid_volume` by volume (L)."""
    return {"item": kind, "kind": kind, "amount": amount, **more}


def test_six_kilograms_of_sugar_in_twenty_five_litres() -> None:
    # By hand: 25 L of 6 kg sugar: 240 g/L. NBS C440: 22 °Bx is 1.0899 g/mL, 239.8 g/L (from memory), so
    # 22.02 °Bx, SG 1.0919. 27.25 kg less 6 kg are 21.25 kg of water, 21.3 L.
    made = Recipe(item("sugar", 6.0), wash_volume=25.0)
    assert made.get("expected_gravity") == pytest.approx(1.0920, abs=0.0004)
    assert made.get("water_more") == pytest.approx(21.3, abs=0.05)
    assert made.get("expected_volume") == pytest.approx(25.0, abs=1e-6)


def test_a_gravity_that_fits_the_recipe_as_it_stands_is_not_off() -> None:
    # 10.6 lb in 5.3 gal make 6.1 gal of 1.080; the fermenter's mark said 6 gal, in which it would be 1.081.
    made = Recipe(
        item("sugar", 10.6 * POUND),
        water_volume=5.3 * GALLON,
        wash_volume=6 * GALLON,
        original_gravity=1.078,
    )
    assert not made.get("gravity_off")


def test_an_item_that_nothing_is_known_of_counts_as_nothing() -> None:
    made = Recipe(item("sugar", 5.0), item("other", 2.0), water_volume=20.0)
    assert np.isnan(made.get("fermenting")[1])
    alone = Recipe(item("sugar", 5.0), water_volume=20.0)
    assert made.get("expected_gravity") == pytest.approx(alone.get("expected_gravity"))


def test_yields_stand_in_their_order() -> None:
    # Sucrose: 0.5383 by stoichiometry, 0.5052 by Pasteur, 0.4839 by Balling, a gram each: 11 and 4 % above
    # Balling, a little less in % vol as the wash with more alcohol is larger.
    made = Recipe(item("sugar", 5.0), water_volume=20.0)
    balling = made.get("potential_alcohol")
    assert made.get("practical_alcohol") / balling == pytest.approx(1.044, abs=0.003)
    assert made.get("stoichiometric_alcohol") / balling == pytest.approx(1.111, abs=0.004)


def test_the_most_in_theory_of_a_mash_is_all_of_its_extract() -> None:
    # By hand: 5 kg of malt give 5 x 0.78 x 0.75 = 2.925 kg of extract; as hexose 3.079 kg, 1.575 kg of
    # alcohol (1.995 L). In 25 L of water and 0.25 kg of moisture: 28.13 kg less 1.504 kg of gas, at 988 kg/m3
    # 26.95 L.
    # A wash of such a mash that ferments nine tenths of it (6.5 % vol) is below that, not above.
    made = Recipe(item("malt", 5.0), water_volume=25.0)
    assert made.get("stoichiometric_alcohol") == pytest.approx(7.40, abs=0.03)


@pytest.mark.parametrize(
    ("kind", "gravity", "words"),
    [("sugar", 1.040, "sugar is dissolved"), ("malt", 1.020, "iodine"), ("malt", 1.085, "efficiency")],
)
def test_who_mashes_grain_is_told_of_the_mash(kind: str, gravity: float, words: str) -> None:
    made = Recipe(item(kind, 5.0), water_volume=20.0, original_gravity=gravity)
    check = next(check for check in CHECKS["recipe"] if check.rule == "gravity_disagrees")
    wrong, shown = check.function(*map(made.get, check.needs))
    assert wrong
    advice = check.advice.format_map({key: str(value[0]) for key, value in shown.items()})
    assert words in advice
    assert ("sugar is dissolved" in advice) == (kind == "sugar")


def test_potential_alcohol_is_that_of_the_batch_card() -> None:
    made = Recipe(item("sugar", 5.0), water_volume=20.0)
    expected = wash.highest_strength(made.get("expected_gravity"))
    assert made.get("potential_alcohol") == pytest.approx(float(expected), abs=1e-6)


@pytest.mark.parametrize(("moisture", "extract", "kind"), [(5.0, 78.0, "malt"), (10.0, 70.0, "grain")])
def test_laboratory_mash(moisture: float, extract: float, kind: str) -> None:
    # Congress mash (EBC / ASBC, from memory): E = P (M + 800) / (100 - P) for 8 parts of water to one of malt
    # with M % of moisture; with E known that is P = 100 E / (800 + M + E).
    mash = Recipe(item(kind, 1.0, efficiency=1.0), water_volume=8.0 / 0.998201)
    degrees = 100.0 * extract / (800.0 + moisture + extract)
    assert sugar.plato(mash.get("expected_gravity")) == pytest.approx(degrees, abs=0.001)


def test_grain_takes_room_in_the_fermenter() -> None:
    # Common practice: a pound of grain takes up 0.08 gal in the mash, so 24 lb in 10 gal make 11.9 gal.
    mash = Recipe(item("grain", 16 * POUND), item("malt", 8 * POUND), water_volume=10.0 * GALLON)
    assert mash.get("expected_volume") / GALLON == pytest.approx(11.9, abs=0.2)


def test_strained_grain_holds_water_back() -> None:
    # Common practice: a kilogram of grain holds back about a litre. What it gives up as extract takes room
    # (0.62 L a kg), and its own moisture counts: 5 kg of malt in 25 L with 75 % of 78 % leave about 22 L.
    mash = Recipe(item("malt", 5.0), grain_and_pulp="strained off", water_volume=25.0)
    assert mash.get("expected_volume") == pytest.approx(25.0 - 5.0 + 5 * 0.05 + 2.925 * 0.62, abs=0.1)


def test_grapes_and_the_refractometer() -> None:
    # A grape juice of 22 °Bx holds about 20 % sugar (handbooks, from memory): 1.0915 kg a litre, 219 g/L,
    # 13.0 % vol by the wine law's 16.83 g/L. Balling's yield is 3.2 % higher, and the wash shrinks by 1 %.
    made = Recipe(item("juice", liquid_volume=20.0, solids=0.22))
    assert made.get("sugar")[0] / made.get("weight")[0] == pytest.approx(0.20, abs=0.005)
    assert made.get("potential_alcohol") == pytest.approx(13.0 * 1.032 * 1.01, abs=0.1)


def test_bought_wine_keeps_its_strength_and_water_thins_it() -> None:
    wine = item("wine", liquid_volume=20.0, strength=12.0)
    assert Recipe(wine).get("potential_alcohol") == pytest.approx(12.0, abs=1e-6)
    assert Recipe(wine).get("expected_volume") == pytest.approx(20.0, abs=1e-6)
    # As much water again: 6 % vol, but for what mixing makes vanish (under 0.5 %, OIML R 22).
    thinned = Recipe(wine, water_volume=20.0)
    assert thinned.get("potential_alcohol") == pytest.approx(6.0, abs=0.03)


def test_strained_fruit_fills_the_wash_volume() -> None:
    made = Recipe(item("fruit", 25.0), item("sugar", 2.0), grain_and_pulp="strained off", wash_volume=30.0)
    assert made.get("expected_volume") == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(("weighed", "price", "cost"), [(4.6, 1.1, 5.06), (0.02, 12.0, 0.24)])
def test_cost_by_weight(weighed: float, price: float, cost: float) -> None:
    assert Recipe(item("sugar", weighed, price=price)).get("cost") == pytest.approx([cost])


def test_cost_by_volume() -> None:
    assert Recipe(item("wine", liquid_volume=20.0, liquid_price=1.5)).get("cost") == pytest.approx([30.0])


def test_what_is_not_typed_of_an_item_comes_from_its_kind_or_its_own_figures() -> None:
    rows = Recipe(
        item("molasses", 1.0),
        item("molasses", 1.0, fermentable=0.55),
        item("juice", 1.0, solids=0.14),
        item("malt", 1.0, fermentable=0.6),
        item("other", 1.0, fermentable=0.4),
        item("other", 1.0, strength=40.0),
    )
    # More sugar is as much more dissolved; less °Bx as much less sugar; a mash's extract stays what it is.
    assert rows.get("dissolving") == pytest.approx([0.80, 0.85, 0.14, 0.78, 0.40, 0.0])
    assert rows.get("fermenting") == pytest.approx([0.50, 0.55, 0.105 * 0.14 / 0.115, 0.6, 0.40, 0.0])


KINDS = st.sampled_from([kind for kind in stage.KINDS if kind not in ("wine", "beer")])
ITEMS = st.lists(st.builds(item, KINDS, st.floats(0.1, 4.0)), min_size=1, max_size=4)


@settings(deadline=None)
@given(ITEMS, st.floats(15.0, 40.0))
def test_shares_of_gravity_make_one_and_masses_are_kept(items: list[dict[str, Any]], water: float) -> None:
    made = Recipe(*items, water_volume=water)
    assert made.get("gravity_share").sum() == pytest.approx(1.0)
    parts, contents = made.get("parts"), made.get("contents")
    weight = sum(item["amount"] for item in items)
    brought = contents.water + contents.extract + contents.alcohol + parts.pulp.sum()
    assert brought == pytest.approx(weight + water * 0.998201, rel=1e-6)


@settings(deadline=None)
@given(ITEMS, st.floats(20.0, 40.0), st.sampled_from(["left in", "strained off"]))
def test_without_water_typed_it_is_filled_up_to_the_wash_volume(
    items: list[dict[str, Any]], volume: float, pulp: str
) -> None:
    plan = Recipe(*items, grain_and_pulp=pulp, wash_volume=volume)
    assert plan.get("expected_volume") == pytest.approx(volume, rel=2e-4)
    again = Recipe(*items, grain_and_pulp=pulp, water_volume=float(plan.get("water_more")))
    assert again.get("expected_gravity") == pytest.approx(plan.get("expected_gravity"), abs=1e-9)


@settings(deadline=None)
@given(ITEMS, st.floats(20.0, 40.0), st.floats(8.0, 16.0))
def test_the_sugar_to_add_brings_the_wanted_strength(
    items: list[dict[str, Any]], water: float, strength: float
) -> None:
    made = Recipe(*items, water_volume=water, wanted_strength=strength)
    added = float(made.get("sugar_for_target"))
    after = Recipe(*items, item("sugar", max(added, 1e-9)), water_volume=water)
    if added > 0:
        assert after.get("potential_alcohol") == pytest.approx(strength, abs=1e-3)
    else:
        assert made.get("potential_alcohol") >= strength - 1e-6


@settings(deadline=None)
@given(ITEMS, st.floats(15.0, 40.0), st.floats(0.5, 5.0))
def test_more_water_makes_it_thinner_and_leaves_the_alcohol(
    items: list[dict[str, Any]], water: float, more: float
) -> None:
    thick, thin = (Recipe(*items, water_volume=w) for w in (water, water + more))
    assert thin.get("expected_gravity") < thick.get("expected_gravity")
    left, there = (must.fermented(r.get("contents"), must.BALLING).alcohol for r in (thin, thick))
    assert left == pytest.approx(there, rel=1e-9)


@settings(deadline=None)
@given(st.floats(2.0, 7.0), st.floats(-0.8, 0.8))
def test_a_gravity_within_what_water_and_weights_may_be_off_is_never_flagged(kg: float, share: float) -> None:
    """The wash that went in: water and sugar each off by as much as they are said to be, or less."""
    really = Recipe(item("sugar", kg * (1 + share * 0.01)), water_volume=22.0 * (1 - share * 0.03))
    measured = float(really.get("expected_gravity"))
    assert not Recipe(item("sugar", kg), water_volume=22.0, original_gravity=measured).get("gravity_off")


def test_a_recipe_of_nothing_says_nothing() -> None:
    for key in ("expected_gravity", "expected_volume", "potential_alcohol", "sugar_for_target", "water_more"):
        assert np.isnan(Recipe().get(key)), key
        assert np.isnan(Recipe(wash_volume=25.0, yeast_tolerance=14.0).get(key)), key


def test_molasses_measured_but_typed_as_weighed_is_named() -> None:
    # 5 L of molasses weigh about 7 kg (80 °Bx: 1.412 kg/L by NBS C440): 7.06 kg in the wash, 5 kg typed.
    really = Recipe(item("molasses", 7.06), wash_volume=25.0)
    typed = Recipe(
        item("molasses", 5.0), wash_volume=25.0, original_gravity=float(really.get("expected_gravity"))
    )
    function = stage.gravity_disagrees
    needs = function.__code__.co_varnames[: function.__code__.co_argcount]
    wrong, more = function(*map(typed.get, needs))
    assert wrong
    assert "molasses was measured by volume" in str(more["meant"][0])
