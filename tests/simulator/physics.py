"""What liquids do in the simulator, written anew from published relations; none of it from sheetcalc.

Units: kg/m3, °C, % vol at 20 °C, mass fractions 0 to 1, SG 20/20, L, kg, kJ, h, W.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# OIML R 22 (1975): density of ethanol and water, kg/m3.
_A = [9.982012300e2, -1.929769495e2, 3.891238958e2, -1.668103923e3, 1.352215441e4, -8.829278388e4]
_A += [3.062874042e5, -6.138381234e5, 7.470172998e5, -5.478461354e5, 2.234460334e5, -3.903285426e4]
_B = [-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11]
_C1 = [1.693443461530087e-1, -1.046914743455169e1, 7.196353469546523e1, -7.047478054272792e2]
_C1 += [3.924090430035045e3, -1.210164659068747e4, 2.248646550400788e4, -2.605562982188164e4]
_C1 += [1.852373922069467e4, -7.420201433430137e3, 1.285617841998974e3]
_C2 = [-1.193013005057010e-2, 2.517399633803461e-1, -2.170575700536993, 1.353034988843029e1]
_C2 += [-5.029988758547014e1, 1.096355666577570e2, -1.422753946421155e2, 1.080435942856230e2]
_C2 += [-4.414153236817392e1, 7.442971530188783]
_C3 = [-6.802995733503803e-4, 1.876837790289664e-2, -2.002561813734156e-1, 1.022992966719220]
_C3 += [-2.895696483903638, 4.810060584300675, -4.672147440794683, 2.458043105903461, -5.411227621436812e-1]
_C4 = [4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6]
_C5 = [-2.788074354782409e-8, 1.345612883493354e-8]
_IN_ORDER = [
    np.array(list(reversed(c))) for c in ([*_A], [0.0, *_C1], [0, *_C2], [0, *_C3], [0, *_C4], [0, *_C5])
]

GLASS = 25e-6  # cubic expansion of soda-lime glass, 1/K: OIML R 44
SIXTY_FAHRENHEIT = 140.0 / 9.0
ETHANOL, WATER = 46.07, 18.015  # g/mol


def spirit_density(mass_fraction: float, temperature: float) -> float:
    """Density of ethanol and water: OIML R 22."""
    warmth = temperature - 20.0
    density = float(np.polyval(_IN_ORDER[0], mass_fraction))
    density += sum(b * warmth ** (k + 1) for k, b in enumerate(_B))
    density += sum(
        float(np.polyval(c, mass_fraction)) * warmth**i for i, c in enumerate(_IN_ORDER[1:], start=1)
    )
    return density


def water_density(temperature: float) -> float:
    """Density of water, by the same formula."""
    return spirit_density(0.0, temperature)


def bisect(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses nought between two bounds; the nearer bound where it does not."""
    for _ in range(46):
        middle = (low + high) / 2
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


_SHARES = np.linspace(0.0, 1.0, 2001)
_DENSITIES = np.array([spirit_density(p, 20.0) for p in _SHARES])
_STRENGTHS = 100 * _SHARES * _DENSITIES / _DENSITIES[-1]


def mass_fraction(strength: float) -> float:
    """Mass fraction of ethanol at a strength (% vol)."""
    return float(np.interp(strength, _STRENGTHS, _SHARES))


def strength_of(fraction: float, reference: float = 20.0) -> float:
    """% vol, both volumes at the reference temperature."""
    return 100 * fraction * spirit_density(fraction, reference) / spirit_density(1.0, reference)


def fraction_of_density(density: float, temperature: float) -> float:
    """Mass fraction of ethanol of a spirit of that density."""
    return bisect(lambda p: density - spirit_density(p, temperature), 0.0, 1.0)


def fraction_marked(mark: float, reference: float) -> float:
    """Mass fraction of the spirit whose strength at the reference temperature is the mark."""
    return bisect(lambda p: strength_of(p, reference) - mark, 0.0, 1.0)


def alcoholmeter_shows(strength: float, temperature: float, reference: float) -> float:
    """The mark (% vol at its reference) that a right glass alcoholmeter shows."""
    density = spirit_density(mass_fraction(strength), temperature) / (1 - GLASS * (temperature - reference))
    return strength_of(fraction_of_density(density, reference), reference)


