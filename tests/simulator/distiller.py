"""A careful distiller's batch from recipe to bottle: what was done, what was read, what was written down.

Habits and rules of thumb are those of the trade (common practice): a wash is left alone until it stands
still, finings get their time, the element stays covered, first runnings are set aside, and spirit is brought
down before it is filtered. So a clean log deserves neither warnings nor errors.
"""

from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np

from simulator import physics
from simulator.bench import Batch, Rng, clock, in_unit, make, to_step

SHARES = {"sugar": 0.45, "grain": 0.18, "fruit": 0.15, "molasses": 0.12, "wine": 0.10}
FIRST_RUNNINGS = {"sugar": 0.02, "grain": 0.03, "molasses": 0.03, "wine": 0.04, "fruit": 0.05}
LEES = {"sugar": (0.03, 0.09), "grain": (0.05, 0.20), "fruit": (0.06, 0.22), "molasses": (0.05, 0.12)}
LEES |= {"wine": (0.01, 0.05)}
PRODUCTS = {
    "sugar": "vodka",
    "grain": "grain spirit",
    "fruit": "fruit spirit",
    "molasses": "rum",
    "wine": "brandy",
}
LEAST = {"sugar": 37.5, "grain": 35.0, "fruit": 37.5, "molasses": 37.5, "wine": 36.0}
NAMES = ("Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus", "Hal")
NOTES = ("Smells of bread", "foam gone", "quiet", "clear on top", "new moon", "still bubbling", "ok")


class Spirit(NamedTuple):
    """Spirit in hand: volume L and strength % vol, as they are."""

    volume: float
    strength: float


def batch(seed: int) -> Batch:
    """One batch of one person; the same for the same seed."""
    rng = np.random.default_rng(seed)
    bench, instruments = make(rng, "us" if rng.random() < 0.3 else "metric")
    made = Batch(bench)
    made.log["instruments"] = instruments
    made.facts["kind"] = str(rng.choice(list(SHARES), p=list(SHARES.values())))
    made.facts["until"] = rng.choice(["end", "wash", "runs", "strength"], p=[0.8, 0.06, 0.07, 0.07])
    start = datetime(2025, 1, 10, 18, 0) + timedelta(
        days=int(rng.integers(0, 500)), minutes=int(rng.integers(-90, 90))
    )
    _still_and_place(made, rng)
    volume, wash, end = _wash(made, rng, start)
    if made.facts["until"] != "wash":
        volume, end = _clearing(made, rng, volume, end)
        spirit, end = _runs(made, rng, volume, wash, end)
        if made.facts["until"] != "runs":
            _finishing(made, rng, spirit, end)
    _leave_gaps(made, rng)
    _notation(made, rng)
    return made


def _still_and_place(made: Batch, rng: Rng) -> None:
    """The lines of the batch card that are known before anything is weighed in."""
    us, kind = made.bench.system == "us", made.facts["kind"]
    place = "US" if us else str(rng.choice(["EU", "South Africa", "other"], p=[0.6, 0.15, 0.25]))
    least = {"US": 40.1, "EU": LEAST[kind], "South Africa": 43.0, "other": 30.0}[place]
    targets = [physics.of_proof(p) for p in (80, 86, 90, 100)] if us else [38.0, 40.0, 40.0, 42.0, 43.0, 45.0]
    target = float(rng.choice([t for t in targets if t >= least - 0.05]))
    made.facts |= {"target": target, "least": least, "altitude": float(rng.choice([0, 50, 300, 700, 1500]))}
    made.card("batch").update(
        batch_code=f"{kind[:3].upper()}-{rng.integers(1, 99)}",
        wash_kind=kind,
        place=place,
        target_strength=made.bench.strength(target),
        currency={"US": "USD", "EU": "EUR", "South Africa": "ZAR", "other": "CHF"}[place],
        energy_price=round(rng.uniform(0.1, 0.5), 2),
        bottle_price=round(rng.uniform(0.5, 3.0), 2),
        altitude=to_step(in_unit(made.facts["altitude"], made.bench.unit("m")), 10),
    )
    if place == "other" and rng.random() < 0.5:
        made.card("batch")["own_minimum"] = made.bench.strength(37.5)


class Must(NamedTuple):
    """A must before the yeast: extract as mass fraction, the share of it that ferments, and kg of it."""

    extract: float
    fermentable: float
    mass: float


