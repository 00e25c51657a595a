"""The clearing sheet: gas out, finings in, racked off the lees, each in its order and its time."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array
from sheetcalc.stages import samples, slips
from sheetcalc.stages.fermentation import STANDSTILL, Curve
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask, Texts

Places = NDArray[np.intp]

FININGS = ("first fining", "second fining")
REMOVALS = ("racking", "filtering")

# All times and doses below are common practice; the packet goes first.
SECOND_PART = 1.0  # h from silica sol to chitosan
SETTLES = {"gelatine": 24.0, "bentonite": 72.0}  # h at least before racking
SETTLES_USUALLY = 12.0  # h; two-part finings take 12 to 24
LONGEST_DAYS = 60.0  # d; nothing takes longer to clear
ODD_DAYS = 7.0  # d; most clearings are over by then
LATELY = 2.5  # d; two evenings and a morning, as a standstill is looked for
CLOCK = 0.25  # h; times are written down to about a quarter of an hour

# Usual doses, mL or g a litre of wash. Packets differ, so that only half of the least and double of the
# most is called unusual.
LIQUID = {"silica sol": (0.5, 3.0), "chitosan": (1.0, 4.0), "gelatine": (0.3, 3.0)}
POWDER = {"chitosan": (0.02, 0.5), "gelatine": (0.02, 0.3), "bentonite": (0.25, 2.0)}
IMPOSSIBLE_DOSE = 50.0  # mL or g a litre; finings are doses, not ingredients

# Share of the wash that stays with the lees, at most. Pulp and grain hold much more than yeast does.
LEES = {"sugar": 0.15, "wine": 0.15, "molasses": 0.20, "fruit": 0.40, "grain": 0.40}
ANY_LEES = 0.40
MEASURE = 0.05  # share by which two volumes of a wash, read at a fermenter's marks, may be off

NEXT = {
    "degassing": ("first fining", "Let the foam settle; of a two-part fining silica sol goes first."),
    "silica sol": ("second fining", "Spread the chitosan over the top and leave it still."),
    "fining": ("racking", "Leave it still, and rack when it looks clear."),
    "looking": ("racking", "Trust your eye more than the clock."),
    "racking": ("filter or run", "Keep the lees out of the still; they can burn on and smell."),
    "filtering": ("run", "Keep it closed until then."),
}


class Doses(NamedTuple):
    """Usual dose of each row's agent for its volume: L of liquid, or kg of powder."""

    least: Array
    most: Array


@column("clearing", across=True)
def order(done_at: Array) -> Places:
    """Places of the steps in the order of time, however the sheet is sorted; without odd dates."""
    known = np.flatnonzero(np.isfinite(done_at) & ~_odd(done_at))
    return known[np.argsort(done_at[known], kind="stable")]


@column("clearing", across=True)
def volume_before(volume_after: Array, wash_volume: Array, wash_kind: Any, order: Places) -> Array:
    """Volume (L) there was before each step: the last sound one, or the wash as it was started."""
    least = 1 - 2 * _lees(wash_kind)
    before = np.full(len(volume_after), float(wash_volume))
    last = float(wash_volume)
    for i in order:
        before[i] = last
        sound = np.isnan(last) or least * last <= volume_after[i] <= (1 + MEASURE) * last
        last = float(volume_after[i]) if sound and np.isfinite(volume_after[i]) else last
    return before


@column("clearing")
def volume_fined(step: Any, volume_before: Array, volume_after: Array) -> Array:
    """Volume (L) a dose went into: as typed beside it, or else what there was before."""
    typed = np.isfinite(volume_after) & ~_is(step, REMOVALS) & ~(volume_after > volume_before * (1 + MEASURE))
    volume = np.where(typed, volume_after, volume_before)
    return np.where(volume > 0, volume, np.nan)


@column("clearing")
def dose_per_litre(dose: Array, volume_fined: Array) -> Array:
    """Liquid fining, mL for each L of wash."""
    return 1000 * dose / volume_fined


@column("clearing")
def mass_per_litre(dose_mass: Array, volume_fined: Array) -> Array:
    """Powder, g for each L of wash."""
    return 1000 * dose_mass / volume_fined


@column("clearing")
def usual(agent: Any, volume_fined: Array) -> Doses:
    """Usual dose (L) of a liquid fining."""
    return _usual(LIQUID, agent, volume_fined)