def alcoholmeter_means(mark: float, temperature: float, reference: float) -> float:
    """The strength (% vol at 20 °C) of the spirit in which a right glass shows that mark."""
    density = spirit_density(fraction_marked(mark, reference), reference)
    return strength_of(fraction_of_density(density * (1 - GLASS * (temperature - reference)), temperature))


def proof(strength: float) -> float:
    """Proof (2 x % vol at 60 °F: 27 CFR part 30) of a strength at 20 °C."""
    return 2 * strength_of(mass_fraction(strength), SIXTY_FAHRENHEIT)


def of_proof(proof_degrees: float) -> float:
    """Strength (% vol at 20 °C) of a proof."""
    return strength_of(fraction_marked(proof_degrees / 2, SIXTY_FAHRENHEIT))


def brix(gravity: float) -> float:
    """°Bx: polynomial through NBS Circular 440."""
    return ((182.4601 * gravity - 775.6821) * gravity + 1262.7794) * gravity - 669.5622


def gravity_of_brix(degrees: float) -> float:
    """SG 20/20 of a sugar solution."""
    return bisect(lambda s: brix(s) - degrees, 0.9, 1.5)


def sugar_density(fraction: float, temperature: float) -> float:
    """Density of a sucrose solution; it expands faster than water does (ICUMSA tables, from memory)."""
    cool = gravity_of_brix(100 * fraction) * water_density(20.0)
    swelling = 1 - 1.95e-4 * fraction * (temperature - 20.0)
    return cool * water_density(temperature) / water_density(20.0) * swelling


def wash_density(alcohol: float, extract: float, temperature: float) -> float:
    """Density of a wash from mass fractions: Tabarié's sum, taken at its own temperature."""
    water = water_density(temperature)
    return spirit_density(alcohol, temperature) + sugar_density(extract, temperature) - water


def hydrometer_shows(density: float, temperature: float, reference: float) -> float:
    """SG that a right glass hydrometer shows in a liquid of that density."""
    return density / (1 - GLASS * (temperature - reference)) / water_density(reference)


class Wash(NamedTuple):
    """A wash: mass fractions, gravity SG 20/20, strength % vol, and L for each kg of must."""

    alcohol: float
    extract: float
    gravity: float
    strength: float
    volume: float


def wash(original: float, fermented: float, balling: float = 2.0665) -> Wash:
    """A must of that extract (mass fraction) with a share of it fermented: Balling's mass balance.

    balling: g of extract for 1 g of alcohol; 0.9565 g of gas and 0.11 g of yeast come with it.
    """
    gone = original * fermented
    made = gone / balling
    mass = 1.0 - gone + made  # gas and yeast are what was lost
    alcohol, extract = made / mass, (original - gone) / mass
    density = wash_density(alcohol, extract, 20.0)
    strength = 100 * alcohol * density / spirit_density(1.0, 20.0)
    return Wash(alcohol, extract, density / water_density(20.0), strength, 1000 * mass / density)


# Liquid and vapour at 101.325 kPa: Perry; mole fractions and °C. Both ends are water and the azeotrope.
_X = [0.0, 0.0190, 0.0721, 0.0966, 0.1238, 0.1661, 0.2337, 0.2608, 0.3273, 0.3965, 0.5079, 0.5198, 0.5732]
_X += [0.6763, 0.7472, 0.8943, 1.0]
_Y = [0.0, 0.1700, 0.3891, 0.4375, 0.4704, 0.5089, 0.5445, 0.5580, 0.5826, 0.6122, 0.6564, 0.6599, 0.6841]
_Y += [0.7385, 0.7815, 0.8943, 1.0]
_T = [
    100.0,
    95.5,
    89.0,
    86.7,
    85.3,
    84.1,
    82.7,
    82.3,
    81.5,
    80.7,
    79.8,
    79.7,
    79.3,
    78.74,
    78.41,
    78.15,
    78.3,
]
_VOLATILITY = np.array(
    [12.0, *((y / (1 - y)) / (x / (1 - x)) for x, y in zip(_X[1:-1], _Y[1:-1], strict=True)), 0.9]
)


def vapour_over(x: float) -> float:
    """Mole fraction in the vapour over a boiling liquid; from Perry's relative volatilities."""
    volatility = float(np.interp(x, _X, _VOLATILITY))
    return volatility * x / (1 + (volatility - 1) * x)


def drip_from(x: float, stages: float) -> float:
    """Mole fraction of what comes over from a still of so many effective stages."""
    y, whole = x, int(stages)
    for _ in range(whole):
        y = vapour_over(y)
    return y + (stages - whole) * (vapour_over(y) - y)


