"""Known mistakes, planted one at a time in a clean log, each with the truth beside it.

The size of a mistake is how far the spoilt entry stands outside of what the rest of the log, or nature, law
or trade, leaves open, in expanded uncertainties (k = 2) of that comparison, by this module's own reckoning:
it knows the true batch and shares nothing with the checks. A mistake of a size below `VISIBLE` nobody could
tell from the scatter of the readings, so it does not count as missed. Mistakes of order (a run before the
wash is done) and of sense (more correct answers than tastings) are visible by themselves.
"""

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import hypot, inf, nan, sqrt
from typing import Any

import numpy as np

from simulator import physics
from simulator.bench import GALLON, POUND, Batch, Place, Rng, in_unit, to_step
from simulator.distiller import LEAST

VISIBLE = 2.0


@dataclass(frozen=True)
class Fault:
    """One mistake: its cells (None: left blank), those a flag may rightly stand on, its size."""

    kind: str
    changes: dict[Place, Any]
    right: frozenset[Place]
    size: float


# Kinds that few logs have a place for are tried before others, or they would hardly be planted at all.
SCARCE: list[str] = []

Planter = Callable[[Batch, Rng], Fault | None]
KINDS: dict[str, Planter] = {}


def plant(kind: str, batch: Batch, rng: Rng) -> Fault | None:
    """A mistake of that kind that can be seen; None where the log has no place for one."""
    for _ in range(6):
        fault = KINDS[kind](batch, rng)
        if fault and fault.size >= VISIBLE:
            return fault
    return None


def _kind(
    name: str, scarce: bool = False
) -> Callable[[Callable[[Batch, Rng], Any]], Callable[[Batch, Rng], Any]]:
    """Keep a planter under its name; it returns changes, right cells and size, or None."""

    def keep(function: Callable[[Batch, Rng], Any]) -> Callable[[Batch, Rng], Any]:
        def planter(batch: Batch, rng: Rng) -> Fault | None:
            found = function(batch, rng)
            if found is None:
                return None
            changes, right, size = found
            return Fault(name, changes, frozenset(right), float(size))

        KINDS[name] = planter
        SCARCE.extend([name] if scarce else [])
        return function

    return keep


def _places(batch: Batch, sheet: str, key: str) -> list[Place]:
    """Where something was typed in a column or line."""
    if sheet not in batch.log:
        return []
    held = batch.log[sheet]
    if isinstance(held, dict) and key in held:
        return [(sheet, None, key)]
    lines = held.get("records", []) if isinstance(held, dict) else held
    return [(sheet, i, key) for i, line in enumerate(lines) if line.get(key) is not None]


def _any(batch: Batch, rng: Rng, *columns: tuple[str, str]) -> Place | None:
    """One typed cell out of some columns."""
    places = [place for sheet, key in columns for place in _places(batch, sheet, key)]
    return places[int(rng.integers(len(places)))] if places else None


def _beside(place: Place, *keys: str) -> set[Place]:
    """Cells of the same row, with the place itself."""
    return {place, *((place[0], place[1], key) for key in keys)}


# How large a mistake in a number is: for each column what else tells the truth of it.


def _strength_doubt(batch: Batch) -> float:
    """% vol by which one strength may be off: the glass, and 0.3 % vol a degree."""
    return hypot(batch.bench.alcoholmeter.uncertainty, 0.3 * batch.bench.thermometer.uncertainty)


def _litres(batch: Batch, typed: float, unit: str) -> float:
    return typed / in_unit(1.0, batch.bench.unit(unit))


def _vol(batch: Batch, typed: float) -> float:
    """% vol at 20 °C of a strength that was typed in a column of strengths."""
    if batch.bench.system != "us":
        return typed
    return physics.of_proof(typed) if typed <= 200 else typed / 2


def _by_glass(batch: Batch, place: Place, mark: float, temperature: str) -> float:
    """The strength that a typed mark tells with the temperature beside it."""
    at = batch.value((place[0], place[1], temperature))
    limit = 200 if batch.bench.system == "us" else 100
    if mark > limit:
        return inf
    room = in_unit(20.0, batch.bench.unit("°C"))
    return batch.bench.strength_by(mark, room if at is None else at)


def _outside(value: float, low: float, high: float, doubt: float) -> float:
    return max(value - high, low - value, 0.0) / doubt


Sized = tuple[float, set[Place]]


def _reading_size(batch: Batch, place: Place, typed: float) -> Sized:
    """Gravity only falls: a reading lies between those around it, or the original and the least of it."""
    true, i = batch.facts["gravities"], place[1]
    assert i is not None
    now = true[i] + typed - batch.value(place)
    extract = physics.brix(batch.facts["original"]) / 100
    low = true[i + 1] if i + 1 < len(true) else physics.wash(extract, 1.0).gravity
    high = true[i - 1] if i else batch.facts["original"]
    return _outside(now, low, high, sqrt(2) * batch.bench.hydrometer.uncertainty), {place}


def _original_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The original gravity against the recipe, and above every reading."""
    doubt = hypot(
        {"sugar": 0.035, "fruit": 0.4, "grain": 0.2, "molasses": 0.12}[batch.facts["kind"]] * 0.08, 0.002
    )
    if typed <= 1.0 or typed > 1.3:
        return inf, {place}
    size = abs(typed - batch.facts["original"]) / doubt if _places(batch, "recipe", "amount") else 0.0
    first = batch.facts["gravities"][0]
    size = max(size, (first - typed) / (sqrt(2) * batch.bench.hydrometer.uncertainty))
    others: set[Place] = {("recipe", None, "expected_gravity"), ("batch", None, "yeast_tolerance")}
    return size, others | {place, ("fermentation", 0, "reading")}


def _jar_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A run only gets weaker; nothing beats the azeotrope; without its temperature a reading tells little."""
    rows, i = batch.rows("cuts"), place[1]
    assert i is not None
    if "temperature" not in rows[i]:
        return 0.0, set()
    now = _by_glass(batch, place, typed, "temperature")

    def other(j: int, end: float) -> float:
        same = 0 <= j < len(rows) and rows[j]["run"] == rows[i]["run"]
        return _by_glass(batch, ("cuts", j, "reading"), rows[j]["reading"], "temperature") if same else end

    first = rows[i]["jar"] == "1"
    high = other(i - 1, 96.5)
    if rows[i]["jar"] == "2":
        high = 96.5  # the first jar may be weaker
    return _outside(now, -inf if first else other(i + 1, 0.0), high, sqrt(2) * _strength_doubt(batch)), {
        place
    }