@column("clearing")
def usual_weighed(agent: Any, volume_fined: Array) -> Doses:
    """Usual dose (kg) of a powder."""
    return _usual(POWDER, agent, volume_fined)


@column("clearing")
def lost(step: Any, volume_before: Array, volume_after: Array) -> Array:
    """Volume (L) that stayed behind with the lees or in the filter."""
    return np.where(_is(step, REMOVALS), volume_before - volume_after, np.nan)


@column("clearing")
def turn(step: Any, agent: Any) -> Any:
    """What counts for what is due after each step: its name in `NEXT`, '' for none."""
    words = [
        "silica sol" if (s, a) == ("first fining", "silica sol") else "fining" if s in FININGS else s
        for s, a in zip(_texts(step), _texts(agent), strict=True)
    ]
    return np.array([word if word in NEXT else "" for word in words], dtype=object)


@column("clearing")
def settling(agent: Any) -> Array:
    """Hours that a fining needs at least before racking."""
    return np.array([SETTLES.get(a, SETTLES_USUALLY) for a in _texts(agent)], dtype=float)


@column("clearing", across=True)
def clear_at(done_at: Array, step: Any, settling: Array, order: Places) -> Array:
    """When (days since 1899-12-30) the fining before each step has had its least time."""
    fining = _last_before(order, _is(step, FININGS))
    when = np.append(done_at + settling / 24, np.nan)
    return when[fining]


@column("clearing", across=True)
def earliest_next(done_at: Array, turn: Any, settling: Array, clear_at: Array, order: Places) -> Array:
    """When (days since 1899-12-30) the next step may follow at the earliest."""
    wait = np.where(turn == "fining", settling, np.where(turn == "silica sol", SECOND_PART, 0.0))
    when = np.where(turn == "looking", np.fmax(done_at, clear_at), done_at + wait / 24)
    return np.where(_among(order, len(done_at)) & (turn != ""), when, np.nan)


@column("clearing")
def next_step(turn: Any) -> Any:
    """What is due after each step."""
    return np.array([NEXT[word][0] if word else "" for word in turn], dtype=object)


@column("clearing")
def state(turn: Any, done_at: Array, clear_at: Array) -> Any:
    """What the wash is after each step, from degassed to filtered; by the clock, whatever it looks like."""
    words = {"degassing": "degassed", "silica sol": "waiting", "fining": "clearing"}
    words |= {"racking": "racked", "filtering": "filtered", "looking": "clearing"}
    told = np.array([words.get(word, "") for word in turn], dtype=object)
    seen = (turn == "looking") & ~(done_at < clear_at - CLOCK / 24)
    told[seen] = np.where(np.isnan(clear_at[seen]), "", "time enough to rack")
    return told


def _texts(values: Any) -> list[str]:
    """A text column as texts, '' where the column is missing."""
    return [value if isinstance(value, str) else "" for value in np.atleast_1d(values)]


def _is(values: Any, words: tuple[str, ...]) -> Mask:
    return np.array([value in words for value in _texts(values)], dtype=bool)


def _among(order: Places, records: int) -> Mask:
    mask = np.zeros(records, dtype=bool)
    mask[order] = True
    return mask


def _last_before(order: Places, those: Mask) -> Places:
    """The place of the latest of those steps before each step, -1 where there is none."""
    last, seen = np.full(len(those), -1), -1
    for i in order:
        last[i] = seen
        seen = int(i) if those[i] else seen
    return last


def _first(order: Places, those: Mask) -> Mask:
    """Only the earliest of those steps."""
    mask = np.zeros(len(those), dtype=bool)
    mask[[i for i in order if those[i]][:1]] = True
    return mask


def _lees(wash_kind: Any) -> float:
    return LEES.get(str(wash_kind), ANY_LEES)


def _usual(doses: dict[str, tuple[float, float]], agent: Any, volume: Array) -> Doses:
    rates = np.array([doses.get(a, (np.nan, np.nan)) for a in _texts(agent)], dtype=float).reshape(-1, 2)
    return Doses(rates[:, 0] * volume / 1000, rates[:, 1] * volume / 1000)


def _hours(later: Array, earlier: Array) -> Texts:
    """The time between two moments (days) in words."""
    minutes = np.round((later - earlier) * 1440)
    words = [
        "" if np.isnan(m) else f"{m:.0f} minutes" if m < 120 else f"{m / 60:.0f} hours"
        for m in np.atleast_1d(minutes)
    ]
    return np.array(words, dtype=object)


