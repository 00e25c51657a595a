"""The batch card: the wash, the yeast, the still, the place."""

from typing import Any

import numpy as np

from sheetcalc import law
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, vapour, wash
from sheetcalc.stages import fermentation, runs, samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask

STRONGEST_BOTTLED = 65.0  # % vol; spirit as it comes from the cask (common practice)
LONGEST_SILENCE = 14.0  # d; nobody pitches the yeast and looks away for longer (common practice)


@column("batch")
def lowest_gravity(original_gravity: Array) -> Array:
    """Gravity (SG 20/20) of the wash when all of its extract is fermented."""
    return np.asarray(wash.lowest_gravity(original_gravity))


@column("batch")
def highest_strength(original_gravity: Array) -> Array:
    """Strength (% vol) of the wash when all of its extract is fermented."""
    return np.asarray(wash.highest_strength(original_gravity))


@column("batch")
def usual_strength(original_gravity: Array, wash_kind: Any) -> Array:
    """Strength (% vol) at the usual end of such a wash: of molasses or a mash much is left."""
    share = fermentation.ENDS.get(str(wash_kind), fermentation.ANY_END)[1]
    return np.asarray(wash.fermented(original_gravity, wash.gravity_when(original_gravity, share)).strength)


@column("batch")
def legal_minimum(place: Any, wash_kind: Any, own_minimum: Array) -> Array:
    """Least strength (% vol) for sale: the usual one of the place, or the person's own."""
    return np.asarray(law.legal_minimum(str(place), str(wash_kind), float(own_minimum)))


@column("batch")
def pressure(altitude: Array) -> Array:
    """Air pressure at the still, kPa."""
    return np.asarray(vapour.pressure(altitude))


@column("batch")
def azeotrope(pressure: Array) -> Array:
    """The most that any still gives there, % vol."""
    return np.asarray(vapour.azeotrope(pressure))


@column("batch")
def planned_strength(
    runs_charge_strength: Array,
    runs_kind: Any,
    runs_alcohol_now: Array,
    fermentation_state: Any,
    original_gravity: Array,
    fermentation_ends: tuple[float, float],
) -> Array:
    """Strength (% vol) of the wash that the charges are planned with.

    As typed for a charge of wash; or else as measured since it stands still; or else where a wash of this
    kind usually ends.
    """
    of_wash = np.isfinite(runs_charge_strength) & (np.asarray(runs_kind) != "spirit")
    stands = np.isin(fermentation_state, ["standing", "finished", "stalled"]).any()
    known = [
        *runs_charge_strength[of_wash][-1:],
        float(runs_alcohol_now) if stands else np.nan,
        float(wash.fermented(original_gravity, fermentation_ends[1]).strength),
    ]
    return np.asarray(next((strength for strength in known if np.isfinite(strength)), np.nan))


@column("batch")
def planned_stages(effective_stages: Array, runs_stages_seen: Array) -> Array:
    """Effective stages that the next charge is planned with."""
    return np.asarray(runs.stages_for_plan(effective_stages, runs_stages_seen))


@column("batch")
def wash_to_run(wash_volume: Array, clearing_volume_after: Array, clearing_done_at: Array) -> Array:
    """Volume (L) that goes to the still: what was measured last while clearing, or else all of the wash."""
    measured = np.isfinite(clearing_volume_after)
    if not measured.any():
        return np.asarray(wash_volume)
    when = np.where(np.isfinite(clearing_done_at), clearing_done_at, -np.inf)[measured]
    latest = np.flatnonzero(when == when.max())[-1]
    return np.asarray(np.fmin(clearing_volume_after[measured][latest], wash_volume))


@column("batch")
def planned_charges(wash_to_run: Array, still_capacity: Array) -> Array:
    """Number of equal charges that take up the wash and leave room for foam."""
    most = np.where(still_capacity > 0, still_capacity * runs.FOAM_ROOM, np.nan)
    # What fits to the drop is not spilt over into one more charge by rounding.
    return np.maximum(np.ceil(wash_to_run / most - 1e-9), 1.0)


@column("batch")
def planned_charge_volume(wash_to_run: Array, planned_charges: Array) -> Array:
    """Volume (L) of each charge."""
    return wash_to_run / planned_charges


@column("batch")
def planned_volume_to_limit(
    planned_charge_volume: Array,
    planned_strength: Array,
    drip_limit: Array,
    planned_stages: Array,
    pressure: Array,
) -> Array:
    """Volume (L at 20 °C) each charge would give until the drip falls to the limit."""
    return vapour.collected_when(
        planned_charge_volume, planned_strength, drip_limit, planned_stages, pressure
    )


