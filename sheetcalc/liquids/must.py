"""A must: the water, sugar and alcohol that go into a fermenter, and what the yeast makes of them.

Masses are added here, never volumes. The gravity follows from the masses by the densities of `wash`.

Three yields are known. Chemistry allows 0.5114 g alcohol a gram of hexose, and a gram of sucrose takes up
water to 1.0526 g of hexose. Pasteur found 0.484 of hexose, of which 0.48 are usually counted on. Balling's
1 / 2.0665 = 0.4839 counts the extract as it is weighed, whatever sugar it is; `wash` computes with it, and
so the strength of a finished wash here is that of `wash.highest_strength`. For hexose Balling's is 0.8 %
above Pasteur's 0.48, for sucrose 4.2 % below; the wine law's 16.83 g/L of hexose for 1 % vol (0.469 of
hexose) lies 3 % below Balling for hexose, and 2 % above it for sucrose.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, floats, root, spirit, sugar, wash, water

HEXOSE_PER_SUCROSE = 1.0526


class Must(NamedTuple):
    """Masses in a must, kg: water; extract, that is all that is dissolved; fermentable, of the extract;
    hexose, what the fermentable becomes when it takes up water; alcohol."""

    water: Array
    extract: Array
    fermentable: Array
    hexose: Array
    alcohol: Array


class Yield(NamedTuple):
    """What a kilogram of sugar becomes: alcohol, and what leaves as gas or sinks as yeast, kg.

    The rest stays as extract. `of_hexose`: whether the sugar is counted as hexose or as it is weighed.
    """

    alcohol: float
    leaving: float
    of_hexose: bool


# Balling, as in `wash`.
BALLING = Yield(
    1 / wash.EXTRACT_PER_ALCOHOL,
    (wash.CARBON_DIOXIDE_PER_ALCOHOL + wash.YEAST_PER_ALCOHOL) / wash.EXTRACT_PER_ALCOHOL,
    of_hexose=False,
)
# C6H12O6 -> 2 C2H5OH + 2 CO2.
STOICHIOMETRIC = Yield(0.5114, 0.4886, of_hexose=True)
# Pasteur, from memory: beside the alcohol 0.466 carbon dioxide and 0.012 yeast; glycerol and acids stay.
PASTEUR = Yield(0.480, 0.478, of_hexose=True)


class Fermented(NamedTuple):
    """A must with all its sugar gone: volume L at 20 °C, strength % vol, pure alcohol L."""

    volume: Array
    strength: Array
    alcohol: Array


def mass(must: Must) -> Array:
    """All of a must, kg."""
    return must.water + must.extract + must.alcohol


def density(must: Must) -> Array:
    """Density of a must at 20 °C, kg/m3 in vacuo; NaN for nothing, and above 990 g/L of extract.

    Source: `wash.density`.
    """
    m = _some(mass(must))
    return wash.density(must.alcohol / m, must.extract / m)


def volume(must: Must) -> Array:
    """Volume of a must, L at 20 °C: the sugar takes its room."""
    return 1000.0 * mass(must) / density(must)


def gravity(must: Must) -> Array:
    """Gravity of a must, SG 20/20, with whatever alcohol is in it already."""
    return water.gravity(density(must))


def water_for_volume(extract: ArrayLike, alcohol: ArrayLike, volume: ArrayLike) -> Array:
    """Water, kg, that makes so much extract and alcohol (kg) up to a volume (L at 20 °C).

    Broadcast; NaN where it does not fit in, or is thicker than 990 g/L.
    Source: `wash.density_of_contents`.
    """
    e, a, v = floats(extract, alcohol, volume)
    v = _some(v)
    needed = wash.density_of_contents(1000.0 * a / v, 1000.0 * e / v) * v / 1000.0 - e - a
    return np.where(needed >= 0.0, needed, np.nan)


def fermented(must: Must, of: Yield) -> Fermented:
    """A must when all its sugar is gone with a yield; alcohol that was in it already is counted.

    Source: balance of mass, with the density of `wash.density`.
    """
    sugars = must.hexose if of.of_hexose else must.fermentable
    alcohol = must.alcohol + of.alcohol * sugars
    left = _some(mass(must) - of.leaving * sugars)
    stays = (1.0 - of.alcohol - of.leaving) * sugars
    extract = must.extract - must.fermentable + stays
    litres = 1000.0 * left / wash.density(alcohol / left, extract / left)
    pure = 1000.0 * alcohol / spirit.ETHANOL_DENSITY
    return Fermented(litres, 100.0 * pure / litres, pure)


def with_sugar(must: Must, sucrose: ArrayLike, volume: ArrayLike = np.nan) -> Must:
    """A must with more sucrose (kg) in it; with a volume (L) given, water gives way so that it stays."""
    s, v = floats(sucrose, volume)
    extract = must.extract + s
    kept = np.where(np.isnan(v), must.water, water_for_volume(extract, must.alcohol, v))
    return Must(
        kept, extract, must.fermentable + s, must.hexose + HEXOSE_PER_SUCROSE * s, must.alcohol + 0.0 * s
    )


def sugar_for_strength(must: Must, strength: ArrayLike, volume: ArrayLike = np.nan) -> Array:
    """Sucrose, kg, to add to a must so that it ferments out to a strength with Balling's yield.

    strength: % vol at 20 °C, 0..25; volume: L, as in `with_sugar`; broadcast. Below nothing where it gets
    stronger already; NaN where it can't be reached. Source: `fermented`, solved for the sugar.
    """
    q, v = floats(strength, volume)
    q = np.where((q >= 0.0) & (q <= 25.0), q, np.nan)

    def excess(sucrose: Array) -> Array:
        return fermented(with_sugar(must, sucrose, v), BALLING).strength - q

    # The wine law's 17 g/L of sugar for 1 % vol, for a start.
    litres = np.where(np.isnan(v), mass(must), v)
    missing = q - fermented(with_sugar(must, 0.0, v), BALLING).strength
    return root(excess, np.zeros_like(litres + q), 0.017 * litres * missing)


def density_of_part(solids: ArrayLike, strength: ArrayLike) -> Array:
    """Density at 20 °C, kg/m3 in vacuo, of a syrup, a juice, or a drink with alcohol in it.

    solids: kg dissolved per kg of it, 0..0.85; strength: % vol, NaN counts as none; broadcast; NaN outside.
    Source: `sugar.density`; with alcohol `wash.density_of_contents`.
    """
    w, q = floats(solids, np.nan_to_num(np.asarray(strength, dtype=np.float64)))
    alcohol = q / 100.0 * spirit.ETHANOL_DENSITY
    rho = sugar.density(w, 20.0)
    if not (q > 0.0).any():
        return rho
    thinned = rho
    for _ in range(4):
        thinned = wash.density_of_contents(alcohol, w * thinned)
    return np.where(q > 0.0, thinned, rho)


def _some(amount: Array) -> Array:
    """NaN for nothing, so that nothing is divided by it."""
    return np.where(amount > 0.0, amount, np.nan)
