"""The carbon sheet: how a lot went through the filter, and what stayed in it."""

from typing import Any, NamedTuple

import numpy as np

from sheetcalc.liquids import Array
from sheetcalc.stages import lots, slips
from sheetcalc.stages.registry import add_check, check, column
from sheetcalc.stages.slips import Mask, Texts

# Common practice, all of it.
STRONGEST = 50.0  # % vol; in stronger spirit carbon takes up little
USUAL_CARBON = (50.0, 250.0)  # g for each L; half of the least and double of the most is unusual
SPENT = 20.0  # L through each kg: the least usual carbon for all of it
USUAL_HOURS = (6.0, 12.0)  # h for each L
FASTEST = 3.0  # h for each L, and for each L and 100 g a litre; half of the usual least
SLOWEST = 24.0  # h for each L, or for less than that; double of the usual most
HOLDS = 1.5  # L that each kg of carbon keeps, in its pores and between the grains

FAR = 180.0  # d within which most spirit is filtered and bottled (common practice)
VOLUME = 0.03  # share by which a volume may be off, as on the runs sheet
TWO_VOLUMES = VOLUME * 2**0.5


@column("carbon")
def carbon_per_litre(carbon_mass: Array, volume_in: Array) -> Array:
    """Dry carbon, g for each L that goes in."""
    return 1000 * carbon_mass / _positive(volume_in)


class Meant(NamedTuple):
    """What dates were meant as (days since 1899-12-30), NaN where nothing tells; and the slips, in words."""

    started: Array
    ended: Array
    slip: Texts


@column("carbon")
def one_date_off(started_at: Array, ended_at: Array, volume_in: Array, runs_stopped: Array) -> Meant:
    """Lines whose times do not fit each other, where another date in one of them would.

    Of two that would, the one farther from the runs is wrong.
    """
    meant = _nothing_meant(len(started_at))
    near = float(np.fmax.reduce(np.atleast_1d(runs_stopped), initial=np.nan))
    most = SLOWEST * np.maximum(volume_in, 1.0) / 24
    for i in np.flatnonzero((ended_at <= started_at) | (ended_at - started_at > most)):
        ways = []
        for start, slip in slips.other_dates(started_at[i]):
            ways.append((start, ended_at[i], 0, slip))
        for end, slip in slips.other_dates(ended_at[i]):
            ways.append((started_at[i], end, 1, slip))
        typed = started_at[i], ended_at[i]
        ways = [way for way in ways if 0 < way[1] - way[0] <= most[i]]
        if ways:
            *times, which, slip = max(ways, key=lambda way: np.nan_to_num(abs(typed[way[2]] - near)))
            meant[which][i] = times[which]
            meant.slip[i] = slips.would_fit(slip, times[which])
    return meant


@column("carbon")
def slipped(one_date_off: Meant) -> Mask:
    """Which lines have one date that another would fit better."""
    return np.asarray(one_date_off.slip != "", dtype=bool)


@column("carbon")
def both_dates_off(
    lot: Any,
    started_at: Array,
    ended_at: Array,
    runs_stopped: Array,
    slipped: Mask,
    bottling_lot: Any,
    bottling_bottled_at: Array,
) -> Meant:
    """Lines before the first run or after their lot was bottled, or long after all was, where another date
    would be between; not those with one wrong date."""
    meant = _nothing_meant(len(started_at))
    first = float(np.fmin.reduce(np.atleast_1d(runs_stopped), initial=np.nan))
    bottled = np.atleast_1d(bottling_bottled_at)
    last = float(np.fmax.reduce(bottled, initial=np.nan))
    names, in_bottles = lots.names(lot, started_at), lots.names(bottling_lot, bottled)
    for i, name in enumerate(names):
        of_lot = bottled[(in_bottles == name) & (name != "")]
        until = float(np.fmin.reduce(of_lot, initial=np.nan))
        # A day without a time lasts until midnight.
        after = started_at[i] > until + 1 or started_at[i] > last + FAR
        if slipped[i] or not (started_at[i] < first or after):
            continue
        for start, slip in slips.other_dates(started_at[i]):
            if first <= start <= np.fmin(first + FAR, (last if np.isnan(until) else until) + 1):
                meant.started[i], meant.ended[i] = start, ended_at[i] + start - started_at[i]
                meant.slip[i] = slips.would_fit(slip, start)
                break
    return meant


