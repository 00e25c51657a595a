"""Boiling of ethanol and water, and what a small still makes of a charge.

Liquid and vapour follow Wilson's equation with published parameters and Antoine's equation for the pure
substances, both from memory. Against Perry's table and against an independent NRTL model the vapour is
right within 0.013 mole fraction and the boiling point within 0.5 °C, from 75 to 101.325 kPa. The model's
own azeotrope is 96.7 % vol at 101.325 kPa and falls a little with the pressure, where the measured one is
97.2 and rises; `azeotrope` gives the measured one.

A pot still is taken as a batch (Rayleigh) distillation: the vapour leaves as it forms. A column or a
dephlegmator on top adds stages, each of which boils the condensate of the one before. Sugar, acids and
the heads and tails which are neither ethanol nor water are left out.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sheetcalc.liquids import Array, floats, root, spirit, water, within

NORMAL_PRESSURE = 101.325
LOWEST_PRESSURE, HIGHEST_PRESSURE = 50.0, 110.0
MOST_STAGES = 20.0

# g/mol
ETHANOL_MOLAR_MASS, WATER_MOLAR_MASS = 46.068, 18.015

# kJ/kg at 78.3 °C, and kJ/(kg K), mean over 20..78 °C: reference equation of state of ethanol (CoolProp).
ETHANOL_LATENT_HEAT = 849.9
ETHANOL_HEAT_CAPACITY = 2.65

# cal/mol and cm3/mol.
_WILSON_12, _WILSON_21 = 276.7557, 975.4883
_VOLUME_RATIO = 18.07 / 58.69
_GAS_CONSTANT = 1.98720
_KPA_PER_MMHG = 101.325 / 760.0


def pressure(altitude: ArrayLike) -> Array:
    """Usual air pressure, kPa, at an altitude in m, -400..5500, any shape; NaN outside.

    Source: International Standard Atmosphere, ISO 2533. Weather moves it by about 2 %.
    """
    return NORMAL_PRESSURE * (1.0 - 2.25577e-5 * within(altitude, -400.0, 5500.0)) ** 5.25588


def mole_fraction(strength: ArrayLike) -> Array:
    """Mole fraction of ethanol of a strength, % vol at 20 °C, 0..100, any shape; NaN outside."""
    return _mole_fraction(spirit.mass_fraction(strength))


def _mole_fraction(mass_fraction: Array) -> Array:
    ethanol = mass_fraction / ETHANOL_MOLAR_MASS
    return ethanol / (ethanol + (1.0 - mass_fraction) / WATER_MOLAR_MASS)


def strength_from_mole_fraction(mole_fraction: ArrayLike) -> Array:
    """Strength, % vol at 20 °C, of a mole fraction of ethanol, 0..1, any shape; NaN outside."""
    x = within(mole_fraction, 0.0, 1.0)
    ethanol = x * ETHANOL_MOLAR_MASS
    return spirit.strength(ethanol / (ethanol + (1.0 - x) * WATER_MOLAR_MASS))


def boiling_point(mole_fraction: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Temperature, °C, at which a liquid boils.

    mole_fraction: of ethanol in the liquid, 0..1; pressure: kPa, 50..110; broadcast; NaN outside.
    Source: see the module's text.
    """
    return _boil(mole_fraction, pressure)[0]


