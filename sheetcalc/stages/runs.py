"""The runs sheet: what a charge should give, what it gave, and whether the still is safe with it."""

from typing import Any, NamedTuple

import numpy as np

from sheetcalc import instruments
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, mixing, vapour
from sheetcalc.stages import lots, samples, slips
from sheetcalc.stages.registry import add_check, check, column
from sheetcalc.stages.samples import FLAMMABLE, MEASURES, MODEL, POINTS, STAYS_BEHIND, YIELDS
from sheetcalc.stages.slips import Mask

ROOM = 20.0  # °C, what a charge starts from
FAR = 180.0  # d; a wash is distilled within half a year (common practice)
FOAM_ROOM = 0.85  # of the still's capacity; above it a wash may foam over (common practice)
LONGEST_RUN = 12.0  # h; nobody watches a still longer without a relief (common practice)
STRONGEST_CHARGE = 40.0  # % vol; stronger charges are diluted before a run (common practice)
ONE_STAGE = 15.0  # % vol by which a second stage makes it stronger, about
LITTLE = 0.25  # of the alcohol charged; a run that gave less was not meant to end so soon (common practice)
LEAST_OF_CHARGE = 0.005  # share of the charge below which nobody stops
LARGEST_SHARE = 0.6  # of the charge; a run that gave more of it went on for nothing
LARGER_UNITS = (1000.0, 128.0)  # litres for millilitres, gallons for fluid ounces
USUAL_STAGES = 1.25  # of a small pot with an air-cooled head (common practice)

LOW_WINES = (
    1.15  # times as strong as the wash they are at the least when they are run again (common practice)
)
STANDING = ("standing", "finished", "stalled")

# First runnings to set aside, in shares of the pure alcohol charged, by kind of wash. Common practice: about
# 50 mL from 25 L of sugar wash at 10 % vol; more from grain and molasses, most from fruit and wine.
FIRST_RUNNINGS = {"sugar": 0.02, "grain": 0.03, "molasses": 0.03, "wine": 0.04, "fruit": 0.05}
ANY_FIRST_RUNNINGS = 0.05


@column("runs", by_row=True)
def strength_charged(charge_strength: Array, kind: Any, alcohol_now: Array) -> Array:
    """Strength (% vol) of the charge: as typed, or else that of the wash, but not for a spirit run."""
    wash = np.where(np.asarray(kind) == "spirit", np.nan, alcohol_now)
    return np.where(np.isnan(charge_strength), wash, charge_strength)


@column("runs")
def alcohol_now(fermentation_alcohol: Array, fermentation_sound: Any) -> Array:
    """The last sound strength on the fermentation sheet, % vol."""
    at = getattr(fermentation_sound, "at", ())
    known = [a for a in np.atleast_1d(fermentation_alcohol)[list(at)] if np.isfinite(a)]
    return np.asarray(known[-1] if known else np.nan)


@column("runs", by_row=True)
def charge_alcohol(charge_volume: Array, strength_charged: Array) -> Array:
    """Pure alcohol (L) in the pot."""
    return charge_volume * strength_charged / 100


@column("runs", by_row=True)
def collected_strength(
    collected_reading: Array,
    collected_temperature: Array,
    alcoholmeter: Instrument,
    thermometer: Instrument,
) -> Array:
    """True strength (% vol at 20 °C) of what was collected."""
    temperature = collected_temperature + thermometer.correction
    return np.asarray(instruments.strength_20(collected_reading, temperature, alcoholmeter))


samples.strength_to_judge_by("runs", "collected_strength", "collected_reading", "collected_temperature")


@column("runs", by_row=True)
def collected_alcohol(collected_volume: Array, collected_strength: Array) -> Array:
    """Pure alcohol (L) collected."""
    return collected_volume * collected_strength / 100


