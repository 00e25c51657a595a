"""The fermentation sheet: what the hydrometer says, how far the wash is and when it will be done."""

import re
from typing import Any, NamedTuple

import numpy as np

from sheetcalc import instruments
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, wash
from sheetcalc.stages import samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask

# Common practice: the same reading on two to three days running. An evening reading followed by a
# morning one two days on still counts.
STANDSTILL = 1.8  # d
PAUSE = 0.8  # d
SAMPLE_FROM_WASH = 16.0  # K; a cold cellar beside a warm fermenter (common practice)

# Share of the extract that is gone at the end, by kind of wash: the least that counts as finished, and
# the usual. Sugar ferments out; fruit keeps sorbitol and acids, a mash dextrins, molasses its unfermentable
# part. Common practice.
ENDS = {"sugar": (0.84, 0.97), "wine": (0.84, 0.97), "fruit": (0.62, 0.85), "grain": (0.58, 0.70)}
ENDS |= {"molasses": (0.45, 0.60)}
ANY_END = (0.58, 0.95)

FEEDING = re.compile(r"sugar|feed|fed\b|added|zucker", re.IGNORECASE)
FASTEST = 0.06  # SG a day; the fastest turbo washes stay below it (common practice)
SLOWING = 0.25  # of the fastest pace so far

LONGEST = 60.0  # d; no forecast reaches further
TAIL, TAIL_DOUBT = 0.25, 0.06  # share of the fall in which the pace shrinks with what is left
PACE_DOUBT = 0.15  # share; so much does the pace change on the way


class Curve(NamedTuple):
    """The usable readings in the order of time; `at` are their places among the records."""

    at: Any
    days: Array
    gravity: Array


class Forecast(NamedTuple):
    """The expected end by each reading that foretells one.

    at: its place among the records; days: the moment (days since 1899-12-30); spread: how far it may be off,
    days either way.
    """

    at: Any
    days: Array
    spread: Array


class Around(NamedTuple):
    """The sound gravities (SG 20/20) before and after each reading, the days since the one before, and
    the lowest and highest reading that would fit."""

    before: Array
    since: Array
    after: Array
    low: Array
    high: Array


@column("fermentation", by_row=True)
def gravity_20(
    reading: Array,
    sample_temperature: Array,
    hydrometer: Instrument,
    thermometer: Instrument,
    original_gravity: Array,
) -> Array:
    """Gravity (SG 20/20) at 20 °C from what hydrometer and thermometer show in the sample."""
    temperature = sample_temperature + thermometer.correction
    return np.asarray(instruments.gravity_20(reading, temperature, hydrometer, original_gravity))


@column("fermentation", by_row=True)
def fermented(original_gravity: Array, gravity_20: Array) -> wash.Fermented:
    """What the gravity says of the wash, by mass balance from its original gravity."""
    return wash.fermented(original_gravity, gravity_20)


@column("fermentation", model=0.15)
def alcohol(fermented: wash.Fermented) -> Array:
    """Strength of the wash (% vol) by mass balance from its original gravity.

    Good to 0.15 % vol, standard: so far do the published yields of sugar lie apart (Balling's and the
    brewers' relation, up to 0.4 half-way).
    """
    return fermented.strength


@column("fermentation")
def attenuation(fermented: wash.Fermented) -> Array:
    """Share (0 to 1) of the extract that is fermented, by mass balance: the real attenuation."""
    return fermented.share


@column("fermentation")
def dated(taken_at: Array) -> Mask:
    """Which dates are in order: the largest set that is; a sheet may be sorted either way."""
    rising = slips.longest_chain(-taken_at, 0.0)
    falling = slips.longest_chain(taken_at, 0.0)
    return rising if rising.sum() >= falling.sum() else falling


@column("fermentation", across=True)
def curve(taken_at: Array, gravity_20: Array, dated: Mask) -> Curve:
    """The readings with a date in order, in the order of time."""
    known = np.flatnonzero(dated & np.isfinite(gravity_20))
    order = known[np.argsort(taken_at[known], kind="stable")]
    return Curve(order, taken_at[order], gravity_20[order])