def _nothing_meant(lines: int) -> Meant:
    return Meant(np.full(lines, np.nan), np.full(lines, np.nan), np.full(lines, "", dtype=object))


@column("carbon")
def started(started_at: Array, one_date_off: Meant, both_dates_off: Meant) -> Array:
    """When (days) each line began, by the dates that were meant."""
    return _as_meant(started_at, one_date_off.started, both_dates_off.started)


@column("carbon")
def ended(ended_at: Array, one_date_off: Meant, both_dates_off: Meant) -> Array:
    """When (days) each line ended, by the dates that were meant."""
    return _as_meant(ended_at, one_date_off.ended, both_dates_off.ended)


def _as_meant(typed: Array, *meant: Array) -> Array:
    for moments in meant:
        typed = np.where(np.isnan(moments), typed, moments)
    return typed


@column("carbon")
def contact(started_at: Array, ended_at: Array, slipped: Mask) -> Array:
    """Hours from start to end; blank where the end is before the start, or one of the two is mistyped."""
    hours = (ended_at - started_at) * 24
    return np.where((hours > 0) & ~slipped, hours, np.nan)


@column("carbon")
def flow(volume_in: Array, contact: Array) -> Array:
    """L an hour of what went in."""
    return volume_in / contact


@column("carbon")
def loss(volume_in: Array, volume_out: Array) -> Array:
    """Volume (L) in less out."""
    return volume_in - volume_out


@column("carbon")
def alcohol_in(volume_in: Array, strength_in: Array) -> Array:
    """Pure alcohol (L) that went in."""
    return volume_in * strength_in / 100


@column("carbon")
def alcohol_out(volume_out: Array, strength_out: Array) -> Array:
    """Pure alcohol (L) that came out."""
    return volume_out * strength_out / 100


@column("carbon")
def alcohol_lost(alcohol_in: Array, alcohol_out: Array) -> Array:
    """Pure alcohol (L) in less out."""
    return alcohol_in - alcohol_out


@column("carbon", across=True)
def litres_through(
    volume_in: Array, freshness: Any, started: Array, lot_volume: Array, carbon_per_litre: Array
) -> Array:
    """Volume (L) that went through since the carbon was fresh, this lot included.

    In the order of time where every lot has one, else in the order of the lines. A volume that can't be,
    or for which the carbon is far from usual, is not counted.
    """
    dated = bool(np.isfinite(started).all())
    order = np.argsort(started, kind="stable") if dated else np.arange(len(volume_in))
    counted = (carbon_per_litre > 0) & ~_too_much(volume_in, lot_volume) & ~_unusual(carbon_per_litre)
    total, litres = np.full(len(volume_in), np.nan), 0.0
    for i in order:
        litres = (volume_in[i] if counted[i] else 0.0) + (litres if freshness[i] == "used again" else 0.0)
        total[i] = litres if counted[i] else np.nan
    return total


@column("carbon")
def through(litres_through: Array, carbon_mass: Array) -> Array:
    """L for each kg of carbon since it was fresh."""
    return litres_through / _positive(carbon_mass)


@column("carbon")
def of_lot(lot: Any, strength_lot: Any) -> Mask:
    """Which lines (columns) of the strength sheet are of the lot on each line (rows) here."""
    here, there = lots.names(lot, lot), lots.names(strength_lot, strength_lot)
    return np.asarray((here[:, None] == there[None, :]) & (here != "")[:, None], dtype=bool)


