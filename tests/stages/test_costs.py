"""Costs by hand: every expected value is a sum that can be done on paper."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc.stages import costs as stage

NAN = np.nan


def lines(
    items: list[str],
    costs: list[float],
    energy: float = NAN,
    energy_price: float = NAN,
    bottles: float = NAN,
    bottle_price: float = NAN,
    other: float = NAN,
) -> Any:
    """The lines of a batch."""
    recipe = stage.ingredients(np.array(items, dtype=object), np.array(costs))
    return stage.lines(
        recipe, energy, np.array(energy_price), bottles, np.array(bottle_price), np.array(other)
    )


def test_a_batch_by_hand() -> None:
    # Sugar 6.00, yeast 4.50; 12 kWh at 0.30 = 3.60; 10 bottles at 1.20 = 12.00; carbon 3.90. In all 30.00.
    found = lines(["sugar", "yeast"], [6.0, 4.5], 12.0, 0.3, 10.0, 1.2, 3.9)
    cost = stage.cost(found)
    assert cost == pytest.approx([6.0, 4.5, 3.6, 12.0, 3.9])
    total = stage.total_cost(cost)
    assert float(total) == pytest.approx(30.0)
    assert stage.share(cost, total) == pytest.approx([0.2, 0.15, 0.12, 0.4, 0.13])
    # 2 L of alcohol in bottles and nothing in hand: 18.00 without the bottles, 9.00 a litre; 3.00 a bottle.
    empty = stage.packaging(found)
    assert float(stage.cost_per_litre_alcohol(total, empty, 2.0)) == pytest.approx(9.0)
    assert float(stage.cost_per_bottle(total, empty, 2.0, 10.0, np.array(2.0))) == pytest.approx(3.0)
    # As much again in hand: the 18.00 without the bottles are shared, 0.90 a bottle and 1.20 for itself.
    assert float(stage.cost_per_bottle(total, empty, 4.0, 10.0, np.array(2.0))) == pytest.approx(2.1)


@given(st.lists(st.floats(0.0, 100.0), min_size=1, max_size=60), st.floats(0.1, 50.0))
def test_the_lines_add_up_to_the_total_and_the_shares_to_one(prices: list[float], energy: float) -> None:
    found = lines(["x"] * len(prices), prices, energy, 0.25)
    assert len(found) <= 24
    total = stage.total_cost(stage.cost(found))
    assert float(total) == pytest.approx(sum(prices) + energy * 0.25)
    assert np.nansum(stage.share(stage.cost(found), total)) == pytest.approx(1.0)


def test_what_is_missing_stays_blank_and_is_told_to_who_gave_a_price() -> None:
    found = lines(["sugar"], [6.0], energy=12.0, bottles=10.0)
    assert np.isnan(stage.cost(found)[1:]).all()
    told = stage.price_missing(found, stage.total_cost(stage.cost(found)))
    assert list(told) == [False, True, True]
    assert all("price is missing" in line.note for line in found[1:])


def test_a_price_is_told_in_cents_and_finer_only_where_it_was_typed_finer() -> None:
    notes = [line.note for line in lines(["sugar"], [6.0], 12.0, 0.3125, 6.0, 1.4)]
    assert notes[1:] == ["12.0 kWh at 0.3125.", "6 bottles at 1.40."]


def test_without_any_price_nothing_is_told() -> None:
    found = lines([], [], energy=12.0)
    assert not stage.price_missing(found, stage.total_cost(stage.cost(found))).any()


def test_missing_sheets_give_no_lines() -> None:
    for missing in (np.array(NAN), np.zeros(0)):
        recipe = stage.ingredients(missing, missing)
        energy, bottles = stage.energy(missing, missing, missing), stage.bottles(missing)
        nothing = np.array(NAN)
        assert stage.lines(recipe, energy, nothing, bottles, nothing, nothing) == []
        assert np.isnan(stage.total_cost(stage.cost([])))


def test_a_planned_run_has_cost_nothing_yet() -> None:
    energy = stage.energy(np.array([2.0, 3.0]), np.array([1.9, NAN]), np.array([NAN, NAN]))
    assert energy == 2.0