def vapour_temperature(y: float, altitude: float) -> float:
    """°C at which vapour of that mole fraction condenses; boiling points fall with the air pressure."""
    pressure = (1 - 2.25577e-5 * altitude) ** 5.25588
    return float(np.interp(y, _Y, _T)) + 27.0 * float(np.log(pressure))


def boiling_point(x: float, altitude: float) -> float:
    """°C at which a liquid of that mole fraction boils."""
    pressure = (1 - 2.25577e-5 * altitude) ** 5.25588
    return float(np.interp(x, _X, _T)) + 27.0 * float(np.log(pressure))


def moles(volume: float, strength: float) -> tuple[float, float]:
    """Moles of ethanol and of water in a volume (L) of spirit of a strength."""
    fraction = mass_fraction(strength)
    grams = volume * spirit_density(fraction, 20.0)
    return grams * fraction / ETHANOL, grams * (1 - fraction) / WATER


def amount(ethanol: float, water: float) -> tuple[float, float]:
    """Volume (L) and strength (% vol) of so many moles."""
    grams = ethanol * ETHANOL + water * WATER
    if grams <= 0:
        return 0.0, 0.0
    fraction = ethanol * ETHANOL / grams
    return grams / spirit_density(fraction, 20.0), strength_of(fraction)


class Course(NamedTuple):
    """A run, step by step: moles come over so far, mole fraction of the drip, heat (kJ)."""

    ethanol: Array
    water: Array
    drip: Array
    heat: Array

    def volume(self) -> Array:
        """Volume (L) come over so far."""
        grams = self.ethanol * ETHANOL + self.water * WATER
        shares = self.ethanol * ETHANOL / np.maximum(grams, 1e-9)
        return np.asarray(grams / np.interp(shares, _SHARES, _DENSITIES))

    def drip_strength(self) -> Array:
        """Strength (% vol) of the drip."""
        shares = self.drip * ETHANOL / (self.drip * ETHANOL + (1 - self.drip) * WATER)
        return np.asarray(np.interp(shares, _SHARES, _STRENGTHS), dtype=float)


def distil(volume: float, strength: float, stages: float, steps: int = 120) -> Course:
    """Batch distillation until half of the moles are over, in equal steps."""
    ethanol, water = moles(volume, strength)
    step = 0.5 * (ethanol + water) / steps
    over_e, over_w, drips, heats = [0.0], [0.0], [drip_from(ethanol / (ethanol + water), stages)], [0.0]
    left_e, left_w = ethanol, water
    for _ in range(steps):
        y = drips[-1]
        taken = min(step * y, left_e)
        left_e, left_w = left_e - taken, left_w - (step - taken)
        over_e.append(ethanol - left_e)
        over_w.append(water - left_w)
        drips.append(drip_from(left_e / (left_e + left_w), stages))
        # Reflux boils more than it lets over: what the stages above the first one send back.
        heats.append(heats[-1] + step * (40.65 - 2.0 * y) * (1 + 0.3 * (stages - 1)))
    return Course(*(np.array(v) for v in (over_e, over_w, drips, heats)))


def heat_up(volume: float, strength: float, start: float, altitude: float) -> float:
    """Heat (kJ) from a temperature to the boil."""
    ethanol, water = moles(volume, strength)
    grams = ethanol * ETHANOL + water * WATER
    capacity = (ethanol * ETHANOL * 2.6 + water * WATER * 4.19) / grams
    return grams / 1000 * capacity * (boiling_point(ethanol / (ethanol + water), altitude) - start)


def water_to(volume: float, strength: float, wanted: float) -> tuple[float, float]:
    """Water (kg) that brings a spirit down to a strength, and the volume (L) then."""
    p, q = mass_fraction(strength), mass_fraction(wanted)
    kilos = volume * spirit_density(p, 20.0) / 1000
    whole = kilos * p / q
    return whole - kilos, 1000 * whole / spirit_density(q, 20.0)


def mixed(volume: float, strength: float, water: float) -> tuple[float, float]:
    """Volume (L) and strength (% vol) of a spirit with so much water (kg) in it."""
    p = mass_fraction(strength)
    kilos = volume * spirit_density(p, 20.0) / 1000
    fraction = kilos * p / (kilos + water)
    return 1000 * (kilos + water) / spirit_density(fraction, 20.0), strength_of(fraction)