@column("runs", by_row=True)
def recovery(collected_alcohol: Array, charge_alcohol: Array) -> Array:
    """Share (0 to 1) of the alcohol charged that was collected."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(charge_alcohol > 0, collected_alcohol / charge_alcohol, np.nan)


@column("runs")
def stages_seen(
    charge_volume: Array,
    strength_charged: Array,
    collected_volume: Array,
    collected_strength: Array,
    pressure: Array,
    recovery: Array,
) -> Array:
    """Effective stages (1 to 12) that would give what was collected.

    Blank where less than one or more than twelve would, and where so nearly all of the alcohol came over
    that any number would give it.
    """
    seen = vapour.stages_seen(charge_volume, strength_charged, collected_volume, collected_strength, pressure)
    return np.where(recovery < 1 - MEASURES, seen, np.nan)


class Times(NamedTuple):
    """When each run was heated, dripped first and stopped (days since 1899-12-30)."""

    filled: Array
    drip: Array
    stopped: Array


@column("runs")
def last_read_at(
    fermentation_taken_at: Array, fermentation_dated: Any, fermentation_after_a_gap: Any
) -> float:
    """When (days) the fermentation was last read, by dates that are in order and in time."""
    sure = np.asarray(fermentation_dated, dtype=bool) & ~np.asarray(fermentation_after_a_gap, dtype=bool)
    return float(np.fmax.reduce(fermentation_taken_at[sure], initial=np.nan))


@column("runs")
def washed_at(started_at: Array, last_read_at: float, clearing_done_at: Array, filled_at: Array) -> float:
    """When (days) the wash was last looked after: pitched, read or cleared; or else the first run."""
    of_wash = np.concatenate([np.atleast_1d(started_at), [last_read_at], np.atleast_1d(clearing_done_at)])
    last = float(np.fmax.reduce(of_wash))
    return _first(filled_at) if np.isnan(last) else last


def _first(moments: Array) -> float:
    return float(np.fmin.reduce(moments, initial=np.nan))


@column("runs", across=True)
def year_off(filled_at: Array, first_drip_at: Array, stopped_at: Array, washed_at: float) -> Times:
    """What one of a run's times was meant as, where in another year it would fit the others; NaN elsewhere.

    Of two that would, the one farther from the wash is wrong.
    """
    typed = np.array([filled_at, first_drip_at, stopped_at])
    meant = np.full(typed.shape, np.nan)
    for run in range(typed.shape[1]):
        times = typed[:, run]
        if _of_one_run(times):
            continue
        ways = []
        for later in (-1, 1):
            moved = slips.in_another_year(times, later)
            for which in np.flatnonzero(np.isfinite(moved)):
                if _of_one_run(np.where(np.arange(3) == which, moved, times)):
                    ways.append((abs(times[which] - washed_at), which, moved[which]))
        if ways:
            _, which, meant[which, run] = max(ways)
    return Times(*meant)


def _of_one_run(times: Array) -> bool:
    """Whether times (days), NaN aside, are in order and within what one run takes."""
    known = times[np.isfinite(times)]
    in_order = bool((np.diff(known) >= 0).all())
    return in_order and (len(known) < 2 or bool(known[-1] - known[0] <= LONGEST_RUN / 24))


@column("runs")
def slipped(year_off: Times) -> Mask:
    """Which runs have a time in another year than their others."""
    return np.asarray(np.isfinite(year_off).any(axis=0))


@column("runs")
def year_late(filled_at: Array, washed_at: float, slipped: Mask) -> Array:
    """When (days) a run was that is typed a year too late by all that is known of its wash; NaN elsewhere."""
    meant = slips.in_another_year(filled_at, -1)
    late = (filled_at - washed_at > FAR) & _soon_after(meant, washed_at) & ~slipped
    return np.where(late, meant, np.nan)


def _soon_after(moments: Array, washed_at: float) -> Mask:
    return np.asarray((moments >= washed_at - 0.5) & (moments - washed_at <= FAR))


@column("runs")
def stopped(stopped_at: Array, year_off: Times, year_late: Array) -> Array:
    """When (days) each run stopped, in the year that was meant."""
    meant = np.where(np.isnan(year_late), year_off.stopped, slips.in_another_year(stopped_at, -1))
    return np.where(np.isnan(meant), stopped_at, meant)


@column("runs", across=True)
def earlier(filled_at: Array) -> Mask:
    """Which runs (columns) were before each (rows): filled before; where a date is blank, further up."""
    above = np.arange(len(filled_at)) < np.arange(len(filled_at))[:, None]
    dated = np.isfinite(filled_at) & np.isfinite(filled_at)[:, None]
    return np.where(dated, filled_at < filled_at[:, None], above)


@column("runs", across=True)
def stages_planned(effective_stages: Array, stages_seen: Array, earlier: Mask) -> Array:
    """Effective stages a run is computed with: those typed, or else what the earlier runs have shown."""
    found = [stages_for_plan(effective_stages, stages_seen[which]) for which in earlier]
    return np.array(found, dtype=float)


def stages_for_plan(effective_stages: Array, stages_seen: Array) -> float:
    """Effective stages to plan with: those typed, or else the median of those seen, or else the usual."""
    usual = np.median(stages_seen[np.isfinite(stages_seen)].tolist() or [USUAL_STAGES])
    return float(effective_stages) if np.isfinite(effective_stages) else usual


@column("runs")
def first_runnings(charge_alcohol: Array, wash_kind: Any) -> Array:
    """Volume (L) to set aside at the start: common practice for the kind of wash, the most where unknown."""
    return charge_alcohol * FIRST_RUNNINGS.get(str(wash_kind), ANY_FIRST_RUNNINGS)


@column("runs")
def expected_volume(
    charge_volume: Array,
    strength_charged: Array,
    drip_limit: Array,
    stages_planned: Array,
    pressure: Array,
    still_minimum: Array,
) -> Array:
    """Volume (L at 20 °C) until the drip falls to the limit, or until the element would fall dry."""
    volume = vapour.collected_when(charge_volume, strength_charged, drip_limit, stages_planned, pressure)
    return before_the_element(volume, charge_volume, still_minimum)


def before_the_element(volume: Array, charge_volume: Array, still_minimum: Array) -> Array:
    """A volume (L) to collect, or less where the element would fall dry before."""
    return np.fmin(volume, np.maximum(charge_volume - still_minimum, 0.0))


@column("runs")
def run_volume(collected_volume: Array, expected_volume: Array) -> Array:
    """Volume (L) the run ends with: what was collected, or else the plan."""
    return np.where(np.isnan(collected_volume), expected_volume, collected_volume)


@column("runs")
def model(
    charge_volume: Array, strength_charged: Array, run_volume: Array, stages_planned: Array, pressure: Array
) -> vapour.Distilled:
    """The run as batch distillation over the vapour-liquid balance."""
    return vapour.distil(charge_volume, strength_charged, run_volume, stages_planned, pressure)


@column("runs")
def expected_strength(model: vapour.Distilled) -> Array:
    """Strength (% vol) the model gives for the volume collected, or else for the planned one."""
    return model.strength


@column("runs")
def heating(
    charge_volume: Array,
    strength_charged: Array,
    pressure: Array,
    still_power: Array,
    still_efficiency: Array,
) -> Array:
    """Hours from switching on to the first drip."""
    heat = vapour.heat_to_boil(charge_volume, strength_charged, ROOM, pressure)
    return heat / 3.6 / (still_power * still_efficiency)


@column("runs")
def boiling(
    model: vapour.Distilled,
    strength_charged: Array,
    run_volume: Array,
    stages_planned: Array,
    pressure: Array,
    still_power: Array,
    still_efficiency: Array,
) -> Array:
    """Hours from the first drip to the end."""
    heat = vapour.heat_to_collect(model, strength_charged, run_volume, stages_planned, pressure)
    return heat / 3.6 / (still_power * still_efficiency)


@column("runs")
def expected_first_drip(filled_at: Array, heating: Array) -> Array:
    """When (days since 1899-12-30) the first drip is due."""
    return filled_at + heating / 24


@column("runs")
def expected_end(filled_at: Array, first_drip_at: Array, heating: Array, boiling: Array) -> Array:
    """When the run is due to end: counted from the first drip once that is known."""
    start = np.where(np.isnan(first_drip_at), filled_at + heating / 24, first_drip_at)
    return start + boiling / 24


@column("runs")
def energy(heating: Array, boiling: Array, still_power: Array) -> Array:
    """Energy (kWh) from switching on to the end."""
    return still_power * (heating + boiling) / 1000


@column("runs")
def plain_strength(limits: tuple[Array, Array]) -> Array:
    """Strength (% vol) that a plain pot, of one stage, gives for the volume collected."""
    return limits[0]


@column("runs")
def too_weak(sure_strength: Array, plain_strength: Array, strength_doubt: float) -> Mask:
    """Which runs gave less than one stage does, by more than model and glass can be off."""
    return np.asarray(sure_strength < plain_strength - MODEL - strength_doubt)


class Meant(NamedTuple):
    """The least and the most (L) that would fit where far too little was collected; NaN elsewhere."""

    low: Array
    high: Array


@column("runs")
def volume_meant(
    charge_volume: Array,
    strength_charged: Array,
    collected_volume: Array,
    sure_strength: Array,
    recovery: Array,
    too_weak: Mask,
    expected_volume: Array,
    stages_planned: Array,
    pressure: Array,
) -> Meant:
    """What was meant by a volume that is too small: all for which pot and still give that strength.

    Too small is a volume of which a larger one, by a digit or a unit, gives that strength, while next to
    nothing of the charge was collected; without a strength, one in litres or gallons for what is expected.
    """
    low, high = np.full((2, len(collected_volume)), np.nan)
    shares = np.linspace(0.02, LARGEST_SHARE, 30)
    for i in np.flatnonzero(too_weak & (recovery < LITTLE)):
        least, most = (
            vapour.distil(charge_volume[i], strength_charged[i], shares * charge_volume[i], stages, pressure)
            for stages in (1.0, stages_planned[i] + 1)
        )
        fits = (sure_strength[i] > least.strength - MODEL) & (sure_strength[i] < most.strength + MODEL)
        larger = shares[fits] * charge_volume[i]
        if len(larger) and larger[0] > 2 * collected_volume[i]:
            low[i], high[i] = larger[[0, -1]]
    few = collected_volume < LEAST_OF_CHARGE * charge_volume
    for unit in LARGER_UNITS:
        times = collected_volume * unit
        meant = few & np.isnan(low) & (times > expected_volume / 3) & (times < expected_volume * 3)
        low, high = np.where(meant, expected_volume / 3, low), np.where(meant, expected_volume * 3, high)
    return Meant(low, np.fmin(high, charge_volume))


@column("runs")
def rest(
    charge_volume: Array, strength_charged: Array, collected_volume: Array, collected_strength: Array
) -> mixing.Blend:
    """What stays in the pot by mass balance from what was measured."""
    return mixing.remainder(charge_volume, strength_charged, collected_volume, collected_strength)


@column("runs")
def in_jars(run: Any, cuts_run: Any, cuts_volume: Array) -> Array:
    """Volume (L) of each run's jars on the cuts sheet; NaN without any."""
    jars, names = lots.names(cuts_run, cuts_volume), lots.names(run, run)
    mine = [np.atleast_1d(cuts_volume)[(jars == name) & (name != "")] for name in names]
    return np.array([held.sum() if len(held) else np.nan for held in mine], dtype=float)