def _wash(made: Batch, rng: Rng, start: datetime) -> tuple[float, physics.Wash, datetime]:
    """Recipe and fermentation -> volume (L) and wash as they are, and when it was last read."""
    if made.facts["kind"] == "wine":
        return _bought_wine(made, rng, start)
    must = _recipe(made, rng)
    volume = 1000 * must.mass / physics.sugar_density(must.extract, 20.0)
    original = physics.sugar_density(must.extract, 20.0) / physics.water_density(20.0)
    ends_at = must.fermentable * rng.uniform(0.96, 1.0)
    end = physics.wash(must.extract, ends_at, rng.normal(2.0665, 0.02))
    least = 5 * np.ceil((end.strength + rng.uniform(0.7, 3.0)) / 0.5) / 10
    tolerance = float(min(t for t in (8, 9, 10, 12, 14, 15, 16, 18, 20, 23) if t >= least))
    coolest = float(rng.choice([15, 16, 18, 20]))
    warmest = coolest + float(rng.choice([10, 12, 14]))
    unit = made.bench.unit("°C")
    made.card("batch").update(
        started_at=clock(start, rng),
        wash_volume=made.bench.large(volume),
        yeast_tolerance=tolerance,
        temperature_low=round(in_unit(coolest, unit)),
        temperature_high=round(in_unit(warmest, unit)),
    )
    made.facts |= {"original": original, "volume": volume, "end": end, "coolest": coolest, "warmest": warmest}
    made.card("recipe")["pitch_temperature"] = made.bench.temperature(rng.uniform(coolest + 2, warmest - 3))
    room = rng.uniform(max(coolest, 17), min(warmest - 4, 25))
    made.card("batch")["original_gravity"] = _original_gravity(made, rng, must.extract, room)
    last = _readings(made, rng, start, must, ends_at, room, coolest, warmest)
    if rng.random() < 0.12:
        _boiled(made, rng, end, room)
    return volume, end, last


def _original_gravity(made: Batch, rng: Rng, extract: float, room: float) -> float:
    """As the person works it out of a reading, its temperature and the glass: corrected to 20 °C."""
    bench, at = made.bench, room + rng.normal(0, 1.5)
    shown, degrees = bench.gravity(physics.sugar_density(extract, at), at), bench.temperature(at)
    warm = bench.celsius(degrees)
    reference = bench.hydrometer.reference
    density = (shown + bench.hydrometer.correction) * physics.water_density(reference)
    density *= 1 - physics.GLASS * (warm - reference)
    cool = physics.bisect(lambda w: physics.sugar_density(w, warm) - density, 0.0, 0.6)
    return to_step(physics.sugar_density(cool, 20.0) / physics.water_density(20.0), 0.001)


def _recipe(made: Batch, rng: Rng) -> Must:
    """What was weighed in, and the must it makes."""
    return {"sugar": _of_sugar, "grain": _of_grain, "fruit": _of_fruit, "molasses": _of_molasses}[
        made.facts["kind"]
    ](made, rng)


def _item(made: Batch, item: str, kind: str, kilos: float, **more: Any) -> None:
    """One weighed line of the recipe."""
    unit = made.bench.unit("kg")
    step = 0.1 if kilos > 2 else 0.01
    line = {"item": item, "kind": kind, "amount": made.bench.weight(kilos, unit, step)} | more
    made.rows("recipe").append({key: value for key, value in line.items() if value is not None})


def _water(made: Batch, litres: float) -> None:
    made.card("recipe")["water_volume"] = made.bench.large(litres)


def _price(made: Batch, rng: Rng, low: float, high: float) -> float | None:
    unit = made.bench.unit("per kg")
    return round(in_unit(rng.uniform(low, high), unit), 2) if rng.random() < 0.7 else None


def _of_sugar(made: Batch, rng: Rng) -> Must:
    litres, strength = rng.choice([10, 20, 25, 25, 30, 50, 60]), rng.uniform(8.5, 15.0)
    extract = physics.bisect(lambda w: physics.wash(w, 0.98).strength - strength, 0.05, 0.4)
    mass = litres * physics.sugar_density(extract, 20.0) / 1000
    sugar = extract * mass
    dextrose = sugar * rng.uniform(0.05, 0.3) if rng.random() < 0.15 else 0.0
    _item(made, "White sugar", "sugar", sugar - dextrose, price=_price(made, rng, 0.7, 1.5))
    if dextrose:
        _item(made, "Dextrose", "dextrose", dextrose / 0.909, price=_price(made, rng, 1, 3))
    if rng.random() < 0.6:
        _item(made, "Yeast food", "additive", 0.002 * litres, price=_price(made, rng, 5, 20))
    _water(made, mass - sugar - (dextrose / 0.909 - dextrose))
    return Must(extract, 1.0, mass)


def _of_grain(made: Batch, rng: Rng) -> Must:
    litres, grain = rng.choice([20, 30, 50]), rng.uniform(0.2, 0.3)
    malt = grain * litres * (rng.uniform(0.2, 0.9) if rng.random() < 0.5 else 1.0)
    raw = grain * litres - malt
    efficiency = rng.uniform(0.68, 0.82)
    lab_malt, lab_raw = rng.normal(0.78, 0.012), rng.normal(0.70, 0.02)
    extract = efficiency * (malt * lab_malt + raw * lab_raw)
    told = round(100 * efficiency) if rng.random() < 0.4 else None
    if malt:
        _item(made, "Pale malt", "malt", malt, efficiency=told, price=_price(made, rng, 1, 2))
    if raw:
        _item(made, "Rye", "grain", raw, efficiency=told, price=_price(made, rng, 0.4, 1.2))
    made.card("recipe")["grain_and_pulp"] = "strained off"
    share = extract / (litres * 1.04)
    mass = litres * physics.sugar_density(share, 20.0) / 1000
    # The strained grain keeps about its own weight of water, and its moisture came along with it.
    poured = mass - extract + (malt + raw) * rng.uniform(0.9, 1.1) - 0.05 * malt - 0.1 * raw
    _water(made, poured)
    return Must(extract / mass, rng.uniform(0.66, 0.74), mass)


