"""What of a batch's alcohol passes each stage, from the recipe to the bottle, as its sheets measured it.

Spirit of other batches that was poured in on Blend is none of it: each stage counts what this wash gave.
"""

import re
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array
from sheetcalc.stages import lots
from sheetcalc.stages.registry import column
from sheetcalc.stages.samples import POINTS, YIELDS
from sheetcalc.stages.slips import Mask, Texts

STAGES = (
    "Recipe",
    "Wash",
    "Charged with wash",
    "Collected from the wash",
    "Charged again",
    "Collected again",
    "Brought to strength",
    "Filtered",
    "Bottled",
)
RECIPE, WASH, CHARGED, COLLECTED, CHARGED_AGAIN, COLLECTED_AGAIN, BROUGHT, FILTERED, BOTTLED = range(9)

# Expanded uncertainties (k = 2) as shares of a volume: a fermenter or a pot read from outside, and a
# cylinder or a row of bottles. Common practice.
LARGE_MEASURE, SMALL_MEASURE = 0.02, 0.01
RECIPES = 0.05  # share: how much of what was weighed in ferments (common practice)
LABEL_OF_A_WINE = 0.5  # % vol: what a bought-in wine may be off from its label (EU 1169/2011, from memory)
# Words in the name of a part that is of this batch: where it came from, not which lot it is.
OWN_WORDS = {
    "run",
    "runs",
    "jar",
    "jars",
    "heart",
    "hearts",
    "middle",
    "heads",
    "tails",
    "this",
    "cut",
    "charge",
}
_CODE = re.compile(r"([^\W\d_]++)([-/.]?\d\w*)")

NAN = float("nan")


class Flow(NamedTuple):
    """What of this batch passes a stage: volume (L), pure alcohol (L), and its expanded uncertainty (L).

    `foreign` is the pure alcohol (L) of other batches that passes together with it.
    """

    volume: float
    alcohol: float
    uncertainty: float
    foreign: float = 0.0


NOTHING = Flow(NAN, NAN, NAN)


class Flows(NamedTuple):
    """Every measured flow of a batch; NOTHING where a stage was skipped or not written down.

    `low_wines` is the part of `collected` that came out of stripping runs; `into_filter` goes with
    `filtered`, and `from_filter` is the part of `bottled` that went through it.
    """

    recipe: Flow
    wash: Flow
    charged: Flow
    collected: Flow
    low_wines: Flow
    charged_again: Flow
    collected_again: Flow
    brought: Flow
    into_filter: Flow
    filtered: Flow
    bottled: Flow
    from_filter: Flow

    def by_stage(self) -> tuple[Flow, ...]:
        """The flows in the order of STAGES."""
        beside = ("low_wines", "into_filter", "from_filter")
        return tuple(flow for name, flow in self._asdict().items() if name not in beside)


def is_known(value: float) -> bool:
    """Whether an amount is told; it may be nothing."""
    return bool(np.isfinite(value))


def margin_of(*flows: Flow) -> float:
    """Expanded uncertainty of a difference of flows, L of pure alcohol."""
    return float(np.sqrt(np.nansum([flow.uncertainty**2 for flow in flows])))


def flow_of(
    volume: ArrayLike,
    alcohol: ArrayLike,
    at: Mask | bool,
    measure: float,
    strength_uncertainty: float,
    foreign: ArrayLike = 0.0,
    before: ArrayLike = 0.0,
) -> Flow:
    """The lines of one stage together. Their strengths come from one glass, so its errors add up.

    volume, alcohol: L on each line, of pure alcohol the latter; at: which lines count; measure: expanded
    uncertainty of a volume as a share of it; strength_uncertainty: the same of a strength, % vol; foreign,
    before: shares (0 to 1) of each line that are of other batches, and that an earlier line had counted.
    """
    mask = np.atleast_1d(at)
    volumes, amounts, others, counted = (
        np.broadcast_to(np.asarray(a, dtype=float), mask.shape)[mask]
        for a in (volume, alcohol, foreign, before)
    )
    if not len(amounts) or not np.isfinite(amounts).all():
        return NOTHING
    own = 1 - others - counted
    litres, pure = float((volumes * own).sum()), float((amounts * own).sum())
    uncertainty = float(np.hypot(pure * measure, litres * strength_uncertainty / 100))
    return Flow(litres, pure, uncertainty, float((amounts * others).sum()))


