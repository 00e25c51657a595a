"""The strength sheet: the water that brings a lot to strength, and whether it came out so."""

from typing import Any

import numpy as np

from sheetcalc import instruments, meant, units
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, mixing
from sheetcalc.stages import lots, samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.samples import FLAMMABLE, MEASURES
from sheetcalc.stages.slips import Mask

TWO_VOLUMES = 0.03 * 2**0.5  # share by which two volumes of one lot may differ
FOR_ANOTHER_RUN = 6.0  # % vol below the legal minimum; what goes back into the still is at about 30 % vol


@column("strength", by_row=True)
def strength_20(
    reading: Array, temperature: Array, alcoholmeter: Instrument, thermometer: Instrument
) -> Array:
    """True strength (% vol at 20 °C) of the lot."""
    return np.asarray(instruments.strength_20(reading, temperature + thermometer.correction, alcoholmeter))


samples.strength_to_judge_by("strength", "strength_20", "reading", "temperature")


samples.strength_if_exchanged("strength", "if_exchanged", "reading", "temperature")
samples.strength_if_exchanged("strength", "after_if_exchanged", "reading_after", "temperature_after")


@column("strength")
def read_exchanged(
    sure_strength: Array, target_strength: Array, if_exchanged: Array, azeotrope: Array
) -> Mask:
    """Which readings are below what is wanted, but above it if they were exchanged with their temperature."""
    most = np.where(np.isnan(azeotrope), 100.0, azeotrope)
    fits = (target_strength <= if_exchanged) & (if_exchanged <= most)
    return np.asarray((target_strength > sure_strength) & fits)


@column("strength")
def read_in_percent(
    reading: Array,
    sure_strength: Array,
    target_strength: Array,
    azeotrope: Array,
    reading_unit: str,
    read_exchanged: Mask,
) -> Mask:
    """Which readings are below what is wanted, but above it if they were typed in % vol, not in proof."""
    typed = units.from_base(reading, "mark", reading_unit)
    most = np.where(np.isnan(azeotrope), 100.0, azeotrope)
    fits = (target_strength <= typed) & (typed <= most) & ~read_exchanged
    return np.asarray((target_strength > sure_strength) & fits & (reading_unit == "proof"))


@column("strength", by_row=True)
def mix(volume: Array, strength_20: Array, target_strength: Array, target_volume: Array) -> mixing.Mix:
    """Lot and water together: to the wanted strength, or else to the wanted volume."""
    to_strength = mixing.water_for_strength(volume, strength_20, target_strength)
    to_volume = mixing.water_for_volume(volume, strength_20, target_volume)
    by_strength = np.isfinite(target_strength)
    pairs = zip(to_strength, to_volume, strict=True)
    return mixing.Mix(*(np.where(by_strength, strength, volume) for strength, volume in pairs))


@column("strength", decided=True)
def water_mass(mix: mixing.Mix) -> Array:
    """Water to weigh in, kg."""
    return mix.water_mass


@column("strength")
def water_volume(mix: mixing.Mix) -> Array:
    """The same water, L at 20 °C."""
    return mix.water_volume


@column("strength")
def final_volume(mix: mixing.Mix) -> Array:
    """Volume after mixing, L at 20 °C."""
    return mix.volume


@column("strength")
def final_strength(mix: mixing.Mix) -> Array:
    """Strength after mixing, % vol."""
    return mix.strength


@column("strength", by_row=True)
def made_strength(volume: Array, strength_20: Array, water_mass: Array) -> Array:
    """Strength (% vol) that so much water gives: the final strength, known no better than what went in."""
    return mixing.strength_with_water(volume, strength_20, water_mass)


@column("strength")
def contraction(mix: mixing.Mix) -> Array:
    """What vanishes in mixing, L: lot plus water less the mix."""
    return mix.contraction