def _of_fruit(made: Batch, rng: Rng) -> Must:
    fruit, solids = float(rng.choice([20, 40, 80])), rng.uniform(0.10, 0.16)
    sugar = fruit * rng.uniform(0.02, 0.06) if rng.random() < 0.3 else 0.0
    water = fruit * rng.uniform(0.05, 0.3) if sugar or rng.random() < 0.3 else 0.0
    told = to_step(100 * solids, 0.5) if rng.random() < 0.6 else None
    _item(made, str(rng.choice(["Plums", "Apples", "Pears"])), "fruit", fruit, solids=told)
    if sugar:
        _item(made, "White sugar", "sugar", sugar, price=_price(made, rng, 0.7, 1.5))
    _water(made, water)
    extract = fruit * solids + sugar
    pulp = fruit * rng.uniform(0.03, 0.05)
    mass = fruit - pulp + sugar + water
    return Must(
        extract / mass, (fruit * solids * rng.uniform(0.82, 0.9) + sugar) / extract, mass + pulp * 0.7
    )


def _of_molasses(made: Batch, rng: Rng) -> Must:
    litres = float(rng.choice([20, 30, 50]))
    solids, fermentable = rng.normal(0.80, 0.015), rng.uniform(0.46, 0.54)
    molasses = litres * rng.uniform(0.18, 0.28)
    sugar = litres * rng.uniform(0.02, 0.05) if rng.random() < 0.3 else 0.0
    told = round(100 * fermentable) if rng.random() < 0.5 else None
    _item(made, "Cane molasses", "molasses", molasses, fermentable=told, price=_price(made, rng, 1, 3))
    if sugar:
        _item(made, "Raw sugar", "sugar", sugar, price=_price(made, rng, 1, 2))
    extract = molasses * solids + sugar
    density = physics.sugar_density(extract / (litres * 1.07), 20.0)
    mass = litres * density / 1000
    _water(made, mass - molasses - sugar)
    return Must(extract / mass, (molasses * fermentable + sugar) / extract, mass)


def _bought_wine(made: Batch, rng: Rng, start: datetime) -> tuple[float, physics.Wash, datetime]:
    """A wine that came ready: its label, and perhaps a sample of it boiled off."""
    volume, extract = float(rng.choice([10, 20, 40])), rng.uniform(0.17, 0.21)
    wine = physics.wash(extract, rng.uniform(0.93, 0.97))
    unit = made.bench.unit("L")
    label = to_step(wine.strength + rng.uniform(-0.3, 0.3), 0.5)
    made.card("batch")["wash_volume"] = made.bench.large(volume)
    made.rows("recipe").append(
        {
            "item": "Table wine",
            "kind": "wine",
            "liquid_volume": round(in_unit(volume, unit), 2),
            "strength": label,
        }
    )
    _water(made, 0.0)
    made.facts |= {"volume": volume, "end": wine, "label": label}
    if rng.random() < 0.4:
        _boiled(made, rng, wine, rng.uniform(17, 24))
    return volume, wine, start


def _boiled(made: Batch, rng: Rng, wash: physics.Wash, room: float) -> None:
    """A sample read, boiled off, made up again and read."""
    bench, again = made.bench, room + rng.normal(0, 1)
    left = wash.extract * physics.wash_density(wash.alcohol, wash.extract, 20.0)
    after = physics.bisect(lambda w: w * physics.sugar_density(w, 20.0) - left, 0.0, 0.5)
    density = physics.wash_density(wash.alcohol, wash.extract, room)
    made.rows("boiling").append(
        {
            "sample": "Finished wash",
            "before": bench.gravity(density, room),
            "before_temperature": bench.temperature(room),
            "after": bench.gravity(physics.sugar_density(after * rng.normal(1, 0.004), again), again),
            "after_temperature": bench.temperature(again),
        }
    )


def _readings(
    made: Batch,
    rng: Rng,
    start: datetime,
    must: Must,
    ends_at: float,
    room: float,
    coolest: float,
    warmest: float,
) -> datetime:
    """The hydrometer once a day until it has stood still, with days missed; when it was last read."""
    bench, rows = made.bench, made.rows("fermentation")
    lag, slow, bend = rng.uniform(0.2, 0.8), rng.uniform(2.2, 4.5), rng.uniform(1.1, 1.6)
    warmth = rng.uniform(max(room, coolest + 2), min(room + 7, warmest - 3))
    true: list[float] = []
    day, stood = 0, 0
    when = start
    while stood < 3:
        gone = 1 - np.exp(-((max(day + 0.1 - lag, 0.0) / slow) ** bend))
        if (day == 0 and rng.random() < 0.5) or (day > 0 and rng.random() < (0.88 if gone > 0.3 else 0.8)):
            wash = physics.wash(must.extract, ends_at * gone)
            in_wash = warmth + rng.normal(0, 0.6) - (2.0 if gone > 0.9 else 0.0)
            sample = in_wash + (rng.uniform(-3, 0) if rng.random() < 0.7 else room - in_wash)
            when = start + timedelta(days=day) if day else start + timedelta(minutes=10)
            line = {
                "taken_at": clock(when, rng, 40 if day else 0),
                "reading": bench.gravity(physics.wash_density(wash.alcohol, wash.extract, sample), sample),
                "sample_temperature": bench.temperature(sample),
                "wash_temperature": bench.temperature(max(in_wash, coolest + 0.5)),
            }
            if rng.random() < 0.2:
                line["note"] = str(rng.choice(NOTES))
            rows.append(line)
            true.append(wash.gravity)
            stood = stood + 1 if gone > 0.993 else 0
        day += 1
    made.facts["gravities"] = true
    last: datetime = rows[-1]["taken_at"]
    return last