@column("carbon")
def lot_in_doubt(of_lot: Mask, strength_not_to_judge_by: Any) -> Mask:
    """Whether the strength sheet tells something of the lot there already."""
    return np.asarray((of_lot & (_beside(of_lot, strength_not_to_judge_by) == 1)).any(axis=1), dtype=bool)


@column("carbon")
def lot_volume(
    of_lot: Mask, lot_in_doubt: Mask, strength_volume: Array, strength_final_volume: Array
) -> Array:
    """The most (L) that the strength sheet knows of the lot; NaN where it does not know it for sure."""
    known = np.fmax(_beside(of_lot, strength_volume), _beside(of_lot, strength_final_volume))
    most = np.fmax.reduce(np.where(of_lot, known, np.nan), axis=1, initial=np.nan)
    return np.asarray(np.where(lot_in_doubt, np.nan, most))


@column("carbon")
def lot_strength(
    strength_in: Array, of_lot: Mask, strength_final_strength: Array, strength_strength_after: Array
) -> Array:
    """Of the lot's strengths (% vol) on the strength sheet, measured or computed, the nearest one.

    Where the two differ that is told there.
    """
    columns = (strength_final_strength, strength_strength_after)
    known = np.concatenate([_beside(of_lot, values) for values in columns])
    above = np.where(np.hstack([of_lot, of_lot]), known - strength_in[:, None], np.nan)
    nearest = np.fmin.reduce(np.abs(above), axis=1, initial=np.nan)
    over = (above == nearest[:, None]).any(axis=1)
    return np.asarray(strength_in + np.where(over, nearest, -nearest))


@column("carbon")
def agrees(
    volume_in: Array,
    volume_out: Array,
    strength_in: Array,
    strength_out: Array,
    loss: Array,
    carbon_mass: Array,
    two_strengths: float,
) -> Mask:
    """Which lines' volumes in and out bear each other out."""
    more = (volume_out > volume_in * (1 + TWO_VOLUMES)) | (strength_out > strength_in + two_strengths)
    short = loss > HOLDS * np.nan_to_num(carbon_mass) + TWO_VOLUMES * volume_in
    return np.isfinite(volume_in + volume_out) & ~more & ~short


@column("carbon")
def strength_in_doubt(strength_in: Array, lot_strength: Array, two_strengths: float) -> Mask:
    """Whether it is far from what the lot had; half a % vol more than readings, because people round it."""
    return np.asarray(np.abs(strength_in - lot_strength) > two_strengths + 0.5)


def _beside(of_lot: Mask, values: Array) -> Array:
    """Values of the strength sheet, one for each column of `of_lot`; all blank where the sheet is missing."""
    lines = of_lot.shape[1]
    return values if np.shape(values) == (lines,) else np.full(lines, np.nan)


@column("carbon")
def two_strengths(strength_doubt: float) -> float:
    """How far (% vol) two readings of the same spirit may differ: two glasses, two temperatures."""
    return float(strength_doubt * np.sqrt(2))


def _positive(values: Array) -> Array:
    """Values to divide by: blank where there is nothing."""
    return np.where(values > 0, values, np.nan)


@check(
    "carbon",
    cell="lot",
    level="note",
    says="There is no lot {lot} on {sheets_strength_blend}, so how much there was is not known. {near}",
    advice="If so, spell it as there.",
)
def misspelled_lot(lot: Any, strength_lot: Any, blend_lot: Any) -> tuple[Mask, dict[str, Any]]:
    """A name almost like one that is there; another may be of spirit that came in from elsewhere."""
    near = lots.misspelled(lot, strength_lot, blend_lot)
    return near != "", {"near": (lots.may_be(near), "")}