@check(
    "clearing",
    cell="dose",
    level="error",
    says="{dose} in {volume_fined} is far more than any fining takes.",
    advice="Check the dose, the volume and their units.",
)
def impossible_dose(dose_per_litre: Array, volume_fined: Array, usual: Doses) -> tuple[Mask, dict[str, Any]]:
    """A twentieth of the wash or more; finings are given in thousandths."""
    more = {"volume_fined": (volume_fined, "volume_after"), "fits": (usual.least, usual.most)}
    return dose_per_litre >= IMPOSSIBLE_DOSE, more


@check(
    "clearing",
    cell="dose_mass",
    level="error",
    says="{dose_mass} in {volume_fined} is far more than any fining takes.",
    advice="Check the dose, the volume and their units.",
)
def impossible_weighed_dose(
    mass_per_litre: Array, volume_fined: Array, usual_weighed: Doses
) -> tuple[Mask, dict[str, Any]]:
    """As much powder as no wash takes up."""
    fits = (usual_weighed.least, usual_weighed.most)
    more = {"volume_fined": (volume_fined, "volume_after"), "fits": fits}
    return mass_per_litre >= IMPOSSIBLE_DOSE, more


@check(
    "clearing",
    cell="dose",
    level="warning",
    says="{dose} of {agent} in {volume_fined} is far from the usual {least} to {most}.",
    advice="Check the dose, the volume and the packet; if the packet says so, keep to the packet.",
)
def unusual_dose(
    dose: Array, dose_per_litre: Array, volume_fined: Array, usual: Doses
) -> tuple[Mask, dict[str, Any]]:
    """Below half of the least or above double of the most (common practice)."""
    wrong = ((dose < usual.least / 2) | (dose > usual.most * 2)) & (dose_per_litre < IMPOSSIBLE_DOSE)
    return wrong, _dose_words("dose", volume_fined, usual)


@check(
    "clearing",
    cell="dose_mass",
    level="warning",
    says="{dose_mass} of {agent} in {volume_fined} is far from the usual {least} to {most}.",
    advice="Check the dose, the volume and the packet; if the packet says so, keep to the packet.",
)
def unusual_weighed_dose(
    dose_mass: Array, mass_per_litre: Array, volume_fined: Array, usual_weighed: Doses
) -> tuple[Mask, dict[str, Any]]:
    """Below half of the least or above double of the most (common practice)."""
    wrong = (dose_mass < usual_weighed.least / 2) | (dose_mass > usual_weighed.most * 2)
    wrong &= mass_per_litre < IMPOSSIBLE_DOSE
    return wrong, _dose_words("dose_mass", volume_fined, usual_weighed)


def _dose_words(like: str, volume: Array, usual: Doses) -> dict[str, Any]:
    return {
        "volume_fined": (volume, "volume_after"),
        "least": (usual.least, like),
        "most": (usual.most, like),
        "fits": (usual.least, usual.most),
    }


@check(
    "clearing",
    cell="dose",
    level="note",
    says="For {volume_fined} the usual dose of liquid {agent} is {least} to {most}.",
    advice="Follow the packet, and type what you add.",
)
def dose_missing(
    step: Any, dose: Array, dose_mass: Array, volume_fined: Array, usual: Doses
) -> tuple[Mask, dict[str, Any]]:
    """A fining that is usually a liquid, and no dose."""
    blank = np.isnan(dose) & np.isnan(dose_mass) & np.isfinite(usual.least)
    return _is(step, FININGS) & blank, _dose_words("dose", volume_fined, usual)


@check(
    "clearing",
    cell="dose_mass",
    level="note",
    says="For {volume_fined} the usual dose of {agent} is {least} to {most} of powder.",
    advice="Follow the packet, and type what you add.",
)
def weighed_dose_missing(
    step: Any, agent: Any, dose: Array, dose_mass: Array, volume_fined: Array, usual_weighed: Doses
) -> tuple[Mask, dict[str, Any]]:
    """A fining that is only known as a powder, and no dose."""
    blank = np.isnan(dose) & np.isnan(dose_mass) & np.isfinite(usual_weighed.least)
    wrong = _is(step, FININGS) & blank & ~_is(agent, tuple(LIQUID))
    return wrong, _dose_words("dose_mass", volume_fined, usual_weighed)


@check(
    "clearing",
    cell="agent",
    level="note",
    says="Which fining went in is not filled in, so its dose, order and time can't be checked.",
    advice="Choose the one that went in.",
)
def agent_missing(step: Any, agent: Any) -> Mask:
    """A fining of nothing."""
    return _is(step, FININGS) & _is(agent, ("", "none"))


