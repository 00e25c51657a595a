"""Units at the border: what people write, into base units and back.

Base units: kg, L, °C, % vol at 20 °C, kg/m3, SG 20/20, h, W, kWh, m, g/L, mL/L, L/h, L/kg; a moment is a
number of days since 1899-12-30, as spreadsheets count. The labels that stand in the unit cells convert by
the table below (tests hold it against pint); any other unit that somebody writes into a cell goes through
pint.
"""

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, spirit, sugar, water

if TYPE_CHECKING:
    import pint

EPOCH = datetime(1899, 12, 30)


class Unit(NamedTuple):
    """A unit label: the digits it is shown with, the ways to base units and back."""

    digits: int
    to_base: Callable[[Any], Any]
    from_base: Callable[[Any], Any]


def _linear(digits: int, factor: float, zero: float = 0.0) -> Unit:
    return Unit(digits, lambda v: (v - zero) * factor, lambda v: v / factor + zero)


def _strength_from_density(density: ArrayLike) -> Array:
    return spirit.strength(spirit.mass_fraction_from_density(density, 20.0))


_GALLON = 3.785411784
_POUND = 0.45359237

# A gallon at 60 °F of which half is alcohol: 27 CFR 30.11. In litres of pure alcohol at 20 °C.
_PROOF_GALLON = (
    0.5 * _GALLON * float(spirit.density(1.0, spirit.SIXTY_FAHRENHEIT) / spirit.density(1.0, 20.0))
)

_VOLUMES = {
    "L": _linear(3, 1.0),
    "mL": _linear(1, 1e-3),
    "cL": _linear(2, 0.01),
    "dL": _linear(3, 0.1),
    "hL": _linear(4, 100.0),
    "gal": _linear(3, _GALLON),
    "qt": _linear(3, _GALLON / 4),
    "fl oz": _linear(2, _GALLON / 128),
}

# Read everywhere, but offered in no drop-down, which would be crowded, except where bottles are measured.
BOTTLE_UNITS = frozenset({"cL", "dL"})

# The first label of a quantity is the base unit. A quantity without labels is not measured.
QUANTITIES: dict[str, dict[str, Unit]] = {
    "text": {},
    "choice": {},
    "moment": {},
    "number": {},
    "money": {},
    "gravity": {
        "SG": _linear(4, 1.0),
        "points": Unit(1, lambda v: 1 + v / 1000, lambda v: (v - 1) * 1000),
        "°Bx": Unit(2, sugar.gravity_from_brix, sugar.brix),
        "°P": Unit(2, sugar.gravity_from_plato, sugar.plato),
        "kg/m3": Unit(1, water.gravity, water.density_from_gravity),
    },
    "gravity difference": {"points": _linear(1, 1e-3), "SG": _linear(4, 1.0)},
    "gravity change": {"SG/d": _linear(4, 1.0), "points/d": _linear(1, 1e-3)},
    "strength": {
        "% vol": _linear(1, 1.0),
        "% mass": Unit(1, spirit.strength_from_mass_percent, spirit.mass_percent),
        "proof": Unit(1, spirit.strength_from_proof, spirit.proof),
        "kg/m3": Unit(2, _strength_from_density, spirit.density_at_20),
    },
    "strength change": {"% vol": _linear(1, 1.0), "proof": _linear(1, 0.5)},
    # What an alcoholmeter shows: a mark on its scale, at its own reference temperature.
    "mark": {"% vol": _linear(1, 1.0), "proof": _linear(1, 0.5)},
    "volume": _VOLUMES,
    # Pure alcohol, in litres at 20 °C.
    "alcohol": _VOLUMES | {"proof gal": _linear(3, _PROOF_GALLON)},
    "mass": {
        "kg": _linear(3, 1.0),
        "g": _linear(1, 1e-3),
        "lb": _linear(3, _POUND),
        "oz": _linear(2, _POUND / 16),
    },
    "temperature": {"°C": _linear(1, 1.0), "°F": _linear(1, 5 / 9, 32.0)},
    "price by weight": {"per kg": _linear(2, 1.0), "per lb": _linear(2, 1 / _POUND)},
    "price by volume": {"per L": _linear(2, 1.0), "per gal": _linear(2, 1 / _GALLON)},
    "price of alcohol": {"per L": _linear(2, 1.0), "per proof gal": _linear(2, 1 / _PROOF_GALLON)},
    "length": {"m": _linear(0, 1.0), "ft": _linear(0, 0.3048)},
    "power": {"W": _linear(0, 1.0), "kW": _linear(2, 1000.0)},
    "energy": {"kWh": _linear(2, 1.0), "MJ": _linear(2, 1 / 3.6)},
    "duration": {"h": _linear(2, 1.0), "min": _linear(0, 1 / 60), "d": _linear(2, 24.0)},
    "ratio": {"%": _linear(1, 0.01)},
    "mass dose": {
        "g/L": _linear(2, 1.0),
        "g/hL": _linear(1, 0.01),
        "g/gal": _linear(2, 1 / _GALLON),
        "oz/gal": _linear(2, _POUND / 16 * 1000 / _GALLON),
    },
    "volume dose": {
        "mL/L": _linear(2, 1.0),
        "mL/hL": _linear(0, 0.01),
        "mL/gal": _linear(1, 1 / _GALLON),
        "fl oz/gal": _linear(2, 1000 / 128),
    },
    "flow": {
        "L/h": _linear(3, 1.0),
        "mL/h": _linear(0, 1e-3),
        "gal/h": _linear(3, _GALLON),
        "fl oz/h": _linear(1, _GALLON / 128),
    },
    "throughput": {"L/kg": _linear(1, 1.0), "gal/lb": _linear(1, _GALLON / _POUND)},
}


