"""The cuts sheet: what each jar of a run holds, what it should hold, and whether the jars fit the run."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sheetcalc import instruments, meant
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, mixing, vapour
from sheetcalc.stages import groups, lots, samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.samples import FLAMMABLE, MEASURES, MODEL, above_the_azeotrope
from sheetcalc.stages.slips import Mask

Order = tuple[NDArray[np.intp], ...]
Twin = NDArray[np.intp]

NEAR = 2.0  # °C from the temperature that would fit a jar
OF_ONE_RUN = "*"  # instead of the name of a run, where nothing says of which one the jars are
FRACTIONS = ("first runnings", "heads", "hearts", "tails")
ODD = 2.0  # times as much, or as little: a jar unlike the others of its run
TOGETHER = 0.04  # share that jars and run may differ by: two volumes, each good to about 3 %
WEATHER = 0.5  # °C that 2 % of air pressure move every boiling point by
EQUILIBRIUM = 0.5  # °C that the vapour-liquid balance is good to
COOLEST, HOTTEST = 45.0, 110.0  # °C; no spirit comes over below, however high up, and above it is steam
FLAT = 96.0  # % vol; above it the temperature of the vapour no longer tells


class Charge(NamedTuple):
    """What the runs sheet says of each jar's run, an array over the jars each; NaN where it has no such run.

    volume, collected: L; strength: % vol; alcohol: L; stages: seen in that run, or else planned;
    first_runnings: L to set aside; known: whether that run is there.
    """

    volume: Array
    strength: Array
    alcohol: Array
    collected: Array
    stages: Array
    first_runnings: Array
    known: Mask


@column("cuts", across=True)
def order(run: Any, jar: Any) -> Order:
    """The jars of each run, as places among the records in the order they filled.

    That is the order of the rows, unless every jar of the run has a number of its own: a sheet may be sorted.
    """
    names = [groups.plain(text) for text in run]
    found = []
    for name in dict.fromkeys(filter(None, names)):
        places = np.array([i for i, other in enumerate(names) if other == name], dtype=np.intp)
        numbers = [_jar_number(jar[i]) for i in places]
        if len(set(numbers)) == len(numbers) and np.isfinite(numbers).all():
            places = places[np.argsort(numbers)]
        found.append(places)
    return tuple(found)


def _jar_number(text: Any) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


@column("cuts")
def charge(
    run: Any,
    runs_run: Any,
    runs_charge_volume: Array,
    runs_strength_charged: Array,
    runs_charge_alcohol: Array,
    runs_collected_volume: Array,
    runs_stages_seen: Array,
    runs_stages_planned: Array,
    runs_first_runnings: Array,
) -> Charge:
    """The charge each jar came from: the run of the same name."""
    at = _run_of(run, runs_run)

    def of_run(values: Array) -> Array:
        return np.asarray(np.append(values, np.nan)[at])

    return Charge(
        volume=of_run(runs_charge_volume),
        strength=of_run(runs_strength_charged),
        alcohol=of_run(runs_charge_alcohol),
        collected=of_run(runs_collected_volume),
        stages=of_run(np.where(np.isnan(runs_stages_seen), runs_stages_planned, runs_stages_seen)),
        first_runnings=of_run(runs_first_runnings),
        known=at >= 0,
    )


def _run_of(run: Any, runs_run: Any) -> NDArray[np.intp]:
    """The place on the runs sheet of each jar's run; -1 where it has none."""
    names = [groups.plain(text) for text in runs_run]
    wanted = [groups.plain(text) for text in run]
    return np.array([names.index(w) if w and w in names else -1 for w in wanted], dtype=np.intp)


@column("cuts")
def told_on_runs(
    run: Any,
    runs_run: Any,
    runs_charge_volume: Array,
    runs_charge_alcohol: Array,
    runs_collected_volume: Array,
    runs_collected_alcohol: Array,
    runs_volume_meant: Any,
) -> Mask:
    """Of which jars' runs the runs sheet tells already that what it gave does not fit its charge."""
    too_much = runs_collected_volume > runs_charge_volume
    gained = runs_collected_alcohol > runs_charge_alcohol * (1 + MEASURES)
    told = too_much | gained | np.isfinite(runs_volume_meant.low)
    return np.asarray(np.append(told, False)[_run_of(run, runs_run)])