@column("fermentation")
def fits(curve: Curve, taken_at: Array, hydrometer: Instrument) -> Mask:
    """Which readings fit a gravity that only falls; the largest set that does."""
    mask = np.zeros(len(taken_at), dtype=bool)
    mask[curve.at] = slips.longest_chain(curve.gravity, samples.scatter(hydrometer))
    return mask


@column("fermentation")
def sound(curve: Curve, fits: Mask) -> Curve:
    """The curve without the readings that do not fit."""
    keep = fits[curve.at] if len(curve.at) else np.zeros(0, dtype=bool)
    return Curve(curve.at[keep], curve.days[keep], curve.gravity[keep])


@column("fermentation")
def around(
    taken_at: Array, sound: Curve, original_gravity: Array, lowest_gravity: Array, hydrometer: Instrument
) -> Around:
    """What stands around each reading, and so what could have been read there."""
    gravity = np.concatenate([[np.nan], sound.gravity, [np.nan]])
    days = np.concatenate([[np.nan], sound.days])
    earlier = np.searchsorted(sound.days, taken_at, side="left")
    before, since = gravity[earlier], taken_at - days[earlier]
    after = gravity[np.searchsorted(sound.days, taken_at, side="right") + 1]
    low = np.where(np.isnan(after), np.fmax(lowest_gravity, 0.97), after)
    high = np.where(np.isnan(before), np.fmin(original_gravity, 1.17), before)
    # The bounds are compared with readings as typed, which still lack the correction.
    off = hydrometer.correction
    return Around(
        before,
        since,
        after,
        low - off - samples.scatter(hydrometer),
        high - off + samples.scatter(hydrometer),
    )


@column("fermentation")
def daily_change(gravity_20: Array, around: Around, fits: Mask) -> Array:
    """Change of gravity (SG a day) since the sound reading before."""
    change = (gravity_20 - around.before) / np.fmax(around.since, 0.02)
    return np.where(fits & (around.since > 0.02), change, np.nan)


@column("fermentation")
def ends(original_gravity: Array, wash_kind: Any, yeast_tolerance: Array) -> tuple[float, float]:
    """Gravity (SG 20/20) at or below which it counts as finished, and where it usually ends.

    The yeast's tolerance ends it earlier where that is reached first.
    """
    least, usual = ENDS.get(str(wash_kind), ANY_END)
    full = float(wash.highest_strength(original_gravity))
    if full == 0.0:
        # Nothing ferments in a wash typed as heavy as water.
        return float(original_gravity), float(original_gravity)
    stop = (float(yeast_tolerance) - 1.0) / full if np.isfinite(yeast_tolerance) else np.inf
    shares = np.array([min(least, stop), min(usual, max(stop, 0.0) + 1.0 / full)])
    gravity = wash.gravity_when(original_gravity, np.clip(shares, 0.0, 1.0))
    return float(gravity[0]), float(gravity[1])


@column("fermentation")
def state(sound: Curve, taken_at: Array, hydrometer: Instrument, ends: tuple[float, float]) -> Any:
    """working, slowing, standing, finished or stalled, by the standstill rule of the trade."""
    words = np.full(len(taken_at), "", dtype=object)
    pace = _pace(sound)
    for i in range(1, len(sound.at)):
        stood = sound.days[i] - sound.days[standing_since(sound.gravity, i, hydrometer)]
        if stood >= STANDSTILL and np.isfinite(ends[0]):
            words[sound.at[i]] = "finished" if sound.gravity[i] <= ends[0] else "stalled"
        elif stood >= PAUSE:
            words[sound.at[i]] = "standing"
        else:
            words[sound.at[i]] = "slowing" if pace[i] < SLOWING * pace[: i + 1].max() else "working"
    return words