@column("strength", by_row=True)
def strength_after(
    reading_after: Array, temperature_after: Array, alcoholmeter: Instrument, thermometer: Instrument
) -> Array:
    """True strength (% vol at 20 °C) measured after mixing."""
    return strength_20(reading_after, temperature_after, alcoholmeter, thermometer)


@column("strength")
def difference(strength_after: Array, made_strength: Array) -> Array:
    """Measured less expected strength after mixing, % vol."""
    return strength_after - made_strength


@column("strength")
def off(
    difference: Array, difference_uncertainty: Array, temperature: Array, temperature_after: Array
) -> Mask:
    """Which lots came out otherwise than expected; not judged by a temperature that can't be right."""
    doubtful = slips.temperature_in_doubt(temperature) | slips.temperature_in_doubt(temperature_after)
    return (np.abs(difference) > slips.SURE * difference_uncertainty) & ~doubtful


@column("strength")
def water_more(final_volume: Array, strength_after: Array, final_strength: Array) -> Array:
    """Water (L) that still brings the mix down to the wanted strength; 0 where it is not too strong."""
    more = mixing.water_for_strength(final_volume, strength_after, final_strength).water_volume
    return np.where(strength_after <= final_strength, 0.0, more)


@column("strength")
def spirit_more(
    final_volume: Array, strength_after: Array, final_strength: Array, strength_20: Array
) -> Array:
    """The lot's own spirit (L) that brings the mix up to the wanted strength; 0 where it is not too weak."""
    more = mixing.spirit_for_strength(final_volume, strength_after, final_strength, strength_20)
    return np.where(strength_after >= final_strength, 0.0, more)


@column("strength")
def collected(
    runs_run: Any,
    runs_charge_volume: Array,
    runs_charge_alcohol: Array,
    runs_collected_alcohol: Array,
    cuts_run: Any,
    cuts_alcohol: Array,
) -> float:
    """Most pure alcohol (L) the runs gave: as measured, or in all their jars, or else all charged."""
    given = np.array(runs_collected_alcohol, dtype=float)
    charged = np.broadcast_to(runs_charge_alcohol, given.shape)
    jars, names = lots.names(cuts_run, cuts_alcohol), lots.names(runs_run, given)
    for i in np.flatnonzero(np.isnan(given)):
        in_jars = np.atleast_1d(cuts_alcohol)[(jars == names[i]) & (names[i] != "")].sum()
        given[i] = in_jars if in_jars > 0 else charged[i]
    held = np.isfinite(runs_charge_volume) | np.isfinite(given)
    return float(given[held].sum()) if held.any() else np.nan


@column("strength")
def too_much(volume: Array, sure_strength: Array, collected: float) -> Mask:
    """Which lots alone hold more alcohol than all the runs gave."""
    alcohol = volume * sure_strength / 100
    return np.asarray((alcohol > collected * (1 + MEASURES)) & (collected > 0) & (sure_strength <= 100))


@column("strength")
def readings_exchanged(
    sure_strength: Array,
    strength_after: Array,
    final_strength: Array,
    temperature_after: Array,
    strength_doubt: float,
) -> Mask:
    """Which lots read stronger after mixing than before, and before it as they should be after it."""
    stronger = strength_after > sure_strength + strength_doubt * np.sqrt(2)
    as_wanted = np.abs(sure_strength - final_strength) <= 2 * strength_doubt
    return np.asarray(stronger & as_wanted & ~slips.temperature_in_doubt(temperature_after))