@column("cuts")
def misnamed(run: Any, charge: Charge, runs_run: Any) -> Mask:
    """Which jars name a run that is not there, though there are some."""
    return ~charge.known & ~_is(run, OF_ONE_RUN) & any(groups.plain(text) for text in runs_run)


@column("cuts", by_row=True)
def strength_20(
    reading: Array, temperature: Array, alcoholmeter: Instrument, thermometer: Instrument
) -> Array:
    """True strength (% vol at 20 °C) of the jar."""
    return np.asarray(instruments.strength_20(reading, temperature + thermometer.correction, alcoholmeter))


@column("cuts")
def exchanged_with_vapour(
    temperature: Array, vapour_temperature: Array, temperature_unit: str, vapour_temperature_unit: str
) -> Mask:
    """Which jars' two temperatures make sense in each other's cell alone."""
    here, there = ("temperature", temperature_unit), ("temperature", vapour_temperature_unit)
    as_sample = slips.typed_there(vapour_temperature, there, here)
    as_vapour = slips.typed_there(temperature, here, there)
    cool = (as_sample >= slips.COLDEST_SAMPLE) & (as_sample <= slips.HOTTEST_SAMPLE)
    hot = (as_vapour >= COOLEST) & (as_vapour <= HOTTEST)
    return np.asarray(cool & hot & (vapour_temperature < COOLEST))


samples.strength_to_judge_by("cuts", "strength_20", "reading", "temperature", unless="exchanged_with_vapour")


samples.strength_if_exchanged("cuts", "if_exchanged", "reading", "temperature")


@column("cuts")
def alcohol(volume: Array, strength_20: Array) -> Array:
    """Pure alcohol (L) in the jar."""
    return volume * strength_20 / 100


@column("cuts", across=True)
def cumulative_volume(volume: Array, order: Order) -> Array:
    """Volume (L) of this run's jars up to this one; blank after a jar without a volume."""
    return _running(volume, order)


@column("cuts", across=True)
def cumulative_alcohol(alcohol: Array, order: Order) -> Array:
    """Pure alcohol (L) in this run's jars up to this one; blank after a jar without it."""
    return _running(alcohol, order)


def _running(values: Array, order: Order) -> Array:
    totals = np.full(len(values), np.nan)
    for places in order:
        totals[places] = np.cumsum(values[places])
    return totals


@column("cuts")
def models(
    charge: Charge, cumulative_volume: Array, volume: Array, pressure: Array
) -> tuple[vapour.Distilled, vapour.Distilled]:
    """The run by the model when each jar went under the outlet, and when it was full."""
    collected = np.stack([np.maximum(cumulative_volume - volume, 0.0), cumulative_volume])
    model = vapour.distil(charge.volume, charge.strength, collected, charge.stages, pressure)
    before, after = (vapour.Distilled(*(each[i] for each in model)) for i in (0, 1))
    return before, after


@column("cuts")
def model_before(models: tuple[vapour.Distilled, vapour.Distilled]) -> vapour.Distilled:
    """The run by the model when this jar went under the outlet."""
    return models[0]


@column("cuts")
def model_after(models: tuple[vapour.Distilled, vapour.Distilled]) -> vapour.Distilled:
    """The run by the model when this jar was full."""
    return models[1]


@column("cuts")
def expected_strength(model_before: vapour.Distilled, model_after: vapour.Distilled, volume: Array) -> Array:
    """Strength (% vol) the model gives this jar: its alcohol after less before, in the jar's volume."""
    alcohol = model_after.alcohol - model_before.alcohol
    return 100 * alcohol / np.where(volume > 0, volume, np.nan)


@column("cuts", across=True)
def pot_strength(
    charge: Charge, order: Order, volume: Array, strength_20: Array, model_after: vapour.Distilled
) -> Array:
    """Strength (% vol) left in the pot after this jar: by mass balance of the jars, or else by the model."""
    left = np.full(len(volume), np.nan)
    for places in order:
        first = places[0]
        parts = volume[places], strength_20[places]
        left[places] = mixing.remainders(charge.volume[first], charge.strength[first], *parts).strength
    return np.where(np.isnan(left), model_after.left_strength, left)


@column("cuts")
def true_vapour_temperature(vapour_temperature: Array, still_thermometer: Instrument) -> Array:
    """Temperature (°C) of the vapour at the outlet."""
    return vapour_temperature + still_thermometer.correction


