"""The balance sheet: where the alcohol went, from the recipe to the bottle.

A step that is measured on both sides (a run, the filter) gives a loss. What was there and has not gone on
(wash not run, low wines, heads and tails, spirit not bottled) is in hand. What is smaller than the measures
can tell, or more than there was, belongs to neither: it is unaccounted for. So, exactly,

    wash = bottled + lost + in hand + unaccounted for

and what is unaccounted for has to lie within the uncertainty of the measures. Spirit of other batches that
was poured in on Blend is none of this: each stage counts what this wash gave.
"""

import re
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc import units
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array
from sheetcalc.stages import lots, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.samples import MEASURES, POINTS, YIELDS
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
LEES = 0.1  # of the wash: so much may stay behind with the lees (common practice)
LEAST_RECOVERY = 0.2  # of a run's alcohol; below it the run was typed wrong, which its own sheet tells
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
    """What passes a stage: volume (L), pure alcohol (L), and the alcohol's expanded uncertainty (L)."""

    volume: float
    alcohol: float
    uncertainty: float


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


class Account(NamedTuple):
    """Lost before each stage, in hand at it, and what there was for it to take from: pure alcohol, L.

    `unaccounted` is the sum of what belongs to neither (L, below 0 where more was found than there was).
    """

    lost: Array
    in_hand: Array
    available: Array
    unaccounted: float


def account(flows: Flows, working: bool = False) -> Account:
    """Where the alcohol of the flows went; see the head of this module. NaN where nothing is to tell.

    working: whether the wash still ferments, so that what is missing in it is sugar, not lost.
    """
    books = _Books()
    if not working:
        _fermented(books, flows)
    _first_runs(books, flows)
    low_wines, spirit = _second_runs(books, flows)
    _finished(books, flows, low_wines, spirit)
    return Account(books.lost, books.in_hand, books.available, books.unaccounted)


class _Books:
    """The account while it is made up."""

    def __init__(self) -> None:
        self.lost, self.in_hand, self.available = (np.full(len(STAGES), NAN) for _ in range(3))
        self.unaccounted = 0.0

    def lose(self, stage: int, before: float, now: float) -> None:
        """Less than before is lost on the way; more than before can't be told from where."""
        if _known(before) and _known(now):
            self.lost[stage] = np.nansum([self.lost[stage], max(before - now, 0.0)])
            self.unaccounted += min(before - now, 0.0)

    def settle(self, rest: float, margin: float) -> float:
        """What of a rest is in hand: all of it, if it is more than the measures can be off."""
        if rest > margin:
            return rest
        self.unaccounted += rest
        return 0.0


def _fermented(books: _Books, flows: Flows) -> None:
    """From the recipe to the wash. What did not ferment was never alcohol and is no part of the sum."""
    short = flows.recipe.alcohol - flows.wash.alcohol
    books.lost[WASH] = short if short > 0 else NAN


def _first_runs(books: _Books, flows: Flows) -> None:
    """From the wash to what its runs gave."""
    wash, charged, collected = flows.wash, flows.charged, flows.collected
    books.available[COLLECTED] = charged.alcohol
    if _known(charged.alcohol) and _known(wash.alcohol):
        left = wash.alcohol - charged.alcohol
        if left > max(LEES * wash.alcohol, _margin(wash, charged)):
            books.in_hand[WASH] = left
        else:
            books.lose(CHARGED, wash.alcohol, charged.alcohol)
    before = charged.alcohol if _known(charged.alcohol) else wash.alcohol
    books.lose(COLLECTED, before, collected.alcohol)


