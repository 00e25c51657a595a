"""The costs sheet: where the money went."""

from typing import Any, NamedTuple

import numpy as np

from sheetcalc.liquids import Array
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask, Texts

MOST_ITEMS = 20  # lines for the recipe; more of them are put together in the last one

NAN = float("nan")


class Line(NamedTuple):
    """What was paid for: step, name, cost (NaN while unknown), how it comes about, whether a price lacks."""

    step: str
    what: str
    cost: float
    note: str
    lacks_price: bool = False


@column("costs")
def ingredients(recipe_item: Any, recipe_cost: Array) -> list[Line]:
    """A line for each item of the recipe that has a cost."""
    costs = np.atleast_1d(recipe_cost)
    texts = np.broadcast_to(np.asarray(recipe_item, dtype=object), costs.shape)
    named = [
        Line("Recipe", text.strip() if isinstance(text, str) else "", float(cost), "")
        for text, cost in zip(texts, costs, strict=True)
        if np.isfinite(cost)
    ]
    if not named:
        return [Line("Recipe", "ingredients", NAN, "There are no prices on the recipe sheet.", True)]
    if len(named) > MOST_ITEMS:
        rest = named[MOST_ITEMS - 1 :]
        total = sum(line.cost for line in rest)
        named[MOST_ITEMS - 1 :] = [Line("Recipe", "other ingredients", total, f"{len(rest)} items.")]
    return named


@column("costs")
def energy(runs_energy: Array, runs_collected_volume: Array, runs_stopped_at: Array) -> float:
    """Energy (kWh) of the runs that are done; a plan has cost nothing yet."""
    done = np.isfinite(np.atleast_1d(runs_collected_volume)) | np.isfinite(np.atleast_1d(runs_stopped_at))
    used = np.atleast_1d(runs_energy)[done & np.isfinite(np.atleast_1d(runs_energy))]
    return float(used.sum()) if len(used) else NAN


@column("costs")
def bottles(bottling_bottles: Array) -> float:
    """Bottles filled."""
    filled = np.atleast_1d(bottling_bottles)
    return float(np.nansum(filled)) if np.isfinite(filled).any() else NAN


@column("costs")
def lines(
    ingredients: list[Line],
    energy: float,
    energy_price: Array,
    bottles: float,
    bottle_price: Array,
    other_costs: Array,
) -> list[Line]:
    """Every line; none as long as there is nothing to tell."""
    known = np.isfinite([line.cost for line in ingredients] + [energy, bottles, float(other_costs)])
    if not known.any():
        return []
    at_price = [
        Line("Distilling", "energy", *_priced(energy, "kWh", energy_price, "The runs tell no energy.")),
        Line("Bottling", "bottles", *_priced(bottles, "bottles", bottle_price, "Nothing is bottled yet.")),
    ]
    other = [Line("Other", "other costs", float(other_costs), "As typed above.")]
    return [*ingredients, *at_price, *(other if np.isfinite(other_costs) else [])]


def _priced(amount: float, unit: str, price: Array, none: str) -> tuple[float, str, bool]:
    """Cost of an amount at a price, how it comes about or what is missing, and whether that is the price."""
    if np.isnan(amount):
        return NAN, none, False
    shown = f"{amount:.1f} {unit}" if unit == "kWh" else f"{amount:.0f} {unit}"
    if np.isnan(price):
        return NAN, f"{shown}; the price is missing on the batch card.", True
    return amount * float(price), f"{shown} at {_money(float(price))}.", False


def _money(price: float) -> str:
    """A price in words: two digits behind the point, and more where more were typed, as for a kWh."""
    return f"{price:.2f}" if abs(round(price, 2) - price) < 1e-9 else f"{price:g}"


@column("costs")
def step(lines: list[Line]) -> Texts:
    """The step each line belongs to."""
    return np.array([line.step for line in lines], dtype=object)


@column("costs")
def what(lines: list[Line]) -> Texts:
    """What was paid for."""
    return np.array([line.what for line in lines], dtype=object)


@column("costs")
def cost(lines: list[Line]) -> Array:
    """What it cost, in the person's currency."""
    return np.array([line.cost for line in lines], dtype=float)


@column("costs")
def note(lines: list[Line]) -> Texts:
    """How it comes about, or what is missing."""
    return np.array([line.note for line in lines], dtype=object)


@column("costs")
def total_cost(cost: Array) -> Array:
    """Sum of what is known."""
    return np.array(np.nansum(cost) if np.isfinite(cost).any() else NAN)


@column("costs")
def share(cost: Array, total_cost: Array) -> Array:
    """Share (0 to 1) of the total."""
    return np.where(total_cost > 0, cost / total_cost, NAN)


@column("costs")
def made(balance_pure_alcohol: Array, balance_in_hand_total: Array, balance_working: bool) -> float:
    """Pure alcohol (L) that the money was spent for: in bottles, or still in hand; NaN while it ferments."""
    made = float(np.nansum([balance_pure_alcohol, balance_in_hand_total]))
    return made if made > 0 and not balance_working else NAN


@column("costs")
def packaging(lines: list[Line]) -> float:
    """What the empty bottles cost, with all that belongs to them; 0 while it is not known."""
    return float(np.nansum([line.cost for line in lines if line.step == "Bottling"]))


@column("costs")
def cost_per_litre_alcohol(total_cost: Array, packaging: float, made: float) -> Array:
    """Cost of a litre of pure alcohol, without what it was bottled in; NaN while the wash ferments, and where
    nothing but bottles has a price."""
    spirit = np.asarray(total_cost - packaging)
    return np.where(spirit > 0, spirit / made, NAN)


@column("costs")
def cost_per_bottle(
    total_cost: Array,
    packaging: float,
    made: float,
    bottles: float,
    balance_pure_alcohol: Array,
) -> Array:
    """Cost of a bottle: the empty one, and its share of all the rest by the alcohol in it."""
    per_bottle = (total_cost - packaging) * balance_pure_alcohol / made + packaging
    return np.asarray(per_bottle / bottles if bottles > 0 else NAN)


@check(
    "costs",
    cell="cost",
    level="note",
    says="The total is without the {what}. {note}",
    advice="Fill in the price to get the whole cost.",
)
def price_missing(lines: list[Line], total_cost: Array) -> Mask:
    """Somebody who gave one price is told which ones are missing."""
    lacking = np.array([line.lacks_price for line in lines], dtype=bool)
    return lacking & bool(np.isfinite(total_cost))