@column("cuts")
def vapour_strength(true_vapour_temperature: Array, pressure: Array) -> Array:
    """Strength (% vol) of what condenses from vapour of that temperature: its dew point at this pressure."""
    return vapour.strength_of_vapour_at(true_vapour_temperature, pressure)


@column("cuts")
def fits(sure_strength: Array, order: Order, strength_doubt: float) -> Mask:
    """Which jars fit a run that only gets weaker; the largest set that does.

    The first jar may be weaker than the next: it rinses out what stood in the condenser.
    """
    mask = np.ones(len(sure_strength), dtype=bool)
    for places in order:
        later = places[1:]
        mask[later] = slips.longest_chain(sure_strength[later], strength_doubt * np.sqrt(2))
    return mask


@column("cuts")
def impossible(reading: Array, sure_strength: Array, azeotrope: Array, strength_doubt: float) -> Mask:
    """Which readings no still gives."""
    return above_the_azeotrope(reading, sure_strength, azeotrope, strength_doubt)[0]


@column("cuts")
def rising(sure_strength: Array, fits: Mask, impossible: Mask) -> Mask:
    """Which possible strengths do not fit a run that only gets weaker."""
    return np.isfinite(sure_strength) & ~fits & ~impossible


class Apart(NamedTuple):
    """How far (°C) the vapour is from what the jar allows, 0 inside, NaN where it can't be told; and the
    temperature (as the still thermometer would show it) of the vapour that the jar came from."""

    degrees: Array
    fitting: Array


@column("cuts")
def apart(
    true_vapour_temperature: Array,
    strength_20: Array,
    pressure: Array,
    order: Order,
    fits: Mask,
    model_before: vapour.Distilled,
    model_after: vapour.Distilled,
    strength_doubt: float,
    still_thermometer: Instrument,
) -> Apart:
    """The vapour against the jar, by more than both readings, the weather and the balance can be off.

    The temperature may have been read at any time while the jar filled, so it allows for half of what the
    model falls by in it, or for the model's own doubt where there is none. The first jar of a run is left
    out: the head is not hot through yet. So is a jar whose own strength does not fit its run.
    """
    inside = (model_before.drip_strength - model_after.drip_strength) / 2
    allowed = slips.SURE * strength_doubt + np.where(np.isnan(inside), MODEL, inside)
    strengths = np.stack([strength_20 + allowed, strength_20, strength_20 - allowed])
    coolest, fitting, warmest = vapour.dew_point_of(np.clip(strengths, 0.0, FLAT), pressure)
    off = slips.SURE * float(np.hypot(still_thermometer.uncertainty, np.hypot(WEATHER, EQUILIBRIUM)))
    above = np.maximum(true_vapour_temperature - warmest - off, 0.0)
    below = np.minimum(true_vapour_temperature - coolest + off, 0.0)
    told = fits & ~_of_another_scale(true_vapour_temperature)
    told[[places[0] for places in order]] = False
    return Apart(np.where(told, above + below, np.nan), fitting - still_thermometer.correction)


def _of_another_scale(vapour_temperature: Array) -> Mask:
    return _fahrenheit(vapour_temperature) | (vapour_temperature < COOLEST)


def _fahrenheit(temperature: Array) -> Mask:
    """Hotter than steam, but sensible as °F."""
    return (temperature > HOTTEST) & (temperature <= 220)


@column("cuts")
def throughout(apart: Apart, order: Order) -> Mask:
    """Which jars are of a run where most of at least three vapour temperatures are off to the same side."""
    mask = np.zeros(len(apart.degrees), dtype=bool)
    for places in order:
        degrees = apart.degrees[places][np.isfinite(apart.degrees[places])]
        sides = max(int((degrees > 0).sum()), int((degrees < 0).sum()))
        mask[places] = sides >= 3 and 2 * sides > len(degrees)
    return mask


def _first(mask: Mask, order: Order) -> Mask:
    """Only the first of the wrong jars of each run."""
    found = np.zeros(len(mask), dtype=bool)
    for places in order:
        wrong = places[mask[places]]
        found[wrong[:1]] = True
    return found


def _any(mask: Mask, order: Order) -> Mask:
    """Whether it is so for any jar of the run of each jar."""
    return np.asarray(_sums(mask.astype(float), order) > 0)