def choices(quantity: str) -> tuple[str, ...]:
    """The unit labels a quantity can be written in; empty where nothing is measured."""
    return tuple(QUANTITIES[quantity])


def digits(quantity: str, label: str) -> int:
    """Digits after the point that a value in this unit is shown with; 2 where there is no unit."""
    unit = QUANTITIES[quantity].get(label)
    return unit.digits if unit else 2


def to_base(values: ArrayLike, quantity: str, label: str) -> Array:
    """Values in a unit of the table above -> base units; unchanged for what is not measured."""
    unit = QUANTITIES[quantity].get(label)
    numbers = np.asarray(values, dtype=float)
    return np.asarray(unit.to_base(numbers), dtype=float) if unit else numbers


def from_base(values: ArrayLike, quantity: str, label: str) -> Array:
    """Values in base units -> the unit; unchanged for what is not measured."""
    unit = QUANTITIES[quantity].get(label)
    numbers = np.asarray(values, dtype=float)
    return np.asarray(unit.from_base(numbers), dtype=float) if unit else numbers


class Reading(NamedTuple):
    """A number read from text: its value, the unit it came with ('' if none), a doubt for the person."""

    value: float
    unit: str
    doubt: str


_NUMBER = re.compile(
    r"^\s*(?:SG\s+)?([+\-−]?(?:\d{1,3}(?:(['’ \u00a0\u202f])\d{3})+(?:[.,]\d+)?|\d[\d.,]*|[.,]\d+)"
    r"(?:[eE][+-]?\d+)?)(?!\s*[\d.,])\s*(.*)$",
    re.S,
)

LONGEST_UNIT = 40
LONGEST_PARTS = 60
OUNCES = ("oz", "ounce", "ounces")
# A number and its unit; a blank, a comma or "and" to the next.
_PART = re.compile(r"(\d+(?:[.,]\d+)?)\s*([^\W\d]+\.?(?:\s(?!and\b)[^\W\d]+\.?)?)")
_PARTS = re.compile(rf"\s*{_PART.pattern}(?:\s*(?:,|and\b|&)?\s*{_PART.pattern})+\s*", re.I)
# Words of letters, each perhaps squared or cubed, with a blank, "*" or "/" between.
_PLAIN_UNIT = re.compile(r"[^\W\d]+(?:(?:\^|\*\*)?[23])?(?:\s?[ */]\s?[^\W\d]+(?:(?:\^|\*\*)?[23])?)*")