def vapour(mole_fraction: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Mole fraction of ethanol in the vapour over a boiling liquid.

    mole_fraction: of ethanol in the liquid, 0..1; pressure: kPa, 50..110; broadcast; NaN outside.
    Source: see the module's text.
    """
    return _boil(mole_fraction, pressure)[1]


def boiling_point_of(strength: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Temperature, °C, at which a strength (% vol at 20 °C) boils at a pressure in kPa, 50..110.

    >>> boiling_point_of([0.0, 100.0]).round().tolist()  # water and ethanol
    [100.0, 78.0]
    """
    return boiling_point(mole_fraction(strength), pressure)


def vapour_strength(strength: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Strength of the condensed vapour over a boiling liquid, both % vol at 20 °C; kPa, 50..110."""
    return strength_from_mole_fraction(vapour(mole_fraction(strength), pressure))


def dew_point(mole_fraction: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Temperature, °C, at which a vapour begins to condense: what a thermometer in it shows.

    mole_fraction: of ethanol in the vapour, from 0 to the model's azeotrope; pressure: kPa, 50..110;
    broadcast; NaN outside. Source: the boiling point of the liquid that gives off this vapour.
    """
    y, total = floats(mole_fraction, within(pressure, LOWEST_PRESSURE, HIGHEST_PRESSURE))
    top = _azeotropes(total)
    known = (y >= 0.0) & (y <= top)
    liquid = _below(np.where(known, y, np.nan), total, top)
    return boiling_point(liquid, total)


def dew_point_of(strength: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Temperature, °C, of the vapour whose condensate has a strength (% vol at 20 °C); kPa, 50..110."""
    return dew_point(mole_fraction(strength), pressure)


def strength_of_vapour_at(temperature: ArrayLike, pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Strength, % vol at 20 °C, of the condensate of a vapour at its dew point. Inverse of `dew_point_of`.

    temperature: of the vapour, °C, from the azeotrope's boiling point to water's; pressure: kPa, 50..110;
    broadcast; NaN outside. Source: see the module's text.
    """
    t, total = floats(temperature, within(pressure, LOWEST_PRESSURE, HIGHEST_PRESSURE))
    top = _azeotropes(total)
    known = (t >= boiling_point(top, total) - 1e-9) & (t <= boiling_point(0.0, total) + 1e-9)
    # The more ethanol in the liquid, the higher its pressure at one temperature, up to the azeotrope.
    liquid = _between(lambda x: np.asarray(sum(_partial_pressures(x, t))) - total, np.zeros(top.shape), top)
    y = np.clip(_partial_pressures(liquid, t)[0] / total, 0.0, 1.0)
    return strength_from_mole_fraction(np.where(known, y, np.nan))


def _below(y: Array, pressure: Array, azeotrope: Array) -> Array:
    """The mole fraction of the liquid that gives off a vapour: from each pressure's grid, then by secants."""
    place = _place(np.clip(y, 1e-17, azeotrope * (1.0 - 1e-12)), azeotrope)
    guess = np.full(y.shape, np.nan)
    for total in set(pressure[np.isfinite(y)].tolist()):
        here = pressure == total
        guess[here] = np.interp(place[here], _PLACES + _one_stage(total), _PLACES)
    x = _composition(guess, azeotrope)
    return root(lambda x: vapour(x, pressure) - y, x, x * (1.0 - 1e-6), 0.0, azeotrope)


# A search between limits cuts what is left into so many parts, so many times.
_PARTS, _CUTS = 16, 3


def _between(rising: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Where a rising function is zero between two limits: cut in parts looked at at once, then by secants.

    The function takes values of the shape of the limits, and more than one of them along a new first axis.
    """
    inner = np.arange(1.0, _PARTS).reshape((-1,) + (1,) * low.ndim)
    for _ in range(_CUTS):
        part = (high - low) / _PARTS
        below = np.count_nonzero(rising(low + inner * part) < 0.0, axis=0)
        low, high = low + below * part, low + (below + 1.0) * part
    return root(rising, low, high, low, high)


def _boil(mole_fraction: ArrayLike, pressure: ArrayLike) -> tuple[Array, Array]:
    """Boiling point, °C, and vapour mole fraction."""
    x, total = floats(within(mole_fraction, 0.0, 1.0), within(pressure, LOWEST_PRESSURE, HIGHEST_PRESSURE))

    def excess(t: Array) -> Array:
        return np.log(np.add(*_partial_pressures(x, t)) / total)

    near = np.interp(x, *_NEAR_BOILING) + np.log(total / NORMAL_PRESSURE) / _RISE
    t = root(excess, near, near - excess(near) / _RISE)
    ethanol, _ = _partial_pressures(x, t)
    return t, np.clip(ethanol / total, 0.0, 1.0)


# For a start: mole fractions and about the °C they boil at at sea level, and d(ln pressure)/dt, 1/K.
_NEAR_BOILING = [0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0], [100.0, 95.4, 90.8, 86.6, 83.3, 80.8, 78.8, 78.3]
_RISE = 0.038

_ETHANOL, _WATER = (8.20417, 1642.89, 230.300), (8.07131, 1730.63, 233.426)


def _antoine(constants: tuple[float, float, float], t: Array) -> Array:
    a, b, c = constants
    return _KPA_PER_MMHG * 10.0 ** (a - b / (t + c))


def _partial_pressures(x: Array, t: Array) -> tuple[Array, Array]:
    """Pressures of ethanol and water over a liquid, kPa, by Wilson's equation."""
    energy = _GAS_CONSTANT * (t + 273.15)
    a = _VOLUME_RATIO * np.exp(-_WILSON_12 / energy)
    b = np.exp(-_WILSON_21 / energy) / _VOLUME_RATIO
    w = 1.0 - x
    with_ethanol, with_water = x + a * w, w + b * x
    d = a / with_ethanol - b / with_water
    ethanol = x * np.exp(w * d) / with_ethanol * _antoine(_ETHANOL, t)
    steam = w * np.exp(-x * d) / with_water * _antoine(_WATER, t)
    return ethanol, steam


# A composition x is told by its place ln(x / (azeotrope - x)): both ends of a distillation are far away in
# it, every curve is smooth, and no number of stages can pass the azeotrope.
_STEP = 0.005
_PLACES = np.arange(-40.0, 9.0 + _STEP / 2, _STEP)


class _Curve(NamedTuple):
    """A still on the grid `_PLACES` of the pot: place of the vapour that leaves, and Rayleigh's integral."""

    azeotrope: float
    vapour: Array
    integral: Array


@lru_cache(maxsize=64)
def _azeotrope(pressure: float) -> float:
    """Mole fraction at which vapour and liquid of the model are alike."""
    low, high = 0.8, 0.98
    for _ in range(6):
        x = np.linspace(low, high, 201)
        stronger = int(np.count_nonzero(vapour(x, pressure) > x))
        low, high = float(x[stronger - 1]), float(x[min(stronger, 200)])
    return (low + high) / 2.0


def _azeotropes(pressure: Array) -> Array:
    """`_azeotrope` over an array; NaN where the pressure is."""
    each, places = np.unique(pressure, return_inverse=True)
    found = np.array([_azeotrope(float(p)) if np.isfinite(p) else np.nan for p in each])
    return np.asarray(found[places].reshape(pressure.shape))


@lru_cache(maxsize=64)
def _one_stage(pressure: float) -> Array:
    """How far one boiling moves the place, on the grid."""
    top = _azeotrope(pressure)
    y = vapour(_composition(_PLACES, top), pressure)
    return _place(y, top) - _PLACES


@lru_cache(maxsize=64)
def _after(stages: int, pressure: float) -> Array:
    """The places of the grid after so many whole stages."""
    if stages == 0:
        return _PLACES
    place = _after(stages - 1, pressure)
    return np.asarray(place + np.interp(place, _PLACES, _one_stage(pressure)))


@lru_cache(maxsize=256)
def _curve(stages: float, pressure: float) -> _Curve:
    top, whole = _azeotrope(pressure), int(stages)
    place = _after(whole, pressure)
    if stages > whole:
        # A part of a stage moves the place by that part of the next stage's move.
        place = place + (stages - whole) * (_after(whole + 1, pressure) - place)
    x, y = _composition(_PLACES, top), _composition(place, top)
    slope = x * (top - x) / top / (y - x)
    integral = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) * _STEP / 2.0)])
    return _Curve(top, place, integral)