@column("balance")
def wash_uncertainty(runs_alcohol_now: Array, hydrometer: Instrument) -> float:
    """Expanded uncertainty (% vol, k = 2) of the wash's strength: gravities and yield, or a wine's label."""
    by_gravity = np.hypot(POINTS * hydrometer.uncertainty * np.sqrt(2), YIELDS * runs_alcohol_now)
    return float(by_gravity if np.isfinite(runs_alcohol_now) else LABEL_OF_A_WINE)


@column("balance")
def recipe(recipe_expected_volume: Array, recipe_potential_alcohol: Array) -> Flow:
    """What the recipe gives if all of it ferments."""
    alcohol = np.asarray(recipe_expected_volume) * recipe_potential_alcohol / 100
    return flow_of(recipe_expected_volume, alcohol, True, RECIPES, 0.0)


@column("balance")
def spirit(
    runs_run: Any,
    runs_collected_volume: Array,
    runs_collected_alcohol: Array,
    runs_stopped_at: Array,
    cuts_run: Any,
    cuts_volume: Array,
    cuts_alcohol: Array,
) -> tuple[Array, Array]:
    """Volume and pure alcohol (L) each run gave: as measured, or else, once it is over, in all its jars."""
    volumes, alcohols, stopped = np.broadcast_arrays(
        *map(np.atleast_1d, (runs_collected_volume, runs_collected_alcohol, runs_stopped_at))
    )
    over = np.isfinite(stopped) | np.isfinite(volumes)
    volumes, alcohols = volumes.copy(), alcohols.copy()
    jars, in_jars = np.broadcast_arrays(*map(np.atleast_1d, (cuts_volume, cuts_alcohol)))
    of_run = lots.names(cuts_run, jars)
    names = lots.names(runs_run, alcohols)
    for i in np.flatnonzero(np.isnan(alcohols) & over & (names != "")):
        mine = of_run == names[i]
        if mine.any():
            volumes[i], alcohols[i] = jars[mine].sum(), in_jars[mine].sum()
    return volumes, alcohols


@column("balance")
def measured(spirit: tuple[Array, Array]) -> Mask:
    """The runs whose spirit is known; a plan, or a run that is still going, counts for nothing."""
    return np.isfinite(spirit[1])


@column("balance")
def unmeasured(
    measured: Mask,
    runs_run: Any,
    runs_charge_alcohol: Array,
    runs_first_drip_at: Array,
    runs_stopped_at: Array,
    runs_collected_volume: Array,
    cuts_run: Any,
) -> float:
    """Pure alcohol (L) in the charges of runs that have begun, but whose spirit is not known."""
    jars = set(lots.names(cuts_run, cuts_run)) - {""}
    in_jars = np.array([name in jars for name in lots.names(runs_run, measured)], dtype=bool)
    moments = np.isfinite(runs_first_drip_at) | np.isfinite(runs_stopped_at)
    begun = moments | np.isfinite(runs_collected_volume) | in_jars
    return float(np.nansum(np.where(begun & ~measured, runs_charge_alcohol, 0.0)))


@column("balance")
def kinds(runs_kind: Any, measured: Mask) -> Texts:
    """The kinds of the runs."""
    return lots.names(runs_kind, measured)


@column("balance")
def charged(
    runs_charge_volume: Array,
    runs_charge_alcohol: Array,
    measured: Mask,
    kinds: Texts,
    wash_uncertainty: float,
) -> Flow:
    """What went into the pot in the runs of wash."""
    of_wash = measured & (kinds != "spirit")
    return flow_of(runs_charge_volume, runs_charge_alcohol, of_wash, LARGE_MEASURE, wash_uncertainty)