_SPELLINGS = {
    "sg": "SG",
    "%": "% vol",
    "%vol": "% vol",
    "vol%": "% vol",
    "vol": "% vol",
    "%abv": "% vol",
    "abv": "% vol",
    "%mas": "% mass",
    "%mass": "% mass",
    "%w/w": "% mass",
    "%v/v": "% vol",
    "percent": "% vol",
    "degreesproof": "proof",
    "°proof": "proof",
    "bx": "°Bx",
    "brix": "°Bx",
    "°brix": "°Bx",
    "p": "°P",
    "plato": "°P",
    "°plato": "°P",
    "g/l": "kg/m3",
    "pts": "points",
    "c": "°C",
    "degc": "°C",
    "celsius": "°C",
    "degreesc": "°C",
    "f": "°F",
    "degf": "°F",
    "fahrenheit": "°F",
    "degreesf": "°F",
    "ltr": "L",
    "liter": "L",
    "liters": "L",
    "litre": "L",
    "litres": "L",
    "mls": "mL",
    "gallon": "gal",
    "winegal": "gal",
    "winegallon": "gal",
    "winegallons": "gal",
    "proofgallon": "proof gal",
    "proofgallons": "proof gal",
    "gallons": "gal",
    "floz": "fl oz",
    "quart": "qt",
    "quarts": "qt",
    "fluidounce": "fl oz",
    "fluidounces": "fl oz",
    "lbs": "lb",
    "pound": "lb",
    "pounds": "lb",
    "ounce": "oz",
    "ounces": "oz",
    "watt": "W",
    "watts": "W",
    "hr": "h",
    "hrs": "h",
    "hours": "h",
    "days": "d",
}


def read_number(text: str) -> Reading:
    """A number out of text, with decimal point or comma and perhaps a unit behind it.

    Raises ValueError where the text holds no number, or more than one.
    """
    match = _NUMBER.match(text)
    if not match:
        raise ValueError(f"{short(text)} is not a number")
    plain, doubt = _decimal_point(re.sub(r"['’ \u00a0\u202f]", "", match[1]).replace("−", "-"))
    try:
        value = float(plain)
    except ValueError:
        raise ValueError(f"{short(text)} is not a number") from None
    return Reading(value, match[3].rstrip(), f"{short(text)} was read as {value:g}" if doubt else "")


def convert(reading: Reading, quantity: str, column_unit: str) -> tuple[float, str]:
    """A reading in its own unit, or else in the column's -> base units, and the unit it was read in.

    Raises ValueError where the unit does not belong to the quantity.
    """
    if not reading.unit or (quantity == "temperature" and _squeezed(reading.unit) in ("°", "deg")):
        return float(to_base(reading.value, quantity, column_unit)), column_unit
    label = label_of(reading.unit, quantity)
    if label:
        return float(to_base(reading.value, quantity, label)), label
    base = next(iter(QUANTITIES[quantity]), "")
    value = _through_pint(reading, base)
    if value is None:
        known = ", ".join(choices(quantity)) or "a plain number"
        also = nearly(reading.unit, quantity)
        raise ValueError(f"{short(reading.unit)} is no unit here{also}; it can be {known}")
    return value, base


def read_parts(text: str, quantity: str) -> tuple[float, str] | None:
    """A weight or volume in parts, such as 6 lb 8 oz or 1 qt 12 oz -> base units, and its first part's unit.

    None for anything else, and where it can't be told what is meant: each part but the last is a whole
    number, and each is less than one of the unit before it. An ounce behind a volume is a fluid one.
    """
    if quantity not in ("mass", "volume") or len(text) > LONGEST_PARTS or not _PARTS.fullmatch(text):
        return None
    total, first, room = 0.0, "", np.inf
    parts = _PART.findall(text)
    for place, (number, unit) in enumerate(parts):
        fluid = bool(first) and quantity == "volume" and _squeezed(unit) in OUNCES
        label = "fl oz" if fluid else label_of(unit, quantity)
        plain, doubt = _decimal_point(number)
        whole = plain.isdigit()
        amount = float(to_base(float(plain), quantity, label)) if label and plain else np.inf
        if doubt or amount >= room or not (whole or place == len(parts) - 1):
            return None
        total, first, room = total + amount, first or label, float(to_base(1.0, quantity, label))
    return total, first