@column("fermentation")
def expected_end(forecast: Forecast, taken_at: Array) -> Array:
    """When (days since 1899-12-30) the gravity comes within a division of its usual end.

    The wash goes on at its present pace until the last quarter of its fall; from there the pace shrinks
    with the distance left (common practice in form). Blank once it stands, and beyond 60 days.
    """
    when = np.full(len(taken_at), np.nan)
    when[forecast.at] = forecast.days
    return when


@column("fermentation")
def end_spread(forecast: Forecast, taken_at: Array) -> Array:
    """How far (h either way) the expected end may be off: nine times out of ten it lies within.

    Squared and added, k = 2: the scatter of the two readings that give the pace; the end gravity, of which
    the least that counts as finished is four standard uncertainties off; where the tailing off begins; and
    the pace ahead, which changes with warmth and yeast (shares from common practice, see the constants).
    """
    spread = np.full(len(taken_at), np.nan)
    spread[forecast.at] = forecast.spread * 24
    return spread


@column("fermentation")
def forecast(sound: Curve, state: Any, hydrometer: Instrument, ends: tuple[float, float]) -> Forecast:
    """The end as each reading foretells it from the last but one before it, while the wash works."""
    found: list[tuple[int, float, float]] = []
    fall, division = float(np.max(sound.gravity, initial=0.0)) - ends[1], hydrometer.division
    for i in range(2, len(sound.at)):
        above, span = sound.gravity[[i - 2, i]] - ends[1], sound.days[i] - sound.days[i - 2]
        ahead = _days_to_end(above[0], above[1], span, TAIL * fall, division)
        if state[sound.at[i]] in ("working", "slowing") and above[1] > division and ahead < LONGEST:
            spread = _spread(above, span, fall, ahead, hydrometer, (ends[0] - ends[1]) / 4)
            found.append((sound.at[i], sound.days[i] + ahead, spread))
    at, days, spreads = np.array(found, dtype=float).reshape(len(found), 3).T
    return Forecast(at.astype(int), days, spreads)


def _spread(
    above: Array, span: float, fall: float, ahead: float, hydrometer: Instrument, end: float
) -> float:
    """Days (k = 2) by which `ahead` may be off: each doubt by what the end moves when it is one step off."""
    # Half of an instrument's variance is the reading; the other half, its calibration, is in both readings.
    reading = hydrometer.uncertainty / 2 / np.sqrt(2)
    both = float(np.hypot(end, reading))
    steps = [(reading, 0.0, 0.0), (0.0, reading, 0.0), (both, both, 0.0), (0.0, 0.0, TAIL_DOUBT)]
    off = [PACE_DOUBT * ahead]
    for before, now, share in steps:
        sides = []
        for sign in (-1, 1):
            earlier, later = above[0] + sign * before, above[1] + sign * now
            tail = (TAIL + sign * share) * fall
            sides.append(_days_to_end(earlier, later, span, tail, hydrometer.division))
        off.append(min(abs(sides[1] - sides[0]) / 2, LONGEST))
    return min(2 * float(np.linalg.norm(off)), LONGEST)


def _days_to_end(before: float, now: float, span: float, tail: float, division: float) -> float:
    """Days until the gravity is within a division of its end, from its heights above it two readings apart.

    Above the tail it falls steadily, in the tail by a share of what is left: so the way to go, counted as
    below, shrinks by the same length every day.
    """
    done = _way(before, tail, division) - _way(now, tail, division)
    return _way(now, tail, division) * span / done if min(done, span) > 0 else np.inf


def _way(above: float, tail: float, division: float) -> float:
    tail = max(tail, division)
    inside = min(max(above, division), tail)
    return float(max(above - tail, 0.0) + tail * np.log(inside / division))


def _pace(curve: Curve) -> Array:
    """Fall of gravity (SG a day) up to each reading."""
    span = np.diff(curve.days)
    pace = np.where(span > 0.02, -np.diff(curve.gravity) / np.maximum(span, 0.02), 0.0)
    return np.concatenate([[0.0], np.maximum(pace, 0.0)])