def _second_runs(books: _Books, flows: Flows) -> tuple[float, float]:
    """From the first runs to the second ones: the low wines left, and all the spirit there is then.

    Where what was charged again is not known, it counts as all of the low wines, or else as all there was.
    """
    first, again, second = flows.collected, flows.charged_again, flows.collected_again
    if not _known(second.alcohol):
        return 0.0, first.alcohol
    low_wines = flows.low_wines.alcohol if _known(flows.low_wines.alcohol) else 0.0
    there = first.alcohol
    if not _known(there):
        books.lose(CHARGED_AGAIN, flows.wash.alcohol, again.alcohol)
        there = again.alcohol
    before = (again.alcohol, low_wines or NAN, there, flows.wash.alcohol)
    taken = next((alcohol for alcohol in before if _known(alcohol)), NAN)
    books.available[CHARGED_AGAIN] = first.alcohol
    books.available[COLLECTED_AGAIN] = again.alcohol
    rest = books.settle(there - taken, _margin(first, again)) if _known(there - taken) else 0.0
    books.lose(COLLECTED_AGAIN, taken, second.alcohol)
    return min(rest, max(low_wines - taken, 0.0)), rest + second.alcohol


def _finished(books: _Books, flows: Flows, low_wines: float, spirit: float) -> None:
    """From the spirit of the runs to the bottles."""
    brought, into, out, bottled = flows.brought, flows.into_filter, flows.filtered, flows.bottled
    entered = ((BROUGHT, brought), (FILTERED, into), (BOTTLED, bottled))
    stage, used = next(((s, flow) for s, flow in entered if _known(flow.alcohol)), (BOTTLED, NOTHING))
    last_run = COLLECTED_AGAIN if _known(flows.collected_again.alcohol) else COLLECTED
    if not _known(used.alcohol):
        _put_aside(books, flows, last_run, low_wines, spirit)
        return
    books.lose(FILTERED, into.alcohol, out.alcohol)
    filter_loss = into.alcohol - out.alcohol if _known(out.alcohol) else 0.0
    books.available[[BROUGHT, FILTERED]] = there = spirit if _known(spirit) else flows.wash.alcohol
    # What an earlier stage held was there, even if it was more than the runs gave: that was told there.
    books.available[BOTTLED] = np.fmax(there, np.fmax(brought.alcohol, into.alcohol)) - filter_loss
    if not _known(spirit):
        books.lose(stage, flows.wash.alcohol, used.alcohol)
        spirit = used.alcohol
    unused = spirit - used.alcohol
    ready = used.alcohol - filter_loss - (bottled.alcohol if _known(bottled.alcohol) else 0.0)
    # Where more was bottled than went through this stage, the rest went straight from the runs.
    past = min(max(-ready, 0.0), max(unused, 0.0))
    ready, unused = ready + past, unused - past
    at_runs = flows.collected_again if last_run == COLLECTED_AGAIN else flows.collected
    unused = books.settle(unused, _margin(at_runs, used))
    kept = min(unused, low_wines)
    _put_aside(books, flows, last_run, kept, unused)
    filtered = _left_of_filtered(flows, ready)
    by_bottles = _known(bottled.alcohol)
    _hand(books, FILTERED, books.settle(filtered, _margin(out, flows.from_filter) if by_bottles else 0.0))
    _hand(books, BROUGHT, books.settle(ready - filtered, _margin(used, bottled) if by_bottles else 0.0))


def _left_of_filtered(flows: Flows, ready: float) -> float:
    """What of the spirit that is ready was filtered and is not bottled (L of pure alcohol).

    Where the bottles don't tell their lot, they were filled from what was filtered.
    """
    out, bottled, of_it = (flow.alcohol for flow in (flows.filtered, flows.bottled, flows.from_filter))
    if not _known(out):
        return 0.0
    gone = of_it if _known(of_it) else bottled if _known(bottled) else 0.0
    return max(min(out - gone, ready), 0.0)


def _put_aside(books: _Books, flows: Flows, last_run: int, low_wines: float, spirit: float) -> None:
    """Low wines, and spirit of the last runs, that have not gone on; or else the wash that was never run."""
    if _known(spirit):
        _hand(books, COLLECTED, low_wines if last_run == COLLECTED_AGAIN else spirit)
        _hand(books, COLLECTED_AGAIN, spirit - low_wines if last_run == COLLECTED_AGAIN else 0.0)
    else:
        _hand(books, WASH, flows.wash.alcohol)


def _hand(books: _Books, stage: int, alcohol: float) -> None:
    if alcohol > 0:
        books.in_hand[stage] = alcohol


def _known(value: float) -> bool:
    return bool(np.isfinite(value))