def _last(order: Order, records: int) -> Mask:
    """The last jar of each run."""
    found = np.zeros(records, dtype=bool)
    found[[places[-1] for places in order]] = True
    return found


def _sums(values: Array, order: Order) -> Array:
    """The sum over the run of each jar."""
    sums = np.full(len(values), np.nan)
    for places in order:
        sums[places] = values[places].sum()
    return sums


@column("cuts")
def in_order(fraction: Any, order: Order) -> Mask:
    """Which jars' fractions are in the order a run gives them; the largest set that is, and the undecided."""
    rank = np.array([FRACTIONS.index(f) if f in FRACTIONS else np.nan for f in fraction], dtype=float)
    mask: Mask = np.isnan(rank)
    for places in order:
        mask[places] |= slips.longest_chain(-rank[places], 0.0)
    return mask


class Surplus(NamedTuple):
    """Volume (L) by which the jars of each jar's run hold more than it gave: all of them, and without the
    first runnings, which may have been left out of the run's."""

    all: Array
    kept: Array


@column("cuts")
def surplus(volume: Array, fraction: Any, charge: Charge, order: Order) -> Surplus:
    """The jars of each run against what the runs sheet says it gave."""
    jars = _sums(volume, order)
    aside = _sums(np.where(_is(fraction, "first runnings"), volume, 0.0), order)
    return Surplus(jars - charge.collected, jars - aside - charge.collected)


@column("cuts")
def twin(
    volume: Array, reading: Array, temperature: Array, surplus: Surplus, charge: Charge, order: Order
) -> Twin:
    """The jar that each jar is typed anew of, as its place among the records; -1 for none.

    It is alike in volume, reading and temperature, and its run's jars add up without it, but not with it.
    """
    twins = np.full(len(volume), -1, dtype=np.intp)
    allowed = TOGETHER * charge.collected
    with_it = np.minimum(np.abs(surplus.all), np.abs(surplus.kept)) > allowed
    without = np.minimum(np.abs(surplus.all - volume), np.abs(surplus.kept - volume)) <= allowed
    alike = np.array([volume, reading, temperature])
    for places in order:
        for k, i in enumerate(places):
            same = places[:k][(alike[:, places[:k]] == alike[:, [i]]).all(axis=0)]
            if len(same) and with_it[i] and without[i]:
                twins[i] = same[0]
                break
    return twins


@column("cuts")
def slipped(
    volume: Array,
    fraction: Any,
    surplus: Surplus,
    charge: Charge,
    misnamed: Mask,
    told_on_runs: Mask,
    twin: Twin,
    order: Order,
    volume_unit: str,
) -> Array:
    """What the odd jar of a run should hold (L), where the jars do not add up and a slip of the hand in that
    jar explains it; NaN elsewhere.

    It is the one farthest from the middle of its run, by more than double or half. First runnings are always
    less.
    """
    should = np.full(len(volume), np.nan)
    off = np.where(np.abs(surplus.all) <= np.abs(surplus.kept), surplus.all, surplus.kept)
    allowed = TOGETHER * charge.collected
    ready = (np.abs(off) > allowed) & ~told_on_runs & ~misnamed.any() & ~_any(twin >= 0, order)
    usual = ~_is(fraction, "first runnings") & (volume > 0)
    for places in order:
        jars = places[usual[places]]
        if len(jars) < 3 or not ready[places[0]]:
            continue
        middle = np.median(volume[jars])
        odd = jars[np.argmax(np.abs(np.log(volume[jars] / middle)))]
        fit = volume[odd] - off[odd]
        far = max(volume[odd] / middle, middle / volume[odd]) > ODD
        nearer = abs(fit - middle) < abs(volume[odd] - middle)
        if far and nearer and _slip(volume[odd], fit - allowed[odd], fit + allowed[odd], volume_unit):
            should[odd] = fit
    return should


def _slip(value: float, low: float, high: float, unit: str) -> str:
    return meant.in_words(value, "volume", unit, max(low, 0.0), high)


@check(
    "cuts",
    cell="volume",
    level="warning",
    says="The same volume, strength and temperature as jar {other}; with one of the two the jars add up to "
    "the {collected} on the runs sheet.",
    advice="If it is the same jar, delete one of the lines; if there were two, correct the run.",
)
def jar_twice(twin: Twin, jar: Any, charge: Charge) -> tuple[Mask, dict[str, Any]]:
    """One jar in two lines."""
    other = np.array([jar[i] if i >= 0 else "" for i in twin], dtype=object)
    return twin >= 0, {"other": (other, ""), "collected": (charge.collected, "cumulative_volume")}