def standing_since(gravity: Array, last: int, hydrometer: Instrument) -> int:
    """The first of the readings (SG 20/20) up to `last` that this hydrometer can't tell from each other."""
    # Nobody reads a hydrometer to better than a thousandth of SG.
    alike = max(0.75 * hydrometer.division, 0.00105)
    first = last
    while first and np.ptp(gravity[first - 1 : last + 1]) <= alike:
        first -= 1
    return first


@check(
    "fermentation",
    cell="reading",
    level="error",
    says="{reading} can't be a gravity. {meant}",
    advice="Type it as the hydrometer shows it and check the unit above.",
)
def gravity_impossible(reading: Array, around: Around) -> tuple[Mask, dict[str, Any]]:
    """Outside of anything that ferments: another scale, a short form or a slipped point."""
    wrong = (reading > 1.3) | (reading < 0.95)
    return wrong, {"meant": (slips.gravity_meant(reading, around.low, around.high), "reading")}


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="{gravity_20} at 20 °C is above the original gravity of {original_gravity}. {meant}",
    advice="Read again; if it stays, the original gravity on the batch card may be wrong, or sugar was "
    "added.",
)
def above_original(
    reading: Array, gravity_20: Array, original_gravity: Array, hydrometer: Instrument, around: Around
) -> tuple[Mask, dict[str, Any]]:
    """Gravity only falls; both values have the hydrometer's uncertainty.

    Where three are above it the batch card says that it is the original gravity that is wrong.
    """
    limit = original_gravity + samples.scatter(hydrometer)
    wrong = (gravity_20 > limit) & (reading + hydrometer.correction > limit) & (reading <= 1.3)
    wrong &= wrong.sum() < 3
    return wrong, {"meant": (slips.gravity_meant(reading, around.low, around.high), "reading")}


@check(
    "fermentation",
    cell="reading",
    level="error",
    says="{gravity_20} at 20 °C is below {lowest_gravity}, the least this wash can reach from "
    "{original_gravity}. {meant}",
    advice="Read again; if it stays, the original gravity on the batch card may be too low.",
)
def below_lowest(
    reading: Array, gravity_20: Array, lowest_gravity: Array, hydrometer: Instrument, around: Around
) -> tuple[Mask, dict[str, Any]]:
    """Less than nothing left of the extract."""
    wrong = (gravity_20 < lowest_gravity - samples.scatter(hydrometer)) & (reading >= 0.95)
    return wrong, {"meant": (slips.gravity_meant(reading, around.low, around.high), "reading")}


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="{gravity_20} at 20 °C does not fit the readings around it ({before} before, {after} after). "
    "{meant}",
    advice="Check the reading and its date. If sugar was added, say so in the note.",
)
def out_of_line(
    reading: Array,
    gravity_20: Array,
    dated: Mask,
    fits: Mask,
    around: Around,
    original_gravity: Array,
    lowest_gravity: Array,
    hydrometer: Instrument,
    note: Any,
) -> tuple[Mask, dict[str, Any]]:
    """One of the few that make the gravity rise, and no note tells of sugar added.

    What is impossible by itself is told by other checks.
    """
    fed = any(FEEDING.search(str(text)) for text in note)
    margin = samples.scatter(hydrometer)
    possible = ~(gravity_20 > original_gravity + margin) & ~(gravity_20 < lowest_gravity - margin)
    wrong = dated & np.isfinite(gravity_20) & ~fits & possible & (not fed)
    meant = slips.gravity_meant(reading, around.low, around.high)
    like = "gravity_20"
    return wrong, {"before": (around.before, like), "after": (around.after, like), "meant": (meant, like)}


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="It fell at {fall} since the reading before; even a very fast wash is slower.",
    advice="Check this reading, the one before and their dates.",
)
def falls_too_fast(
    daily_change: Array, around: Around, hydrometer: Instrument
) -> tuple[Mask, dict[str, Any]]:
    """Faster than the fastest wash, by more than two readings can be off."""
    wrong = daily_change < -FASTEST - samples.scatter(hydrometer) / np.fmax(around.since, 0.02)
    return wrong, {"fall": (-daily_change, "daily_change")}


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="The same as the reading before, though it fell before and fell faster after: was it copied? About "
    "{between} would fit here.",
    advice="Check the reading. If it is right, the wash stood still for a day; cold or too little food for "
    "the yeast can do that.",
)
def copied_from_above(reading: Array, sound: Curve, hydrometer: Instrument) -> tuple[Mask, dict[str, Any]]:
    """A day of standing between a fall and a larger one, by more than two readings can be off.

    A wash that did stand still goes on more slowly than before, not faster.
    """
    wrong, between = np.zeros(len(reading), dtype=bool), np.full(len(reading), np.nan)
    margin = samples.scatter(hydrometer)
    for i in range(2, len(sound.at) - 1):
        days, gravity = sound.days[i - 2 : i + 2], sound.gravity[i - 2 : i + 2]
        at, paces = sound.at[i], -np.diff(gravity) / np.maximum(np.diff(days), PAUSE)
        between[at] = np.interp(days[2], days[[1, 3]], gravity[[1, 3]])
        same = reading[at] == reading[sound.at[i - 1]]
        fell = gravity[0] - gravity[1] > margin and gravity[2] - between[at] > margin
        wrong[at] = same and fell and paces[2] > paces[0]
    return wrong, {"between": (between, "gravity_20")}