def _margin(*flows: Flow) -> float:
    """Expanded uncertainty of a difference of flows, L of pure alcohol."""
    return float(np.sqrt(np.nansum([flow.uncertainty**2 for flow in flows])))


def _flow(
    volume: ArrayLike, alcohol: ArrayLike, at: Mask | bool, measure: float, strength_uncertainty: float
) -> Flow:
    """The lines of one stage together. Their strengths come from one glass, so its errors add up."""
    mask = np.atleast_1d(at)
    volumes, amounts = (
        np.broadcast_to(np.asarray(a, dtype=float), mask.shape)[mask] for a in (volume, alcohol)
    )
    if not len(amounts) or not np.isfinite(amounts).all():
        return NOTHING
    litres, pure = float(volumes.sum()), float(amounts.sum())
    return Flow(litres, pure, float(np.hypot(pure * measure, litres * strength_uncertainty / 100)))


@column("balance")
def wash_uncertainty(runs_alcohol_now: Array, hydrometer: Instrument) -> float:
    """Expanded uncertainty (% vol, k = 2) of the wash's strength: gravities and yield, or a wine's label."""
    by_gravity = np.hypot(POINTS * hydrometer.uncertainty * np.sqrt(2), YIELDS * runs_alcohol_now)
    return float(by_gravity if np.isfinite(runs_alcohol_now) else LABEL_OF_A_WINE)


@column("balance")
def recipe(recipe_expected_volume: Array, recipe_potential_alcohol: Array) -> Flow:
    """What the recipe gives if all of it ferments."""
    alcohol = np.asarray(recipe_expected_volume) * recipe_potential_alcohol / 100
    return _flow(recipe_expected_volume, alcohol, True, RECIPES, 0.0)


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
    return _flow(runs_charge_volume, runs_charge_alcohol, of_wash, LARGE_MEASURE, wash_uncertainty)


@column("balance")
def wash(wash_volume: Array, runs_alcohol_now: Array, charged: Flow, wash_uncertainty: float) -> Flow:
    """What was in the fermenter: by its last strength, or else by that of the charges."""
    of_charges = 100 * charged.alcohol / charged.volume if charged.volume > 0 else NAN
    strength = np.where(np.isnan(runs_alcohol_now), of_charges, runs_alcohol_now)
    return _flow(wash_volume, wash_volume * strength / 100, True, LARGE_MEASURE, wash_uncertainty)