def _clearing(made: Batch, rng: Rng, volume: float, end: datetime) -> tuple[float, datetime]:
    """Gas out, finings, racking -> what is left of the wash, and when the still may be charged."""
    bench, kind = made.bench, made.facts["kind"]
    low, high = LEES[kind]
    left = volume * (1 - rng.uniform(low, high))
    if rng.random() < 0.15:
        return left, end + timedelta(days=int(rng.integers(2, 6)))
    rows, at = made.rows("clearing"), end + timedelta(hours=rng.uniform(1, 4))
    if kind != "wine":
        rows.append({"step": "degassing", "done_at": clock(at, rng)})
        at += timedelta(minutes=int(rng.integers(20, 60)))
    way = str(rng.choice(["two parts", "two parts", "bentonite", "gelatine", "none"]))
    if way == "two parts":
        rows.append(_fining(made, rng, at, "first fining", "silica sol", volume, (0.8, 2.0)))
        at += timedelta(hours=rng.uniform(1.0, 2.0))
        rows.append(_fining(made, rng, at, "second fining", "chitosan", volume, (1.2, 3.0)))
        at += timedelta(hours=rng.uniform(13, 36))
    elif way == "bentonite":
        rows.append(_fining(made, rng, at, "first fining", "bentonite", volume, (0.4, 1.5)))
        at += timedelta(hours=rng.uniform(74, 140))
    elif way == "gelatine":
        rows.append(_fining(made, rng, at, "first fining", "gelatine", volume, (0.04, 0.15)))
        at += timedelta(hours=rng.uniform(26, 60))
    else:
        at += timedelta(days=int(rng.integers(2, 7)))
    if rng.random() < 0.4:
        rows.append({"step": "looking", "done_at": clock(at, rng), "note": "bright"})
        at += timedelta(hours=rng.uniform(0.2, 3))
    rows.append({"step": "racking", "done_at": clock(at, rng), "volume_after": bench.large(left)})
    return left, at + timedelta(hours=rng.uniform(1, 60))


def _fining(
    made: Batch, rng: Rng, at: datetime, step: str, agent: str, volume: float, rate: tuple[float, float]
) -> dict[str, Any]:
    """One fining at a usual rate: mL of a liquid, or g of a powder, for each litre."""
    dose = volume * rng.uniform(*rate)
    line: dict[str, Any] = {"step": step, "done_at": clock(at, rng), "agent": agent}
    if agent in ("silica sol", "chitosan"):
        unit = made.bench.unit("mL")
        return line | {"dose": to_step(in_unit(dose / 1000, unit), 5 if unit == "mL" else 0.1)}
    return line | {"dose_mass": max(to_step(dose, 0.5), 0.5)}


class Run(NamedTuple):
    """One charge as it ran: the course, its volumes step by step, and the step it was stopped at."""

    course: physics.Course
    volumes: Any
    strengths: Any
    stop: int
    loss: float

    def part(self, start: int, end: int) -> Spirit:
        """What came over between two steps."""
        ethanol = (self.course.ethanol[end] - self.course.ethanol[start]) * (1 - self.loss)
        return Spirit(*physics.amount(ethanol, self.course.water[end] - self.course.water[start]))