@check(
    "carbon",
    cell="volume_in",
    level="error",
    says="{volume_in} goes in, but on {sheets_strength} this lot is only {lot_volume}.",
    advice="Check both volumes and their units; if several lots went in together, give the mix a name of "
    "its own.",
)
def more_than_the_lot(lot_volume: Array, too_much: Mask) -> tuple[Mask, dict[str, Any]]:
    """More than there is, by more than two volumes may be off."""
    fits = (0.2 * lot_volume, lot_volume * (1 + TWO_VOLUMES))
    return too_much, {"lot_volume": (lot_volume, "volume_in"), "fits": fits}


@column("carbon")
def too_much(volume_in: Array, lot_volume: Array) -> Mask:
    """Which lines hold more than there is of their lot."""
    return _too_much(volume_in, lot_volume)


def _too_much(volume_in: Array, lot_volume: Array) -> Mask:
    return np.asarray(volume_in > lot_volume * (1 + TWO_VOLUMES))


@check(
    "carbon",
    cell="strength_in",
    level="warning",
    says="{strength_in} does not fit the {known} that {sheets_strength} shows for this lot.",
    advice="Measure it again, and type the true strength at 20 °C.",
)
def not_as_on_strength(
    strength_in: Array,
    lot_strength: Array,
    strength_in_doubt: Mask,
    strength_doubt: float,
    two_strengths: float,
) -> tuple[Mask, dict[str, Any]]:
    """In doubt; one that is too strong for the filter anyway is told by another check."""
    wrong = strength_in_doubt & ~_too_strong(strength_in, strength_doubt)
    fits = (lot_strength - two_strengths, lot_strength + two_strengths)
    return wrong, {"known": (lot_strength, "strength_in"), "fits": fits}


@check(
    "carbon",
    cell="strength_in",
    level="warning",
    says="{strength_in} is too strong for the filter: above 50 % vol carbon takes up little.",
    advice="Bring it to 40 to 50 % vol (80 to 100 proof) with water first. Above about 60 % vol it can "
    "catch fire at room temperature: no flame or spark near it.",
)
def too_strong_to_filter(strength_in: Array, strength_doubt: float) -> tuple[Mask, dict[str, Any]]:
    """Above the trade's limit by more than the glass can be off."""
    return _too_strong(strength_in, strength_doubt), {"fits": (35.0, STRONGEST)}


def _too_strong(strength_in: Array, strength_doubt: float) -> Mask:
    return strength_in > STRONGEST + slips.SURE * strength_doubt


@check(
    "carbon",
    cell="carbon_mass",
    level="warning",
    says="{carbon_mass} for {volume_in} is far from the usual {least} to {most}.",
    advice="Check the mass, the volume and their units; weigh the carbon dry.",
)
def unusual_carbon(
    volume_in: Array, carbon_per_litre: Array, lot_volume: Array
) -> tuple[Mask, dict[str, Any]]:
    """Below half of the least or above double of the most; not where the volume itself can't be."""
    least, most = (rate * volume_in / 1000 for rate in USUAL_CARBON)
    like = "carbon_mass"
    return _unusual(carbon_per_litre) & ~_too_much(volume_in, lot_volume), {
        "least": (least, like),
        "most": (most, like),
        "fits": (least, most),
    }


@check(
    "carbon",
    cell="carbon_mass",
    level="note",
    says="For {volume_in} {least} to {most} of dry carbon are usual.",
    advice="Weigh it dry, rinse it with hot water, and type the mass.",
    due=True,
)
def carbon_to_take(volume_in: Array, carbon_mass: Array) -> tuple[Mask, dict[str, Any]]:
    """Told before it is poured, while the mass is blank."""
    least, most = ((rate * volume_in / 1000, "carbon_mass") for rate in USUAL_CARBON)
    return np.isnan(carbon_mass) & np.isfinite(volume_in), {"least": least, "most": most}


def _unusual(carbon_per_litre: Array) -> Mask:
    return (carbon_per_litre < USUAL_CARBON[0] / 2) | (carbon_per_litre > USUAL_CARBON[1] * 2)