@column("balance")
def collected(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the runs of wash gave."""
    of_wash = measured & (kinds != "spirit")
    return _flow(*spirit, of_wash, SMALL_MEASURE, strength_doubt)


@column("balance")
def low_wines(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the stripping runs gave."""
    stripped = measured & (kinds == "stripping")
    return _flow(*spirit, stripped, SMALL_MEASURE, strength_doubt)


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
    return _flow(runs_charge_volume, runs_charge_alcohol, again, LARGE_MEASURE, strength_doubt)


@column("balance")
def collected_again(spirit: tuple[Array, Array], measured: Mask, kinds: Texts, strength_doubt: float) -> Flow:
    """What the spirit runs gave."""
    again = measured & (kinds == "spirit")
    return _flow(*spirit, again, SMALL_MEASURE, strength_doubt)


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
    given = _known(collected.alcohol) or _known(collected_again.alcohol)
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
    counted_out = {name: foreign.get(name, 0.0) + share for name, share in already_brought.items()}
    own = _own_after_blending(strength_lot, strength_final_volume, bottling_blended_first, counted_out)
    volume = np.asarray(strength_final_volume) * own
    alcohol = volume * bottling_brought_to / 100
    counted = np.isfinite(np.atleast_1d(alcohol)) & ~bottling_going_on
    return _flow(volume, alcohol, counted, SMALL_MEASURE, strength_doubt)


def _own_after_blending(
    lot: Any, like: ArrayLike, blended_first: set[str], foreign: dict[str, float]
) -> Array:
    """Share (0 to 1) of each line's spirit that is of this batch; all of it in lots not blended before."""
    blends = {name: share for name, share in foreign.items() if name in blended_first}
    return 1 - lots.share_of(lots.names(lot, like), blends)


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
    own = _own_after_blending(carbon_lot, into, bottling_blended_first, foreign)
    into, out = into * own, out * own
    alcohol_in = into * strength_in / 100
    alcohol_out = out * np.where(np.isnan(strength_out), strength_in, strength_out) / 100
    first, last = np.zeros(len(into), dtype=bool), np.zeros(len(into), dtype=bool)
    for _, lines, again in bottling_passes:
        known = np.flatnonzero(lines & np.isfinite(alcohol_in) & np.isfinite(alcohol_out))
        if len(known):
            first[known[np.argmax(into[known])] if again else known] = True
            last[known[np.argmin(out[known])] if again else known] = True
    return (
        _flow(into, alcohol_in, first, SMALL_MEASURE, strength_doubt),
        _flow(out, alcohol_out, last, SMALL_MEASURE, strength_doubt),
    )


@column("balance")
def in_bottles(bottling_volume: Array, bottling_alcohol: Array, strength_doubt: float) -> Flow:
    """All that is in bottles, wherever it came from."""
    filled = np.isfinite(np.atleast_1d(bottling_alcohol))
    return _flow(bottling_volume, bottling_alcohol, filled, SMALL_MEASURE, strength_doubt)


@column("balance")
def own_bottled(
    bottling_lot: Any, bottling_volume: Array, bottling_alcohol: Array, foreign: dict[str, float]
) -> tuple[Array, Array]:
    """Volume and pure alcohol (L) of each filling that are of this batch."""
    own = 1 - lots.share_of(lots.names(bottling_lot, bottling_alcohol), foreign)
    return bottling_volume * own, bottling_alcohol * own


@column("balance")
def bottled(own_bottled: tuple[Array, Array], strength_doubt: float) -> Flow:
    """What of this batch is in bottles."""
    filled = np.isfinite(np.atleast_1d(own_bottled[1]))
    return _flow(*own_bottled, filled, SMALL_MEASURE, strength_doubt)


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
    own_bottled: tuple[Array, Array],
    filtered_share: dict[str, float],
    strength_doubt: float,
) -> Flow:
    """What of the bottles went through the filter; a filling of no lot that is known counts as that."""
    volume, alcohol = own_bottled
    names = lots.names(bottling_lot, alcohol)
    through = np.array([filtered_share.get(name, 1.0) for name in names], dtype=float)
    filled = np.isfinite(np.atleast_1d(alcohol))
    return _flow(volume * through, alcohol * through, filled, SMALL_MEASURE, strength_doubt)


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
def from_elsewhere(
    strength_lot: Any,
    strength_final_volume: Array,
    bottling_brought_to: Array,
    bottling_going_on: Mask,
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_strength_in: Array,
    carbon_volume_out: Array,
    carbon_strength_out: Array,
    bottling_passes: list[tuple[str, Mask, bool]],
    bottling_blended_first: set[str],
    already_brought: dict[str, float],
    in_bottles: Flow,
    flows: Flows,
) -> Array:
    """Pure alcohol (L) of other batches that passes each stage; NaN where there is none."""
    lines = (strength_lot, strength_final_volume, bottling_brought_to, bottling_going_on)
    of_all = (carbon_lot, carbon_volume_in, carbon_strength_in, carbon_volume_out, carbon_strength_out)
    _, filtered = filter_flows(*of_all, bottling_passes, set(), {}, 0.0)
    every = {
        BROUGHT: brought(*lines, bottling_blended_first, {}, already_brought, 0.0),
        FILTERED: filtered,
        BOTTLED: in_bottles,
    }
    foreign = np.full(len(STAGES), NAN)
    for number, flow in every.items():
        more = flow.alcohol - flows.by_stage()[number].alcohol
        foreign[number] = more if more > 0 else NAN
    return foreign


@column("balance")
def working(fermentation_state: Any, flows: Flows) -> bool:
    """Whether the wash still ferments: it never stood still, and nothing of it was run."""
    states = set(np.atleast_1d(fermentation_state))
    run = any(_known(flow.alcohol) for flow in flows.by_stage()[CHARGED:])
    return not (run or states & {"standing", "finished", "stalled"}) and _known(flows.wash.alcohol)