def _runs(
    made: Batch, rng: Rng, volume: float, wash: physics.Wash, at: datetime
) -> tuple[list[Spirit], datetime]:
    """Charge after charge -> the lots of spirit that are kept, and when the last run was over."""
    bench, card = made.bench, made.card("batch")
    column = rng.random() < 0.12
    twice = not column and wash.strength < 13 and rng.random() < 0.45
    charges = int(rng.integers(1, 3 if volume < 30 else 5))
    charge = volume / charges * rng.uniform(0.93, 0.995)
    capacity = to_step(
        in_unit(charge / rng.uniform(0.6, 0.8), bench.unit("L")), 0.5 if bench.system == "metric" else 0.25
    )
    litres = capacity / in_unit(1.0, bench.unit("L"))
    stages = rng.uniform(2.0, 3.5) if column else rng.uniform(1.0, 1.5)
    limit = rng.uniform(5, 18) if twice else rng.uniform(18, 40)
    heat = physics.heat_up(charge, wash.strength, 20, made.facts["altitude"])
    power = to_step(heat / 3.6 / rng.uniform(0.6, 1.3), 50)
    made.facts |= {"capacity": litres, "power": power, "efficiency": rng.uniform(0.68, 0.9), "limit": limit}
    made.facts["minimum"] = 0.15 * litres
    card["still_capacity"] = capacity
    card["still_minimum"] = to_step(in_unit(made.facts["minimum"], bench.unit("L")), 0.05)
    card["still_power"] = power
    card["open_to_air"] = "yes"
    if rng.random() < 0.5:
        card["drip_limit"] = bench.strength(limit, 1.0)
    if column or rng.random() < 0.3:
        card["effective_stages"] = to_step(stages, 0.5 if column else 0.05)
    if rng.random() < 0.3:
        card["still_efficiency"] = round(100 * made.facts["efficiency"])
    estimate = _believed_strength(made, rng, wash)
    runs = []
    for number in range(charges):
        name = f"S{number + 1}" if twice else str(number + 1)
        kind = "stripping" if twice else "single"
        run, at = _run(made, rng, name, kind, Spirit(charge, wash.strength), estimate, stages, limit, at)
        runs.append((name, run))
    if not twice:
        return [_kept(made, rng, number, *run) for number, run in enumerate(runs)], at
    return _spirit_runs(made, rng, runs, stages, at)


def _believed_strength(made: Batch, rng: Rng, wash: physics.Wash) -> float | None:
    """The strength of the wash as the person writes it beside a charge, if at all."""
    if made.facts["kind"] == "wine":
        return float(made.facts["label"])
    if rng.random() < 0.5:
        return None
    # From the fermentation sheet, or a hydrometer's rule of thumb: good to half a per cent or so.
    return to_step(wash.strength + rng.normal(0, 0.2), float(rng.choice([0.1, 0.5])))


def _spirit_runs(
    made: Batch, rng: Rng, runs: list[tuple[str, Run]], stages: float, at: datetime
) -> tuple[list[Spirit], datetime]:
    """The low wines together, brought to about 30 % vol, and run again in as many charges as it takes."""
    bench = made.bench
    ethanol = sum(run.course.ethanol[run.stop] * (1 - run.loss) for _, run in runs)
    water = sum(run.course.water[run.stop] for _, run in runs)
    low_wines = Spirit(*physics.amount(ethanol, water))
    if low_wines.strength > 33:
        low_wines = Spirit(*physics.mixed(*low_wines, physics.water_to(*low_wines, rng.uniform(27, 32))[0]))
    charges = int(np.ceil(low_wines.volume / (0.8 * made.facts["capacity"])))
    charge = Spirit(low_wines.volume / charges * 0.995, low_wines.strength)
    at += timedelta(hours=rng.uniform(10, 80))
    limit = rng.uniform(25, 45)
    kept = []
    if charge.volume < 2.5 * made.facts["minimum"]:
        return [low_wines], at  # too little for this pot; it waits for the next batch
    for number in range(charges):
        room = rng.uniform(17, 23)
        believed = bench.strength_by(bench.mark(charge.strength, room), bench.temperature(room))
        name = f"R{number + 1}"
        run, at = _run(made, rng, name, "spirit", charge, to_step(believed, 0.1), stages, limit, at)
        kept.append(_kept(made, rng, len(made.rows("runs")) - 1, name, run))
    return kept, at


def _waking(at: datetime) -> datetime:
    """Work is begun between seven in the morning and six in the evening."""
    if at.hour < 7:
        return at.replace(hour=8)
    return (at + timedelta(days=1)).replace(hour=9) if at.hour >= 18 else at


def _run(
    made: Batch,
    rng: Rng,
    name: str,
    kind: str,
    charge: Spirit,
    believed: float | None,
    stages: float,
    limit: float,
    at: datetime,
) -> tuple[Run, datetime]:
    """One run and its line on the runs sheet."""
    course = physics.distil(*charge, stages)
    volumes, strengths = course.volume(), course.drip_strength()
    most = charge.volume - 1.25 * made.facts["minimum"]
    ended = np.flatnonzero((strengths < limit) | (volumes > most))
    stop = max(int(ended[0]) if len(ended) else len(volumes) - 1, 5)
    run = Run(course, volumes, strengths, stop, rng.uniform(0.0, 0.015))
    watts = made.facts["power"] * made.facts["efficiency"]
    start = physics.heat_up(*charge, rng.uniform(14, 24), made.facts["altitude"])
    at = _waking(at)
    drip = at + timedelta(hours=start / 3.6 / watts)
    end = drip + timedelta(hours=min(course.heat[stop] / 3.6 / watts, 9.0))
    bench = made.bench
    line: dict[str, Any] = {"run": name, "kind": kind, "charge_volume": made.bench.large(charge.volume)}
    if believed is not None:
        line["charge_strength"] = believed
    line |= {"filled_at": clock(at, rng), "first_drip_at": clock(drip, rng), "stopped_at": clock(end, rng)}
    collected = run.part(0, stop)
    sample = rng.uniform(16, 26)
    line["collected_volume"] = bench.small(collected.volume)
    line["collected_reading"] = bench.mark(collected.strength, sample)
    line["collected_temperature"] = bench.temperature(sample)
    made.rows("runs").append(line)
    made.facts.setdefault("runs", []).append(
        {"charge": charge, "collected": collected, "stages": stages, "watts": watts}
    )
    return run, end + timedelta(hours=rng.uniform(0.5, 3))