@check(
    "carbon",
    cell="freshness",
    level="note",
    says="{through} have gone through this carbon; after about {spent} it is spent.",
    advice="Take fresh carbon for the next lot, and rinse it with hot water first.",
)
def renew_carbon(through: Array, volume_in: Array, carbon_mass: Array) -> tuple[Mask, dict[str, Any]]:
    """This lot reached it."""
    before = through - volume_in / _positive(carbon_mass)
    wrong = (through >= SPENT) & (before < SPENT)
    return wrong, {"spent": (np.full(len(through), SPENT), "through")}


@check(
    "carbon",
    cell="freshness",
    level="warning",
    says="This carbon was spent before this lot: {before} had gone through, and about {spent} is the most.",
    advice="Filter it once more through fresh carbon.",
)
def spent_carbon(through: Array, volume_in: Array, carbon_mass: Array) -> tuple[Mask, dict[str, Any]]:
    """Reached by the lots before."""
    before = through - volume_in / _positive(carbon_mass)
    more = {"before": (before, "through"), "spent": (np.full(len(through), SPENT), "through")}
    return before >= SPENT, more


@check(
    "carbon",
    cell="ended_at",
    level="note",
    says="Due next: {volume_in} usually takes from {earliest} to {latest} to go through.",
    advice="Let it drip slowly; then type when it ended and what came out.",
    due=True,
)
def still_dripping(
    volume_in: Array, started_at: Array, ended_at: Array, volume_out: Array
) -> tuple[Mask, dict[str, Any]]:
    """Begun, and nothing typed of its end."""
    earliest, latest = ((started_at + hours * volume_in / 24, "ended_at") for hours in USUAL_HOURS)
    going = np.isfinite(started_at * volume_in) & np.isnan(ended_at) & np.isnan(volume_out)
    return going, {"earliest": earliest, "latest": latest}


@check(
    "carbon",
    cell="ended_at",
    level="error",
    says="It ended, {ended_at}, before it started, {started_at}.",
    advice="Check both dates and times.",
)
def ended_before_it_started(started_at: Array, ended_at: Array, slipped: Mask) -> Mask:
    """Times in the wrong order, or no time between them."""
    return (ended_at <= started_at) & ~slipped


def _date_off(cell: str, other: str, which: int) -> None:
    """Declare the check of one of a line's dates against the other."""

    def off(one_date_off: Meant) -> tuple[Mask, dict[str, Any]]:
        return np.isfinite(one_date_off[which]), {"slip": (one_date_off.slip, "")}

    says = f"{{{cell}}} does not fit {{{other}}}. {{slip}}"
    advice = "Correct the date; year first (2026-03-04) can't be misread."
    add_check(f"date_of_{cell}", "carbon", cell, "error", says, advice, off, ("one_date_off",))


_date_off("started_at", "ended_at", 0)
_date_off("ended_at", "started_at", 1)


@check(
    "carbon",
    cell="started_at",
    level="warning",
    says="{started_at} is before the first run stopped, {first}. {slip}",
    advice="Check the dates, above all the year; spirit of another batch may stay.",
)
def before_the_first_run(
    started_at: Array, slipped: Mask, runs_stopped: Array, both_dates_off: Meant
) -> tuple[Mask, dict[str, Any]]:
    """Nothing to filter yet."""
    first = np.full(len(started_at), np.fmin.reduce(np.atleast_1d(runs_stopped), initial=np.nan))
    shown = {"first": (first, "started_at"), "slip": (both_dates_off.slip, "")}
    # A day without a time lasts until midnight.
    return (started_at < np.floor(first)) & ~slipped, shown