@column("strength")
def used(
    lot: Any,
    volume: Array,
    sure_strength: Array,
    final_volume: Array,
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_volume_out: Array,
    carbon_strength_out: Array,
    carbon_agrees: Mask,
    bottling_lot: Any,
    bottling_volume: Array,
    strength_doubt: float,
) -> Array:
    """Volume (L) that there was of each lot by what came after it, where two things agree in that; else NaN.

    They are what went into the filter and what came out of it, or what was bottled and what the filter had
    given for this line to start from. Only of lots that have one line here.
    """
    here, into, last = (lots.names(each, each) for each in (lot, carbon_lot, bottling_lot))
    filtered_in, out, at, bottled = map(
        np.atleast_1d, (carbon_volume_in, carbon_volume_out, carbon_strength_out, bottling_volume)
    )
    agrees = np.atleast_1d(carbon_agrees)
    found = np.full(len(here), np.nan)
    for i, name in enumerate(here):
        passes = np.flatnonzero(into == name)
        if not name or (here == name).sum() > 1:
            continue
        if len(passes) == 1 and agrees[passes[0]]:
            found[i] = filtered_in[passes[0]]
        elif len(passes) == 0:
            source = np.abs(at - sure_strength[i]) <= strength_doubt * np.sqrt(2)
            most = out[source].sum() * final_volume[i] / volume[i] if volume[i] > 0 else np.nan
            in_bottles = bottled[last == name].sum()
            found[i] = in_bottles if 0 < in_bottles <= most * (1 + TWO_VOLUMES) else np.nan
    return found


@column("strength")
def becomes(volume: Array, final_volume: Array, target_strength: Array, target_volume: Array) -> Array:
    """Volume (L) of each lot in the end: with the water, or as it was where nothing else is wanted."""
    wants = np.isfinite(target_strength) | np.isfinite(target_volume)
    return np.where(wants, final_volume, volume)


@column("strength")
def less_than_used(becomes: Array, used: Array, readings_exchanged: Mask) -> Mask:
    """Which lots were less than was filtered or bottled of them."""
    return np.asarray((used > becomes * (1 + TWO_VOLUMES)) & ~readings_exchanged)


@column("strength")
def reading_slipped(
    less_than_used: Mask,
    used: Array,
    becomes: Array,
    reading: Array,
    volume: Array,
    reading_unit: str,
    volume_unit: str,
) -> Mask:
    """Which of these have a reading that a slip of the hand explains, and no such volume."""
    more = used / becomes
    slipped = np.zeros(len(reading), dtype=bool)
    for i in np.flatnonzero(less_than_used):
        by_volume = meant.in_words(volume[i], "volume", volume_unit, *_volumes(volume[i] * more[i]))
        by_reading = meant.in_words(reading[i], "mark", reading_unit, *_readings(reading[i] * more[i]))
        slipped[i] = bool(by_reading) and not by_volume
    return slipped


def _volumes(fit: Any) -> tuple[Any, Any]:
    """The least and the most (L) that fit a lot of which so much was used; some may be left."""
    return fit * (1 - TWO_VOLUMES), fit * 1.5


def _readings(fit: Any) -> tuple[Any, Any]:
    """The weakest and the strongest readings (% vol) that give a lot of which so much was used."""
    return fit * (1 - TWO_VOLUMES), np.fmin(fit * (1 + TWO_VOLUMES), 97.0)


@column("strength")
def not_to_judge_by(
    volume: Array,
    temperature: Array,
    temperature_after: Array,
    sure_strength: Array,
    reading: Array,
    target_strength: Array,
    becomes: Array,
    off: Mask,
    too_much: Mask,
    less_than_used: Mask,
    azeotrope: Array,
    strength_doubt: float,
) -> Mask:
    """Which lines something is told of here, so that no other sheet is held against them."""
    impossible, _ = samples.above_the_azeotrope(reading, sure_strength, azeotrope, strength_doubt)
    doubtful = slips.temperature_in_doubt(temperature) | slips.temperature_in_doubt(temperature_after)
    above = target_strength > sure_strength + strength_doubt
    unknown = np.isfinite(volume) & np.isnan(becomes)
    return np.asarray(doubtful | impossible | above | unknown | off | too_much | less_than_used)


samples.above_azeotrope("strength", "reading", "sure_strength")