def _run_cells(place: Place) -> set[Place]:
    return _beside(place, "charge_volume", "charge_strength", "collected_volume", "collected_reading")


def _run_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A run's strength against what a pot gives at least and this still at most, and against its charge."""
    line, run = batch.rows("runs")[place[1] or 0], batch.facts["runs"][place[1] or 0]
    known = dict(line) | {place[2]: typed}
    if "collected_volume" not in known or "charge_volume" not in known:
        return 0.0, set()
    charge = _litres(batch, known["charge_volume"], "L")
    strength = known.get("charge_strength", run["charge"].strength)
    out = _litres(batch, known["collected_volume"], "mL")
    if out >= charge or min(charge, strength, out) <= 0:
        return inf, _run_cells(place)
    if "collected_reading" not in known:
        return 0.0, set()
    reached = _by_glass(batch, place, known["collected_reading"], "collected_temperature")
    if reached > 97 or strength > 96:
        return inf, _run_cells(place)
    doubt = _strength_doubt(batch)
    excess = (out * reached / (charge * strength) - 1) / hypot(0.03, doubt / max(reached, 5), 0.5 / strength)
    low, high = (_pot_gives(charge, strength, out, stages) for stages in (1.0, max(run["stages"], 1.25) + 1))
    return max(excess, _outside(reached, low, high, hypot(doubt, 2.0))), _run_cells(place)


def _pot_gives(charge: float, strength: float, out: float, stages: float) -> float:
    course = physics.distil(charge, strength, stages, 60)
    at = int(np.searchsorted(course.volume(), out))
    if at >= len(course.ethanol):
        return 100 * charge * strength / 100 / out
    return physics.amount(float(course.ethanol[max(at, 1)]), float(course.water[max(at, 1)]))[1]


def _charge_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A charge against the still, the wash there was, and what came out of it."""
    litres, run = _litres(batch, typed, "L"), batch.facts["runs"][place[1] or 0]
    size, cells = _run_size(batch, place, typed)
    size = max(size, (litres / batch.facts["capacity"] - 1) / 0.02)
    if litres - run["collected"].volume < batch.facts["minimum"]:
        size = max(
            size, (batch.facts["minimum"] - litres + run["collected"].volume) / (0.03 * max(litres, 0.1))
        )
    return size, cells | {place, ("batch", None, "still_minimum"), ("batch", None, "still_capacity")}


def _strength_charged_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The strength of a charge against the wash's own, and against what came over."""
    size, cells = _run_size(batch, place, typed)
    line = batch.rows("runs")[place[1] or 0]
    if line.get("kind") != "spirit" and "original" in batch.facts:
        most = physics.wash(physics.brix(batch.facts["original"]) / 100, 1.0).strength
        size = max(size, (typed - most) / 0.7)
    return size, cells | {place, (place[0], place[1], "kind")}


def _after_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A reading after mixing against what the water should have made of it."""
    expected = _vol(batch, batch.value((place[0], place[1], "target_strength")))
    reached = _by_glass(batch, place, typed, "temperature_after")
    size = abs(reached - expected) / hypot(sqrt(2) * _strength_doubt(batch), 0.01 * expected)
    return size, _beside(place, "reading", "volume", "target_strength")


def _lot_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A lot can't hold more alcohol than the runs that gave it, nor be weaker than what is wanted of it."""
    line = dict(batch.rows("strength")[place[1] or 0]) | {place[2]: typed}
    reached = _by_glass(batch, place, line["reading"], "temperature")
    if reached > 97:
        return inf, {place}
    wanted = _vol(batch, line["target_strength"])
    size = (wanted - reached) / _strength_doubt(batch)
    runs = _last_runs(batch)
    if runs:
        there = sum(run["collected"].volume * run["collected"].strength for run in runs)
        size = max(size, (_litres(batch, line["volume"], "L") * reached / there - 1) / 0.03)
    return size, _beside(place, "volume", "reading", "target_strength") | _balance(batch)


def _last_runs(batch: Batch) -> list[dict[str, Any]]:
    """The runs that gave spirit to keep, if all of them were measured."""
    lines, runs = batch.rows("runs"), batch.facts.get("runs", [])
    spirit = [i for i, line in enumerate(lines) if line.get("kind") == "spirit"] or list(range(len(lines)))
    measured = all("collected_reading" in lines[i] for i in range(len(lines)))
    return [runs[i] for i in spirit] if measured else []


def _balance(batch: Batch) -> set[Place]:
    """The balance sheet tells what lies between two other sheets."""
    return {("balance", i, "alcohol") for i in range(9)}