@check(
    "clearing",
    cell="agent",
    level="warning",
    says="By these times chitosan went in before silica sol.",
    advice="Silica sol goes first, chitosan about an hour later. If the times are right and it stays hazy, "
    "fine it once more in that order.",
)
def chitosan_before_silica_sol(step: Any, agent: Any, order: Places) -> Mask:
    """The two parts the wrong way round; chitosan alone is a way of its own."""
    return _reversed_parts(step, agent, order)


def _reversed_parts(step: Any, agent: Any, order: Places) -> Mask:
    """The first chitosan, if there is no silica sol before it but some later."""
    fining = _is(step, FININGS)
    silica = fining & _is(agent, ("silica sol",)) & _among(order, len(fining))
    early = fining & _is(agent, ("chitosan",)) & (_last_before(order, silica) < 0)
    last = order[-1:]
    later = _last_before(order, silica)[last] >= 0
    return _first(order, early) & bool((later | silica[last]).any())


@check(
    "clearing",
    cell="step",
    level="warning",
    says="There is no first fining before this second one.",
    advice="Check the steps and their dates; the first part gives the second something to hold on to.",
)
def second_fining_first(step: Any, agent: Any, done_at: Array, order: Places) -> Mask:
    """What two exchanged agents explain is told by another check; an undated first part may be earlier."""
    first = _is(step, ("first fining",))
    undated = bool((first & np.isnan(done_at)).any())
    second = _is(step, ("second fining",)) & _among(order, len(first))
    wrong = second & (_last_before(order, first) < 0) & ~_reversed_parts(step, agent, order)
    return wrong & (not undated)


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="Chitosan went in only {waited} after the silica sol; about an hour is usual.",
    advice="Next time wait an hour; if it stays hazy after a day, fine it once more.",
)
def second_part_too_soon(step: Any, agent: Any, done_at: Array, order: Places) -> tuple[Mask, dict[str, Any]]:
    """Sooner than about one hour, less what a clock time is rounded by."""
    fining = _is(step, FININGS)
    silica = _last_before(order, fining & _is(agent, ("silica sol",)))
    since = done_at - np.append(done_at, np.nan)[silica]
    wrong = fining & _is(agent, ("chitosan",)) & (since * 24 < SECOND_PART - CLOCK)
    return wrong, {"waited": (_hours(since, np.zeros(len(since))), "")}


@check(
    "clearing",
    cell="step",
    level="warning",
    says="By these times it was fined before the gas was stirred out.",
    advice="Gas keeps the haze up. If the times are right and it stays hazy, fine it once more.",
)
def fined_before_degassing(step: Any, order: Places) -> Mask:
    """There is a degassing, but only later; said at the first fining."""
    degassing = _is(step, ("degassing",))
    wrong = _is(step, FININGS) & (_last_before(order, degassing) < 0)
    return _first(order, wrong) & bool(degassing[order].any())


@check(
    "clearing",
    cell="step",
    level="note",
    says="No degassing stands before this fining.",
    advice="Stir the gas out before fining; what still rises keeps the haze up.",
)
def not_degassed(step: Any, wash_kind: Any, order: Places) -> Mask:
    """There is none at all; a wine that was bought in has no gas left."""
    fining = _is(step, FININGS)
    return _first(order, fining) & (not _is(step, ("degassing",)).any()) & (str(wash_kind) != "wine")


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="The wash was still fermenting then: {gravity} on {sheets_fermentation}, and falling.",
    advice="Wait until the reading has stood still for two days near the end; the gas of a working wash "
    "keeps the haze up.",
)
def still_fermenting(
    step: Any,
    done_at: Array,
    order: Places,
    started_at: Array,
    fermentation_state: Any,
    fermentation_sound: Curve,
    hydrometer: Instrument,
) -> tuple[Mask, dict[str, Any]]:
    """What was read since, or up to two days before, shows it; said at the first fining."""
    working, gravity = _working(done_at, fermentation_state, fermentation_sound, hydrometer)
    wrong = _first(order, _is(step, FININGS) & working & ~(done_at < started_at))
    return wrong, {"gravity": (gravity, "fermentation_gravity_20")}