@column("runs")
def left_volume(rest: mixing.Blend, model: vapour.Distilled, charge_volume: Array, in_jars: Array) -> Array:
    """Volume (L at 20 °C) left in the pot: measured, or else less what is in jars, or else by the model."""
    less_jars = np.where(np.isnan(in_jars), model.left_volume, charge_volume - in_jars)
    return np.where(np.isnan(rest.volume), less_jars, rest.volume)


@column("runs")
def left_strength(rest: mixing.Blend, model: vapour.Distilled) -> Array:
    """Strength (% vol) left in the pot: measured, or else by the model."""
    return np.where(np.isnan(rest.strength), model.left_strength, rest.strength)


@column("runs")
def over(collected_volume: Array, stopped_at: Array, in_jars: Array) -> Mask:
    """Which runs have given what they give: all of it is measured, or the heat is off and there are jars."""
    return np.isfinite(collected_volume) | (np.isfinite(stopped_at) & np.isfinite(in_jars))


@column("runs")
def begun(over: Mask, filled_at: Array, first_drip_at: Array, in_jars: Array) -> Mask:
    """Which runs were begun; a charge alone is a plan."""
    return over | np.isfinite(filled_at) | np.isfinite(first_drip_at) | np.isfinite(in_jars)


@column("runs", across=True)
def newest(begun: Mask, filled_at: Array) -> Mask:
    """The run that was begun last, by its date, or else the lowest; none where nothing is begun."""
    when = np.where(begun & np.isfinite(filled_at), filled_at, -np.inf)
    found = np.zeros(len(when), dtype=bool)
    found[np.flatnonzero(begun & (when == when.max(initial=-np.inf, where=begun)))[-1:]] = True
    return found