@column("batch")
def planned_collected_volume(
    planned_charge_volume: Array,
    planned_strength: Array,
    planned_volume_to_limit: Array,
    still_minimum: Array,
) -> Array:
    """Volume (L at 20 °C) each charge gives until the drip falls to the limit or the element comes near.

    Blank while nobody knows how strong the wash will be.
    """
    collected = runs.before_the_element(planned_volume_to_limit, planned_charge_volume, still_minimum)
    return np.where(np.isnan(planned_strength), np.nan, collected)


@column("batch")
def planned_run(
    planned_charge_volume: Array,
    planned_strength: Array,
    planned_collected_volume: Array,
    planned_stages: Array,
    pressure: Array,
) -> vapour.Distilled:
    """A charge as batch distillation over the vapour-liquid balance."""
    return vapour.distil(
        planned_charge_volume, planned_strength, planned_collected_volume, planned_stages, pressure
    )


@column("batch")
def planned_collected_strength(planned_run: vapour.Distilled) -> Array:
    """Strength (% vol) of what each charge gives."""
    return planned_run.strength


@column("batch")
def planned_time(
    planned_run: vapour.Distilled,
    planned_charge_volume: Array,
    planned_strength: Array,
    planned_collected_volume: Array,
    planned_stages: Array,
    pressure: Array,
    still_power: Array,
    still_efficiency: Array,
) -> Array:
    """Hours from switching on to the end of each charge."""
    heating = runs.heating(planned_charge_volume, planned_strength, pressure, still_power, still_efficiency)
    return heating + runs.boiling(
        planned_run,
        planned_strength,
        planned_collected_volume,
        planned_stages,
        pressure,
        still_power,
        still_efficiency,
    )


@check(
    "batch",
    cell="original_gravity",
    level="error",
    says="{original_gravity} can't be the gravity of a wash before the yeast. {meant}",
    advice="Type what the hydrometer showed, corrected to 20 °C, and check the unit beside it.",
)
def original_gravity_impossible(
    original_gravity: Array, original_gravity_unit: str
) -> tuple[Mask, dict[str, Any]]:
    """Not above water, or above any syrup."""
    wrong = (original_gravity <= 1.0) | (original_gravity > 1.3)
    meant = slips.gravity_meant(original_gravity, 1.02, 1.15, original_gravity_unit)
    return wrong, {"meant": (meant, "original_gravity")}


@check(
    "batch",
    cell="original_gravity",
    level="note",
    says="Without the original gravity the alcohol of the wash can't be computed.",
    advice="Type it, or take it from your recipe.",
)
def original_gravity_missing(original_gravity: Array, fermentation_reading: Array) -> bool:
    """There are readings, but nothing to compare them with."""
    return bool(np.isnan(original_gravity) and np.isfinite(fermentation_reading).any())


@check(
    "batch",
    cell="original_gravity",
    level="warning",
    says="Readings on the fermentation sheet reach {highest} at 20 °C, above this original gravity of "
    "{original_gravity}.",
    advice="If you typed what the hydrometer showed in a warm wash, type the corrected gravity; if sugar "
    "was added later, work out a new original gravity.",
)
def original_gravity_too_low(
    original_gravity: Array,
    fermentation_reading: Array,
    fermentation_gravity_20: Array,
    hydrometer: Instrument,
) -> tuple[bool, dict[str, Any]]:
    """Typed uncorrected, or below three readings or more; both have the hydrometer's uncertainty."""
    limit = original_gravity + samples.scatter(hydrometer)
    above = fermentation_gravity_20 > limit
    as_read = above & (fermentation_reading + hydrometer.correction <= limit)
    wrong = bool(as_read.any() or (above.sum() > 2)) and 1.0 < float(original_gravity) <= 1.3
    highest = np.nanmax(fermentation_gravity_20, initial=-np.inf)
    return wrong, {"highest": (highest, "original_gravity")}


@check(
    "batch",
    cell="started_at",
    level="warning",
    says="The yeast went in on {started_at}; that does not fit the first reading, of {first}.",
    advice="Check this date and those on the fermentation sheet, above all the year.",
)
def started_at_another_time(started_at: Array, fermentation_taken_at: Array) -> tuple[bool, dict[str, Any]]:
    """Two weeks before the first reading, or after most of them."""
    known = fermentation_taken_at[np.isfinite(fermentation_taken_at)]
    if not len(known):
        return False, {}
    late = np.sum(known < started_at - 1.0) > len(known) / 2
    return bool(late or known.min() - started_at > LONGEST_SILENCE), {"first": (known.min(), "started_at")}