def _working(moments: Array, state_then: Any, sound: Curve, hydrometer: Instrument) -> tuple[Mask, Array]:
    """Whether the wash was certainly still fermenting at moments, and the gravity read last before each.

    Certain is a fall by more than two readings can be off: a later one, or one to a last reading within two
    days since the first of the readings of the two and a half days before it, or else since the one before.
    """
    if not len(sound.at):
        return np.zeros(len(moments), dtype=bool), np.full(len(moments), np.nan)
    newest = len(sound.at) - 1
    after = np.searchsorted(sound.days, moments, side="right")
    fell = sound.gravity[np.minimum(after, newest)] - sound.gravity[newest]
    falling = _texts(state_then)[sound.at[newest]] in ("working", "slowing")
    recent = (after > newest) & (moments <= sound.days[newest] + STANDSTILL)
    lately = np.searchsorted(sound.days, sound.days[newest] - LATELY)
    before = sound.gravity[max(min(int(lately), newest - 1), 0)]
    margin = samples.scatter(hydrometer)
    certain = (fell > margin) | (recent & falling & (before - sound.gravity[newest] > margin))
    return certain & np.isfinite(moments), sound.gravity[np.maximum(after - 1, 0)]


@check(
    "clearing",
    cell="done_at",
    level="note",
    says="No reading before it shows that the fermentation was finished.",
    advice="Before fining, wait until the reading has stayed the same for two to three days.",
)
def hardly_at_rest(
    step: Any,
    done_at: Array,
    order: Places,
    fermentation_state: Any,
    fermentation_sound: Curve,
    hydrometer: Instrument,
) -> Mask:
    """It may have been, but the readings end before it stood still for two days; said at the first fining."""
    sound = fermentation_sound
    ended = [_texts(fermentation_state)[i] in ("finished", "stalled") for i in sound.at[-1:]]
    if ended != [False]:
        return np.zeros(len(done_at), dtype=bool)
    working, _ = _working(done_at, fermentation_state, sound, hydrometer)
    first = _first(order, _is(step, FININGS))
    return np.asarray(first & ~working & (done_at >= sound.days[-1]))


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="Racked or filtered only {waited} after the fining; {agent_before} usually needs {needed} to "
    "settle.",
    advice="What has not settled comes along; let it stand and rack it once more.",
)
def racked_too_soon(
    step: Any, agent: Any, done_at: Array, settling: Array, order: Places
) -> tuple[Mask, dict[str, Any]]:
    """The first racking or filtering after a fining, before its least time."""
    fining, removal = _is(step, FININGS), _is(step, REMOVALS)
    before = _last_before(order, fining | removal)
    since = done_at - np.append(done_at, np.nan)[before]
    needed = np.append(settling, np.nan)[before]
    wrong = removal & np.append(fining, False)[before] & (since * 24 < needed - CLOCK)
    return wrong, {
        "waited": (_hours(since, np.zeros(len(since))), ""),
        "agent_before": (np.array(_agents(agent), dtype=object)[before], ""),
        "needed": (_hours(needed / 24, np.zeros(len(needed))), ""),
    }


def _agents(agent: Any) -> list[str]:
    """The agents in words, with one more at the end for none."""
    return [a if a not in ("", "none", "other") else "it" for a in _texts(agent)] + ["it"]


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="A run was heated up {waited} after this fining; {agent_before} usually needs {needed} to settle.",
    advice="Finings and yeast can burn on in the still; let the wash clear and rack it first.",
)
def run_too_soon(
    step: Any,
    agent: Any,
    done_at: Array,
    settling: Array,
    order: Places,
    runs_filled_at: Array,
    runs_kind: Any,
) -> tuple[Mask, dict[str, Any]]:
    """The newest of finings and rackings is a fining, and a run of wash began before its least time."""
    fining = _is(step, FININGS)
    newest = [i for i in order if fining[i] or _is(step, REMOVALS)[i]][-1:]
    latest = done_at[newest] if newest else np.array([np.nan])
    of_wash = np.array([kind != "spirit" for kind in _texts(runs_kind)], dtype=bool)
    heated = np.atleast_1d(runs_filled_at)
    began = heated[of_wash & (heated >= latest)]
    since = (began.min() if len(began) else np.nan) - done_at
    wrong = fining & _among(np.array(newest, dtype=np.intp), len(step)) & (since * 24 < settling - CLOCK)
    return wrong, {
        "waited": (_hours(since, np.zeros(len(since))), ""),
        "agent_before": (np.array(_agents(agent)[:-1], dtype=object), ""),
        "needed": (_hours(settling / 24, np.zeros(len(settling))), ""),
    }


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="{done_at} is far from the other dates. {meant}",
    advice="Check the date; year first (2026-03-04) can't be misread.",
)
def odd_date(done_at: Array) -> tuple[Mask, dict[str, Any]]:
    """A month or a year mistyped, or day and month exchanged."""
    odd = _odd(done_at)
    return odd, {"meant": (slips.date_meant(done_at, odd), "")}