@check(
    "carbon",
    cell="started_at",
    level="warning",
    says="{started_at} is after it was bottled. {slip}",
    advice="Check this date and those on {sheets_bottling}.",
)
def after_it_was_bottled(
    started_at: Array, slipped: Mask, runs_stopped: Array, both_dates_off: Meant
) -> tuple[Mask, dict[str, Any]]:
    """Where another date would be before that."""
    first = np.fmin.reduce(np.atleast_1d(runs_stopped), initial=np.nan)
    wrong = np.isfinite(both_dates_off.started) & (started_at >= first) & ~slipped
    return wrong, {"slip": (both_dates_off.slip, "")}


@check(
    "carbon",
    cell="started_at",
    level="note",
    says="{started_at} is more than half a year after the last run, {last}; a year earlier it would fit, "
    "too: {meant}.",
    advice="Check the year; if the spirit rested so long, it may stay.",
)
def filtered_a_year_later(
    started_at: Array, slipped: Mask, runs_stopped: Array, both_dates_off: Meant
) -> tuple[Mask, dict[str, Any]]:
    """As for bottles, while nothing else tells."""
    last = np.full(len(started_at), np.fmax.reduce(np.atleast_1d(runs_stopped), initial=np.nan))
    meant = slips.in_another_year(started_at, -1)
    fits = (meant >= np.floor(last)) & (meant - last <= FAR)
    wrong = fits & ~slipped & np.isnan(both_dates_off.started)
    return wrong, {"last": (last, "started_at"), "meant": (meant, "started_at")}


@check(
    "carbon",
    cell="ended_at",
    level="warning",
    says="{volume_in} in {hours} is fast for {carbon_mass} of carbon; 6 to 12 hours for 1 L is usual.",
    advice="Check the times; if they are right, slow the filter down and let it go through once more.",
)
def too_fast(contact: Array, volume_in: Array, carbon_per_litre: Array) -> tuple[Mask, dict[str, Any]]:
    """Fast for its volume, and for its carbon, too: a large bed may run faster."""
    paced = contact / _positive(volume_in)
    wrong = (paced < FASTEST) & (contact * carbon_per_litre / 100 < FASTEST)
    return wrong & ~_unusual(carbon_per_litre), {"hours": (_hours(contact), "")}


@check(
    "carbon",
    cell="ended_at",
    level="warning",
    says="{volume_in} in {hours} is very slow; 6 to 12 hours for 1 L is usual.",
    advice="Check the dates; if they are right, carbon dust may clog the filter, and spirit that stands "
    "open loses alcohol.",
)
def too_slow(contact: Array, volume_in: Array) -> tuple[Mask, dict[str, Any]]:
    """More than double of the usual; a small jar gets as long as a litre."""
    return contact > SLOWEST * np.maximum(volume_in, 1.0), {"hours": (_hours(contact), "")}


def _hours(contact: Array) -> Any:
    words = [("" if np.isnan(h) else f"{h:.1f} hours" if h < 10 else f"{h:.0f} hours") for h in contact]
    return np.array(words, dtype=object)


@check(
    "carbon",
    cell="strength_out",
    level="error",
    says="{strength_out} came out of {strength_in}: no carbon makes spirit stronger.",
    advice="Measure both again at about 20 °C (68 °F), and check their units.",
)
def stronger_out(
    strength_in: Array, strength_out: Array, strength_in_doubt: Mask, two_strengths: float
) -> Mask:
    """By more than two readings may differ, where the strength that went in is not itself in doubt."""
    return (strength_out > strength_in + two_strengths) & ~strength_in_doubt


@check(
    "carbon",
    cell="volume_out",
    level="error",
    says="{out} of pure alcohol came out, but only {into} went in.",
    advice="Check both volumes, the strengths and their units.",
)
def more_alcohol_out(
    alcohol_in: Array,
    alcohol_out: Array,
    volume_in: Array,
    strength_in: Array,
    strength_out: Array,
    strength_in_doubt: Mask,
    two_strengths: float,
) -> tuple[Mask, dict[str, Any]]:
    """Beyond what two volumes and two readings may be off; a wrong strength is told by itself."""
    gained = _gained(alcohol_in, alcohol_out, strength_in, two_strengths)
    wrong = gained & ~(strength_out > strength_in + two_strengths) & ~strength_in_doubt
    like = "alcohol_lost"
    return wrong, {
        "out": (alcohol_out, like),
        "into": (alcohol_in, like),
        "fits": (0.5 * volume_in, volume_in),
    }


