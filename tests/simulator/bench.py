"""A person's instruments with their true errors, their measures, and the units they write in."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import sqrt
from typing import Any

import numpy as np

from simulator import physics

Rng = np.random.Generator
Log = dict[str, Any]
# Sheet, record (None on a card), key.
Place = tuple[str, int | None, str]

GALLON, POUND = 3.785411784, 0.45359237
_FACTORS: dict[str, float] = {
    "L": 1.0,
    "mL": 1000.0,
    "gal": 1 / GALLON,
    "fl oz": 128 / GALLON,
    "kg": 1.0,
    "g": 1000.0,
}
_FACTORS |= {"lb": 1 / POUND, "oz": 16 / POUND, "m": 1.0, "ft": 1 / 0.3048, "W": 1.0, "%": 100.0}
_FACTORS |= {"per kg": 1.0, "per lb": POUND, "per L": 1.0, "per gal": GALLON, "% vol": 1.0, "": 1.0}

# The unit that stands above a column in a new workbook, where it is not the same in both unit systems.
US = {"L": "gal", "mL": "fl oz", "kg": "lb", "°C": "°F", "m": "ft", "per kg": "per lb", "per L": "per gal"}


def in_unit(value: float, unit: str) -> float:
    """A value in base units (L, kg, °C, % vol, SG, m, W) as a number in a unit."""
    if unit == "°F":
        return value * 1.8 + 32
    if unit == "proof":
        return physics.proof(value)
    if unit == "°Bx":
        return physics.brix(value)
    return value if unit in ("°C", "SG") else value * _FACTORS[unit]


def to_step(value: float, step: float) -> float:
    """Rounded to a multiple of a step, without the dust of binary fractions."""
    steps: int = round(value / step)
    return float(f"{steps * step:.6g}")


@dataclass
class Instrument:
    """An instrument as it is: where it reads right, its division and how far each reading is off.

    division, off, correction: SG, % vol or °C; step: to which the person reads; correction: what the zero
    reading on the instruments sheet tells, 0 without one.
    """

    division: float
    off: float
    reference: float = 20.0
    step: float = 0.0
    correction: float = 0.0

    @property
    def uncertainty(self) -> float:
        """Expanded (k = 2): half a division for the reading, half for the calibration, all alike likely."""
        return 2 * sqrt(2 * (self.division / 2) ** 2 / 3)

    def shows(self, right: float, rng: Rng) -> float:
        """What is read where a right instrument would show `right`: off, scattered, rounded."""
        scattered = right + self.off + rng.normal(0, 0.15) * self.division
        return to_step(scattered, self.step or self.division)


@dataclass
class Bench:
    """All instruments of a person, how they measure volumes, and how they write."""

    rng: Rng
    system: str
    hydrometer: Instrument
    alcoholmeter: Instrument
    thermometer: Instrument
    still_thermometer: Instrument
    jug: float  # share by which the jug is off
    marks: float  # share by which the fermenter's marks are off

    def unit(self, metric: str) -> str:
        """The unit of a column in this person's workbook, by the one of a metric workbook."""
        return US.get(metric, metric) if self.system == "us" else metric

    def strength_unit(self) -> str:
        """The unit of strengths from the still on."""
        return "proof" if self.system == "us" else "% vol"

    def temperature(self, true: float) -> float:
        """A temperature as it is read."""
        return self._of_thermometer(self.thermometer, true)

    def vapour(self, true: float) -> float:
        """A vapour temperature as it is read at the still."""
        return self._of_thermometer(self.still_thermometer, true)

    def _of_thermometer(self, thermometer: Instrument, true: float) -> float:
        read = true + thermometer.off + self.rng.normal(0, 0.15) * thermometer.division
        factor = 1.8 if self.system == "us" else 1.0
        shown = in_unit(read, self.unit("°C"))
        return to_step(shown, thermometer.division * factor)

    def celsius(self, shown: float) -> float:
        """What the person takes a reading of the thermometer for, °C."""
        celsius = (shown - 32) / 1.8 if self.system == "us" else shown
        return celsius + self.thermometer.correction

    def gravity(self, density: float, temperature: float) -> float:
        """A hydrometer reading, SG."""
        right = physics.hydrometer_shows(density, temperature, self.hydrometer.reference)
        return self.hydrometer.shows(right, self.rng)

    def mark(self, strength: float, temperature: float) -> float:
        """An alcoholmeter reading in its own scale: % vol, or proof."""
        right = physics.alcoholmeter_shows(strength, temperature, self.alcoholmeter.reference)
        read = self.alcoholmeter.shows(right, self.rng)
        return 2 * read if self.system == "us" else read

    def strength_by(self, shown: float, shown_temperature: float) -> float:
        """The strength at 20 °C that the person works out of two readings."""
        read = shown / 2 if self.system == "us" else shown
        read = min(max(read + self.alcoholmeter.correction, 0.0), 100.0)
        return physics.alcoholmeter_means(read, self.celsius(shown_temperature), self.alcoholmeter.reference)

    def small(self, litres: float) -> float:
        """A volume by jug, in the column of millilitres or fluid ounces."""
        unit = self.unit("mL")
        read = in_unit(litres * (1 + self.jug + self.rng.normal(0, 0.003)), unit)
        steps = [5, 10, 10, 50] if unit == "mL" else [0.1, 0.25, 0.5, 1]
        bounds = [0.3, 1.0, 3.0]
        return to_step(read, steps[int(np.searchsorted(bounds, litres))])

    def lot(self, litres: float) -> float:
        """A volume of spirit by jug, in the column of litres or gallons."""
        unit = self.unit("L")
        read = in_unit(litres * (1 + self.jug + self.rng.normal(0, 0.003)), unit)
        return to_step(read, (0.01 if litres < 3 else 0.05) / (4 if unit == "gal" else 1))

    def large(self, litres: float) -> float:
        """A volume by the marks of a fermenter or a pot."""
        unit = self.unit("L")
        read = in_unit(litres * (1 + self.marks + self.rng.normal(0, 0.004)), unit)
        return to_step(read, (0.1 if litres < 12 else 0.5) / (4 if unit == "gal" else 1))

    def weight(self, kilos: float, unit: str, step: float) -> float:
        """A weight by a kitchen scale."""
        return max(to_step(in_unit(kilos * (1 + self.rng.normal(0, 0.002)), unit), step), step)

    def strength(self, strength: float, step: float = 0.1) -> float:
        """A strength as it is written from the still on."""
        return to_step(in_unit(strength, self.strength_unit()), step * (2 if self.system == "us" else 1))