def _carbon_size(batch: Batch, place: Place, typed: float) -> Sized:
    """What goes into a filter and comes out of it: volumes and strengths against each other and the lot."""
    line = dict(batch.rows("carbon")[place[1] or 0]) | {place[2]: typed}
    into, out = (_litres(batch, line[key], "L") for key in ("volume_in", "volume_out"))
    start, end = (_vol(batch, line[key]) for key in ("strength_in", "strength_out"))
    doubt, kept = sqrt(2) * _strength_doubt(batch), 1.5 * _kilos(batch, line["carbon_mass"], "g")
    if into <= 0 or out <= 0 or start <= 0:
        return inf, {place}
    size = max((out / into - 1) / 0.03, (end - start) / doubt)
    size = max(
        size,
        (into - out - kept) / (0.03 * into),
        (out * end / (into * start) - 1) / hypot(0.03, doubt / start),
    )
    size = max(size, (into * start - out * end - kept * start) / (into * start * hypot(0.03, doubt / start)))
    lots = batch.facts.get("lots", [])
    if place[2] == "volume_in" and lots:
        size = max(size, (into / max(lot["after"].volume for lot in lots) - 1) / 0.03)
    if place[2] == "strength_in" and lots:
        size = max(size, min(abs(start - lot["after"].strength) for lot in lots) / (doubt + 0.5))
    return size, _beside(place, "volume_in", "volume_out", "strength_in", "strength_out")


def _kilos(batch: Batch, typed: float, unit: str) -> float:
    return typed / in_unit(
        1.0, "oz" if batch.bench.system == "us" and unit == "g" else batch.bench.unit(unit)
    )


def _label_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The label against what was measured, or else against the lot; beyond what the law leaves."""
    line = dict(batch.rows("bottling")[place[1] or 0]) | {place[2]: typed}
    if "measured_strength" not in line:
        return 0.0, set()
    label, measured = _vol(batch, line["label_strength"]), _vol(batch, line["measured_strength"])
    size = (abs(label - measured) - 0.3) / _strength_doubt(batch)
    return size, _beside(place, "label_strength", "measured_strength")


def _jar_volume_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The jars of a run against the run, where it was measured as a whole."""
    rows, i = batch.rows("cuts"), place[1] or 0
    jars = [j for j, row in enumerate(rows) if row["run"] == rows[i]["run"]]
    whole = [line for line in batch.rows("runs") if line["run"] == rows[i]["run"]]
    total = sum(rows[j]["volume"] for j in jars) - rows[i]["volume"] + typed
    cells: set[Place] = {("cuts", j, "volume") for j in jars[-1:]} | {place, ("cuts", i, "reading")}
    charge = _litres(batch, whole[0]["charge_volume"], "L") if whole else inf
    if _litres(batch, total, "mL") > charge:
        return inf, cells
    if not whole or "collected_volume" not in whole[0]:
        return 0.0, set()
    kept = total - (rows[jars[0]]["volume"] if jars[0] != i else typed)
    off = min(abs(total - whole[0]["collected_volume"]), abs(kept - whole[0]["collected_volume"]))
    return off / (0.03 * whole[0]["collected_volume"]), cells


def _wash_volume_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The wash volume against water and amounts, and against what was charged."""
    litres, true = _litres(batch, typed, "L"), batch.facts["volume"]
    size = abs(litres / true - 1) / 0.06 if "recipe" in batch.log and batch.facts["kind"] == "sugar" else 0.0
    charged = (
        sum(run["charge"].volume for run in batch.facts.get("runs", [])[:1]) if "runs" in batch.log else 0.0
    )
    size = max(size, (charged / max(litres, 1e-6) - 1) / 0.05)
    cells: set[Place] = {place, ("recipe", None, "water_volume"), ("recipe", None, "expected_gravity")}
    cells |= (
        {("recipe", i, "amount") for i in range(len(batch.rows("recipe")))}
        if "recipe" in batch.log
        else set()
    )
    return size, cells | {("runs", i, "charge_volume") for i in range(len(batch.facts.get("runs", [])))}


def _amount_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The weightiest item against the original gravity."""
    line = batch.rows("recipe")[place[1] or 0]
    if line["kind"] not in (
        "sugar",
        "molasses",
        "malt",
        "fruit",
        "grain",
    ) or "original_gravity" not in batch.card("batch"):
        return 0.0, set()
    doubt = {"sugar": 0.035, "molasses": 0.09, "malt": 0.2, "grain": 0.25, "fruit": 0.45}[line["kind"]]
    solids = {"sugar": 1.0, "molasses": 0.8, "malt": 0.6, "grain": 0.5, "fruit": 0.13}[line["kind"]]
    kilos = (typed - line["amount"]) / in_unit(1.0, batch.bench.unit("kg"))
    change = 0.385 * kilos * solids / batch.facts["volume"]
    known = doubt * (batch.facts["original"] - 1)
    cells: set[Place] = {place, ("recipe", None, "expected_gravity"), ("recipe", None, "water_volume")}
    return abs(change) / hypot(known, batch.bench.hydrometer.uncertainty), cells


def _sample_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A sample is no hotter than 45 °C, nor frozen, nor far from its wash."""
    celsius = (typed - 32) / 1.8 if batch.bench.system == "us" else typed
    old = batch.value(place)
    was = (old - 32) / 1.8 if batch.bench.system == "us" else old
    doubt = batch.bench.thermometer.uncertainty
    size = max((celsius - 40) / doubt, -celsius / doubt)
    if place[0] != "fermentation":
        return size, {place}
    beside = (*place[:2], "wash_temperature" if place[2] == "sample_temperature" else "sample_temperature")
    if batch.value(beside) is not None:
        size = max(size, (abs(celsius - was) - 16.0) / doubt)
    return size, {place, beside}


def _wash_temperature_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A wash within what its yeast stands."""
    celsius = (typed - 32) / 1.8 if batch.bench.system == "us" else typed
    sample, cells = _sample_size(batch, place, typed)
    low, high, doubt = batch.facts["coolest"], batch.facts["warmest"], batch.bench.thermometer.uncertainty
    if "temperature_low" not in batch.card("batch"):
        low = -inf
    return max(_outside(celsius, low, high, doubt), sample), cells