def _gained(alcohol_in: Array, alcohol_out: Array, strength_in: Array, two_strengths: float) -> Mask:
    allowed = 1 + np.hypot(TWO_VOLUMES, two_strengths / _positive(strength_in))
    return np.asarray(alcohol_out > alcohol_in * allowed)


@check(
    "carbon",
    cell="volume_out",
    level="warning",
    says="{volume_out} came out of {volume_in}; only rinsing water makes it more.",
    advice="Check both volumes and their units; if you rinsed the filter, measure the strength out.",
)
def more_volume_out(
    volume_in: Array,
    volume_out: Array,
    alcohol_in: Array,
    alcohol_out: Array,
    strength_in: Array,
    two_strengths: float,
) -> tuple[Mask, dict[str, Any]]:
    """By more than two volumes may be off; with too much alcohol in it, it is told by another check."""
    wrong = (volume_out > volume_in * (1 + TWO_VOLUMES)) & ~_gained(
        alcohol_in, alcohol_out, strength_in, two_strengths
    )
    return wrong, {"fits": (0.5 * volume_in, volume_in)}


@check(
    "carbon",
    cell="volume_out",
    level="warning",
    says="{loss} of {volume_in} stayed behind; {carbon_mass} of carbon keeps about {kept}.",
    advice="Check the volumes and their units; let it drain, look for a leak, and rinse the rest out with "
    "water.",
)
def much_lost(
    loss: Array, volume_in: Array, carbon_mass: Array, carbon_per_litre: Array
) -> tuple[Mask, dict[str, Any]]:
    """More than wet carbon holds, and than two volumes may be off."""
    kept = HOLDS * carbon_mass
    wrong = _short(loss, volume_in, carbon_mass) & ~_unusual(carbon_per_litre)
    return wrong, {"kept": (kept, "loss"), "fits": (0.5 * volume_in, volume_in)}


def _short(loss: Array, volume_in: Array, carbon_mass: Array) -> Mask:
    return loss > HOLDS * carbon_mass + TWO_VOLUMES * volume_in


@check(
    "carbon",
    cell="strength_out",
    level="warning",
    says="{alcohol_lost} of pure alcohol is gone, more than {carbon_mass} of carbon keeps ({kept}).",
    advice="Measure the strength again; if it is right, the carbon may have been too wet, or the spirit "
    "stood open.",
)
def alcohol_gone(
    alcohol_lost: Array,
    alcohol_in: Array,
    strength_in: Array,
    strength_in_doubt: Mask,
    loss: Array,
    volume_in: Array,
    carbon_mass: Array,
    carbon_per_litre: Array,
    two_strengths: float,
) -> tuple[Mask, dict[str, Any]]:
    """More than wet carbon holds and than readings may be off; what another check explains is left to it."""
    kept = HOLDS * carbon_mass * strength_in / 100
    most = kept + alcohol_in * np.hypot(TWO_VOLUMES, two_strengths / _positive(strength_in))
    told = _short(loss, volume_in, carbon_mass) | _unusual(carbon_per_litre) | strength_in_doubt
    return (alcohol_lost > most) & ~told, {"kept": (kept, "alcohol_lost")}


@check(
    "carbon",
    cell="strength_out",
    level="note",
    says="Without the strength that came out, the alcohol that stayed behind can't be computed.",
    advice="Measure it and type it.",
)
def strength_out_missing(volume_out: Array, strength_out: Array) -> Mask:
    """A volume alone."""
    return np.isfinite(volume_out) & np.isnan(strength_out)