def _kept(made: Batch, rng: Rng, record: int, name: str, run: Run) -> Spirit:
    """The middle of a run, by jars on the cuts sheet or by eye."""
    share = FIRST_RUNNINGS[made.facts["kind"]] * rng.uniform(1.05, 1.6)
    charge = made.facts["runs"][record]["charge"]
    first = share * charge.volume * charge.strength / 100
    bounds = [int(np.searchsorted(run.volumes, first)) or 1]
    bounds.append(bounds[0] + max(int(run.stop * rng.uniform(0.06, 0.12)), 1))
    jars = int(rng.integers(3, 7))
    bounds += [int(b) for b in np.linspace(bounds[1], run.stop, jars + 1)[1:]]
    bounds = sorted({b for b in bounds if b <= run.stop})
    low = rng.uniform(0.45, 0.65) * float(run.strengths[0])
    parts = [run.part(a, b) for a, b in zip([0, *bounds], bounds, strict=False)]
    fractions = ["first runnings", "heads"]
    fractions += ["hearts" if p.strength >= low else "tails" for p in parts[2:]]
    hearts = [p for p, f in zip(parts, fractions, strict=True) if f == "hearts"] or parts[2:3]
    if rng.random() < 0.6 and "hearts" in fractions:
        _cuts(made, rng, record, name, run, parts, fractions, [0, *bounds])
    grams = np.array([physics.moles(*p) for p in hearts]).sum(axis=0)
    return Spirit(*physics.amount(*grams))