@check(
    "cuts",
    cell="run",
    level="warning",
    says="There is no run '{run}' on the runs sheet, so its charge is not known. {meant}",
    advice="Spell it as on the runs sheet, or add the run there.",
)
def unknown_run(misnamed: Mask, run: Any, runs_run: Any, order: Order) -> tuple[Mask, dict[str, Any]]:
    """A name that no run has; said once a name."""
    words = lots.may_be(lots.misspelled(run, runs_run))
    return _first(misnamed, order), {"meant": (words, "")}


@check(
    "cuts",
    cell="volume",
    level="error",
    says="With this jar {cumulative_volume} are collected from a charge of {charged}: that can't be.",
    advice="Check the volumes of the jars, their unit and the charge.",
)
def beyond_the_charge(
    cumulative_volume: Array,
    charge: Charge,
    twin: Twin,
    slipped: Array,
    told_on_runs: Mask,
    order: Order,
) -> tuple[Mask, dict[str, Any]]:
    """More comes out than went in; said where it is passed, unless another check knows which jar it is, or
    the runs sheet tells it."""
    wrong = (cumulative_volume > charge.volume) & ~_any((twin >= 0) | np.isfinite(slipped), order)
    wrong &= ~told_on_runs
    return _first(wrong, order), {"charged": (charge.volume, "cumulative_volume")}


@check(
    "cuts",
    cell="reading",
    level="error",
    says="With this jar {cumulative_alcohol} of pure alcohol are collected, but only {charged} was charged.",
    advice="Check the volumes and readings of the jars, their units and the charge.",
)
def more_alcohol_out(
    cumulative_alcohol: Array,
    cumulative_volume: Array,
    charge: Charge,
    impossible: Mask,
    rising: Mask,
    temperature: Array,
    twin: Twin,
    slipped: Array,
    told_on_runs: Mask,
    order: Order,
) -> tuple[Mask, dict[str, Any]]:
    """A still makes no alcohol; the measures' own spread is allowed for. Said where it is passed.

    Not said where a reading of the run, its temperature or a whole jar is in doubt anyway, or the run itself.
    """
    wrong = (cumulative_alcohol > charge.alcohol * (1 + MEASURES)) & (cumulative_volume <= charge.volume)
    wrong &= ~_any(impossible | rising | slips.temperature_in_doubt(temperature) | (twin >= 0), order)
    wrong &= ~_any(np.isfinite(slipped), order) & ~told_on_runs
    return _first(wrong, order), {"charged": (charge.alcohol, "cumulative_alcohol")}


@check(
    "cuts",
    cell="volume",
    level="warning",
    says="The jars of this run hold {jars} together; on the runs sheet it gave {collected}. {meant}",
    advice="Look for a jar that is missing, doubled or mistyped, or correct the run.",
)
def jars_do_not_add_up(
    volume: Array,
    cumulative_alcohol: Array,
    surplus: Surplus,
    charge: Charge,
    misnamed: Mask,
    twin: Twin,
    slipped: Array,
    told_on_runs: Mask,
    order: Order,
    volume_unit: str,
    runs_collected_volume_unit: str,
) -> tuple[Mask, dict[str, Any]]:
    """Off by more than two volumes can be; the first runnings may have been left out of the run's.

    Said at the last jar, with what the run would fit as, or all the jars, if anything. Not said where another
    check knows which jar it is, where the jars are impossible anyway or the run is, or where jars carry the
    name of no run.
    """
    jars, off = _sums(volume, order), np.minimum(np.abs(surplus.all), np.abs(surplus.kept))
    impossible = (jars > charge.volume) | (_most(cumulative_alcohol, order) > charge.alcohol * (1 + MEASURES))
    judged = _last(order, len(volume)) & ~impossible & ~misnamed.any() & ~told_on_runs
    judged &= ~_any((twin >= 0) | np.isfinite(slipped), order)
    wrong = judged & (off > TOGETHER * charge.collected)
    words = np.full(len(volume), "", dtype=object)
    for i in np.flatnonzero(wrong):
        fits = (jars[i] * (1 - TOGETHER), jars[i] * (1 + TOGETHER), runs_collected_volume_unit)
        words[i] = _slip(charge.collected[i], *fits).replace("It", "That", 1)
        for unit in meant.TAKEN_FOR.get(volume_unit, ()):
            in_it = slips.typed_there(jars[i], ("volume", volume_unit), ("volume", unit))
            if abs(in_it - charge.collected[i]) <= TOGETHER * charge.collected[i]:
                words[i] = f"If all the jars are in {unit}, they add up; choose that as the unit."
    like = "cumulative_volume"
    return wrong, {"jars": (jars, like), "collected": (charge.collected, like), "meant": (words, "")}