def _vapour_size(batch: Batch, place: Place, typed: float) -> Sized:
    """The vapour against the jar it filled: within a degree or two, and what the jar spans."""
    old = batch.value(place)
    degrees = abs(typed - old) / (1.8 if batch.bench.system == "us" else 1.0)
    jar = batch.rows("cuts")[place[1] or 0]
    if jar["jar"] == "1" or "temperature" not in jar:
        celsius = (typed - 32) / 1.8 if batch.bench.system == "us" else typed
        return _outside(celsius, 60, 102, 1.0), {place}
    return (degrees - 1.5) / hypot(batch.bench.still_thermometer.uncertainty, 1.5), {
        place,
        (*place[:2], "reading"),
    }


def _bottles_size(batch: Batch, place: Place, typed: float) -> Sized:
    """Bottles against the lot they were filled from."""
    line = dict(batch.rows("bottling")[place[1] or 0]) | {place[2]: typed}
    size = line.get("bottle_size", batch.card("batch").get("bottle_size", nan))
    lots = batch.facts.get("lots", [])
    there = lots[-1]["after"].volume if len(batch.rows("bottling")) == 1 and lots else nan
    if "lot" not in line or not there > 0 or ("strength" not in batch.log and "carbon" not in batch.log):
        return 0.0, set()
    poured = line["bottles"] * size / 1000
    return (poured / there - 1) / 0.03, _beside(place, "bottles", "bottle_size") | _balance(batch)


def _dose_size(batch: Batch, place: Place, typed: float) -> Sized:
    """A dose against what packets tell, which differ by a factor of two."""
    line, litres = batch.rows("clearing")[place[1] or 0], batch.facts["volume"]
    usual = {"silica sol": 1.2, "chitosan": 1.8, "bentonite": 0.8, "gelatine": 0.1}[line["agent"]]
    dose = _litres(batch, typed, "mL") * 1000 if place[2] == "dose" else typed
    return float(abs(np.log2(dose / litres / usual))) if dose > 0 else inf, {place}


Size = Callable[[Batch, Place, float], Sized]
GRAVITIES: dict[tuple[str, str], Size] = {
    ("fermentation", "reading"): _reading_size,
    ("batch", "original_gravity"): _original_size,
}
STRENGTHS: dict[tuple[str, str], Size] = {
    ("cuts", "reading"): _jar_size,
    ("runs", "collected_reading"): _run_size,
    ("runs", "charge_strength"): _strength_charged_size,
    ("strength", "reading"): _lot_size,
    ("strength", "reading_after"): _after_size,
    ("carbon", "strength_in"): _carbon_size,
    ("carbon", "strength_out"): _carbon_size,
    ("bottling", "label_strength"): _label_size,
    ("bottling", "measured_strength"): _label_size,
}
VOLUMES: dict[tuple[str, str], Size] = {
    ("batch", "wash_volume"): _wash_volume_size,
    ("runs", "charge_volume"): _charge_size,
    ("runs", "collected_volume"): _run_size,
    ("cuts", "volume"): _jar_volume_size,
    ("strength", "volume"): _lot_size,
    ("carbon", "volume_in"): _carbon_size,
    ("carbon", "volume_out"): _carbon_size,
}
TEMPERATURES: dict[tuple[str, str], Size] = {
    ("fermentation", "sample_temperature"): _sample_size,
    ("fermentation", "wash_temperature"): _wash_temperature_size,
    ("runs", "collected_temperature"): _sample_size,
    ("cuts", "temperature"): _sample_size,
    ("strength", "temperature"): _sample_size,
    ("strength", "temperature_after"): _sample_size,
    ("cuts", "vapour_temperature"): _vapour_size,
}
MEASURED = {"gravity": GRAVITIES, "strength": STRENGTHS, "volume": VOLUMES, "temperature": TEMPERATURES}


def _spoil(
    batch: Batch,
    rng: Rng,
    columns: dict[tuple[str, str], Size],
    change: Callable[[Place, float], float | None],
) -> Any:
    """One number out of some columns typed wrongly: each column that is there equally likely."""
    there = [column for column in columns if _places(batch, *column)]
    if not there:
        return None
    column = there[int(rng.integers(len(there)))]
    place = _any(batch, rng, column)
    assert place is not None
    old = batch.value(place)
    new = change(place, old)
    if new is None or new == old or new < 0:
        return None
    size, right = columns[column](batch, place, new)
    return {place: new}, right | {place}, size


def _text(place: Place, value: float) -> str:
    """A number as it is written: gravities with three decimals, others with as many as they have."""
    return (
        f"{value:.3f}"
        if place[2] in ("reading", "original_gravity") and 0.9 < value < 1.2
        else f"{value:.10g}"
    )


def _exchanged(rng: Rng) -> Callable[[Place, float], float | None]:
    def change(place: Place, value: float) -> float | None:
        text = _text(place, value)
        digits = [i for i, c in enumerate(text) if c.isdigit()]
        pairs = [(a, b) for a, b in itertools.pairwise(digits) if text[a] != text[b]]
        if not pairs:
            return None
        a, b = pairs[int(rng.integers(len(pairs)))]
        swapped = list(text)
        swapped[a], swapped[b] = text[b], text[a]
        return float("".join(swapped))

    return change


def _dropped(rng: Rng) -> Callable[[Place, float], float | None]:
    def change(place: Place, value: float) -> float | None:
        text = _text(place, value)
        digits = [i for i, c in enumerate(text) if c.isdigit()]
        if len(digits) < 2:
            return None
        i = digits[int(rng.integers(len(digits)))]
        left = text[:i] + text[i + 1 :]
        return float(left) if any(c.isdigit() for c in left) else None

    return change


def _doubled(rng: Rng) -> Callable[[Place, float], float | None]:
    def change(place: Place, value: float) -> float | None:
        text = _text(place, value)
        digits = [i for i, c in enumerate(text) if c.isdigit()]
        i = digits[int(rng.integers(len(digits)))]
        return float(text[:i] + text[i] + text[i:])

    return change


def _moved(rng: Rng) -> Callable[[Place, float], float | None]:
    factor = float(rng.choice([0.1, 10.0]))
    return lambda place, value: float(f"{value * factor:.8g}")