@check(
    "fermentation",
    cell="taken_at",
    level="warning",
    says="{taken_at} is out of order among the dates around it. {meant}",
    advice="Check the date; year first (2026-03-04) can't be misread.",
)
def date_out_of_order(taken_at: Array, dated: Mask) -> tuple[Mask, dict[str, Any]]:
    """One of the few dates against the direction of the rest."""
    wrong = np.isfinite(taken_at) & ~dated
    return wrong, {"meant": (slips.date_meant(taken_at, wrong), "taken_at")}


@check(
    "fermentation",
    cell="taken_at",
    level="warning",
    says="{taken_at} is before the yeast was pitched, {started_at}.",
    advice="Check this date and the one on the batch card.",
)
def before_the_yeast(taken_at: Array, started_at: Array) -> Mask:
    """A reading of the fresh wash the day before is fine; where most are early, the batch card says so."""
    early = taken_at < started_at - 1.0
    return np.asarray(early & (early.sum() <= len(taken_at) / 2))


@check(
    "fermentation",
    cell="taken_at",
    level="warning",
    says="{taken_at} is more than 60 days after the reading before it.",
    advice="Check the month and the year.",
)
def long_gap(taken_at: Array, dated: Mask) -> Mask:
    """A month or a year mistyped; no wash is left unread for two months."""
    wrong = np.zeros(len(taken_at), dtype=bool)
    known = np.flatnonzero(dated)
    order = known[np.argsort(taken_at[known], kind="stable")]
    wrong[order[1:]] = np.diff(taken_at[order]) > 60
    return wrong


samples.fahrenheit_sample("fahrenheit_sample", "fermentation", "sample_temperature")


samples.celsius(
    "celsius_sample",
    "fermentation",
    "sample_temperature",
    "At {sample_temperature} the sample would be frozen",
)


samples.too_hot(
    "sample_too_hot",
    "fermentation",
    "sample_temperature",
    "Let the sample cool to about 20 °C (68 °F) and read again.",
)


samples.fahrenheit(
    "fahrenheit_wash",
    "fermentation",
    "wash_temperature",
    "{wash_temperature} would kill the yeast",
    f"{samples.WRITE_FAHRENHEIT} If it was so hot, cool it and pitch fresh yeast.",
)


samples.celsius(
    "celsius_wash", "fermentation", "wash_temperature", "At {wash_temperature} the wash would be frozen"
)