@column("balance")
def books(flows: Flows, working: bool) -> Account:
    """The account of the batch."""
    return account(flows, working)


@column("balance")
def stage(flows: Flows) -> Texts:
    """The stages, as soon as anything is known of one."""
    told = any(np.isfinite(flow.alcohol) for flow in flows.by_stage())
    return np.array(STAGES if told else (), dtype=object)


@column("balance")
def volume(flows: Flows) -> Array:
    """Volume (L) at each stage."""
    return np.array([flow.volume for flow in flows.by_stage()])


@column("balance")
def alcohol(flows: Flows) -> Array:
    """Pure alcohol (L) at each stage."""
    return np.array([flow.alcohol for flow in flows.by_stage()])


@column("balance")
def strength(volume: Array, alcohol: Array) -> Array:
    """Strength (% vol) of all of it together, at each stage."""
    return 100 * alcohol / np.where(volume > 0, volume, NAN)


@column("balance")
def uncertainty(flows: Flows) -> Array:
    """Expanded uncertainty (L of pure alcohol, k = 2) at each stage."""
    return np.array([flow.uncertainty for flow in flows.by_stage()])


@column("balance")
def lost(books: Account) -> Array:
    """Pure alcohol (L) lost before each stage."""
    return books.lost


@column("balance")
def in_hand(books: Account) -> Array:
    """Pure alcohol (L) that has not gone on from each stage."""
    return books.in_hand


@column("balance")
def begun_with(flows: Flows) -> float:
    """Pure alcohol (L) the batch began with: of the wash, or else of its charges; NaN while there is none."""
    known = (flow.alcohol for flow in (flows.wash, flows.charged))
    return next((alcohol for alcohol in known if alcohol > 0), NAN)


@column("balance")
def share(alcohol: Array, begun_with: float) -> Array:
    """Share (0 to 1) of the batch's alcohol, at each stage from the wash on."""
    return np.where(np.arange(len(STAGES)) == RECIPE, NAN, alcohol / begun_with)


@column("balance")
def pure_alcohol(flows: Flows) -> Array:
    """Pure alcohol (L) in bottles."""
    return np.array(flows.bottled.alcohol)


@column("balance")
def overall_yield(flows: Flows, begun_with: float) -> Array:
    """Share (0 to 1) of the batch's alcohol that is in bottles."""
    return np.array(flows.bottled.alcohol / begun_with)


@column("balance")
def in_hand_total(in_hand: Array, stage: Texts) -> Array:
    """Pure alcohol (L) in hand."""
    return np.array(np.nansum(in_hand) if len(stage) else NAN)


@column("balance")
def lost_total(lost: Array, flows: Flows) -> Array:
    """Pure alcohol (L) lost from the wash on."""
    return np.array(np.nansum(lost[CHARGED:]) if _compared(flows) else NAN)


@column("balance")
def unaccounted(books: Account, flows: Flows) -> Array:
    """Pure alcohol (L) that is neither bottled, nor lost, nor in hand."""
    return np.array(books.unaccounted if _compared(flows) else NAN)


@column("balance")
def closure(flows: Flows) -> Array:
    """Expanded uncertainty (L of pure alcohol, k = 2) of what is unaccounted for."""
    return np.array(_margin(*flows.by_stage()[WASH:]) if _compared(flows) else NAN)


def _compared(flows: Flows) -> bool:
    """Whether two stages from the wash on are known, so that there is something to compare."""
    return sum(_known(flow.alcohol) for flow in flows.by_stage()[WASH:]) > 1