@lru_cache(maxsize=8)
def _curves(stills: tuple[tuple[float, float], ...]) -> tuple[Array, Array, Array]:
    """The curves of several stills, each told by its stages and pressure, stacked."""
    azeotropes, vapours, integrals = zip(*(_curve(*still) for still in stills), strict=True)
    return np.array(azeotropes), np.stack(vapours), np.stack(integrals)


def _place(x: Array, azeotrope: ArrayLike) -> Array:
    return np.log(x / (np.asarray(azeotrope) - x))


def _composition(place: Array, azeotrope: ArrayLike) -> Array:
    return np.asarray(azeotrope) / (1.0 + np.exp(-place))


def azeotrope(pressure: ArrayLike = NORMAL_PRESSURE) -> Array:
    """Strength, % vol at 20 °C, which no still passes, at a pressure in kPa, 50..110; NaN outside.

    Any shape. Source: measured by Wade and Merriman (1911), from memory, straight lines between their points.
    """
    by_mass = np.interp(within(pressure, LOWEST_PRESSURE, HIGHEST_PRESSURE), *_MEASURED_AZEOTROPE)
    return spirit.strength_from_mass_percent(by_mass)


# kPa and % mass.
_MEASURED_AZEOTROPE = np.array([198.4, 404.6, 760.0, 1075.4]) * _KPA_PER_MMHG, [97.30, 96.25, 95.57, 95.35]