def read_weight(text: str) -> float | None:
    """The weight that a text tells, kg; None where it tells none, or only ounces, which may be fluid."""
    parts = read_parts(text, "mass")
    if parts:
        return parts[0]
    try:
        reading = read_number(text)
    except ValueError:
        return None
    label = label_of(reading.unit, "mass")
    if not label or label == "oz" or reading.doubt:
        return None
    return float(to_base(reading.value, "mass", label))


def nearly(unit: str, quantity: str) -> str:
    """What to say of ounces where a volume is asked for: a liquid is told in either; "" of any other unit."""
    weighed = _squeezed(unit) in OUNCES
    return " (ounces of volume are fl oz)" if weighed and "fl oz" in QUANTITIES[quantity] else ""


def label_of(unit: str, quantity: str) -> str:
    """The table's own label for a unit as a person spells it, '' if it has none."""
    known = QUANTITIES[quantity]
    if unit in known:
        return unit
    squeezed = _squeezed(unit)
    if squeezed == "%" and "%" in known:
        return "%"
    folded = {_squeezed(label): label for label in known}
    if squeezed in folded:
        return folded[squeezed]
    label = _SPELLINGS.get(squeezed, "")
    return label if label in known else ""


def _squeezed(unit: str) -> str:
    """A unit without what people write differently: case, blanks, dots, hyphens, look-alike signs."""
    plain = unit.replace("º", "°").replace("³", "3").replace("℃", "°C").replace("℉", "°F")
    return re.sub(r"[\s.\-]", "", plain).casefold()


def _decimal_point(text: str) -> tuple[str, bool]:
    """The number with a decimal point, and whether the comma could have meant thousands."""
    commas, points = text.count(","), text.count(".")
    if commas and points:
        thousands, decimal = (",", ".") if text.rfind(".") > text.rfind(",") else (".", ",")
        parted = re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{thousands}\d{{3}})+", text.rpartition(decimal)[0])
        return (text.replace(thousands, "").replace(decimal, ".") if parted else "", False)
    if commas > 1 or points > 1:
        # Repeated separators can only part thousands; anything else is no number.
        whole = re.fullmatch(r"[+-]?\d{1,3}(?:([.,])\d{3})+", text)
        return (text.replace(whole[1], "") if whole else "", False)
    unsure = bool(re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text))
    return text.replace(",", "."), unsure


def _through_pint(reading: Reading, base: str) -> float | None:
    """The value in the base unit by pint, None where pint can't.

    Pint computes what it is given; powers of powers would keep it busy for ever, so it gets plain units only.
    """
    to = {"L": "liter", "kg": "kilogram", "°C": "degC", "h": "hour", "W": "watt", "kWh": "kWh", "m": "meter"}
    if base not in to or len(reading.unit) > LONGEST_UNIT or not _PLAIN_UNIT.fullmatch(reading.unit):
        return None
    import pint

    try:
        return float(_registry().Quantity(reading.value, reading.unit).to(to[base]).magnitude)
    except pint.PintError:
        return None