@column("runs")
def wash_charged(charge_volume: Array, kind: Any, begun: Mask) -> float:
    """Volume (L) of wash that went into the still so far."""
    return float(np.nansum(charge_volume[begun & (np.asarray(kind) != "spirit")]))


@column("runs")
def wash_left(wash_charged: float, wash_to_run: Array, still_minimum: Array) -> float:
    """Volume (L) of wash still to be run; 0 where it is no more than stays behind, or than has to be in the
    pot, NaN where nobody knows how much there was."""
    left = float(wash_to_run) - wash_charged
    little = left <= STAYS_BEHIND * wash_to_run or left < still_minimum
    return 0.0 if little else left


@column("runs")
def low_wines_left(
    kind: Any,
    collected_volume: Array,
    in_jars: Array,
    collected_alcohol: Array,
    charge_alcohol: Array,
    begun: Mask,
) -> float:
    """Volume (L) that the stripping runs gave and no spirit run has taken, by its alcohol; 0 for hardly any.

    Where the alcohol is not known, a spirit run counts as having taken all.
    """
    stripped, again = np.asarray(kind) == "stripping", begun & (np.asarray(kind) == "spirit")
    given = np.where(np.isnan(collected_volume), in_jars, collected_volume)
    share = 1.0
    if again.any():
        with np.errstate(divide="ignore", invalid="ignore"):
            share -= float(np.divide(charge_alcohol[again].sum(), collected_alcohol[stripped].sum()))
    return float(np.nansum(given[stripped])) * share if share > STAYS_BEHIND else 0.0


@column("runs")
def gone_on(
    strength_volume: Array, blend_volume: Array, carbon_volume_in: Array, bottling_bottles: Array
) -> bool:
    """Whether spirit of this batch has gone on to a later sheet."""
    later = (strength_volume, blend_volume, carbon_volume_in, bottling_bottles)
    return any(bool(np.isfinite(values).any()) for values in later)


@check(
    "runs",
    cell="charge_volume",
    level="error",
    says="Only {left_volume} would be left in the pot at the end; it takes {still_minimum} to cover the "
    "element. It could run dry and burn.",
    advice="Stop the run before that. Charge more only while the still is off and cold. Never let a still "
    "run dry.",
    danger=True,
)
def dry_pot(left_volume: Array, charge_volume: Array, still_minimum: Array) -> tuple[Mask, dict[str, Any]]:
    """The element comes out of the liquid, at the start or before the end.

    Where what is left is not known it is at most the charge, and never less than nothing.
    """
    wrong = (left_volume < still_minimum * 0.999) | (charge_volume < still_minimum)
    shown = np.fmax(np.fmin(left_volume, charge_volume), 0.0)
    return wrong, {"left_volume": (shown, "left_volume")}


@check(
    "runs",
    cell="charge_volume",
    level="error",
    says="{charge_volume} is more than the still holds ({still_capacity}).",
    advice="Stop: no heat. Check the number and its unit; if they are right, let it cool and take some out. "
    "An over-full still can boil over and block its outlet, and a blocked still can burst.",
    danger=True,
)
def over_full(
    charge_volume: Array, still_capacity: Array, still_minimum: Array
) -> tuple[Mask, dict[str, Any]]:
    """More than the pot holds to the brim."""
    least = np.fmax(still_minimum, still_capacity / 4)
    return charge_volume > still_capacity, {"fits": (least, FOAM_ROOM * still_capacity)}


@check(
    "runs",
    cell="charge_volume",
    level="warning",
    says="{charge_volume} leaves little room for foam in a still of {still_capacity}.",
    advice="Stop before you heat it and take some out, until it is no more than about four fifths full. "
    "Foam can block the outlet, so watch the first boil.",
    danger=True,
)
def little_room_for_foam(charge_volume: Array, still_capacity: Array) -> Mask:
    """Fuller than common practice."""
    return (charge_volume > FOAM_ROOM * still_capacity) & (charge_volume <= still_capacity)