@check(
    "strength",
    cell="target_strength",
    level="error",
    says="{target_strength} is above what you have, {strength_20}; water only makes it weaker.",
    advice="Check the units, or distil it again.",
)
def target_above_source(
    target_strength: Array,
    sure_strength: Array,
    strength_doubt: float,
    read_in_percent: Mask,
    read_exchanged: Mask,
    legal_minimum: Array,
) -> tuple[Mask, dict[str, Any]]:
    """Water can't do that; within the glass's uncertainty it is as good as reached."""
    wrong = (target_strength > sure_strength + strength_doubt) & ~read_in_percent & ~read_exchanged
    return wrong, {"fits": (legal_minimum, sure_strength)}


@check(
    "strength",
    cell="reading",
    level="error",
    says="{reading} is below {target_strength}, and water only makes it weaker; as % vol it would fit.",
    advice="Write % vol behind the number, or choose it as the unit if all is in % vol.",
)
def percent_for_proof(
    target_strength: Array, sure_strength: Array, strength_doubt: float, read_in_percent: Mask
) -> Mask:
    """Half of what was meant, and so below what is wanted of it."""
    return read_in_percent & (target_strength > sure_strength + strength_doubt)


@check(
    "strength",
    cell="reading",
    level="error",
    says="{reading} is below {target_strength}, and water only makes it weaker. " + samples.IF_EXCHANGED,
    advice="If so, type each into the other's cell.",
)
def temperature_for_strength(
    target_strength: Array, sure_strength: Array, strength_doubt: float, read_exchanged: Mask
) -> Mask:
    """Where both can be strength and temperature, what is wanted tells them apart."""
    return read_exchanged & (target_strength > sure_strength + strength_doubt)


@check(
    "strength",
    cell="target_strength",
    level="note",
    says="The lot is at {strength_20}: as near to {target_strength} as your alcoholmeter can tell.",
    advice="No water is needed.",
)
def already_there(target_strength: Array, sure_strength: Array, strength_doubt: float) -> Mask:
    """Nominally above the source, but not by more than the glass can be off."""
    above = target_strength - sure_strength
    return (above > 0) & (above <= strength_doubt)


@check(
    "strength",
    cell="target_volume",
    level="error",
    says="{target_volume} is less than you have, {volume}; water only makes it more.",
    advice="Check the units, or take less of the spirit.",
)
def target_below_volume(target_volume: Array, volume: Array, target_strength: Array) -> Mask:
    """A mix smaller than its part."""
    return np.isnan(target_strength) & (target_volume < volume)


@check(
    "strength",
    cell="target_strength",
    level="note",
    says="Neither a wanted strength nor a wanted volume is filled in.",
    advice="Fill in one of them to get the water.",
)
def nothing_wanted(target_strength: Array, target_volume: Array, volume: Array) -> Mask:
    """Half a row."""
    return np.isnan(target_strength) & np.isnan(target_volume) & np.isfinite(volume)


@check(
    "strength",
    cell="target_volume",
    level="warning",
    says="The wanted strength gives {final_volume}, not the wanted {target_volume}; the strength was used.",
    advice="Leave one of the two blank.",
)
def two_wants(target_strength: Array, target_volume: Array, final_volume: Array) -> Mask:
    """Both are filled in and do not agree to half a percent."""
    return np.isfinite(target_strength) & (np.abs(target_volume / final_volume - 1) > 0.005)


@check(
    "strength",
    cell="volume",
    level="warning",
    says="This lot holds {alcohol} of pure alcohol; the runs together gave no more than {collected}.",
    advice="Check the volume and its unit.",
)
def more_than_collected(
    volume: Array, strength_20: Array, collected: float, too_much: Mask
) -> tuple[Mask, dict[str, Any]]:
    """More alcohol than ever came out of the still."""
    alcohol = volume * strength_20 / 100
    shown, all_of_it = np.full(len(alcohol), collected), collected / np.maximum(strength_20, 1.0) * 100
    fits = (0.05 * all_of_it, all_of_it)
    return too_much, {"alcohol": (alcohol, "volume"), "collected": (shown, "volume"), "fits": fits}