@cache
def _registry() -> "pint.UnitRegistry[Any]":
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def read_moment(text: str, month_first: bool = False) -> tuple[float, bool]:
    """Date and perhaps time, as typed text -> days since 1899-12-30, and whether day and month are in doubt.

    Read are 2026-03-04, 4.3.2026 and 4.3.26 (day first, as dots are written), 4/3/2026 and 4/3/26 (day first
    unless `month_first`; in doubt while both fit), 4 Mar 2026 and March 4, 2026, each with or without a time
    such as 18:30 or 6:30 pm. Raises ValueError for anything else.
    """
    words = " ".join(text.split())
    spelled = re.match(
        r"^(?:(\d{1,2})[. -]+)?([A-Za-z]{3})[a-z]*[. -]+(?:(\d{1,2}),? )?(\d{4})(?:$|[, ]+(.*))", words
    )
    numbers = re.match(r"^(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})(?:$|[,T ]+(.*))", words)
    doubt = False
    try:
        if spelled and bool(spelled[1]) != bool(spelled[3]):
            month = MONTHS.index(spelled[2].lower()) + 1
            day, clock = datetime(int(spelled[4]), month, int(spelled[1] or spelled[3])), spelled[5]
        elif numbers and len(numbers[1]) == 4:
            day, clock = datetime(int(numbers[1]), int(numbers[3]), int(numbers[4])), numbers[5]
        elif numbers and (len(numbers[4]) == 4 or (numbers[2] != "-" and len(numbers[4]) == 2)):
            first, second, year = int(numbers[1]), int(numbers[3]), int(numbers[4])
            doubt = numbers[2] != "." and first <= 12 and second <= 12 and first != second
            swap = numbers[2] != "." and (second > 12 or (month_first and first <= 12))
            year += 2000 if year < 100 else 0
            day, clock = datetime(year, *((first, second) if swap else (second, first))), numbers[5]
        else:
            raise ValueError
        moment = day + read_clock(clock or "")
    except ValueError:
        raise ValueError(f"{short(text)} is not a date; write it as 2026-03-04 18:30") from None
    return (moment - EPOCH) / timedelta(days=1), doubt


def read_clock(text: str) -> timedelta:
    """A time of day, as typed text such as 18:30, 18h30 or 6:30 pm; midnight for none. Raises ValueError."""
    text = re.sub(r"\s*(uhr|z|h)$", "", text.strip().casefold())
    if not text:
        return timedelta()
    match = re.match(r"^(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2})(?:\.\d+)?)?\s*([ap])?\.?m?\.?$", text)
    if not match or (match[2] is None and match[4] is None):
        raise ValueError
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    if match[4]:
        hour = hour % 12 + (12 if match[4] == "p" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError
    return timedelta(hours=hour, minutes=minute, seconds=second)


def moment(value: float) -> datetime:
    """Days since 1899-12-30 -> date and time, to the second."""
    whole = EPOCH + timedelta(days=value)
    return (whole + timedelta(microseconds=500_000)).replace(microsecond=0)


def show(value: float, quantity: str, label: str, decimals: int | None = None) -> str:
    """A value in base units as a person reads it in a sentence, with its unit."""
    if not np.isfinite(value):
        return "nothing"
    if quantity == "moment":
        return f"{moment(value):%Y-%m-%d %H:%M}"
    places = digits(quantity, label) if decimals is None else decimals
    # A half goes up, as it does in the cell, whatever the rounding error in it.
    shown = float(from_base(value, quantity, label)) * (1 + 1e-10)
    text = f"{shown:.{places}f}"
    if float(text) == 0:
        # A slip by a thousand is not shown as nothing.
        finer = f"{shown:.{places + 3}f}".rstrip("0")
        text = finer if float(finer) else text.lstrip("-")
    return text if label in ("", "SG") else f"{text} {label}"


def show_exactly(value: float, quantity: str, label: str) -> str:
    """A value in base units as it was typed, not rounded, with its unit."""
    return f"{float(from_base(value, quantity, label)):.6g} {label}".rstrip()


def short(text: str) -> str:
    """Typed text as it is quoted in a sentence: on one line, in quotes, not too long."""
    return f"'{one_line(text, 41)}'"


def one_line(text: str, longest: int) -> str:
    """Typed text as it stands in a sentence: on one line, not too long, without signs that can't be seen."""
    line = " ".join(text.split())
    line = f"{line[: longest - 1]}…" if len(line) > longest else line
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in line)
