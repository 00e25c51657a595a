"""The balance sheet: where the alcohol went, from the recipe to the bottle.

What passes each stage is in `flows`, what of it is lost or in hand in `accounts`.
"""

from typing import Any

import numpy as np

from sheetcalc import units
from sheetcalc.liquids import Array
from sheetcalc.stages import slips
from sheetcalc.stages.accounts import Account, account
from sheetcalc.stages.flows import (
    BOTTLED,
    BROUGHT,
    CHARGED,
    CHARGED_AGAIN,
    COLLECTED,
    COLLECTED_AGAIN,
    FILTERED,
    NAN,
    NOTHING,
    RECIPE,
    STAGES,
    WASH,
    Flow,
    Flows,
    is_known,
    margin_of,
)
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.samples import MEASURES
from sheetcalc.stages.slips import Mask, Texts

LEAST_RECOVERY = 0.2  # of a run's alcohol; below it the run was typed wrong, which its own sheet tells


@column("balance")
def working(fermentation_state: Any, flows: Flows) -> bool:
    """Whether the wash still ferments: it never stood still, and nothing of it was run."""
    states = set(np.atleast_1d(fermentation_state))
    run = any(is_known(flow.alcohol) for flow in flows.by_stage()[CHARGED:])
    return not (run or states & {"standing", "finished", "stalled"}) and is_known(flows.wash.alcohol)


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
    return np.array(margin_of(*flows.by_stage()[WASH:]) if _compared(flows) else NAN)


def _compared(flows: Flows) -> bool:
    """Whether two stages from the wash on are known, so that there is something to compare."""
    return sum(is_known(flow.alcohol) for flow in flows.by_stage()[WASH:]) > 1


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
        before = next((f for f in passing[number - 1 : RECIPE : -1] if is_known(f.alcohol)), NOTHING)
        found[number] = now.alcohol - books.available[number] - slips.SURE * margin_of(now, before)
    found[[CHARGED_AGAIN, BROUGHT, FILTERED, BOTTLED]] -= unmeasured
    return found


@column("balance")
def beyond_kept(flows: Flows, kept: Flow, unmeasured: float) -> Array:
    """Pure alcohol (L) at each stage beyond the hearts and what volumes and strengths can be off."""
    found = np.full(len(STAGES), NAN)
    for stage, now in ((BROUGHT, flows.brought), (FILTERED, flows.into_filter), (BOTTLED, flows.bottled)):
        off = max(slips.SURE * margin_of(now, kept), MEASURES * kept.alcohol)
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