def make(rng: Rng, system: str) -> tuple[Bench, list[dict[str, Any]]]:
    """A person's bench, and the lines of their instruments sheet."""
    us = system == "us"
    reference = physics.SIXTY_FAHRENHEIT if us else float(rng.choice([20.0, 20.0, 20.0, 15.0]))
    hydrometer = _made(
        rng, float(rng.choice([0.001, 0.002, 0.002])), physics.SIXTY_FAHRENHEIT if us else 20.0
    )
    hydrometer.step = 0.001
    alcoholmeter = _made(rng, float(rng.choice([0.5, 1.0])), reference)
    alcoholmeter.step = alcoholmeter.division / 2
    degree = 5 / 9 if us else 1.0
    thermometer = _made(rng, float(rng.choice([0.5, 1.0] if not us else [1.0, 2.0])) * degree, 0.0)
    vapour = _made(rng, float(rng.choice([0.1, 1.0, 1.0])) * degree, 0.0)
    bench = Bench(
        rng,
        system,
        hydrometer,
        alcoholmeter,
        thermometer,
        vapour,
        jug=rng.normal(0, 0.006),
        marks=rng.normal(0, 0.008),
    )
    return bench, [
        _hydrometer_line(rng, bench),
        _alcoholmeter_line(rng, bench),
        _thermometer_line(rng, bench, thermometer, "thermometer"),
        _thermometer_line(rng, bench, vapour, "still thermometer"),
    ]


def _made(rng: Rng, division: float, reference: float) -> Instrument:
    return Instrument(division, rng.uniform(-0.5, 0.5) * division, reference)