@check(
    "runs",
    cell="charge_volume",
    level="warning",
    says="With this run {total} have been charged, more than the wash there was ({wash_volume}).",
    advice="Check the charges, their units and the wash volume; for a second distillation choose 'spirit' "
    "as the kind of run.",
)
def more_charged_than_wash(
    charge_volume: Array, kind: Any, wash_volume: Array, still_capacity: Array
) -> tuple[Mask, dict[str, Any]]:
    """All charges of wash that fit the still exceed it together, by more than a measure is off."""
    of_wash = np.isfinite(charge_volume) & (np.asarray(kind) != "spirit") & ~(charge_volume > still_capacity)
    total = np.cumsum(np.where(of_wash, charge_volume, 0.0))
    return of_wash & (total > wash_volume * 1.05), {"total": (total, "charge_volume")}


@check(
    "runs",
    cell="charge_strength",
    level="warning",
    says="{charge_strength} is more than this wash can hold ({highest_strength}).",
    advice="Check the unit; if it is a distillate, choose 'spirit' as the kind of run.",
)
def stronger_than_the_wash(
    charge_strength: Array, kind: Any, highest_strength: Array
) -> tuple[Mask, dict[str, Any]]:
    """A charge of wash with more alcohol than its gravity allows."""
    wrong = (np.asarray(kind) != "spirit") & (charge_strength > highest_strength + 1.0)
    return wrong, {"fits": (highest_strength / 4, highest_strength + 1.0)}