class Distilled(NamedTuple):
    """A charge after some of it is collected.

    strength: of all collected, % vol; alcohol: collected, L of pure alcohol; left_volume: L in the pot;
    left_strength: % vol in the pot; drip_strength: of the last drop, % vol. All at 20 °C.
    """

    strength: Array
    alcohol: Array
    left_volume: Array
    left_strength: Array
    drip_strength: Array


class _Charge(NamedTuple):
    """Rows of charges with their stills: curves stacked, `still` the row's place in the stack."""

    mass: Array  # kg, with the ethanol in it
    ethanol: Array
    moles: Array
    x: Array
    place: Array
    azeotrope: Array
    still: NDArray[np.intp]
    vapour: Array
    integral: Array
    at_start: Array


def _charge(volume: ArrayLike, strength: ArrayLike, stages: ArrayLike, pressure: ArrayLike) -> _Charge:
    """Rows made ready; NaN moles where anything is out of range."""
    v, q, n, total = floats(volume, strength, stages, pressure)
    n, total = within(n, 1.0, MOST_STAGES), within(total, LOWEST_PRESSURE, HIGHEST_PRESSURE)
    known = ~(np.isnan(n) | np.isnan(total)) & (v > 0.0) & (v < np.inf) & (q > 0.0)
    stills, still = _stills(np.where(known, n, 1.0), np.where(known, total, NORMAL_PRESSURE))
    azeotropes, vapours, integrals = _curves(stills)
    top = azeotropes[still]
    p = spirit.mass_fraction(q)
    x = _mole_fraction(p)
    known &= x < top
    x, p = np.where(known, x, top / 2.0), np.where(known, p, np.nan)
    mass = v * spirit.density(p, 20.0) / 1000.0
    moles = 1000.0 * mass * (p / ETHANOL_MOLAR_MASS + (1.0 - p) / WATER_MOLAR_MASS)
    place = np.clip(_place(x, top), _PLACES[0], _PLACES[-1])
    at_start = _look_up(integrals, still, place)
    return _Charge(mass, mass * p, moles, x, place, top, still, vapours, integrals, at_start)


def _stills(stages: Array, pressure: Array) -> tuple[tuple[tuple[float, float], ...], NDArray[np.intp]]:
    """The different pairs of stages and pressure, and the place among them of each row's own."""
    pairs = list(zip(stages.ravel().tolist(), pressure.ravel().tolist(), strict=True))
    # Without any rows there is still something to stack.
    places = {pair: place for place, pair in enumerate(dict.fromkeys(pairs or [(1.0, NORMAL_PRESSURE)]))}
    return tuple(places), np.array([places[pair] for pair in pairs], dtype=np.intp).reshape(stages.shape)


def _look_up(table: Array, still: NDArray[np.intp], place: Array) -> Array:
    """Value of each row's own curve at a place, by straight lines between grid points."""
    steps = np.clip((place - _PLACES[0]) / _STEP, 0.0, len(_PLACES) - 1.000001)
    i = steps.astype(np.intp)
    part = steps - i
    return np.asarray(table[still, i] * (1.0 - part) + table[still, i + 1] * part)


def _masses_over(charge: _Charge, place: Array) -> tuple[Array, Array]:
    """Ethanol and water collected, g, when the pot has come down to a place (Rayleigh's equation)."""
    left = np.exp(_look_up(charge.integral, charge.still, place) - charge.at_start)
    x = _composition(place, charge.azeotrope)
    ethanol = charge.moles * (charge.x - left * x) * ETHANOL_MOLAR_MASS
    steam = charge.moles * ((1.0 - charge.x) - left * (1.0 - x)) * WATER_MOLAR_MASS
    return np.maximum(ethanol, 0.0), np.maximum(steam, 0.0)


def _volume_over(charge: _Charge, place: Array) -> Array:
    """Volume collected, L at 20 °C, when the pot has come down to a place."""
    ethanol, steam = _masses_over(charge, place)
    mass = ethanol + steam
    return mass / spirit.density(ethanol / np.where(mass > 0.0, mass, np.inf), 20.0)