@check(
    "cuts",
    cell="volume",
    level="warning",
    says="The jars of this run hold {jars} together; on the runs sheet it gave {collected}.",
    advice="Check this jar and its unit.",
)
def one_jar_is_off(
    slipped: Array, volume: Array, charge: Charge, order: Order
) -> tuple[Mask, dict[str, Any]]:
    """A slip in this jar explains why they do not add up."""
    allowed, like = TOGETHER * charge.collected, "cumulative_volume"
    more = {"jars": (_sums(volume, order), like), "collected": (charge.collected, like)}
    return np.isfinite(slipped), more | {"fits": (np.maximum(slipped - allowed, 0.0), slipped + allowed)}


def _most(values: Array, order: Order) -> Array:
    """The largest of the run of each jar."""
    most = np.full(len(values), np.nan)
    for places in order:
        most[places] = np.fmax.reduce(values[places])
    return most


def _is(fraction: Any, word: str) -> Mask:
    return np.array([text == word for text in fraction], dtype=bool)


samples.above_azeotrope("cuts", "reading", "sure_strength", "gives here")


@check(
    "cuts",
    cell="reading",
    level="warning",
    says="{strength_20} does not fit the jars around it: a run usually only gets weaker. {meant}",
    advice="Read it again at its temperature. If it is right, heat or reflux changed, or jars are exchanged.",
)
def does_not_get_weaker(
    rising: Mask,
    fits: Mask,
    reading: Array,
    strength_20: Array,
    if_exchanged: Array,
    strength_doubt: float,
    twin: Twin,
    order: Order,
) -> tuple[Mask, dict[str, Any]]:
    """One of the few that make the strength rise; what is impossible by itself is told by another check."""
    low, high = np.full(len(reading), np.nan), np.full(len(reading), np.nan)
    for places in order:
        sound = np.flatnonzero(fits[places])
        after = np.searchsorted(sound, np.arange(len(places)))
        inside = (after > 0) & (after < len(sound))
        low[places[inside]] = strength_20[places[sound[after[inside]]]]
        high[places[inside]] = strength_20[places[sound[after[inside] - 1]]]
    low, high = low - strength_doubt, high + strength_doubt
    exchanged = (np.where(np.isnan(low), 0.0, low) <= if_exchanged) & ~(if_exchanged > high)
    meant = np.where(exchanged, samples.IF_EXCHANGED, "").astype(object)
    corrected = np.where(exchanged, np.nan, strength_20 - reading)
    return rising & (twin < 0), {"fits": (low - corrected, high - corrected), "meant": (meant, "")}


@check(
    "cuts",
    cell="reading",
    level="note",
    says="Spirit of {strength_20} can catch fire at room temperature.",
    advice="Stop if any flame or spark is near. Let fresh air in; use jars of glass or stainless steel, and "
    "close them when full.",
    danger=True,
)
def catches_fire(strength_20: Array, order: Order) -> Mask:
    """Flash point at or below a warm room's temperature; said once a run."""
    return _first((strength_20 > FLAMMABLE) & (strength_20 <= 100), order)


samples.temperatures("cuts", "temperature", "reading", unless="exchanged_with_vapour")


@check(
    "cuts",
    cell="temperature",
    level="error",
    says="{temperature} is too hot for a sample; it and the vapour's {vapour_temperature} may be exchanged.",
    advice="If so, type each into the other's cell.",
)
def sample_and_vapour_exchanged(exchanged_with_vapour: Mask) -> Mask:
    """Each in the other's cell."""
    return exchanged_with_vapour


samples.temperature_missing("cuts", "temperature", "reading")


samples.typed_in_fahrenheit(
    "fahrenheit_vapour",
    "cuts",
    "vapour_temperature",
    "{vapour_temperature} is hotter than steam",
    _fahrenheit,
)