SLIPS = {
    "two digits exchanged": _exchanged,
    "a digit dropped": _dropped,
    "a digit doubled": _doubled,
    "the decimal point slipped": _moved,
}


def _slip_kinds() -> Iterable[tuple[str, Planter]]:
    for slip, change in SLIPS.items():
        for quantity, columns in MEASURED.items():

            def planter(batch: Batch, rng: Rng, change: Any = change, columns: Any = columns) -> Any:
                return _spoil(batch, rng, columns, change(rng))

            yield f"{slip} in a {quantity}", planter


for _name, _planter in _slip_kinds():
    _kind(_name)(_planter)


# Units.


@_kind("°F typed for °C")
def _fahrenheit(batch: Batch, rng: Rng) -> Any:
    if batch.bench.system == "us":
        return None
    return _spoil(batch, rng, TEMPERATURES, lambda place, value: to_step(value * 1.8 + 32, 1.0))


@_kind("°C typed for °F", scarce=True)
def _celsius(batch: Batch, rng: Rng) -> Any:
    if batch.bench.system != "us":
        return None
    return _spoil(batch, rng, TEMPERATURES, lambda place, value: to_step((value - 32) / 1.8, 0.5))


@_kind("proof typed for % vol")
def _proof(batch: Batch, rng: Rng) -> Any:
    columns: dict[tuple[str, str], Size] = {("runs", "charge_strength"): _strength_charged_size}
    if batch.bench.system != "us":
        columns |= STRENGTHS
    return _spoil(batch, rng, columns, lambda place, value: float(f"{2 * value:.6g}"))


@_kind("% vol typed for proof", scarce=True)
def _half(batch: Batch, rng: Rng) -> Any:
    columns = {column: size for column, size in STRENGTHS.items() if column != ("runs", "charge_strength")}
    if batch.bench.system != "us":
        return None
    return _spoil(batch, rng, columns, lambda place, value: float(f"{value / 2:.6g}"))


def _in_plain_gravity(batch: Batch) -> bool:
    return ("fermentation", "reading") not in batch.labels


@_kind("points typed for SG")
def _points(batch: Batch, rng: Rng) -> Any:
    def change(place: Place, value: float) -> float | None:
        return round((value - 1) * 1000, 1) if value > 1.003 else None

    return _spoil(batch, rng, GRAVITIES, change) if _in_plain_gravity(batch) else None


@_kind("°Bx typed for SG")
def _brix(batch: Batch, rng: Rng) -> Any:
    def change(place: Place, value: float) -> float | None:
        return round(physics.brix(value), 1) if value > 1.006 else None

    return _spoil(batch, rng, GRAVITIES, change) if _in_plain_gravity(batch) else None


@_kind("litres typed for millilitres")
def _litre(batch: Batch, rng: Rng) -> Any:
    columns = {column: VOLUMES[column] for column in (("runs", "collected_volume"), ("cuts", "volume"))}
    if batch.bench.system == "us":
        return None
    return _spoil(batch, rng, columns, lambda place, value: value / 1000)


@_kind("millilitres typed for litres", scarce=True)
def _millilitre(batch: Batch, rng: Rng) -> Any:
    columns = {c: VOLUMES[c] for c in VOLUMES if c[1] in ("volume_in", "volume_out") or c[0] == "strength"}
    if batch.bench.system == "us":
        return None
    return _spoil(batch, rng, columns, lambda place, value: value * 1000)


@_kind("gallons typed for litres, or litres for gallons")
def _gallons(batch: Batch, rng: Rng) -> Any:
    columns = {c: VOLUMES[c] for c in VOLUMES if c[1] not in ("collected_volume",) and c[0] != "cuts"}
    factor = GALLON if batch.bench.system == "us" else 1 / GALLON
    return _spoil(batch, rng, columns, lambda place, value: to_step(value * factor, 0.01))


@_kind("a recipe's amount in another unit")
def _amount_unit(batch: Batch, rng: Rng) -> Any:
    factor = float(rng.choice([1000.0, POUND if batch.bench.system == "us" else 1 / POUND]))
    return _spoil(
        batch, rng, {("recipe", "amount"): _amount_size}, lambda place, value: float(f"{value * factor:.4g}")
    )


@_kind("a recipe's amount ten times too large or small")
def _amount_ten(batch: Batch, rng: Rng) -> Any:
    return _spoil(batch, rng, {("recipe", "amount"): _amount_size}, _moved(rng))


@_kind("a bottle's size in another unit", scarce=True)
def _bottle_size(batch: Batch, rng: Rng) -> Any:
    """Litres, which are no bottle's; centilitres could be a miniature's, if nothing else tells the bottle."""
    place = _any(batch, rng, ("bottling", "bottle_size"))
    if place is None:
        return None
    factor, size = float(rng.choice([0.001, 0.1])), batch.value(place)
    told = batch.value((*place[:2], "filled_volume")) or batch.card("batch").get("bottle_size") == size
    right = _beside(place, "filled_volume", "bottles")
    return {place: size * factor}, right, inf if factor < 0.1 or told else 0.0


@_kind("power in kilowatts for watts")
def _kilowatts(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("batch", "still_power"))
    return ({place: batch.value(place) / 1000}, {place}, inf) if place else None


@_kind("a share typed for percent in the recipe", scarce=True)
def _share(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("recipe", "efficiency"), ("recipe", "fermentable"))
    return ({place: batch.value(place) / 100}, {place}, inf) if place else None


@_kind("a proof scale said to read right at 68 °F", scarce=True)
def _reference(batch: Batch, rng: Rng) -> Any:
    if batch.bench.system != "us" or "instruments" not in batch.log:
        return None
    place = ("instruments", 1, "reference_temperature")
    return {place: 68.0}, {place}, inf