def distil(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    collected_volume: ArrayLike,
    stages: ArrayLike = 1.0,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Distilled:
    """What a still gives and keeps when a volume has been collected from a charge.

    charge_volume: L, > 0; charge_strength: % vol, > 0, below 96; collected_volume: L,
    0..charge_volume; stages: 1..20, 1 for a bare pot, need not be whole; pressure: kPa, 50..110; volumes
    at 20 °C; broadcast; NaN outside. Where nothing is collected yet, strength is that of the first drop.
    Source: Rayleigh's equation on the module's equilibrium; a part of a stage moves the composition
    by that part of the next stage's move (our convention, no source).
    """
    over = _over(charge_volume, charge_strength, collected_volume, stages, pressure)
    left_mass = np.maximum(over.charge.mass - _kilograms(over.volume, over.strength)[0], 0.0)
    left_ethanol = np.clip(over.charge.ethanol - over.ethanol, 0.0, left_mass)
    left_p = left_ethanol / np.where(left_mass > 0.0, left_mass, np.inf)
    left_volume = 1000.0 * left_mass / spirit.density(left_p, 20.0)
    alcohol = 1000.0 * over.ethanol / spirit.ETHANOL_DENSITY
    values = over.strength, alcohol, left_volume, spirit.strength(left_p), over.drip
    return Distilled(*(np.where(np.isnan(over.volume), np.nan, value) for value in values))


def strength_collected(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    collected_volume: ArrayLike,
    stages: ArrayLike = 1.0,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Array:
    """Strength, % vol at 20 °C, of what is collected from a charge: that of `distil`, without the rest."""
    over = _over(charge_volume, charge_strength, collected_volume, stages, pressure)
    return np.where(np.isnan(over.volume), np.nan, over.strength)


class _Over(NamedTuple):
    """What has come over from a charge.

    volume: L at 20 °C, NaN where anything is out of range; ethanol: kg; strength: of all, drip: of the last
    drop, % vol.
    """

    charge: _Charge
    volume: Array
    ethanol: Array
    strength: Array
    drip: Array


def _over(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    collected_volume: ArrayLike,
    stages: ArrayLike,
    pressure: ArrayLike,
) -> _Over:
    v, q, wanted, n, total = floats(charge_volume, charge_strength, collected_volume, stages, pressure)
    charge = _charge(v, q, n, total)
    blank = np.isnan(charge.moles) | ~((wanted >= 0.0) & (wanted <= v))
    wanted = np.where(blank, np.nan, wanted)
    end = np.full(v.shape, _PLACES[0])
    place = _between(
        lambda place: np.where(blank, 0.0, wanted - _volume_over(charge, place)), end, charge.place
    )
    vapours = _composition(_look_up(charge.vapour, charge.still, place), charge.azeotrope)
    all_over = _volume_over(charge, end) < wanted
    drip = np.where(all_over, 0.0, strength_from_mole_fraction(vapours))
    ethanol = _masses_over(charge, place)[0] / 1000.0
    # The strength follows from the volume wanted by balance of mass, also where only water still comes.
    alcohol = 1000.0 * ethanol / spirit.ETHANOL_DENSITY
    strength = np.where(wanted > 0.0, 100.0 * alcohol / np.where(wanted > 0.0, wanted, 1.0), drip)
    return _Over(charge, wanted, ethanol, strength, drip)


def _kilograms(volume: Array, strength: Array) -> tuple[Array, Array]:
    """Mass of a volume at 20 °C, and of the ethanol in it."""
    p = spirit.mass_fraction(strength)
    mass = volume * spirit.density(p, 20.0) / 1000.0
    return mass, mass * p


def collected_when(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    drip_strength: ArrayLike,
    stages: ArrayLike = 1.0,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Array:
    """Volume collected, L, when what drips from the still has fallen to a strength.

    drip_strength: % vol, > 0..100; 0 L where even the first drop is weaker; the rest as in `distil`.
    Source: as `distil`.
    """
    v, q, drip, n, total = floats(charge_volume, charge_strength, drip_strength, stages, pressure)
    charge = _charge(v, q, n, total)
    y = mole_fraction(np.where(drip > 0.0, drip, np.nan))

    def richer(place: Array) -> Array:
        vapours = _composition(_look_up(charge.vapour, charge.still, place), charge.azeotrope)
        return np.where(np.isnan(y), 0.0, vapours - y)

    place = _between(richer, np.full(v.shape, _PLACES[0]), charge.place)
    return np.where(np.isnan(y), np.nan, _volume_over(charge, place))


def heat_to_boil(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    start_temperature: ArrayLike,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Array:
    """Heat, kJ, which brings a charge to the boil.

    charge_volume: L at 20 °C, >= 0; charge_strength: % vol, 0..100; start_temperature: °C, from 0 to the
    boiling point; pressure: kPa, 50..110; broadcast; NaN outside. The pot itself and the losses are left out.
    Source: mean heat capacities of water and ethanol added by mass (common practice).
    """
    v, q, start, total = floats(charge_volume, charge_strength, start_temperature, pressure)
    rise = boiling_point_of(q, total) - start
    possible = (v >= 0.0) & (rise >= 0.0) & (start >= 0.0)
    return np.where(possible, _heat_capacity(v, q) * rise, np.nan)


def heat_to_collect(
    run: Distilled,
    charge_strength: ArrayLike,
    collected_volume: ArrayLike,
    stages: ArrayLike = 1.0,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Array:
    """Heat, kJ, which collects a volume from a charge that boils already.

    run: what `distil` gives for the rest, which is as there. Latent heat of what is collected, times the
    stages: each stage over the first is taken to send as much back as goes over (an assumption; reflux ratio
    = stages - 1). To this comes the warming of what stays in the pot. Losses are left out.
    Source: latent heats of water at 100 °C and ethanol at 78.3 °C added by mass (common practice).
    """
    q, wanted, n, total = floats(charge_strength, collected_volume, stages, pressure)
    mass, ethanol = _kilograms(wanted, run.strength)
    latent = ethanol * ETHANOL_LATENT_HEAT + (mass - ethanol) * water.LATENT_HEAT
    rise = boiling_point_of(run.left_strength, total) - boiling_point_of(q, total)
    return latent * n + _heat_capacity(run.left_volume, run.left_strength) * rise


def _heat_capacity(volume: Array, strength: Array) -> Array:
    """kJ/K of a volume at 20 °C."""
    mass, ethanol = _kilograms(volume, strength)
    return ethanol * ETHANOL_HEAT_CAPACITY + (mass - ethanol) * water.HEAT_CAPACITY


_STAGES = np.concatenate([np.linspace(1.0, 3.0, 21), np.linspace(3.25, 6.0, 12), np.linspace(7.0, 12.0, 6)])

_LANDMARKS = np.array([0, 10, 20, 32, 38])  # 1, 2, 3, 6 and 12 stages


def stages_seen(
    charge_volume: ArrayLike,
    charge_strength: ArrayLike,
    collected_volume: ArrayLike,
    collected_strength: ArrayLike,
    pressure: ArrayLike = NORMAL_PRESSURE,
) -> Array:
    """Number of stages a still must have had to give what was collected.

    collected_strength: % vol, of all collected; the rest as in `distil`; broadcast. NaN where the strength
    is less than a bare pot (1 stage) or more than 12 stages would give. Right to about 0.01 up to 3.
    Source: inverse of `distil`, from a table of stages.
    """
    v, q, wanted, seen, total = floats(
        charge_volume, charge_strength, collected_volume, collected_strength, pressure
    )

    def strengths(stages: Array) -> Array:
        return strength_collected(v[..., None], q[..., None], wanted[..., None], stages, total[..., None])

    def place(table: Array) -> NDArray[np.intp]:
        """The place in a table of strengths below what was seen, the last but one at most."""
        below = np.count_nonzero(table <= seen[..., None], axis=-1)
        return np.asarray(np.clip(below - 1, 0, table.shape[-1] - 2))

    # The still's own neighbourhood comes first, since a curve for every number of stages takes long to make.
    known = np.isfinite(v + q + wanted + seen + total)
    around = place(strengths(_STAGES[_LANDMARKS]))[known]
    if not around.size:
        return np.full(v.shape, np.nan)
    stages = _STAGES[_LANDMARKS[around.min()] : _LANDMARKS[around.max() + 1] + 1]
    table = strengths(stages)
    i = place(table)
    low, high = (np.take_along_axis(table, (i + k)[..., None], axis=-1)[..., 0] for k in (0, 1))
    part: Array = within((seen - low) / np.where(high > low, high - low, np.nan), 0.0, 1.0)
    return np.asarray(stages[i] + part * (stages[i + 1] - stages[i]))
