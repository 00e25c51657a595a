"""A fermenting wash: what its gravity says about its alcohol.

Of the extract (sugar) of a must, Balling found that 2.0665 g give 1 g alcohol, 0.9565 g carbon dioxide
and 0.11 g yeast; gas and yeast leave. So the share of the extract which is gone fixes the masses of
alcohol, extract and water left. Their density follows from Tabarié's rule, as OIV-MA-AS2-03 uses it: in
equal volumes, what alcohol takes from the density of water and what extract adds to it simply add up.
The density of the alcohol part is that of OIML R 22 and of the extract part that of sucrose (ICUMSA).

The brewers' relation (ASBC; here `balling_strength`) has the same yields, but takes the fall of the true
extract as the fall of the apparent extract over a constant, 1.2207. Balling's own quotient grows with the
original extract p, about 1.22 + 0.001 p (from memory), and the densities above give 1.234 for finished
washes to 1.30 for strong ones just begun. So the brewers' relation lies above this module, by 0.08 % vol at
6, 0.13 at 11, 0.19 at 17 and 0.27 at 21 % vol of a finished wash, and by at most 0.4 % vol half-way through
one of 1.150. Balling's growing quotient takes away about half of it up to 8 % vol and turns it round above
10. Which is nearest the truth in strong sugar washes is not settled here; this module is used because each
of its parts holds there by itself.

What the extract is made of hardly matters: sucrose splits in the wash and its halves have nearly the
same density. Glycerol and acids count as extract.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, floats, settled, spirit, sugar, water, within

EXTRACT_PER_ALCOHOL = 2.0665
CARBON_DIOXIDE_PER_ALCOHOL = 0.9565
YEAST_PER_ALCOHOL = 0.11
_LOST_PER_ALCOHOL = CARBON_DIOXIDE_PER_ALCOHOL + YEAST_PER_ALCOHOL

# Two divisions of a common hydrometer: so far may a reading lie outside what is possible.
READING_SLACK = 0.004
_DENSITIES = 900.0, 1400.0  # kg/m3; no wash is lighter or heavier
_STEPS = 8  # of Newton's method, far more than it needs


class Fermented(NamedTuple):
    """State of a wash.

    strength: % vol at 20 °C; share: of the extract fermented, 0..1 (real attenuation); extract: left, g/L.
    """

    strength: Array
    share: Array
    extract: Array


def fermented(original_gravity: ArrayLike, gravity: ArrayLike) -> Fermented:
    """Strength, share fermented and extract left of a wash from its gravity before and now.

    original_gravity, gravity: SG 20/20, original 1.000..1.35; broadcast. A gravity above the original or
    below the lowest possible by up to 0.004 (a hydrometer's error) counts as that limit; beyond: NaN.
    Source: Balling's yields and Tabarié's rule; see the module's text.
    """
    og, g = floats(original_gravity, gravity)
    lowest = lowest_gravity(og)
    possible = (g <= og + READING_SLACK) & (g >= lowest - READING_SLACK)
    share = _share(og, water.density_from_gravity(np.where(possible, g, np.nan)))
    alcohol, extract = _composition(og, share)
    density = water.density_from_gravity(np.clip(g, lowest, og))
    return Fermented(100.0 * alcohol * density / spirit.ETHANOL_DENSITY, share, extract * density)


def gravity_when(original_gravity: ArrayLike, share: ArrayLike) -> Array:
    """Gravity, SG 20/20, of a wash when so large a share of its extract is fermented.

    original_gravity: SG 20/20, 1.000..1.35; share: 0..1; broadcast; NaN outside.
    Source: Balling's yields and Tabarié's rule; see the module's text.
    """
    og, part = floats(original_gravity, within(share, 0.0, 1.0))
    alcohol, extract = _composition(og, part)
    return water.gravity(density(alcohol, extract))


def lowest_gravity(original_gravity: ArrayLike) -> Array:
    """Gravity, SG 20/20, when all extract is fermented; original 1.000..1.35, any shape; NaN outside."""
    return gravity_when(original_gravity, 1.0)


def highest_strength(original_gravity: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, when all extract is fermented; original 1.000..1.35; NaN outside.

    Source: Balling's yields. A yeast may stop long before.
    """
    alcohol, _ = _composition(np.asarray(original_gravity, dtype=np.float64), np.ones(()))
    return spirit.strength(alcohol)


def original_gravity_from(strength: ArrayLike, extract: ArrayLike) -> Array:
    """Original gravity, SG 20/20, of a wash in which so much alcohol and extract are found.

    strength: % vol at 20 °C; extract: g/L; broadcast; NaN outside 1.000..1.35.
    Source: Balling's yields turned round, p = 100 (2.0665 A + n) / (100 + 1.0665 A) with A and n in % mass
    (from memory).
    """
    alcohol, left = np.asarray(strength) / 100.0 * spirit.ETHANOL_DENSITY, np.asarray(extract)
    rho = density_of_contents(alcohol, left)
    original = (EXTRACT_PER_ALCOHOL * alcohol + left) / (rho + _LOST_PER_ALCOHOL * alcohol)
    return within(sugar.gravity_from_brix(100.0 * original), 1.0, sugar.HIGHEST_GRAVITY)


def balling_strength(original_gravity: ArrayLike, gravity: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, by the brewers' relation, for comparison with `fermented`.

    original_gravity, gravity: SG 20/20, gravity 0.98..original; broadcast; NaN outside.
    Source: Balling's formula as in the ASBC methods (from memory): real extract = 0.1808 original +
    0.8192 apparent extract; % mass = (original - real) / (2.0665 - 0.010665 original).
    """
    og, g = floats(original_gravity, gravity)
    g = np.where(g <= og, g, np.nan)
    original, apparent = sugar.plato(og), sugar.plato(g)
    real = 0.1808 * original + 0.8192 * apparent
    by_mass = (original - real) / (2.0665 - 0.010665 * original)
    return by_mass * water.density_from_gravity(g) / spirit.ETHANOL_DENSITY


def gravity_at_20(
    indicated_density: ArrayLike, temperature: ArrayLike, original_gravity: ArrayLike = np.nan
) -> Array:
    """Gravity, SG 20/20, of a wash whose density was found at another temperature.

    indicated_density: true density at the temperature, kg/m3 in vacuo, 900..1400; temperature: °C, 0..40;
    original_gravity: SG 20/20, NaN for a plain sugar solution; broadcast; NaN outside.
    Its water, alcohol and sugar each expand as in the density of a wash; the composition is the one that has
    this density at this temperature. Source: the module's model, common practice in form.
    """
    rho, t, og = floats(within(indicated_density, *_DENSITIES), temperature, original_gravity)
    alcohol, extract = _composition(og, _share(og, rho, t))
    # The second density is the one found, unless that is beyond what the wash can have.
    cool, found = density(alcohol, extract, np.stack([np.full(t.shape, 20.0), t]))
    gravity = water.gravity(rho * cool / found)
    if not np.isnan(og).any():
        return gravity
    as_sugar = water.gravity(sugar.density(sugar.mass_fraction_from_density(rho, t), 20.0))
    return np.where(np.isnan(og), as_sugar, gravity)


def tabarie_strength(gravity_before: ArrayLike, gravity_after: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, from the gravity before and after boiling off the alcohol.

    gravity_before, gravity_after: SG 20/20, the second with the alcohol boiled off and the volume made up
    again with water; before <= after; broadcast; NaN outside. Needs no original gravity.
    Source: Tabarié's rule, OIV-MA-AS2-03, with the densities of OIML R 22.
    """
    before, after = floats(gravity_before, gravity_after)
    alcohol_part = water.density_from_gravity(before - after + 1.0)
    return spirit.strength(spirit.mass_fraction_from_density(alcohol_part, 20.0))


def density_of_contents(alcohol: ArrayLike, extract: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Density, kg/m3 in vacuo, of a wash with so much alcohol and extract in a cubic metre.

    alcohol, extract: kg/m3 at the temperature (the same as g/L), extract up to 990; temperature: °C, 0..40;
    broadcast; NaN outside. Source: Tabarié's rule; see the module's text.
    """
    alcohol_part = spirit.density_from_concentration(alcohol, temperature)
    extract_part = sugar.density_from_concentration(extract, temperature)
    return alcohol_part + extract_part - water.density(temperature)


def density(alcohol: ArrayLike, extract: ArrayLike, temperature: ArrayLike = 20.0) -> Array:
    """Density, kg/m3 in vacuo, of a wash of these mass fractions; inverse of `density_of_contents`.

    alcohol, extract: kg per kg of wash; temperature: °C, 0..40; broadcast; NaN outside.
    Source: Tabarié's rule; see the module's text.
    """
    a, e, t = floats(alcohol, extract, temperature)
    (p, w), rho = (a, e), np.full(a.shape, 1000.0)
    for _ in range(_STEPS):
        near = _near(p, w, t)
        last, rho = rho, near.rest / (1.0 - near.by_alcohol * a - near.by_extract * e)
        p, w = near.parts(a * rho, e * rho)
        if settled(rho - last, rho):
            break
    known = (a >= 0.0) & (a + e <= 1.0) & (e * rho >= -69.0) & (e * rho <= 990.0)
    return np.where(known, rho, np.nan)


def _composition(original_gravity: Array, share: Array) -> tuple[Array, Array]:
    """Mass fractions of alcohol and extract when a share of the extract is gone."""
    return _fermented(_extract(original_gravity), share)


def _extract(original_gravity: Array) -> Array:
    return sugar.brix(within(original_gravity, 1.0, sugar.HIGHEST_GRAVITY)) / 100.0


def _fermented(extract: Array, share: Array) -> tuple[Array, Array]:
    alcohol = share * extract / EXTRACT_PER_ALCOHOL
    left = 1.0 - _LOST_PER_ALCOHOL * alcohol
    return alcohol / left, (1.0 - share) * extract / left


def _share(original_gravity: Array, density: Array, temperature: ArrayLike = 20.0) -> Array:
    """Share of the extract fermented, kept within 0..1, in a wash of a density (kg/m3) at a temperature."""
    sweet = np.where(original_gravity > 1.0, _extract(original_gravity), np.nan)
    sweet, rho, t = floats(sweet, density, temperature)
    share = np.full(rho.shape, 0.5)
    p, w = _fermented(sweet, share)
    for _ in range(_STEPS):
        a, e = _fermented(sweet, share)
        near = _near(p, w, t)
        # What a share more brings of alcohol and takes of extract, kg/m3: the slopes of `_fermented`.
        grown = 1.0 + _LOST_PER_ALCOHOL * a
        more = rho * grown**2 * sweet / EXTRACT_PER_ALCOHOL
        less = rho * grown * sweet * (1.0 - _LOST_PER_ALCOHOL * e / EXTRACT_PER_ALCOHOL)
        excess = near.rest + near.by_alcohol * a * rho + near.by_extract * e * rho - rho
        step = excess / (near.by_alcohol * more - near.by_extract * less)
        last, share = share, np.minimum(np.maximum(share - step, 0.0), 1.0)
        before = p
        p, w = near.parts(a * rho + more * (share - last), e * rho - less * (share - last))
        # At a limit the share stands still before its parts are found.
        if settled(share - last, share) and settled(p - before, p):
            break
    return share


class _Near(NamedTuple):
    """A wash near one whose alcohol and extract would make two known liquids with water.

    Its density is `rest` and so much for each kg/m3 of alcohol and of extract; `parts` gives the mass
    fractions of the liquids that other contents would make.
    """

    rest: Array
    by_alcohol: Array
    by_extract: Array
    parts: Callable[[Array, Array], tuple[Array, Array]]


def _near(p: Array, w: Array, temperature: Array) -> _Near:
    """Tabarié's rule by its tangent, so that a search takes steps in the wash and in its parts at once."""
    spirit_density, spirit_slope = spirit.tangent(p, temperature)
    syrup_density, syrup_slope = sugar.tangent(w, temperature)
    # kg/m3 of alcohol, or of extract, that one more of the mass fraction means.
    ethanol, sucrose = spirit_density + p * spirit_slope, syrup_density + w * syrup_slope
    by_alcohol, by_extract = spirit_slope / ethanol, syrup_slope / sucrose
    rest = spirit_density * (1.0 - by_alcohol * p) + syrup_density * (1.0 - by_extract * w)

    def parts(alcohol: Array, extract: Array) -> tuple[Array, Array]:
        return p + (alcohol - p * spirit_density) / ethanol, w + (extract - w * syrup_density) / sucrose

    return _Near(rest - water.density(temperature), by_alcohol, by_extract, parts)