@_kind("a zero reading far off")
def _zero(batch: Batch, rng: Rng) -> Any:
    if "instruments" not in batch.log or "zero_reading" not in batch.log["instruments"][0]:
        return None
    place = ("instruments", 0, "zero_reading")
    return {place: to_step(batch.value(place) + rng.choice([-0.02, 0.02]), 0.001)}, {place}, 5.0


# Dates.


def _moments(batch: Batch) -> list[Place]:
    columns = [("fermentation", "taken_at"), ("runs", "filled_at"), ("clearing", "done_at")]
    columns += [("bottling", "bottled_at"), ("batch", "started_at"), ("carbon", "started_at")]
    return [place for column in columns for place in _places(batch, *column)]


def _known_moments(batch: Batch, but: Place) -> Iterator[datetime]:
    for place in _moments(batch):
        if place != but:
            yield batch.value(place)


def _moment_size(batch: Batch, place: Place, typed: datetime) -> float:
    """Days by which a moment stands outside of its turn; a day is seen, hours may be a way of writing."""
    order = ["batch", "fermentation", "clearing", "runs", "carbon", "bottling"]
    rank = order.index(place[0])
    days = [0.0]
    for other in _moments(batch):
        if other == place:
            continue
        then, turn = batch.value(other), order.index(other[0])
        before = turn < rank or (turn == rank and (other[1] or 0) < (place[1] or 0))
        # Later sheets may be filled in side by side: a bottle before the last run is no contradiction.
        if turn == rank and place[0] not in ("fermentation", "clearing"):
            continue
        if {place[0], other[0]} <= {"runs", "carbon", "bottling"}:
            continue
        days.append((then - typed).total_seconds() / 86400 * (1 if before else -1))
    return max(days)


def _partners_in_time(batch: Batch, place: Place) -> set[Place]:
    """Where only two dates stand against each other, either may be wrong."""
    return {place, ("carbon", place[1], "ended_at")} if place[0] == "carbon" else {place}


@_kind("day and month exchanged")
def _month_first(batch: Batch, rng: Rng) -> Any:
    places = _moments(batch)
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    when = batch.value(place)
    if when.day > 12 or when.day == when.month:
        return None
    new = when.replace(month=when.day, day=when.month)
    return {place: new}, _partners_in_time(batch, place), _moment_size(batch, place, new)


@_kind("the wrong year")
def _wrong_year(batch: Batch, rng: Rng) -> Any:
    places = _moments(batch)
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    new = batch.value(place) + timedelta(days=365 * int(rng.choice([-1, 1])))
    return {place: new}, _partners_in_time(batch, place), _moment_size(batch, place, new)


@_kind("the times of two rows exchanged")
def _times_swapped(batch: Batch, rng: Rng) -> Any:
    places = _places(batch, "fermentation", "taken_at")
    if len(places) < 4:
        return None
    i = int(rng.integers(len(places) - 1))
    a, b = places[i], places[i + 1]
    return {a: batch.value(b), b: batch.value(a)}, {a, b}, inf


@_kind("a reading copied from the row above")
def _copied(batch: Batch, rng: Rng) -> Any:
    """In the midst of the fall: it stands for a day, between days of falling by far more."""
    true = batch.facts.get("gravities", [])
    doubt = sqrt(2) * batch.bench.hydrometer.uncertainty
    falls = [
        i for i in range(2, len(true) - 1) if true[i - 2] - true[i - 1] > 3 * doubt < true[i - 1] - true[i]
    ]
    falls = [i for i in falls if true[i] - true[i + 1] > 1.5 * doubt]
    if not falls:
        return None
    place = ("fermentation", int(rng.choice(falls)), "reading")
    above = batch.value(("fermentation", place[1] - 1, "reading"))
    return {place: above}, {place}, (true[place[1] - 1] - true[place[1]]) / doubt


@_kind("two jars' readings exchanged", scarce=True)
def _jars_swapped(batch: Batch, rng: Rng) -> Any:
    places = [p for p in _places(batch, "cuts", "reading") if batch.rows("cuts")[p[1] or 0]["jar"] != "1"]
    if len(places) < 2:
        return None
    i = int(rng.integers(len(places) - 1))
    a, b = places[i], places[i + 1]
    rows = batch.rows("cuts")
    if rows[a[1] or 0]["run"] != rows[b[1] or 0]["run"] or not all(
        "temperature" in rows[p[1] or 0] for p in (a, b)
    ):
        return None
    strengths = [_by_glass(batch, p, batch.value(p), "temperature") for p in (a, b)]
    size = abs(strengths[0] - strengths[1]) / (sqrt(2) * _strength_doubt(batch))
    return {a: batch.value(b), b: batch.value(a)}, {a, b}, size


# Runs.


@_kind("a charge above the still's capacity")
def _above_capacity(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("runs", "charge_volume"))
    if place is None:
        return None
    new = to_step(batch.card("batch")["still_capacity"] * rng.uniform(1.06, 1.5), 0.1)
    return {place: new}, {place, ("batch", None, "still_capacity")}, 3.0


@_kind("a charge that leaves the element dry")
def _dry(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("runs", "charge_volume"))
    if place is None:
        return None
    run = batch.facts["runs"][place[1] or 0]
    litres = batch.facts["minimum"] * rng.uniform(0.3, 0.8) + run["collected"].volume
    right = _beside(place, "collected_volume") | {("batch", None, "still_minimum")}
    size = (batch.facts["minimum"] - litres + run["collected"].volume) / (0.03 * max(litres, 0.1))
    return {place: to_step(in_unit(litres, batch.bench.unit("L")), 0.05)}, right, size


@_kind("more collected than charged")
def _more_out(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("runs", "collected_volume"))
    if place is None:
        return None
    litres = batch.facts["runs"][place[1] or 0]["charge"].volume * rng.uniform(1.1, 3)
    return {place: to_step(in_unit(litres, batch.bench.unit("mL")), 1)}, _beside(place, "charge_volume"), 3.0


