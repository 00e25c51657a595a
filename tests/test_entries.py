"""What people type into a cell is what is computed with: parts of two units, and weights for volumes."""

from typing import Any

import in_memory
import numpy as np
import pytest

from sheetcalc import compute, units
from sheetcalc.findings import Finding
from sheetcalc.layouts import System

# By definition: 1 lb is 0.45359237 kg and 16 oz; 1 gal is 231 cubic inches (3.785411784 L), 4 qt, 128 fl oz.
POUND, GALLON = 0.45359237, 3.785411784


def reckoned(log: dict[str, Any], system: System = "us") -> tuple[compute.Values, list[Finding]]:
    values = compute.Values(in_memory.read(in_memory.blank(system), dict(in_memory.places(log))))
    return values, list(compute.findings(values))


@pytest.mark.parametrize(
    ("text", "quantity", "base", "unit"),
    [
        ("6 lb 8 oz", "mass", 6.5 * POUND, "lb"),
        ("6lbs, 8.5oz", "mass", (6 + 8.5 / 16) * POUND, "lb"),
        ("6 pounds and 8 ounces", "mass", 6.5 * POUND, "lb"),
        ("2 kg 250 g", "mass", 2.25, "kg"),
        ("1 qt 12 oz", "volume", 44 / 128 * GALLON, "qt"),
        ("1 gal 2 qt 3 fl oz", "volume", (1.5 + 3 / 128) * GALLON, "gal"),
    ],
)
def test_a_quantity_in_parts_is_read(text: str, quantity: str, base: float, unit: str) -> None:
    read = units.read_parts(text, quantity)
    assert read is not None
    assert read[0] == pytest.approx(base, rel=1e-12)
    assert read[1] == unit


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("6 lb 18 oz", "mass"),  # more than a pound of ounces: one of the two is a slip
        ("6.5 lb 8 oz", "mass"),
        ("8 oz 6 lb", "mass"),
        ("6 lb 8", "mass"),
        ("6 lb 8 fl oz", "mass"),
        ("12 oz 1 qt", "volume"),
        ("1 lb 8 oz", "volume"),
        ("20 °C 5 °F", "temperature"),
    ],
)
def test_parts_that_could_mean_another_thing_are_not_guessed(text: str, quantity: str) -> None:
    assert units.read_parts(text, quantity) is None


def test_what_could_not_be_read_is_not_called_blank() -> None:
    item = {"item": "cane sugar", "kind": "sugar"}
    for typed in ({"amount": "6 lb 18 oz"}, {"liquid_volume": "a jug"}):
        _, found = reckoned({"recipe": {"records": [item | typed]}})
        assert [f.rule for f in found if f.sheet == "Recipe"] == ["unreadable"]
    _, found = reckoned({"recipe": {"records": [item]}})
    assert [f.rule for f in found if f.sheet == "Recipe"] == ["amount_missing"]


def test_spirit_gauged_by_weight_is_that_of_the_regulation() -> None:
    """27 CFR 30.64: 81,000 lb of 190 proof are 11,921.6 wine gallons and 22,650.8 proof gallons, at 60 °F. At
    20 °C they take more room: by OIML R 22 their density is 815.19 kg/m3 at 60 °F and 811.35 at 20 °C. The
    CFR's own alcohol is 1 in 10,000 heavier than that of OIML."""
    proof = {"reading": 190.0, "temperature": 60.0}
    line = {"lot": "A", "volume": "81000 lb", "target_strength": 100.0} | proof
    values, found = reckoned({"strength": [line]})
    strength = float(values.get("strength", "strength_20")[0])
    volume = float(values.get("strength", "volume")[0])
    assert volume / GALLON == pytest.approx(11_921.6 * 815.19 / 811.35, rel=2e-4)
    alcohol = units.from_base(volume * strength / 100, "alcohol", "proof gal")
    assert alcohol == pytest.approx(22_650.8, rel=2e-4)
    (told,) = [f for f in found if f.rule == "read_by_weight"]
    assert f"{volume / GALLON:.3f} gal" in told.message


def test_a_weight_without_a_strength_is_not_taken_for_a_blank() -> None:
    """12.4 kg of water would be 12.4 L; of a spirit nobody knows the strength of, nothing is said."""
    values, found = reckoned({"strength": [{"lot": "A", "volume": "12.4 kg"}]}, "metric")
    assert np.isnan(values.get("strength", "volume")[0])
    told = {f.rule: f.message for f in found if f.sheet == "Strength"}
    assert "only together with the strength" in told["read_by_weight"]
    assert "Volume" not in told["not_filled_in"]


def test_a_part_of_a_blend_may_be_weighed_too() -> None:
    """OIML R 22: 40 % vol has 948.05 kg/m3, so 9.4805 kg are 10 L; in air they show 0.1 % less (OIML R 33:
    1 - 1.2/948 + 1.2/8000), so that 9.4805 kg by the scale are 10.011 L."""
    blend = [
        {"lot": "B", "part": "L1", "volume": "9.4805 kg", "strength": 40.0},
        {"lot": "B", "part": "L2", "volume": 1.0, "strength": 40.0},
    ]
    values, _ = reckoned({"blend": blend}, "metric")
    assert values.get("blend", "volume")[0] == pytest.approx(10.011, abs=0.0005)
    assert values.get("blend", "blend_volume")[0] == pytest.approx(11.011, abs=0.0005)


def test_ounces_alone_are_no_weight_of_a_liquid() -> None:
    _, found = reckoned({"strength": [{"lot": "A", "volume": "12 oz", "reading": 80.0, "temperature": 60.0}]})
    assert any("fl oz" in f.message for f in found if f.rule == "unreadable")


@pytest.mark.parametrize(("label", "unit", "price"), [(None, "per proof gal", 28.5), ("", "per L", 15.0)])
def test_alcohol_is_priced_by_the_proof_gallon_and_in_older_workbooks_by_the_litre(
    label: str | None, unit: str, price: float
) -> None:
    """27 CFR 30.11: a proof gallon is a gallon of which half is alcohol, both at 60 °F: 1.893 L there and
    1.902 L at 20 °C (alcohol has 793.0 and 789.2 kg/m3), so 15.00 a litre are 28.53. Older workbooks lack the
    unit."""
    labels = {} if label is None else {("costs", "cost_per_litre_alcohol"): label}
    read = in_memory.read(in_memory.blank("us"), {("costs", None, "other_costs"): 15.0}, labels)
    assert not [f for f in read["costs"].findings if f.column == "Cost of the alcohol"]
    there = read["costs"].units["cost_per_litre_alcohol"]
    assert there == unit
    assert float(units.from_base(15.0, "price of alcohol", there)) == pytest.approx(price, abs=0.05)