@check(
    "batch",
    cell="yeast_tolerance",
    level="warning",
    says="Such a wash could reach {reached}, but the yeast may give up at {yeast_tolerance} and leave sugar "
    "behind.",
    advice="Use less sugar, more water or a stronger yeast.",
)
def beyond_yeast(yeast_tolerance: Array, usual_strength: Array) -> tuple[Mask, dict[str, Any]]:
    """More sugar than the yeast can take; half a % vol is the packet's own rounding."""
    wrong = np.asarray(usual_strength > yeast_tolerance + 0.5)
    return wrong, {"reached": (usual_strength, "highest_strength")}


@check(
    "batch",
    cell="temperature_high",
    level="error",
    says="The warmest, {temperature_high}, is not above the coolest, {temperature_low}.",
    advice="Exchange the two, or check their units.",
)
def temperatures_reversed(temperature_low: Array, temperature_high: Array) -> Mask:
    """The range is empty."""
    return temperature_low >= temperature_high


samples.fahrenheit(
    "fahrenheit_yeast_limit",
    "batch",
    "temperature_high",
    "No yeast lives at {temperature_high}",
)


@check(
    "batch",
    cell="target_strength",
    level="error",
    says="{target_strength} is more than any still gives here ({azeotrope}).",
    advice="Check the unit: 100 proof is about 50 % vol.",
)
def target_above_azeotrope(target_strength: Array, azeotrope: Array) -> tuple[Mask, dict[str, Any]]:
    """Above the azeotrope at the site's pressure."""
    return target_strength > azeotrope, {"azeotrope": (azeotrope, "target_strength")}


@check(
    "batch",
    cell="target_strength",
    level="warning",
    says="{target_strength} is below the usual legal minimum of {legal_minimum} for this wash in this place.",
    advice="Check your own local law before you bottle.",
)
def target_below_legal_minimum(target_strength: Array, legal_minimum: Array) -> tuple[Mask, dict[str, Any]]:
    """Too weak to be sold under the usual name; a twentieth of a % vol is only rounding.

    A strength that no spirit has is a slip of the hand.
    """
    slip = target_strength < legal_minimum / 2
    fits = (np.where(slip, legal_minimum - 0.05, np.nan), STRONGEST_BOTTLED)
    return target_strength < legal_minimum - 0.05, {"fits": fits}


@check(
    "batch",
    cell="still_minimum",
    level="error",
    says="The least filling, {still_minimum}, is not below what the still holds, {still_capacity}.",
    advice="Exchange the two, or check their units.",
)
def still_never_covered(still_minimum: Array, still_capacity: Array) -> Mask:
    """No charge would fit."""
    return still_minimum >= still_capacity


@check(
    "batch",
    cell="effective_stages",
    level="error",
    says="A still has at least one effective stage, not {effective_stages}.",
    advice="1 is a plain pot; leave it blank if you don't know.",
)
def less_than_one_stage(effective_stages: Array) -> Mask:
    """Boiling is itself one stage."""
    return effective_stages < 1


@check(
    "batch",
    cell="planned_charges",
    level="note",
    says="With {planned_charge_volume} in each charge, the pot gets too low for the element before the drip "
    "is down to {drip_limit}: stop each when {planned_collected_volume} have come over.",
    advice="Or fill fewer charges, each up to about four fifths of the still, and keep the rest of the wash "
    "for another batch.",
)
def charges_stop_early(
    planned_charge_volume: Array, planned_volume_to_limit: Array, still_minimum: Array
) -> Mask:
    """The least filling, not the drip, ends each charge, and costs a tenth or more of it."""
    return planned_charge_volume - still_minimum < 0.9 * planned_volume_to_limit


@check(
    "batch",
    cell="open_to_air",
    level="error",
    says="Fermenter or still is not open to the air; under pressure it can burst.",
    advice="Stop: heat off, no more sugar or yeast. Let a hot still cool before you touch it, then open "
    "both: no valve, plug or clamp in the way of gas or vapour.",
    danger=True,
)
def not_open_to_air(open_to_air: Any) -> Mask:
    """As the person says."""
    return np.asarray(np.asarray(open_to_air) == "no")


@check(
    "batch",
    cell="open_to_air",
    level="note",
    says="It is not filled in yet whether fermenter and still are open to the air.",
    advice="Stop before you heat and look: nothing may block the way of gas or vapour. Choose yes only if "
    "that is so.",
)
def not_said_to_be_open(open_to_air: Any, runs_filled_at: Array) -> Mask:
    """Blank, though the still was filled."""
    return np.asarray((np.asarray(open_to_air) == "") & np.isfinite(runs_filled_at).any())