def _cuts(
    made: Batch,
    rng: Rng,
    record: int,
    name: str,
    run: Run,
    parts: list[Spirit],
    fractions: list[str],
    bounds: list[int],
) -> None:
    """The jars of a run; with them the whole of it is seldom mixed and measured."""
    bench, sample = made.bench, rng.uniform(17, 25)
    bulb = rng.random() < 0.6
    jars = []
    for number, (part, fraction) in enumerate(zip(parts, fractions, strict=True), start=1):
        degrees = sample + rng.normal(0, 0.7)
        line: dict[str, Any] = {
            "run": name,
            "jar": str(number),
            "volume": bench.small(part.volume),
            "reading": bench.mark(part.strength - (rng.uniform(0, 4) if number == 1 else 0), degrees),
            "temperature": bench.temperature(degrees),
            "fraction": fraction,
        }
        if bulb:
            drip = run.course.drip[(bounds[number - 1] + bounds[number]) // 2]
            line["vapour_temperature"] = bench.vapour(
                physics.vapour_temperature(float(drip), made.facts["altitude"]) + rng.normal(0, 0.15)
            )
        jars.append(line)
    made.rows("cuts").extend(jars)
    line = made.rows("runs")[record]
    line["collected_volume"] = to_step(sum(jar["volume"] for jar in jars), 0.05)
    if rng.random() < 0.7:
        for key in [
            "collected_reading",
            "collected_temperature",
            *["collected_volume"] * int(rng.integers(2)),
        ]:
            del line[key]


def _finishing(made: Batch, rng: Rng, lots: list[Spirit], at: datetime) -> None:
    """Brought to strength, filtered, blended, tasted, bottled."""
    target = made.facts["target"]
    ready = [Spirit(lot.volume * 0.99, lot.strength) for lot in lots if lot.strength > target + 2]
    if not ready:
        return
    if rng.random() < 0.6:
        moles = np.array([physics.moles(*lot) for lot in ready]).sum(axis=0)
        ready = [Spirit(*physics.amount(*moles))]
    names = ["A", "B", "C", "D"] if rng.random() < 0.5 else ["first", "second", "third", "fourth"]
    done = []
    at += timedelta(hours=rng.uniform(2, 100))
    filtering = rng.random() < 0.5
    for name, lot in zip(names, ready, strict=False):
        lot, at = _lot(made, rng, name, lot, filtering, at)
        done.append((name, lot))
    if made.facts["until"] == "strength":
        return
    if len(done) > 1 and rng.random() < 0.5:
        _blend(made, rng, done)
    if rng.random() < 0.4:
        _tasting(made, rng, [name for name, _ in done])
    if rng.random() < 0.3:
        tastings = int(rng.integers(6, 37))
        right = int(rng.binomial(tastings, 1 / 3 + rng.choice([0.0, 0.3])))
        made.rows("triangle").append({"pair": "filtered, unfiltered", "tastings": tastings, "correct": right})
    if rng.random() < 0.4:
        made.card("costs")["other_costs"] = round(rng.uniform(2, 40), 2)
    at += timedelta(days=int(rng.integers(1, 30)))
    for name, lot in done:
        _bottling(made, rng, name, lot, _waking(at))


def _lot(
    made: Batch, rng: Rng, name: str, lot: Spirit, filtering: bool, at: datetime
) -> tuple[Spirit, datetime]:
    """One lot brought to the bottle's strength, through the filter on the way or not at all."""
    target = made.facts["target"]
    if not filtering:
        return _brought(made, rng, name, lot, target), at
    between = (
        target if lot.strength < 50 or rng.random() < 0.5 else min(rng.uniform(target + 2, target + 8), 50)
    )
    between = min(max(target, to_step(between, 1.0) if between != target else target), 50.0)
    lot = _brought(made, rng, name, lot, between)
    lot, at = _filtered(made, rng, name, lot, at, rinsing=between > target + 1)
    if between > target + 1 and lot.strength > target + 1:
        lot = _brought(made, rng, name, lot, target)
    return lot, at


def _brought(made: Batch, rng: Rng, name: str, lot: Spirit, target: float) -> Spirit:
    """A line on the strength sheet: measured, water weighed in, measured again, put right if need be."""
    bench, room = made.bench, rng.uniform(17, 24)
    line: dict[str, Any] = {
        "lot": name,
        "volume": bench.lot(lot.volume),
        "reading": bench.mark(lot.strength, room),
        "temperature": bench.temperature(room),
        "target_strength": bench.strength(target),
    }
    believed = Spirit(
        line["volume"] / in_unit(1, bench.unit("L")), bench.strength_by(line["reading"], line["temperature"])
    )
    water = physics.water_to(*believed, target)[0] if believed.strength > target else 0.0
    mix = Spirit(*physics.mixed(*lot, water * rng.normal(1, 0.003)))
    if rng.random() < 0.8:
        later = room + rng.uniform(-1, 3)
        line["reading_after"] = bench.mark(mix.strength, later)
        line["temperature_after"] = bench.temperature(later)
        off = bench.strength_by(line["reading_after"], line["temperature_after"]) - target
        if abs(off) > 0.3:
            # A little water more, or spirit: by the same glass it then is where it should be.
            mix = Spirit(mix.volume * mix.strength / (mix.strength - off), mix.strength - off)
    made.rows("strength").append(line)
    made.facts.setdefault("lots", []).append({"before": lot, "after": mix, "believed": believed})
    return mix


def _filtered(
    made: Batch, rng: Rng, name: str, lot: Spirit, at: datetime, rinsing: bool
) -> tuple[Spirit, datetime]:
    """A line on the carbon sheet: slowly through 80 to 200 g a litre; rinsed out if brought down after."""
    bench, room = made.bench, rng.uniform(18, 23)
    carbon = lot.volume * rng.uniform(0.08, 0.2)
    measured = bench.strength_by(bench.mark(lot.strength, room), bench.temperature(room))
    at = _waking(at)
    end = at + timedelta(hours=lot.volume * rng.uniform(6, 12))
    kept = carbon * rng.uniform(0.8, 1.2)
    out = Spirit(lot.volume - kept, lot.strength - rng.uniform(0.0, 0.15))
    if rinsing and rng.random() < 0.6:
        rinsed = kept * rng.uniform(0.5, 0.9)
        alcohol = out.volume * out.strength / 100 + 0.7 * rinsed * lot.strength / 100
        out = Spirit(
            out.volume + rinsed, max(100 * alcohol / (out.volume + rinsed), made.facts["target"] + 1.1)
        )
    after = bench.strength_by(bench.mark(out.strength, room), bench.temperature(room))
    unit = bench.unit("g")
    made.rows("carbon").append(
        {
            "lot": name,
            "volume_in": bench.lot(lot.volume),
            "strength_in": bench.strength(measured),
            "carbon_mass": bench.weight(
                carbon, "oz" if bench.system == "us" else unit, 0.5 if bench.system == "us" else 5
            ),
            "freshness": "fresh",
            "started_at": clock(at, rng),
            "ended_at": clock(end, rng),
            "volume_out": bench.lot(out.volume),
            "strength_out": bench.strength(after),
        }
    )
    return out, end + timedelta(hours=rng.uniform(1, 20))


def _blend(made: Batch, rng: Rng, lots: list[tuple[str, Spirit]]) -> None:
    """Two lots and water, planned on the blend sheet."""
    bench, wanted = made.bench, min(lot.strength for _, lot in lots[:2]) - rng.uniform(0.5, 1.5)
    if wanted < made.facts["least"] + 0.2:
        return
    rows: list[dict[str, Any]] = [
        {
            "lot": "house",
            "part": name,
            "volume": bench.lot(lot.volume * rng.uniform(0.2, 0.5)),
            "strength": bench.strength(lot.strength),
        }
        for name, lot in lots[:2]
    ]
    rows[0]["wanted_strength"] = bench.strength(wanted)
    made.rows("blend").extend([*rows, {"lot": "house", "part": "water", "strength": 0.0}])


def _tasting(made: Batch, rng: Rng, lots: list[str]) -> None:
    """Lots, or a lot and bought ones, rated by some friends who taste about alike."""
    samples = [*lots, "bought", "last year's"][: int(rng.integers(2, 5))]
    quality = rng.normal(6, 1.2, len(samples))
    for taster in NAMES[: int(rng.integers(4, 9))]:
        mood = rng.normal(0, 0.7)
        for sample, good in zip(samples, quality, strict=True):
            rated = np.clip(np.round(good + mood + rng.normal(0, 0.8, 3)), 1, 9)
            scores = dict(zip(("aroma", "taste", "smoothness"), map(float, rated), strict=True))
            made.rows("tasting").append({"sample": sample, "taster": taster} | scores)


def _bottling(made: Batch, rng: Rng, name: str, lot: Spirit, at: datetime) -> None:
    """A line on the bottling sheet; a taste and the last drops stay behind."""
    bench = made.bench
    size = float(rng.choice([350, 500, 700])) if bench.system == "metric" else float(rng.choice([375, 750]))
    made.card("batch").setdefault("bottle_size", size)
    bottles = int((lot.volume * rng.uniform(0.95, 0.99)) / (size / 1000))
    if not bottles:
        return
    room = rng.uniform(18, 22)
    line: dict[str, Any] = {"bottled_at": clock(at, rng), "lot": name, "bottles": bottles}
    line["label_strength"] = bench.strength(made.facts["target"])
    if rng.random() < 0.7:
        line["product"] = PRODUCTS[made.facts["kind"]]
    if rng.random() < 0.6 or size != made.card("batch")["bottle_size"]:
        line["bottle_size"] = size
    if rng.random() < 0.5:
        line["filled_volume"] = float(round(size * rng.normal(1.0, 0.004)))
    if rng.random() < 0.7:
        measured = bench.strength_by(bench.mark(lot.strength, room), bench.temperature(room))
        line["measured_strength"] = bench.strength(measured)
    made.rows("bottling").append(line)


def _leave_gaps(made: Batch, rng: Rng) -> None:
    """Sheets that were never used, columns left blank, cells forgotten: nothing that has to be there."""
    for sheet, chance in (
        ("recipe", 0.2),
        ("clearing", 0.15),
        ("cuts", 0.1),
        ("instruments", 0.1),
        ("carbon", 0.05),
    ):
        if rng.random() < chance and (sheet != "instruments" or not _needed(made)):
            made.log.pop(sheet, None)
    columns = [("fermentation", "wash_temperature", 0.2), ("cuts", "vapour_temperature", 0.1)]
    columns += [("runs", "first_drip_at", 0.15), ("runs", "stopped_at", 0.1), ("bottling", "lot", 0.15)]
    columns += [("carbon", "started_at", 0.1), ("runs", "kind", 0.05)]
    for sheet, key, chance in columns:
        if sheet in made.log and rng.random() < chance and not (key == "kind" and _twice(made)):
            for line in made.rows(sheet):
                line.pop(key, None)
    cells = [("fermentation", "wash_temperature"), ("fermentation", "note"), ("runs", "first_drip_at")]
    cells += [("cuts", "vapour_temperature"), ("cuts", "temperature"), ("strength", "temperature_after")]
    for sheet, key in cells:
        for line in made.rows(sheet) if sheet in made.log else []:
            if rng.random() < 0.03:
                line.pop(key, None)
    for key in ("altitude", "currency", "energy_price", "temperature_low", "target_strength"):
        if rng.random() < 0.1 and not (key == "altitude" and made.facts["altitude"] > 300):
            made.card("batch").pop(key, None)


def _twice(made: Batch) -> bool:
    return any(line.get("kind") == "spirit" for line in made.rows("runs")) if "runs" in made.log else False


def _needed(made: Batch) -> bool:
    """Whether an instrument is coarser or less right than the sheet takes for granted."""
    glass, bench = made.bench.alcoholmeter, made.bench
    unlike = bench.system == "metric" and glass.reference != 20.0
    slipped = any(
        abs(i.off) > 0.5 * i.division
        for i in (bench.hydrometer, glass, bench.thermometer, bench.still_thermometer)
    )
    usual = 0.5 if bench.system == "us" else 1.0
    return (
        unlike
        or slipped
        or glass.division > usual
        or bench.thermometer.division > 1.0
        or (bench.system == "us" and bench.thermometer.division > 0.6)
    )


def _notation(made: Batch, rng: Rng) -> None:
    """How cells were written: decimal commas, a unit of their own, dates as text, thousandths, °Bx."""
    metric = made.bench.system == "metric"
    comma = metric and rng.random() < 0.3
    dates = rng.random() < 0.15
    for sheet, held in made.log.items():
        records = made.rows(sheet) if sheet not in ("batch", "costs") else []
        lines = [(None, held)] * isinstance(held, dict) + list(enumerate(records))
        for record, line in lines:
            for key, value in line.items():
                place = (sheet, record, key)
                if isinstance(value, datetime) and dates:
                    made.written[place] = "date"
                elif isinstance(value, float) and sheet not in ("instruments", "tasting", "triangle"):
                    if comma and rng.random() < 0.5:
                        made.written[place] = "comma"
                    elif rng.random() < 0.02:
                        made.written[place] = "unit"
    scale = rng.random()
    gravities = [("fermentation", "reading"), ("boiling", "before"), ("boiling", "after")]
    if scale < 0.2:
        for sheet, key in gravities:
            made.labels[sheet, key] = "thousandths"
    elif scale < 0.28:
        made.labels["fermentation", "reading"] = "points"