@column("balance")
def note(
    books: Account,
    flows: Flows,
    runs_alcohol_now: Array,
    bottling_going_on: Mask,
    working: bool,
    from_elsewhere: Array,
    stage: Texts,
) -> Texts:
    """How each stage was counted, and what of it is lost or in hand, in words."""
    words: dict[int, list[str]] = {number: [] for number in range(len(STAGES))}
    by_gravity = np.isfinite(runs_alcohol_now)
    words[RECIPE] = ["If all of it ferments."]
    words[WASH] = ["By the last gravity." if by_gravity else "By the strength of the charges."]
    if working:
        words[WASH].append("It still ferments: what is missing is sugar.")
    for number, foreign in enumerate(from_elsewhere):
        words[number] += ["Without what came from other batches."] if foreign > 0 else []
    lost = {CHARGED: "The rest stayed with the lees.", FILTERED: "The rest stayed in the carbon."}
    lost |= dict.fromkeys((COLLECTED, COLLECTED_AGAIN), "The rest stayed in the pot.")
    in_hand = {
        WASH: "Not all of it is run.",
        COLLECTED: "Not all of it has gone on.",
        COLLECTED_AGAIN: "Heads, tails and what is not brought to strength are in hand.",
        BROUGHT: "Not all of it is bottled.",
        FILTERED: "Not all of it is bottled.",
    }
    if bottling_going_on.any():
        words[BROUGHT].append("Lots brought down in steps are counted once.")
    for number, text in lost.items():
        words[number] += [text] if books.lost[number] > 0 else []
    for number, text in in_hand.items():
        words[number] += [text] if books.in_hand[number] > 0 else []
    known = [np.isfinite(flow.alcohol) for flow in flows.by_stage()]
    return np.array([" ".join(words[i]) if known[i] else "" for i in range(len(stage))], dtype=object)


@column("balance")
def excess(flows: Flows, books: Account, unmeasured: float) -> Array:
    """Pure alcohol (L) at each stage beyond what there was for it and what the measures can be off.

    What runs without a measure may have given counts as having been there.
    """
    passing = flows.by_stage()
    found = np.full(len(STAGES), NAN)
    for number in range(COLLECTED, len(STAGES)):
        now = flows.into_filter if number == FILTERED else passing[number]
        before = next((f for f in passing[number - 1 : RECIPE : -1] if _known(f.alcohol)), NOTHING)
        found[number] = now.alcohol - books.available[number] - slips.SURE * _margin(now, before)
    found[[CHARGED_AGAIN, BROUGHT, FILTERED, BOTTLED]] -= unmeasured
    return found


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
    return _flow(cuts_volume, cuts_alcohol, hearts, SMALL_MEASURE, strength_doubt) if whole else NOTHING


@column("balance")
def beyond_kept(flows: Flows, kept: Flow, unmeasured: float) -> Array:
    """Pure alcohol (L) at each stage beyond the hearts and what volumes and strengths can be off."""
    found = np.full(len(STAGES), NAN)
    for stage, now in ((BROUGHT, flows.brought), (FILTERED, flows.into_filter), (BOTTLED, flows.bottled)):
        off = max(slips.SURE * _margin(now, kept), MEASURES * kept.alcohol)
        found[stage] = now.alcohol - kept.alcohol - off - unmeasured
    return found


@column("balance")
def doubtful_runs(runs_recovery: Array) -> bool:
    """Whether a run can't be right, which its own sheet tells; the balance then says nothing of its own."""
    recovery = np.atleast_1d(runs_recovery)
    return bool(np.any((recovery > 1 + MEASURES) | (recovery < LEAST_RECOVERY)))


@column("balance")
def doubtful_lots(strength_too_much: Mask) -> bool:
    """Whether a lot alone holds more than the runs gave, which the strength sheet tells."""
    return bool(np.any(strength_too_much))


@column("balance")
def doubtful_filter(carbon_too_much: Mask) -> bool:
    """Whether more went into the filter than there was of a lot, which the carbon sheet tells."""
    return bool(np.any(carbon_too_much))


@column("balance")
def doubtful_bottles(
    bottling_no_bottle: Mask,
    bottling_overdrawn: Mask,
    bottling_label_slipped: Mask,
    bottling_measured_slipped: Mask,
) -> bool:
    """Whether a filling can't be right, which the bottling sheet tells."""
    slips = (bottling_no_bottle, bottling_overdrawn, bottling_label_slipped, bottling_measured_slipped)
    return any(bool(np.any(slip)) for slip in slips)