def _hydrometer_line(rng: Rng, bench: Bench) -> dict[str, Any]:
    glass = bench.hydrometer
    line: dict[str, Any] = {"instrument": "hydrometer", "scale": "SG", "division": glass.division}
    slipped = rng.random() < 0.15
    if slipped:
        glass.off += rng.choice([-1, 1]) * rng.uniform(0.5, 3.0) * glass.division
    if slipped or rng.random() < 0.4:
        water = rng.uniform(16, 24)
        shown = bench.temperature(water)
        line["zero_reading"] = bench.gravity(physics.water_density(water), water)
        line["zero_temperature"] = shown
        right = physics.hydrometer_shows(
            physics.water_density(bench.celsius(shown)), bench.celsius(shown), glass.reference
        )
        glass.correction = right - line["zero_reading"]
    return line


def _alcoholmeter_line(rng: Rng, bench: Bench) -> dict[str, Any]:
    glass, factor = bench.alcoholmeter, 2 if bench.system == "us" else 1
    line: dict[str, Any] = {"instrument": "alcoholmeter", "scale": bench.strength_unit()}
    line["division"] = glass.division * factor
    line["reference_temperature"] = 60.0 if bench.system == "us" else glass.reference
    slipped = rng.random() < 0.1
    if slipped:
        glass.off += rng.uniform(0.5, 2.0) * glass.division
    if slipped or (glass.off > 0 and rng.random() < 0.4):
        water = glass.reference + rng.uniform(1, 6)
        shown = bench.temperature(water)
        line["zero_reading"] = bench.mark(0.0, water)
        line["zero_temperature"] = shown
        right = physics.alcoholmeter_shows(0.0, bench.celsius(shown), glass.reference)
        glass.correction = right - line["zero_reading"] / factor
    return line


def _thermometer_line(rng: Rng, bench: Bench, thermometer: Instrument, name: str) -> dict[str, Any]:
    factor = 1.8 if bench.system == "us" else 1.0
    line: dict[str, Any] = {"instrument": name, "scale": bench.unit("°C")}
    line["division"] = to_step(thermometer.division * factor, 0.1)
    slipped = rng.random() < 0.1
    if slipped:
        thermometer.off += rng.choice([-1, 1]) * rng.uniform(0.5, 2.0) * thermometer.division
    if slipped or rng.random() < 0.3:
        line["zero_reading"] = bench._of_thermometer(thermometer, 0.0)
        thermometer.correction = -(line["zero_reading"] - in_unit(0.0, bench.unit("°C"))) / factor
    return line


@dataclass
class Batch:
    """A batch: what was typed, in the units of its columns; how cells were written; and what was true.

    written: "comma", "unit" or "date" for cells that hold text; labels: units that the person chose instead
    of the workbook's own; facts: what the planting of faults has to know.
    """

    bench: Bench
    log: Log = field(default_factory=dict)
    written: dict[Place, str] = field(default_factory=dict)
    labels: dict[tuple[str, str], str] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)

    def rows(self, sheet: str) -> list[dict[str, Any]]:
        """The records of a sheet, in the order of its rows; made where there are none yet."""
        held = self.log.setdefault(sheet, {"records": []} if sheet == "recipe" else [])
        records: list[dict[str, Any]] = held["records"] if isinstance(held, dict) else held
        return records

    def card(self, sheet: str) -> dict[str, Any]:
        """The lines of a card."""
        card: dict[str, Any] = self.log.setdefault(sheet, {"records": []} if sheet == "recipe" else {})
        return card

    def value(self, place: Place) -> Any:
        """What was typed in a place, None for nothing."""
        sheet, record, key = place
        line = self.card(sheet) if record is None else self.rows(sheet)[record]
        return line.get(key)


def clock(moment: datetime, rng: Rng, minutes: float = 0.0) -> datetime:
    """A moment as it is written down, to five minutes, some minutes off."""
    off = moment + timedelta(minutes=rng.normal(0, minutes) if minutes else 0.0)
    whole = off.replace(second=0, microsecond=0)
    return whole - timedelta(minutes=whole.minute % 5)