@check(
    "fermentation",
    cell="wash_temperature",
    level="warning",
    says="{wash_temperature} is warmer than this yeast should have it ({temperature_high} at most).",
    advice="Cool it; heat can bring off flavours and a stuck wash.",
)
def wash_too_warm(
    wash_temperature: Array, temperature_low: Array, temperature_high: Array, thermometer: Instrument
) -> Mask:
    """Above the packet's range by more than the thermometer can be off."""
    hot = wash_temperature + thermometer.correction > temperature_high + thermometer.uncertainty
    hot &= ~(temperature_low >= temperature_high)
    return hot & ~slips.fahrenheit_for_celsius(wash_temperature)


@check(
    "fermentation",
    cell="wash_temperature",
    level="warning",
    says="{wash_temperature} is cooler than this yeast should have it ({temperature_low} at least).",
    advice="Warm it gently; in the cold it may stop before the sugar is gone.",
)
def wash_too_cool(
    wash_temperature: Array, temperature_low: Array, temperature_high: Array, thermometer: Instrument
) -> Mask:
    """Below the packet's range by more than the thermometer can be off."""
    cold = wash_temperature + thermometer.correction < temperature_low - thermometer.uncertainty
    cold &= ~(temperature_low >= temperature_high)
    return cold & ~slips.celsius_for_fahrenheit(wash_temperature)


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="The reading has stood still for two days or more at {gravity_20}, with only {attenuation} of the "
    "sugar gone: it looks stalled.",
    advice="Check temperature and nutrients, rouse the yeast gently, or pitch a fresh active starter.",
)
def stalled(state: Any, sound: Curve) -> Mask:
    """Standing still far from the end; said once, at the last reading."""
    return _newest(state, sound, "stalled")


@check(
    "fermentation",
    cell="reading",
    level="note",
    says="The reading has stood still for two days or more near the expected end: it looks finished.",
    advice="Clear the wash, then run it.",
    due=True,
)
def finished(
    state: Any, sound: Curve, taken_at: Array, clearing_done_at: Array, runs_filled_at: Array
) -> Mask:
    """Standing still near the end; said at the last reading, until more is done with the wash."""
    later = np.concatenate([np.atleast_1d(clearing_done_at), np.atleast_1d(runs_filled_at)])
    gone_on = np.array([bool((later >= moment).any()) for moment in taken_at], dtype=bool)
    return np.asarray(_newest(state, sound, "finished") & ~gone_on)


def _newest(state: Any, sound: Curve, word: str) -> Mask:
    """The latest sound reading, if its state is that one."""
    last = sound.at[-1:]
    mask = np.zeros(len(state), dtype=bool)
    mask[last] = np.asarray(state)[last] == word
    return mask


@check(
    "fermentation",
    cell="reading",
    level="warning",
    says="{alcohol} is more than this yeast is said to bear ({yeast_tolerance}).",
    advice="Check the reading, the original gravity and the yeast's packet.",
)
def beyond_tolerance(alcohol: Array, yeast_tolerance: Array, sound: Curve) -> Mask:
    """A packet's figure is good to one or two % vol; said once, at the last reading."""
    last = np.isin(np.arange(len(alcohol)), sound.at[-1:])
    return last & (alcohol > yeast_tolerance + 2.0)


@check(
    "fermentation",
    cell="sample_temperature",
    level="warning",
    says="The sample was at {sample_temperature}, its wash at {wash_temperature}: far apart.",
    advice="Check both; if you did cool the sample that far, all is well.",
)
def sample_far_from_wash(sample_temperature: Array, wash_temperature: Array) -> Mask:
    """A slipped digit or point; samples are read near the wash's or the room's temperature."""
    slip = slips.fahrenheit_for_celsius(sample_temperature) | slips.fahrenheit_for_celsius(wash_temperature)
    slip |= slips.celsius_for_fahrenheit(sample_temperature) | slips.celsius_for_fahrenheit(wash_temperature)
    return (np.abs(sample_temperature - wash_temperature) > SAMPLE_FROM_WASH) & ~slip