LESS = "This lot becomes {becomes}, but {used} of it were filtered or bottled."


@check(
    "strength",
    cell="volume",
    level="warning",
    says=LESS,
    advice="Check the volume and its unit, and the reading.",
)
def less_than_was_used(
    less_than_used: Mask, reading_slipped: Mask, used: Array, volume: Array, becomes: Array
) -> tuple[Mask, dict[str, Any]]:
    """What came after agrees in itself, so that the fault is here."""
    more = {"becomes": (becomes, "final_volume"), "used": (used, "final_volume")}
    return less_than_used & ~reading_slipped, more | {"fits": _volumes(volume * used / becomes)}


@check("strength", cell="reading", level="warning", says=LESS, advice="Check the reading, and the volume.")
def weaker_than_was_used(
    reading_slipped: Mask, used: Array, reading: Array, becomes: Array
) -> tuple[Mask, dict[str, Any]]:
    """The same, where a slip in the reading explains it."""
    more = {"becomes": (becomes, "final_volume"), "used": (used, "final_volume")}
    return reading_slipped, more | {"fits": _readings(reading * used / becomes)}


@check(
    "strength",
    cell="reading_after",
    level="warning",
    says="{strength_after} measured, {final_strength} expected; your instruments alone do not explain it. "
    "{meant}",
    advice="Stir, let it cool to about 20 °C (68 °F) and read again. If it stays, the volume or the first "
    "reading was off.",
)
def not_as_expected(
    off: Mask,
    difference: Array,
    difference_uncertainty: Array,
    reading_after: Array,
    made_strength: Array,
    after_if_exchanged: Array,
    readings_exchanged: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Off by more than the readings before and after and the lot's volume can be."""
    allowed = slips.SURE * difference_uncertainty
    exchanged = np.abs(after_if_exchanged - made_strength) <= allowed
    expected = np.where(exchanged | readings_exchanged, np.nan, reading_after - difference)
    words = np.where(readings_exchanged, "Exchanged with the reading before it would fit.", "")
    words = np.where(exchanged, samples.IF_EXCHANGED, words)
    more = {"meant": (words.astype(object), "")}
    return off, more | {"fits": (expected - allowed, expected + allowed)}


@check(
    "strength",
    cell="target_strength",
    level="warning",
    says="It comes out at {final_strength}, below the usual legal minimum of {legal_minimum} for this place.",
    advice="Fine for tasting; check your own local law before you bottle it.",
)
def below_legal_minimum(final_strength: Array, legal_minimum: Array) -> Mask:
    """Too weak to be sold under the usual name, by more than rounding.

    Far below it nobody means to bottle: it is being thinned for another run.
    """
    return (final_strength < legal_minimum - 0.05) & (final_strength > legal_minimum - FOR_ANOTHER_RUN)


samples.temperatures("strength", "temperature", "reading")
samples.temperatures("strength", "temperature_after", "reading_after", "_after")


@check(
    "strength",
    cell="temperature_after",
    level="note",
    says="Without its temperature the reading after mixing can't be corrected to 20 °C.",
    advice="Type the temperature of the mix.",
)
def temperature_after_missing(reading_after: Array, temperature_after: Array) -> Mask:
    """A reading alone."""
    return np.isfinite(reading_after) & np.isnan(temperature_after)


@check(
    "strength",
    cell="reading",
    level="note",
    says="Spirit of {strength_20} can catch fire at room temperature.",
    advice="Stop if any flame or spark is near. Let fresh air in, and pour the water into the spirit "
    "slowly, stirring.",
    danger=True,
)
def catches_fire(strength_20: Array) -> Mask:
    """Flash point at or below a warm room's temperature; said once."""
    burning = (strength_20 > FLAMMABLE) & (strength_20 <= 100)
    return np.asarray(burning & (np.cumsum(burning) == 1))