def _odd(done_at: Array) -> Mask:
    """Months from the middle one of the dates, or weeks where the exchanged date would be among the rest."""
    off = np.abs(done_at - np.median(done_at[np.isfinite(done_at)].tolist() or [np.nan]))
    exchanged = slips.date_meant(done_at, off > ODD_DAYS) != ""
    return np.asarray((off > LONGEST_DAYS) | exchanged)


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="{done_at} is after the last of the wash was run, {run_at}. {meant}",
    advice="Check this date and those on {sheets_runs}.",
)
def cleared_after_the_run(
    done_at: Array,
    order: Places,
    runs_filled_at: Array,
    runs_charge_volume: Array,
    runs_kind: Any,
    wash_volume: Array,
    wash_kind: Any,
) -> tuple[Mask, dict[str, Any]]:
    """Days after all but the lees was run there is nothing left to clear; said at the first such step."""
    of_wash = np.array([kind != "spirit" for kind in _texts(runs_kind)], dtype=bool)
    charged = np.nansum(np.atleast_1d(runs_charge_volume)[of_wash])
    last = np.fmax.reduce(np.atleast_1d(runs_filled_at)[of_wash], initial=np.nan)
    all_of_it = charged >= wash_volume * (1 - _lees(wash_kind) - MEASURE)
    late = (done_at > last + LATELY) & all_of_it
    more = {"run_at": (np.full(len(done_at), last), "done_at")}
    return _first(order, late), more | {"meant": (slips.date_meant(done_at, late), "")}


@check(
    "clearing",
    cell="done_at",
    level="warning",
    says="{done_at} is before the yeast was pitched, {started_at}.",
    advice="Check this date and the one on the batch card.",
)
def before_the_yeast(done_at: Array, started_at: Array, order: Places) -> Mask:
    """There was nothing to clear yet; said at the first step."""
    return _first(order, done_at < started_at)


@check(
    "clearing",
    cell="volume_after",
    level="error",
    says="{volume_after} is more than there was before, {before}.",
    advice="Check the volume, its unit and the wash volume on the batch card.",
)
def more_than_before(
    volume_after: Array, volume_before: Array, wash_kind: Any
) -> tuple[Mask, dict[str, Any]]:
    """Clearing adds nothing but the dose; two volumes may be off."""
    wrong = volume_after > volume_before * (1 + MEASURE)
    return wrong, _volume_words(volume_after, volume_before, wash_kind)


@check(
    "clearing",
    cell="volume_after",
    level="warning",
    says="{gone} of {before} would be gone, much more than usual.",
    advice="Check the volume and its unit; if they are right, let the lees settle again and rack them once "
    "more.",
)
def much_lost(volume_after: Array, volume_before: Array, wash_kind: Any) -> tuple[Mask, dict[str, Any]]:
    """More than lees of that kind hold, and than two volumes may be off."""
    gone = volume_before - volume_after
    wrong = gone > volume_before * (_lees(wash_kind) + MEASURE)
    return wrong, _volume_words(volume_after, volume_before, wash_kind)


def _volume_words(volume_after: Array, volume_before: Array, wash_kind: Any) -> dict[str, Any]:
    like = "volume_after"
    return {
        "before": (volume_before, like),
        "gone": (volume_before - volume_after, like),
        "fits": (volume_before * (1 - _lees(wash_kind)), volume_before * (1 + MEASURE)),
    }


@check(
    "clearing",
    cell="done_at",
    level="note",
    says="Due next: {next_step}, not before {earliest_next}.",
    advice="{how}",
    due=True,
)
def due_next(turn: Any, done_at: Array, order: Places, runs_filled_at: Array) -> tuple[Mask, dict[str, Any]]:
    """After the newest step, unless a run has followed it."""
    newest = _among(order[-1:], len(done_at))
    begun = np.array([bool((runs_filled_at >= moment).any()) for moment in done_at], dtype=bool)
    how = np.array([NEXT[word][1] if word else "" for word in turn], dtype=object)
    return newest & (turn != "") & ~begun, {"how": (how, "")}