@_kind("more alcohol out of a run than in")
def _more_alcohol_out(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("runs", "collected_reading"))
    if place is None:
        return None
    key = ("runs", place[1], "collected_volume")
    if batch.value(key) is None:
        return None
    run = batch.facts["runs"][place[1] or 0]
    more = rng.uniform(1.15, 1.6) * run["charge"].volume * run["charge"].strength
    litres = more / run["collected"].strength
    new = to_step(in_unit(litres, batch.bench.unit("mL")), 1)
    size, right = _run_size(batch, key, new)
    return {key: new}, right | {key}, size


@_kind("a run before the wash was finished")
def _run_early(batch: Batch, rng: Rng) -> Any:
    place, taken = _any(batch, rng, ("runs", "filled_at")), _places(batch, "fermentation", "taken_at")
    if place is None or len(taken) < 5 or batch.rows("runs")[place[1] or 0].get("kind") == "spirit":
        return None
    middle = batch.value(taken[len(taken) // 2]) + timedelta(hours=2)
    moved = {
        ("runs", place[1], key): _shifted(batch, place, key, middle)
        for key in ("first_drip_at", "stopped_at")
    }
    changes: dict[Place, Any] = {place: middle} | {p: v for p, v in moved.items() if v is not None}
    return (
        changes,
        {place} | {("clearing", p[1], "done_at") for p in _places(batch, "clearing", "done_at")},
        inf,
    )


def _shifted(batch: Batch, place: Place, key: str, start: datetime) -> datetime | None:
    old: datetime | None = batch.value((place[0], place[1], key))
    return start + (old - batch.value(place)) if old else None


@_kind("distilled before it was clear", scarce=True)
def _unclear(batch: Batch, rng: Rng) -> Any:
    fined, runs = (
        _places(batch, "clearing", "dose") + _places(batch, "clearing", "dose_mass"),
        _places(batch, "runs", "filled_at"),
    )
    if not fined or not runs or len(batch.rows("clearing")) != (fined[-1][1] or 0) + 2:
        return None
    last = ("clearing", fined[-1][1], "done_at")
    first = min(batch.value(p) for p in runs)
    changes: dict[Place, Any] = {last: first - timedelta(hours=int(rng.integers(1, 5)))}
    changes |= {
        ("clearing", (fined[-1][1] or 0) + 1, key): None for key in ("step", "done_at", "volume_after")
    }
    return changes, {last, *runs}, inf


@_kind("stopped before the first drip")
def _stopped_early(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("runs", "stopped_at"))
    if place is None or batch.value(("runs", place[1], "first_drip_at")) is None:
        return None
    drip = batch.value(("runs", place[1], "first_drip_at"))
    return (
        {place: drip - timedelta(minutes=int(rng.integers(5, 50)))},
        _beside(place, "first_drip_at", "filled_at"),
        inf,
    )


@_kind("a stripping run called spirit", scarce=True)
def _called_spirit(batch: Batch, rng: Rng) -> Any:
    places = [p for p in _places(batch, "runs", "kind") if batch.value(p) == "stripping"]
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    return {place: "spirit"}, _beside(place, "charge_strength") | _balance(batch), inf


@_kind("a spirit run called stripping", scarce=True)
def _called_stripping(batch: Batch, rng: Rng) -> Any:
    places = [p for p in _places(batch, "runs", "kind") if batch.value(p) == "spirit"]
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    return {place: "stripping"}, _beside(place, "charge_strength", "charge_volume") | _balance(batch), inf


@_kind("spirit of more than 60 % vol heated", scarce=True)
def _too_strong(batch: Batch, rng: Rng) -> Any:
    places = [
        p
        for p in _places(batch, "runs", "charge_strength")
        if batch.rows("runs")[p[1] or 0].get("kind") == "spirit"
    ]
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    return {place: to_step(rng.uniform(61, 75), 0.5)}, {place}, inf


@_kind("first runnings not set aside", scarce=True)
def _first_kept(batch: Batch, rng: Rng) -> Any:
    places = [p for p in _places(batch, "cuts", "fraction") if batch.value(p) == "first runnings"]
    if not places:
        return None
    place = places[int(rng.integers(len(places)))]
    return (
        {place: str(rng.choice(["heads", "hearts"]))},
        {place, *((("cuts", (place[1] or 0) + 1, "fraction"),))},
        inf,
    )


@_kind("a jar named after no run", scarce=True)
def _no_run(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("cuts", "run"))
    return ({place: "9"}, {place}, inf) if place else None


# The rest.


@_kind("a wish above what there is")
def _above_source(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("strength", "target_strength"))
    if place is None:
        return None
    strength = _by_glass(batch, place, batch.value(("strength", place[1], "reading")), "temperature")
    new = batch.bench.strength(min(strength + rng.uniform(3, 15), 95))
    right = _beside(place, "reading", "reading_after")
    return {place: new}, right, (_vol(batch, new) - strength) / _strength_doubt(batch)


@_kind("a label that is not true", scarce=True)
def _untrue(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("bottling", "label_strength"))
    if place is None:
        return None
    new = batch.bench.strength(batch.facts["target"] + rng.uniform(2, 6), 0.5)
    return ({place: new}, *reversed(_label_size(batch, place, new)))


@_kind("a label below the legal minimum", scarce=True)
def _below_legal(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("bottling", "label_strength"))
    card = batch.card("batch")
    if place is None or card["place"] == "other":
        return None
    product = batch.rows("bottling")[place[1] or 0].get("product", "")
    least = {"US": 40.0, "South Africa": 43.0, "EU": LEAST[batch.facts["kind"]]}[card["place"]]
    new = batch.bench.strength(least - rng.uniform(1, 4), 0.5)
    changes: dict[Place, Any] = {place: new}
    if batch.value(("bottling", place[1], "measured_strength")) is not None:
        changes["bottling", place[1], "measured_strength"] = new
    return changes, _beside(place, "measured_strength"), inf if product or least else 0.0


@_kind("more bottles than there was spirit", scarce=True)
def _too_many_bottles(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("bottling", "bottles"))
    if place is None:
        return None
    new = float(np.ceil(batch.value(place) * rng.uniform(1.15, 3)))
    size, right = _bottles_size(batch, place, new)
    return {place: new}, right | {place}, size


@_kind("more out of the filter than in", scarce=True)
def _filter_gains(batch: Batch, rng: Rng) -> Any:
    columns: dict[tuple[str, str], Size] = {("carbon", "volume_out"): _carbon_size}
    factor = rng.uniform(1.15, 1.6)
    return _spoil(batch, rng, columns, lambda place, value: to_step(value * factor, 0.01))


@_kind("strengths in and out of the filter exchanged", scarce=True)
def _filter_exchanged(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("carbon", "strength_in"))
    if place is None:
        return None
    out = ("carbon", place[1], "strength_out")
    a, b = batch.value(place), batch.value(out)
    size = (_vol(batch, a) - _vol(batch, b)) / (sqrt(2) * _strength_doubt(batch))
    return {place: b, out: a}, {place, out}, size


@_kind("too strong through the filter", scarce=True)
def _too_strong_filtered(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("carbon", "strength_in"))
    if place is None:
        return None
    new = batch.bench.strength(rng.uniform(56, 68), 0.5)
    return {place: new}, _beside(place, "strength_out"), (_vol(batch, new) - 50) / _strength_doubt(batch)


@_kind("a fining's dose ten times too large or small")
def _dose(batch: Batch, rng: Rng) -> Any:
    columns: dict[tuple[str, str], Size] = {
        ("clearing", "dose"): _dose_size,
        ("clearing", "dose_mass"): _dose_size,
    }
    return _spoil(batch, rng, columns, _moved(rng))


@_kind("the second fining too early", scarce=True)
def _second_early(batch: Batch, rng: Rng) -> Any:
    seconds = [p for p in _places(batch, "clearing", "step") if batch.value(p) == "second fining"]
    if not seconds:
        return None
    place = ("clearing", seconds[0][1], "done_at")
    first = ("clearing", (seconds[0][1] or 0) - 1, "done_at")
    return {place: batch.value(first) + timedelta(minutes=int(rng.integers(2, 30)))}, {place, first}, inf


@_kind("a wash warmer than its yeast stands")
def _too_warm(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("fermentation", "wash_temperature"))
    if place is None:
        return None
    doubt = batch.bench.thermometer.uncertainty
    above = rng.uniform(2, 5)
    new = to_step(in_unit(batch.facts["warmest"] + above * doubt, batch.bench.unit("°C")), 1.0)
    return {place: new}, {place}, _wash_temperature_size(batch, place, new)[0]


@_kind("a stalled wash not noticed")
def _stalled(batch: Batch, rng: Rng) -> Any:
    true = batch.facts.get("gravities", [])
    extract = physics.brix(batch.facts.get("original", 1.0)) / 100
    early = [i for i in range(1, len(true) - 3) if true[i] > physics.wash(extract, 0.38).gravity]
    if not early:
        return None
    at, rows = early[-1], batch.rows("fermentation")
    held = rows[at]["reading"]
    changes: dict[Place, Any] = {}
    for i in range(at + 1, len(rows)):
        changes["fermentation", i, "reading"] = to_step(held + rng.choice([0.0, 0.0, 0.0, 0.001]), 0.001)
        changes["fermentation", i, "sample_temperature"] = rows[at]["sample_temperature"]
    return changes, {("fermentation", i, "reading") for i in range(at, len(rows))}, inf


@_kind("a rating beyond the scale", scarce=True)
def _off_scale(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("tasting", "aroma"), ("tasting", "taste"), ("tasting", "smoothness"))
    return ({place: float(rng.choice([0, 10, 70, 95]))}, {place}, inf) if place else None


@_kind("a taster's line twice", scarce=True)
def _rated_twice(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("tasting", "sample"))
    if place is None or place[1] is None or place[1] == 0:
        return None
    above = batch.rows("tasting")[place[1] - 1]
    if above["taster"] != batch.rows("tasting")[place[1]]["taster"]:
        return None
    return {place: above["sample"]}, _beside(place, "taster"), inf


@_kind("more correct answers than tastings", scarce=True)
def _too_correct(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("triangle", "correct"))
    if place is None:
        return None
    tastings = batch.value(("triangle", place[1], "tastings"))
    return {place: int(tastings + rng.integers(1, 20))}, _beside(place, "tastings"), inf


@_kind("a blend beyond reach", scarce=True)
def _beyond_reach(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("blend", "wanted_strength"))
    if place is None:
        return None
    return {place: batch.bench.strength(rng.uniform(65, 90), 0.5)}, {place}, inf


@_kind("before and after boiling exchanged", scarce=True)
def _boiling(batch: Batch, rng: Rng) -> Any:
    before = _any(batch, rng, ("boiling", "before"))
    if before is None:
        return None
    after = ("boiling", before[1], "after")
    return {before: batch.value(after), after: batch.value(before)}, {before, after}, inf


@_kind("the yeast's temperatures exchanged")
def _range_exchanged(batch: Batch, rng: Rng) -> Any:
    low, high = ("batch", None, "temperature_low"), ("batch", None, "temperature_high")
    if batch.value(low) is None or batch.value(high) is None:
        return None
    return {low: batch.value(high), high: batch.value(low)}, {low, high}, inf


@_kind("a wine's strength typed as proof", scarce=True)
def _wine_proof(batch: Batch, rng: Rng) -> Any:
    place = _any(batch, rng, ("recipe", "strength"))
    return ({place: batch.value(place) * 2}, {place}, inf) if place else None
