"""What a register keeps of a batch, one value each.

What stands on the batch card is taken from there under its own key; here is what has to be found first.
"""

from typing import Any

import numpy as np

from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array
from sheetcalc.stages.fermentation import Curve, standing_since
from sheetcalc.stages.flows import WASH, Flow, Flows
from sheetcalc.stages.registry import column
from sheetcalc.stages.slips import Mask, Texts

NAN = float("nan")


@column("register")
def distilled_at(runs_filled_at: Array) -> float:
    """When (days since 1899-12-30) the first charge was heated."""
    return _least(runs_filled_at)


@column("register")
def last_bottled_at(bottling_bottled_at: Array) -> float:
    """When (days since 1899-12-30) the last of it was bottled."""
    return -_least(-np.atleast_1d(bottling_bottled_at))


@column("register")
def final_gravity(fermentation_sound: Curve) -> float:
    """Gravity (SG 20/20) of the last reading that fits the others."""
    gravity = fermentation_sound.gravity
    return float(gravity[-1]) if len(gravity) else NAN


@column("register")
def attenuation(fermentation_sound: Curve, fermentation_attenuation: Array) -> float:
    """Share (0 to 1) of the extract that was fermented by then."""
    at = fermentation_sound.at
    return float(np.atleast_1d(fermentation_attenuation)[at[-1]]) if len(at) else NAN


@column("register")
def fermentation_time(
    fermentation_sound: Curve, fermentation_state: Texts, started_at: Array, hydrometer: Instrument
) -> float:
    """Time (h) from the yeast, or else the first reading, to the first reading of the last standstill.

    NaN while it works, or where it has not stood for two days.
    """
    days, at = fermentation_sound.days, fermentation_sound.at
    if not len(at) or fermentation_state[at[-1]] not in ("finished", "stalled"):
        return NAN
    end = days[standing_since(fermentation_sound.gravity, len(at) - 1, hydrometer)]
    begun = float(started_at) if np.isfinite(started_at) else days[0]
    return float(end - begun) * 24 if end > begun else NAN


@column("register")
def wash_strength(balance_strength: Array) -> float:
    """Strength (% vol) of the wash, by its last gravity or else by its charges."""
    return float(balance_strength[WASH])


@column("register")
def wash_alcohol(balance_flows: Flows) -> float:
    """Pure alcohol (L) of the wash."""
    return balance_flows.by_stage()[WASH].alcohol


@column("register")
def run_count(balance_measured: Mask) -> float:
    """Runs whose spirit is known."""
    return float(np.sum(balance_measured))


@column("register")
def last_runs(balance_flows: Flows) -> Flow:
    """What the spirit runs gave, or the only ones."""
    again = balance_flows.collected_again
    return again if np.isfinite(again.alcohol) else balance_flows.collected


@column("register")
def collected_volume(last_runs: Flow) -> float:
    """Volume (L at 20 °C) that the last runs gave."""
    return last_runs.volume


@column("register")
def collected_alcohol(last_runs: Flow) -> float:
    """Pure alcohol (L) that the last runs gave."""
    return last_runs.alcohol


@column("register")
def recovery(runs_charge_alcohol: Array, runs_collected_alcohol: Array) -> float:
    """Share (0 to 1) of the alcohol charged that came over, in all runs measured on both sides."""
    charged, came = np.atleast_1d(runs_charge_alcohol), np.atleast_1d(runs_collected_alcohol)
    both = np.isfinite(charged) & np.isfinite(came)
    total = float(charged[both].sum())
    return float(came[both].sum()) / total if total > 0 else NAN


@column("register")
def stages_seen(runs_stages_seen: Array) -> float:
    """Effective stages of the still: the median of the runs."""
    return _median(runs_stages_seen)


@column("register")
def first_drip(runs_filled_at: Array, runs_first_drip_at: Array) -> float:
    """Time (h) from heat on to the first drip: the median of the runs."""
    hours = (np.atleast_1d(runs_first_drip_at) - np.atleast_1d(runs_filled_at)) * 24
    return _median(hours[hours > 0])


@column("register")
def hearts(cuts_fraction: Any, cuts_volume: Array, cuts_alcohol: Array) -> tuple[float, float]:
    """Volume and pure alcohol (L) in the jars of hearts; NaN where one of them is not known."""
    kept = np.atleast_1d(np.asarray(cuts_fraction, dtype=object)) == "hearts"
    if not kept.any():
        return NAN, NAN
    return float(np.atleast_1d(cuts_volume)[kept].sum()), float(np.atleast_1d(cuts_alcohol)[kept].sum())


@column("register")
def kept_volume(hearts: tuple[float, float]) -> float:
    """Volume (L) of the hearts."""
    return hearts[0]


@column("register")
def kept_alcohol(hearts: tuple[float, float]) -> float:
    """Pure alcohol (L) of the hearts."""
    return hearts[1]


@column("register")
def bottles_filled(costs_bottles: float) -> float:
    """Bottles filled."""
    return costs_bottles


@column("register")
def bottled_volume(balance_in_bottles: Flow) -> float:
    """Volume (L) in bottles."""
    return balance_in_bottles.volume


@column("register")
def bottled_alcohol(balance_in_bottles: Flow) -> float:
    """Pure alcohol (L) in bottles."""
    return balance_in_bottles.alcohol


@column("register")
def overall_yield(balance_overall_yield: Array) -> float:
    """Share (0 to 1) of the wash's alcohol that is in bottles."""
    return float(balance_overall_yield)


@column("register")
def lost(balance_lost_total: Array) -> float:
    """Pure alcohol (L) lost from the wash on."""
    return float(balance_lost_total)


@column("register")
def in_hand(balance_in_hand_total: Array) -> float:
    """Pure alcohol (L) not bottled yet."""
    return float(balance_in_hand_total)


@column("register")
def unaccounted(balance_unaccounted: Array) -> float:
    """Pure alcohol (L) on which the measures do not agree."""
    return float(balance_unaccounted)


@column("register")
def total_cost(costs_total_cost: Array) -> float:
    """Cost of the batch, in its currency."""
    return float(costs_total_cost)


@column("register")
def cost_per_litre_alcohol(costs_cost_per_litre_alcohol: Array) -> float:
    """Cost of a litre of pure alcohol."""
    return float(costs_cost_per_litre_alcohol)


def _median(values: Array) -> float:
    known = np.atleast_1d(values)
    known = known[np.isfinite(known)]
    return float(np.median(known)) if len(known) else NAN


def _least(values: Array) -> float:
    known = np.atleast_1d(values)
    return float(np.nanmin(known)) if np.isfinite(known).any() else NAN