@column("balance")
def wash(wash_volume: Array, runs_alcohol_now: Array, charged: Flow, wash_uncertainty: float) -> Flow:
    """What was in the fermenter: by its last strength, or else by that of the charges."""
    of_charges = 100 * charged.alcohol / charged.volume if charged.volume > 0 else NAN
    strength = np.where(np.isnan(runs_alcohol_now), of_charges, runs_alcohol_now)
    return flow_of(wash_volume, wash_volume * strength / 100, True, LARGE_MEASURE, wash_uncertainty)


@column("balance")
def collected(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the runs of wash gave."""
    of_wash = measured & (kinds != "spirit")
    return flow_of(*spirit, of_wash, SMALL_MEASURE, strength_doubt)


@column("balance")
def low_wines(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the stripping runs gave."""
    stripped = measured & (kinds == "stripping")
    return flow_of(*spirit, stripped, SMALL_MEASURE, strength_doubt)


@column("balance")
def charged_again(
    runs_charge_volume: Array,
    runs_charge_alcohol: Array,
    measured: Mask,
    kinds: Texts,
    strength_doubt: float,
) -> Flow:
    """What went into the pot in the spirit runs."""
    again = measured & (kinds == "spirit")
    return flow_of(runs_charge_volume, runs_charge_alcohol, again, LARGE_MEASURE, strength_doubt)


@column("balance")
def collected_again(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the spirit runs gave."""
    again = measured & (kinds == "spirit")
    return flow_of(*spirit, again, SMALL_MEASURE, strength_doubt)


@column("balance")
def kept(
    spirit: tuple[Array, Array],
    measured: Mask,
    kinds: Texts,
    runs_run: Any,
    cuts_run: Any,
    cuts_fraction: Any,
    cuts_volume: Array,
    cuts_alcohol: Array,
    strength_doubt: float,
) -> Flow:
    """What the jars of hearts hold, where every jar of every last run says what it is; NOTHING otherwise."""
    again = measured & (kinds == "spirit")
    names = lots.names(runs_run, measured)
    last = set(names[again if again.any() else measured])
    of_run, fraction = lots.names(cuts_run, cuts_alcohol), lots.names(cuts_fraction, cuts_alcohol)
    mine = np.isin(of_run.astype(str), list(last))
    hearts = mine & (fraction == "hearts")
    whole = bool(last) and "" not in last and last <= set(of_run) and bool((fraction[mine] != "").all())
    return flow_of(cuts_volume, cuts_alcohol, hearts, SMALL_MEASURE, strength_doubt) if whole else NOTHING


@column("balance")
def poured(blend_poured: Array, blend_strength: Array, blend_solved_strength: Array) -> Array:
    """Pure alcohol (L) in each part of the blends; NaN where it is not known."""
    strength = np.where(np.isnan(blend_strength), blend_solved_strength, blend_strength)
    return np.asarray(blend_poured * strength / 100)


@column("balance")
def elsewhere(
    blend_lot: Any,
    blend_part: Any,
    poured: Array,
    strength_lot: Any,
    carbon_lot: Any,
    runs_run: Any,
    cuts_jar: Any,
    batch_code: Any,
    collected: Flow,
    collected_again: Flow,
) -> Mask:
    """Which parts of the blends are spirit of another batch.

    It is one whose name leads to nothing of this batch: no lot of Strength, Carbon or Blend, no run, no jar,
    and no words such as "hearts"; or one that bears the code of another, as "RYE-6 hearts" does. Where no
    name leads anywhere, none of them tells.
    """
    parts = lots.names(blend_part, poured)
    columns = (strength_lot, carbon_lot, blend_lot, runs_run, cuts_jar)
    lot_names, filtered, blended, runs, jars = (set(lots.names(each, each)) - {""} for each in columns)
    known = lot_names | filtered | blended | runs | jars
    words = {lots.in_words(name) for name in known} | OWN_WORDS
    if isinstance(batch_code, str):
        words.add(lots.in_words(batch_code))
    own = np.array(
        [part in known or (lots.named_after(part, words) and not _other_code(part, words)) for part in parts],
        dtype=bool,
    )
    of_spirit = (parts != "") & (poured > 0)
    given = is_known(collected.alcohol) or is_known(collected_again.alcohol)
    told = bool(lot_names or filtered or (own & of_spirit).any())
    return np.asarray(of_spirit & ~own & given & told)


def _other_code(part: str, words: set[str]) -> bool:
    """Whether a name holds letters and a number in one, such as RYE-6, that mean nothing of this batch."""
    for letters, number in _CODE.findall(part):
        means = lots.in_words(f"{letters}{number}")
        if letters.casefold() not in OWN_WORDS and not any(f" {means} " in f" {word} " for word in words):
            return True
    return False


@column("balance")
def foreign(blend_lot: Any, blend_part: Any, poured: Array, elsewhere: Mask) -> dict[str, float]:
    """For each blend the share (0 to 1) of its alcohol that came from other batches."""
    names = lots.names(blend_lot, poured), lots.names(blend_part, poured)
    return lots.shares(*names, poured, elsewhere.astype(float))


@column("balance")
def already_brought(blend_lot: Any, blend_part: Any, poured: Array, strength_lot: Any) -> dict[str, float]:
    """For each blend the share (0 to 1) of its alcohol that was brought to strength before it was blended."""
    names = lots.names(blend_lot, poured), lots.names(blend_part, poured)
    of_strength = np.isin(
        names[1].astype(str), [name for name in lots.names(strength_lot, strength_lot) if name]
    )
    return lots.shares(*names, poured, of_strength.astype(float))


@column("balance")
def brought(
    strength_lot: Any,
    strength_final_volume: Array,
    bottling_brought_to: Array,
    bottling_going_on: Mask,
    bottling_blended_first: set[str],
    foreign: dict[str, float],
    already_brought: dict[str, float],
    strength_doubt: float,
) -> Flow:
    """The lots brought to strength; what goes on from another line, or lot, was counted there."""
    of_others, before = (
        _after_blending(strength_lot, strength_final_volume, bottling_blended_first, shares)
        for shares in (foreign, already_brought)
    )
    alcohol = np.asarray(strength_final_volume * bottling_brought_to / 100)
    counted = np.isfinite(np.atleast_1d(alcohol)) & ~bottling_going_on
    lines = (strength_final_volume, alcohol, counted)
    return flow_of(*lines, SMALL_MEASURE, strength_doubt, of_others, before)


def _after_blending(lot: Any, like: ArrayLike, blended_first: set[str], shares: dict[str, float]) -> Array:
    """The share (0 to 1) of each line's spirit by its blend; none in lots that were not blended before."""
    blends = {name: share for name, share in shares.items() if name in blended_first}
    return lots.share_of(lots.names(lot, like), blends)


@column("balance")
def filter_flows(
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_strength_in: Array,
    carbon_volume_out: Array,
    carbon_strength_out: Array,
    bottling_passes: list[tuple[str, Mask, bool]],
    bottling_blended_first: set[str],
    foreign: dict[str, float],
    strength_doubt: float,
) -> tuple[Flow, Flow]:
    """What went into the filter, and what of it came out after its last pass.

    A strength that was not measured after the filter counts as that before it.
    """
    into, strength_in, out, strength_out = np.broadcast_arrays(
        *map(np.atleast_1d, (carbon_volume_in, carbon_strength_in, carbon_volume_out, carbon_strength_out))
    )
    of_others = _after_blending(carbon_lot, into, bottling_blended_first, foreign)
    alcohol_in = into * strength_in / 100
    alcohol_out = out * np.where(np.isnan(strength_out), strength_in, strength_out) / 100
    first, last = np.zeros(len(into), dtype=bool), np.zeros(len(into), dtype=bool)
    for _, lines, again in bottling_passes:
        known = np.flatnonzero(lines & np.isfinite(alcohol_in) & np.isfinite(alcohol_out))
        if len(known):
            first[known[np.argmax(into[known])] if again else known] = True
            last[known[np.argmin(out[known])] if again else known] = True
    return (
        flow_of(into, alcohol_in, first, SMALL_MEASURE, strength_doubt, of_others),
        flow_of(out, alcohol_out, last, SMALL_MEASURE, strength_doubt, of_others),
    )


@column("balance")
def in_bottles(bottling_volume: Array, bottling_alcohol: Array, strength_doubt: float) -> Flow:
    """All that is in bottles, wherever it came from."""
    filled = np.isfinite(np.atleast_1d(bottling_alcohol))
    return flow_of(bottling_volume, bottling_alcohol, filled, SMALL_MEASURE, strength_doubt)


@column("balance")
def foreign_bottled(bottling_lot: Any, bottling_alcohol: Array, foreign: dict[str, float]) -> Array:
    """Share (0 to 1) of each filling that is of other batches."""
    return lots.share_of(lots.names(bottling_lot, bottling_alcohol), foreign)


@column("balance")
def bottled(
    bottling_volume: Array, bottling_alcohol: Array, foreign_bottled: Array, strength_doubt: float
) -> Flow:
    """What of this batch is in bottles."""
    filled = np.isfinite(np.atleast_1d(bottling_alcohol))
    lines = (bottling_volume, bottling_alcohol, filled)
    return flow_of(*lines, SMALL_MEASURE, strength_doubt, foreign_bottled)


@column("balance")
def filtered_share(
    blend_lot: Any,
    blend_part: Any,
    poured: Array,
    strength_lot: Any,
    carbon_lot: Any,
    bottling_blended_first: set[str],
) -> dict[str, float]:
    """For each lot the share (0 to 1) of its alcohol that went through the filter."""
    filtered = set(lots.names(carbon_lot, carbon_lot)) - {""}
    brought = set(lots.names(strength_lot, strength_lot)) - {""}
    names = lots.names(blend_lot, poured), lots.names(blend_part, poured)
    blends = lots.shares(*names, poured, np.isin(names[1], list(filtered)).astype(float))
    whole = filtered & bottling_blended_first | filtered - blends.keys()
    return dict.fromkeys(brought, 0.0) | blends | dict.fromkeys(whole, 1.0)


@column("balance")
def from_filter(
    bottling_lot: Any,
    bottling_volume: Array,
    bottling_alcohol: Array,
    foreign_bottled: Array,
    filtered_share: dict[str, float],
    strength_doubt: float,
) -> Flow:
    """What of the bottles went through the filter; a filling of no lot that is known counts as that."""
    names = lots.names(bottling_lot, bottling_alcohol)
    through = np.array([filtered_share.get(name, 1.0) for name in names], dtype=float)
    filled = np.isfinite(np.atleast_1d(bottling_alcohol))
    lines = (bottling_volume * through, bottling_alcohol * through, filled)
    return flow_of(*lines, SMALL_MEASURE, strength_doubt, foreign_bottled)


@column("balance")
def flows(
    recipe: Flow,
    wash: Flow,
    charged: Flow,
    collected: Flow,
    low_wines: Flow,
    charged_again: Flow,
    collected_again: Flow,
    brought: Flow,
    filter_flows: tuple[Flow, Flow],
    bottled: Flow,
    from_filter: Flow,
) -> Flows:
    """All of them."""
    runs = (charged, collected, low_wines, charged_again, collected_again)
    return Flows(recipe, wash, *runs, brought, *filter_flows, bottled, from_filter)


@column("balance")
def from_elsewhere(flows: Flows) -> Array:
    """Pure alcohol (L) of other batches that passes each stage; NaN where there is none."""
    return np.array([flow.foreign if flow.foreign > 0 else NAN for flow in flows.by_stage()])