@check(
    "balance",
    cell="alcohol",
    level="warning",
    says="{now} of pure alcohol, but there was only {available} to take it from.",
    advice="Check volumes, strengths and units of both. Spirit of another batch goes on Blend as a part that "
    "bears its own code, such as RYE-6.",
)
def more_than_before(
    excess: Array,
    books: Account,
    flows: Flows,
    doubtful_runs: bool,
    doubtful_lots: bool,
    doubtful_filter: bool,
    doubtful_bottles: bool,
) -> tuple[Mask, dict[str, Any]]:
    """A later stage holds more than the one before, beyond the uncertainties of both."""
    wrong = np.asarray(excess > 0)
    wrong[CHARGED_AGAIN] = False
    wrong[[BROUGHT, FILTERED]] &= not doubtful_lots
    wrong[FILTERED] &= not doubtful_filter
    wrong[BOTTLED] &= not (doubtful_lots or doubtful_filter or doubtful_bottles)
    now = np.array([flow.alcohol for flow in flows.by_stage()])
    now[FILTERED] = flows.into_filter.alcohol
    return wrong & (not doubtful_runs), {"now": (now, "alcohol"), "available": (books.available, "alcohol")}


@check(
    "balance",
    cell="alcohol",
    level="warning",
    says="{now} of pure alcohol, but the jars of hearts held only {kept}.",
    advice="Spirit of another batch goes on Blend, as a part that bears its own code, such as RYE-6; then "
    "the yield is without it. If heads or tails went in, call those jars hearts. Else check the volumes and "
    "strengths of both.",
)
def more_than_kept(
    beyond_kept: Array,
    kept: Flow,
    flows: Flows,
    excess: Array,
    doubtful_runs: bool,
    doubtful_lots: bool,
    doubtful_filter: bool,
    doubtful_bottles: bool,
) -> tuple[Mask, dict[str, Any]]:
    """More than the hearts of the last runs, but no more than all their spirit; said once."""
    doubtful = doubtful_runs or doubtful_lots or doubtful_filter or doubtful_bottles
    doubtful |= bool((excess[BROUGHT:] > 0).any())
    beyond = np.asarray(beyond_kept > 0) & (not doubtful)
    now = np.array([flow.alcohol for flow in flows.by_stage()])
    now[FILTERED] = flows.into_filter.alcohol
    shown = {"now": (now, "alcohol"), "kept": (np.full(len(STAGES), kept.alcohol), "alcohol")}
    return beyond & (np.cumsum(beyond) == 1), shown


@check(
    "balance",
    cell="from_elsewhere",
    level="note",
    says="On Blend {poured_in} of pure alcohol is of spirit that no sheet before knows: {parts}. It counts "
    "as of another batch.",
    advice="If it is of this batch, call the part like its lot or run, such as 'hearts of run 1'.",
)
def other_batches(
    from_elsewhere: Array, elsewhere: Mask, poured: Array, blend_part: Any
) -> tuple[Mask, dict[str, Any]]:
    """Parts that were taken as spirit of other batches, once something of them goes on; said once."""
    texts = np.broadcast_to(np.asarray(blend_part, dtype=object), elsewhere.shape)[elsewhere]
    parts = np.array(", ".join(dict.fromkeys(units.short(str(text)) for text in texts)), dtype=object)
    there = np.asarray(from_elsewhere > 0)
    shown = {"parts": (parts, ""), "poured_in": (np.array(poured[elsewhere].sum()), "alcohol")}
    return there & (np.cumsum(there) == 1), shown


@check(
    "balance",
    cell="alcohol",
    level="warning",
    says="{alcohol} of pure alcohol charged again, but the runs of wash gave only {available}.",
    advice="If heads and tails of an earlier batch went in, this is why, and the yield looks better than it "
    "was. Else check the charges, their strengths and units.",
)
def more_charged_again(excess: Array, books: Account, doubtful_runs: bool) -> tuple[Mask, dict[str, Any]]:
    """More than this batch gave; what an earlier one left is often put in (common practice)."""
    wrong = (np.arange(len(STAGES)) == CHARGED_AGAIN) & (excess > 0) & (not doubtful_runs)
    return wrong, {"available": (books.available, "alcohol")}
