"""The uncertainty of any result, carried from the readings through the functions that make it.

JCGM 100 (GUM) 5.1 with the differences of its note 2 to 5.1.3: each cause of error is shifted by its standard
uncertainty either way, all that follows is computed again, and half the difference is its share. A cause
that stands behind several values, as the calibration of a glass does behind all its readings, shifts them
together, so what cancels in a difference cancels here.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from sheetcalc import layouts
from sheetcalc.layouts import Field
from sheetcalc.liquids import Array
from sheetcalc.stages import registry

if TYPE_CHECKING:
    from sheetcalc.compute import Values

Node = tuple[str, str]

ENDING = "_uncertainty"
COVERAGE = 2.0
# Standard uncertainty of a volume as a share of it: a cylinder or a jug, and a fermenter or a pot read from
# outside. Common practice: 1 % and 2 % at k = 2.
VOLUMES = {"measure": 0.005, "vessel": 0.01}
WEIGHED = 0.0025  # share, common practice: a kitchen scale
INSTRUMENTS = ("hydrometer", "alcoholmeter", "thermometer", "still_thermometer")


class Cause(NamedTuple):
    """One cause of error: what it is called, and every value it stands behind, shifted either way."""

    name: Node
    up: Mapping[Node, Any]
    down: Mapping[Node, Any]


def expanded(values: "Values", sheet: str, key: str) -> Array:
    """Expanded uncertainty (k = 2) of a computed column, in base units and its shape; NaN for a blank.

    Each row of a column of readings is a cause of its own, independent of the others; in a result that adds
    up many rows they count as one, which makes the uncertainty too large rather than too small.
    """
    result = np.asarray(values.get(sheet, key), dtype=np.float64)
    variance = np.zeros(result.shape)
    behind = values.behind(sheet, key)
    for cause in _causes(values):
        if behind & cause.up.keys():
            up = values.moved((*cause.name, "up"), cause.up).anew(sheet, key)
            down = values.moved((*cause.name, "down"), cause.down).anew(sheet, key)
            variance = variance + _half(np.asarray(up), np.asarray(down), result) ** 2
    return np.where(np.isfinite(result), COVERAGE * np.sqrt(variance), np.nan)


def _half(up: Array, down: Array, result: Array) -> Array:
    """Half the difference; the whole of one side where the other is out of the functions' range."""
    half = np.where(np.isnan(down), up - result, np.where(np.isnan(up), result - down, (up - down) / 2))
    return np.where(np.isnan(half), 0.0, half)


def _causes(values: "Values") -> tuple[Cause, ...]:
    if values.causes is None:
        values.causes = (*_calibrations(values), *_readings(values), *_models(values))
    return values.causes


def _calibrations(values: "Values") -> Iterator[Cause]:
    """What is off in every reading of an instrument, and in every typed value that was read with it."""
    for name in INSTRUMENTS:
        standard = values.get("instruments", name).calibration
        yield Cause(
            ("calibration", name), _read_off(values, name, standard), _read_off(values, name, -standard)
        )


def _read_off(values: "Values", name: str, by: float) -> dict[Node, Any]:
    """An instrument that has to be corrected by more, and the typed values that were read with it."""
    instrument = values.get("instruments", name)
    typed = {
        node: np.asarray(values.get(*node)) + by
        for node, field in _measured(values)
        if field.corrected and field.measured_with == name
    }
    return {("instruments", name): replace(instrument, correction=instrument.correction + by)} | typed


def _readings(values: "Values") -> Iterator[Cause]:
    """What is off in one reading alone."""
    for node, field in _measured(values):
        held = np.asarray(values.get(*node), dtype=np.float64)
        standard = _standard(values, field.measured_with, held)
        yield Cause(node, {node: held + standard}, {node: held - standard})


def _standard(values: "Values", name: str, held: Array) -> Any:
    if name in VOLUMES:
        return VOLUMES[name] * held
    return WEIGHED * held if name == "scale" else values.get("instruments", name).reading


def _models(values: "Values") -> Iterator[Cause]:
    """What a computed column is off by itself, were its readings without fault."""
    for sheet, columns in registry.COLUMNS.items():
        for key, column in columns.items():
            if column.model:
                held = np.asarray(values.get(sheet, key), dtype=np.float64)
                yield Cause(
                    ("model", f"{sheet}_{key}"),
                    {(sheet, key): held + column.model},
                    {(sheet, key): held - column.model},
                )


def _measured(values: "Values") -> Iterator[tuple[Node, Field]]:
    for sheet in layouts.every_sheet().values():
        if sheet.key in values.entries:
            for field in (*sheet.fields, *sheet.columns):
                if field.measured_with:
                    yield (sheet.key, field.key), field