@check(
    "cuts",
    cell="vapour_temperature",
    level="error",
    says="At {vapour_temperature} no spirit comes over{meant}.",
    advice="Read it in the vapour while the jar fills; if it is in °C, write °C behind the number.",
)
def vapour_too_cool(vapour_temperature: Array, exchanged_with_vapour: Mask) -> tuple[Mask, dict[str, Any]]:
    """Degrees Celsius in a Fahrenheit column, a head that is still cold, or the sample's temperature."""
    meant = np.where(exchanged_with_vapour, "; it may be the sample's", "").astype(object)
    return vapour_temperature < COOLEST, {"meant": (meant, "")}


@check(
    "cuts",
    cell="vapour_temperature",
    level="warning",
    says="The jar shows {strength_20}; its vapour would be at {fitting}, not at {vapour_temperature}.",
    advice="Check both readings. If they are right, the bulb may not be in the vapour at the outlet.",
)
def vapour_disagrees(apart: Apart, throughout: Mask) -> tuple[Mask, dict[str, Any]]:
    """Vapour temperature and jar contradict each other, in this jar alone."""
    near = (apart.fitting - NEAR, apart.fitting + NEAR)
    more = {"fitting": (apart.fitting, "vapour_temperature"), "fits": near}
    return (np.abs(apart.degrees) > 0) & ~throughout, more


@check(
    "cuts",
    cell="vapour_temperature",
    level="warning",
    says="The vapour temperatures of this run do not fit its jars: here it would be {fitting}, not "
    "{vapour_temperature}.",
    advice="Check the altitude on the batch card, try the still thermometer in boiling water, and see that "
    "its bulb is in the vapour at the outlet.",
)
def vapour_disagrees_throughout(apart: Apart, throughout: Mask, order: Order) -> tuple[Mask, dict[str, Any]]:
    """Off to one side all along: one cause, so it is said once a run."""
    wrong = _first((np.abs(apart.degrees) > 0) & throughout, order)
    return wrong, {"fitting": (apart.fitting, "vapour_temperature")}


@check(
    "cuts",
    cell="fraction",
    level="warning",
    says="This jar of {fraction} stands out of order among the fractions of its run.",
    advice="They come as first runnings, heads, hearts, tails. If you chose so by taste, it may stay.",
)
def fraction_out_of_order(in_order: Mask, twin: Twin) -> Mask:
    """One of the few against the order in which a run gives them."""
    return ~in_order & (twin < 0)


@check(
    "cuts",
    cell="fraction",
    level="warning",
    says="Hearts are kept, but no jar of this run is marked as first runnings.",
    advice="Stop before anyone drinks it. Set the first of the run aside as first runnings ({sheets_runs} "
    "shows how much). No smell or temperature shows when methanol is gone; no cut takes it all out.",
    danger=True,
)
def first_runnings_kept(fraction: Any, in_order: Mask, misnamed: Mask, order: Order) -> Mask:
    """Hearts without first runnings; said at the run's first jar, unless fraction or run are mistyped."""
    aside, hearts = (_any(_is(fraction, word), order) for word in ("first runnings", "hearts"))
    first = _first(np.ones(len(in_order), dtype=bool), order)
    set_aside_elsewhere = (misnamed & _is(fraction, "first runnings")).any()
    return first & hearts & ~aside & ~_any(~in_order | misnamed, order) & ~set_aside_elsewhere


@check(
    "cuts",
    cell="volume",
    level="note",
    says="{aside} are set aside as first runnings; common practice for this charge is about {usual}.",
    advice="Set more aside now, or at least from the next run. No smell or temperature shows when methanol "
    "is gone; no cut takes it all out.",
)
def little_set_aside(
    fraction: Any, volume: Array, charge: Charge, order: Order
) -> tuple[Mask, dict[str, Any]]:
    """Less than two thirds of the usual; a rule of thumb is no closer."""
    aside = _sums(np.where(_is(fraction, "first runnings"), volume, 0.0), order)
    hearts = _any(_is(fraction, "hearts"), order)
    first = _first(_is(fraction, "first runnings"), order)
    wrong = first & hearts & (aside < 2 / 3 * charge.first_runnings)
    return wrong, {"aside": (aside, "volume"), "usual": (charge.first_runnings, "volume")}