@check(
    "runs",
    cell="kind",
    level="warning",
    says="This is called a spirit run, but its charge is hardly stronger than the wash ({of_wash}).",
    advice="Choose 'stripping' or 'single' for wash; if low wines of an earlier batch went in, type their "
    "strength.",
)
def no_spirit_yet(
    kind: Any,
    charge_strength: Array,
    charge_volume: Array,
    collected_alcohol: Array,
    alcohol_now: Array,
    earlier: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Called a spirit run, but as weak as wash, by its own strength or else by all there was to charge.

    Nobody thins low wines down to the wash; half a % vol is how strengths are rounded.
    """
    there = np.where(earlier, collected_alcohol, 0.0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        of_low_wines = 100 * there / charge_volume
    strength = np.where(np.isnan(charge_strength), of_low_wines, charge_strength)
    wrong = (np.asarray(kind) == "spirit") & (strength < LOW_WINES * alcohol_now + 0.5)
    return wrong, {"of_wash": (np.broadcast_to(alcohol_now, wrong.shape), "charge_strength")}


@check(
    "runs",
    cell="charge_strength",
    level="warning",
    says="{charge_strength} does not fit the {of_wash} that {sheets_fermentation} shows for this wash.",
    advice="Check both; if heads and tails, or water, went in with it, it may stay.",
)
def not_as_fermented(
    charge_strength: Array,
    kind: Any,
    alcohol_now: Array,
    fermentation_state: Any,
    fermentation_sound: Any,
    highest_strength: Array,
    hydrometer: Instrument,
) -> tuple[Mask, dict[str, Any]]:
    """Off by more than two gravities, the yield, and a strength written to half a % vol can be.

    More than was there at the last reading is only wrong if it stood still by then.
    """
    ended = [str(fermentation_state[i]) in STANDING for i in getattr(fermentation_sound, "at", ())[-1:]] == [
        True
    ]
    by_gravity = POINTS * np.sqrt(2) * hydrometer.uncertainty
    allowed = slips.SURE * np.hypot(by_gravity, YIELDS * alcohol_now) + 0.5
    above, of_wash = charge_strength - alcohol_now, np.asarray(kind) != "spirit"
    wrong = of_wash & ((above < -allowed) | ((above > allowed) & ended))
    wrong &= ~(charge_strength > highest_strength + 1.0)
    # The same figure for every charge has one cause, and is said once.
    wrong[wrong] = np.isin(np.arange(wrong.sum()), np.unique(charge_strength[wrong], return_index=True)[1])
    of_wash = np.broadcast_to(alcohol_now, wrong.shape)
    return wrong, {"of_wash": (of_wash, "charge_strength"), "fits": (of_wash - allowed, of_wash + allowed)}


@check(
    "runs",
    cell="charge_strength",
    level="warning",
    says="The vapour of a charge of {charge_strength} can catch fire long before it boils.",
    advice="Stop: check the unit. If it is right, bring the charge to about 30 % vol (60 proof) with water "
    "before you heat it, away from any flame.",
    danger=True,
)
def charge_too_strong(charge_strength: Array) -> Mask:
    """Stronger than common practice; the flash point of 40 % vol is about 26 °C."""
    return charge_strength > STRONGEST_CHARGE


@check(
    "runs",
    cell="charge_strength",
    level="note",
    says="The strength of the charge is blank; the wash's {taken} from the fermentation sheet is used.",
    advice="Type the strength if something else was charged.",
)
def charge_strength_taken(
    charge_strength: Array, charge_volume: Array, strength_charged: Array
) -> tuple[Mask, dict[str, Any]]:
    """The person should know what was assumed; said once."""
    blank = np.isnan(charge_strength) & np.isfinite(charge_volume) & np.isfinite(strength_charged)
    first = blank & (np.cumsum(blank) == 1)
    return first, {"taken": (strength_charged, "charge_strength")}


@check(
    "runs",
    cell="charge_strength",
    level="note",
    says="The strength of the charge is not filled in; what depends on it stays blank.",
    advice="Measure it, or fill in the fermentation sheet.",
)
def charge_strength_missing(charge_volume: Array, strength_charged: Array, kind: Any) -> Mask:
    """Neither typed nor known from the wash."""
    return np.asarray(np.isfinite(charge_volume) & np.isnan(strength_charged) & (kind != "spirit"))


@check(
    "runs",
    cell="charge_strength",
    level="warning",
    says="A spirit run, but how strong its charge is is not filled in; what depends on it stays blank.",
    advice="Measure the charge and type it; if it was the wash itself, choose 'stripping' or 'single'.",
)
def spirit_strength_missing(charge_volume: Array, charge_strength: Array, kind: Any) -> Mask:
    """Nobody can tell what low wines hold, and a strong charge is dangerous."""
    return np.asarray(np.isfinite(charge_volume) & np.isnan(charge_strength) & (kind == "spirit"))


@check(
    "runs",
    cell="collected_volume",
    level="error",
    says="{collected_volume} collected from a charge of {charge_volume}: that can't be.",
    advice="Check the units of both.",
)
def more_volume_out(collected_volume: Array, charge_volume: Array) -> tuple[Mask, dict[str, Any]]:
    """Out of the still comes less than went in; mostly a twentieth to a half of it."""
    return collected_volume >= charge_volume, {"fits": (charge_volume / 20, charge_volume / 2)}


@check(
    "runs",
    cell="collected_volume",
    level="warning",
    says="{collected_volume} is very little from a charge of {charge_volume}.",
    advice="Check the volume and its unit, then the reading; if both are right, it may have foamed over.",
)
def very_little_collected(volume_meant: Meant) -> tuple[Mask, dict[str, Any]]:
    """Far less than the charge and the strength tell."""
    return np.isfinite(volume_meant.low), {"fits": volume_meant}


@check(
    "runs",
    cell="collected_reading",
    level="error",
    says="{collected_alcohol} of pure alcohol collected, but only {charge_alcohol} charged.",
    advice="Check the volumes, the strengths and their units.",
)
def more_alcohol_out(
    collected_volume: Array,
    charge_volume: Array,
    collected_reading: Array,
    sure_strength: Array,
    recovery: Array,
    recovery_uncertainty: Array,
) -> tuple[Mask, dict[str, Any]]:
    """A still makes no alcohol, by more than volumes and strengths of both sides can be off."""
    wrong = (recovery > 1 + slips.SURE * recovery_uncertainty) & (collected_volume < charge_volume)
    wrong &= np.isfinite(sure_strength)
    all_of_it = collected_reading / np.maximum(recovery, 1.0)
    return wrong, {"fits": (0.4 * all_of_it, all_of_it)}


samples.above_azeotrope("runs", "collected_reading", "sure_strength", "gives here")


@column("runs")
def limits(
    charge_volume: Array,
    strength_charged: Array,
    collected_volume: Array,
    stages_planned: Array,
    pressure: Array,
) -> tuple[Array, Array]:
    """Strengths (% vol) that a plain pot, and one stage more than planned, give in what was collected."""
    stages = np.stack([np.ones(stages_planned.shape), stages_planned + 1])
    plain, most = vapour.strength_collected(
        charge_volume, strength_charged, collected_volume, stages, pressure
    )
    return plain, most


@check(
    "runs",
    cell="collected_reading",
    level="warning",
    says="{collected_strength} is weaker than even a plain pot would give ({plain}) for this charge "
    "and volume.",
    advice="Check volume and reading; if they are right, it may have foamed over, or the charge was weaker.",
)
def weaker_than_a_plain_pot(
    collected_reading: Array,
    collected_strength: Array,
    plain_strength: Array,
    too_weak: Mask,
    volume_meant: Meant,
) -> tuple[Mask, dict[str, Any]]:
    """Below one stage, where the volume does not explain it."""
    least = plain_strength - MODEL + collected_reading - collected_strength
    fits = (least, least + 2 * MODEL + ONE_STAGE)
    wrong = too_weak & np.isnan(volume_meant.low)
    return wrong, {"plain": (plain_strength, "collected_strength"), "fits": fits}


@check(
    "runs",
    cell="collected_reading",
    level="warning",
    says="{collected_strength} is much stronger than expected of this still ({expected_strength}) for this "
    "charge and volume.",
    advice="Check volume and reading; if they are right, set more effective stages on the batch card.",
)
def stronger_than_the_still(
    sure_strength: Array,
    limits: tuple[Array, Array],
    strength_doubt: float,
    azeotrope: Array,
    collected_alcohol: Array,
    charge_alcohol: Array,
) -> Mask:
    """Above what one more stage would give; what is impossible is told by another check."""
    _, most = limits
    possible = (collected_alcohol <= charge_alcohol * (1 + MEASURES)) & (sure_strength <= azeotrope)
    return possible & (sure_strength > most + MODEL + strength_doubt)


samples.temperatures("runs", "collected_temperature", "collected_reading")


samples.temperature_missing("runs", "collected_temperature", "collected_reading")


@check(
    "runs",
    cell="collected_volume",
    level="note",
    says="Spirit of {collected_strength} can catch fire at room temperature.",
    advice="Stop if any flame or spark is near. Let fresh air in, and keep it in closed glass or stainless "
    "steel.",
    danger=True,
)
def catches_fire(collected_strength: Array, collected_alcohol: Array, charge_alcohol: Array) -> Mask:
    """Flash point at or below a warm room's temperature; not where the reading is impossible."""
    impossible = (collected_strength > 100) | (collected_alcohol > charge_alcohol * (1 + MEASURES))
    return (collected_strength > FLAMMABLE) & ~impossible


def _year_off(cell: str, which: int) -> None:
    """Declare the check of one of a run's times for another year than its others have."""

    def another_year(year_off: Times) -> tuple[Mask, dict[str, Any]]:
        return np.isfinite(year_off[which]), {"meant": (year_off[which], cell)}

    says = f"{{{cell}}} does not fit the other times of this run; in another year it would: {{meant}}."
    add_check(
        f"year_of_{cell}", "runs", cell, "error", says, "Correct the year.", another_year, ("year_off",)
    )


for _which, _cell in enumerate(("filled_at", "first_drip_at", "stopped_at")):
    _year_off(_cell, _which)


@check(
    "runs",
    cell="first_drip_at",
    level="error",
    says="The first drip, {first_drip_at}, is before the heat was on, {filled_at}.",
    advice="Check both dates and times.",
)
def drip_before_heat(first_drip_at: Array, filled_at: Array, slipped: Mask) -> Mask:
    """Times in the wrong order."""
    return (first_drip_at < filled_at) & ~slipped


@check(
    "runs",
    cell="first_drip_at",
    level="warning",
    says="The first drip came in less than half the time this power needs; it was due about "
    "{expected_first_drip}.",
    advice="Check the times, the charge and the power. If they are right, it went in hot or may have foamed "
    "over; look for leaks, too, as vapour can catch fire.",
)
def drip_too_soon(first_drip_at: Array, filled_at: Array, heating: Array) -> Mask:
    """Faster than the element can heat, unless the charge went in hot (which saves up to half)."""
    hours = (first_drip_at - filled_at) * 24
    return (hours >= 0) & (hours < 0.5 * heating)


@check(
    "runs",
    cell="stopped_at",
    level="error",
    says="It stopped, {stopped_at}, before it began ({began}).",
    advice="Check the dates and times.",
)
def stopped_before_it_began(
    stopped_at: Array, filled_at: Array, first_drip_at: Array, slipped: Mask
) -> tuple[Mask, dict[str, Any]]:
    """Times in the wrong order."""
    began = np.fmax(filled_at, first_drip_at)
    return (stopped_at < began) & ~slipped, {"began": (began, "stopped_at")}


@check(
    "runs",
    cell="stopped_at",
    level="warning",
    says="This run took {hours}, longer than anyone can safely watch a still.",
    advice="Check the dates. If they are right, stop the next run before you get tired, and never leave a "
    "running still.",
    danger=True,
)
def very_long_run(stopped_at: Array, filled_at: Array, slipped: Mask) -> tuple[Mask, dict[str, Any]]:
    """Longer than anyone watches, unless only a year is mistyped."""
    hours = (stopped_at - filled_at) * 24
    words = np.array([f"{h:.0f} hours" if np.isfinite(h) else "" for h in hours], dtype=object)
    return (hours > LONGEST_RUN) & ~slipped, {"hours": (words, "stopped_at")}


@check(
    "runs",
    cell="filled_at",
    level="error",
    says="The heat was on {filled_at}, before the yeast went in ({started_at}). {meant}",
    advice="Check this date and the one on the batch card, above all the year.",
)
def run_before_the_yeast(
    filled_at: Array, started_at: Array, washed_at: float, slipped: Mask
) -> tuple[Mask, dict[str, Any]]:
    """Nothing to distil yet."""
    return (filled_at < started_at) & ~slipped, _a_year_later(filled_at, washed_at)


@check(
    "runs",
    cell="filled_at",
    level="warning",
    says="The heat was on {filled_at}, before the last reading of the fermentation ({last}). {meant}",
    advice="Check both dates; a wash that still ferments may foam over in the still.",
)
def run_before_the_end(
    filled_at: Array,
    kind: Any,
    started_at: Array,
    last_read_at: float,
    washed_at: float,
    slipped: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """A charge of wash that was still being read afterwards; a few hours are a matter of writing it down."""
    early = (
        (filled_at < last_read_at - 0.5)
        & ~(filled_at < started_at)
        & (np.asarray(kind) != "spirit")
        & ~slipped
    )
    more = {"last": (np.full(len(filled_at), last_read_at), "filled_at")}
    return np.asarray(early), more | _a_year_later(filled_at, washed_at)


def _a_year_later(filled_at: Array, washed_at: float) -> dict[str, Any]:
    meant = slips.in_another_year(filled_at, 1)
    words = np.full(len(filled_at), "", dtype=object)
    for i in np.flatnonzero(_soon_after(meant, washed_at)):
        words[i] = slips.would_fit("A year later", meant[i])
    return {"meant": (words, "")}


LATE = (
    "The heat was on {filled_at}, more than half a year after {last}; a year earlier it would fit: {meant}."
)


@column("runs")
def kept_so_long(
    year_late: Array,
    filled_at: Array,
    kind: Any,
    washed_at: float,
    carbon_ended_at: Array,
    bottling_bottled_at: Array,
) -> Mask:
    """Which runs that seem a year late may be right: low wines keep, unless their spirit was used before."""
    used = np.concatenate([np.atleast_1d(carbon_ended_at), np.atleast_1d(bottling_bottled_at)])
    first_used = _first(used[used >= washed_at])
    gave_it = filled_at[np.isnan(year_late) & (np.asarray(kind) != "stripping")] < first_used
    early = (first_used < filled_at) & ~gave_it.any()
    return np.asarray(np.isfinite(year_late) & (np.asarray(kind) == "spirit") & ~early)


@check("runs", cell="filled_at", level="warning", says=LATE, advice="Check the year.")
def run_a_year_late(year_late: Array, kept_so_long: Mask, washed_at: float) -> tuple[Mask, dict[str, Any]]:
    """No wash waits so long."""
    return np.isfinite(year_late) & ~kept_so_long, _late(year_late, washed_at)


@check(
    "runs",
    cell="filled_at",
    level="note",
    says=LATE,
    advice="Check the year; if the low wines were kept so long, it may stay.",
)
def spirit_run_a_year_late(
    year_late: Array, kept_so_long: Mask, washed_at: float
) -> tuple[Mask, dict[str, Any]]:
    """Low wines keep, but a year is mistyped more often."""
    return kept_so_long, _late(year_late, washed_at)


def _late(year_late: Array, washed_at: float) -> dict[str, Any]:
    return {"meant": (year_late, "filled_at"), "last": (np.full(len(year_late), washed_at), "filled_at")}


@check(
    "runs",
    cell="filled_at",
    level="warning",
    says="The heat was on {filled_at}, while run {other} was still going.",
    advice="Check the dates and times. Never leave a running still; two at once are hard to watch.",
)
def two_runs_at_once(filled_at: Array, stopped_at: Array, run: Any) -> tuple[Mask, dict[str, Any]]:
    """It began between the beginning and the end of another."""
    sound = stopped_at - filled_at < LONGEST_RUN / 24
    inside = (filled_at[:, None] > filled_at) & (filled_at[:, None] < stopped_at) & sound
    other = np.array([str(run[np.argmax(row)]) if row.any() else "" for row in inside], dtype=object)
    return np.asarray(inside.any(axis=1)), {"other": (other, "run")}


@check(
    "runs",
    cell="charge_volume",
    level="note",
    says="{left} of the wash is not run yet.",
    advice="Charge again, unless that is lees.",
    due=True,
)
def wash_to_charge(newest: Mask, over: Mask, gone_on: bool, wash_left: float) -> tuple[Mask, dict[str, Any]]:
    """Said at the last run once it is over, until spirit goes on to another sheet."""
    return newest & over & (not gone_on) & (wash_left > 0), {"left": (np.array(wash_left), "charge_volume")}


WASH_IS_RUN = "The wash is run, {charged} of {to_run}"


@check(
    "runs",
    cell="collected_volume",
    level="note",
    says=WASH_IS_RUN + "; {low_wines} of low wines are left.",
    advice="The spirit run is next. Bring what is above 40 % vol (80 proof) to about 30 % vol (60 proof) "
    "with water before you heat it.",
    due=True,
)
def low_wines_to_run(
    newest: Mask,
    over: Mask,
    gone_on: bool,
    wash_left: float,
    low_wines_left: float,
    wash_charged: float,
    wash_to_run: Array,
) -> tuple[Mask, dict[str, Any]]:
    """Said at the last run once it is over, until spirit goes on to another sheet."""
    due = newest & over & (not gone_on) & (wash_left == 0) & (low_wines_left > 0)
    low_wines = {"low_wines": (np.array(low_wines_left), "collected_volume")}
    return due, _run_so_far(wash_charged, wash_to_run) | low_wines


@check(
    "runs",
    cell="collected_volume",
    level="note",
    says=WASH_IS_RUN + ".",
    advice="Choose the hearts on {sheets_cuts}, and bring them to strength on {sheets_strength}.",
    due=True,
)
def cuts_to_choose(
    newest: Mask,
    over: Mask,
    gone_on: bool,
    wash_left: float,
    low_wines_left: float,
    wash_charged: float,
    wash_to_run: Array,
) -> tuple[Mask, dict[str, Any]]:
    """Said at the last run once it is over, until spirit goes on to another sheet."""
    due = newest & over & (not gone_on) & (wash_left == 0) & (low_wines_left == 0)
    return due, _run_so_far(wash_charged, wash_to_run)


def _run_so_far(wash_charged: float, wash_to_run: Array) -> dict[str, Any]:
    like = "charge_volume"
    return {"charged": (np.array(wash_charged), like), "to_run": (np.array(wash_to_run), like)}
