"""The uncertainty of any result, carried from the readings through the functions that make it.

JCGM 100 (GUM) 5.1 with the differences of its note 2 to 5.1.3: each cause of error is shifted by its standard
uncertainty either way, all that follows is computed again, and half the difference is its share. A cause
that stands behind several values, as the calibration of a glass does behind all its readings, shifts them
together, so what cancels in a difference cancels here.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from sheetcalc import layouts
from sheetcalc.instruments import Instrument
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
    """One cause of error: every value it stands behind, and a workbook's values with these shifted either
    way."""

    nodes: frozenset[Node]
    up: "Values"
    down: "Values"


Measured = Sequence[tuple[Node, Field]]  # what is typed, with how it was measured
Shift = tuple[Mapping[Node, Any], Mapping[Node, Any]]  # the values that a cause stands behind, up and down


def expanded(values: "Values", sheet: str, key: str) -> Array:
    """Expanded uncertainty (k = 2) of a computed column, in base units and its shape; NaN for a blank.

    Each row of a column of readings is a cause of its own, independent of the others; in a result that adds
    up many rows they count as one, which makes the uncertainty too large rather than too small.
    """
    result = np.asarray(values.get(sheet, key), dtype=np.float64)
    variance = np.zeros(result.shape)
    behind = values.behind(sheet, key)
    for cause in _causes(values):
        if behind & cause.nodes:
            up, down = (np.asarray(moved.anew(sheet, key)) for moved in (cause.up, cause.down))
            variance = variance + _half(up, down, result) ** 2
    return np.where(np.isfinite(result), COVERAGE * np.sqrt(variance), np.nan)


def side_by_side(function: Callable[..., Any], calls: Sequence[Sequence[Any]]) -> list[Any]:
    """The results of several calls of a function that works row by row, from one call on the rows of all.

    Each call has arrays over the same number of rows, single numbers, which hold for all its rows, and
    instruments, of which only the correction may differ. The result is one array over the rows or a tuple of
    them.
    """
    rows = next(len(value) for value in calls[0] if not isinstance(value, Instrument) and np.ndim(value))
    made = function(*(_joined(values, rows) for values in zip(*calls, strict=True)))
    if isinstance(made, tuple):
        parts = zip(*(np.split(each, len(calls)) for each in made), strict=True)
        return [type(made)(*part) for part in parts]
    return np.split(made, len(calls))


def _joined(values: Sequence[Any], rows: int) -> Any:
    """What each call has in one place, for the rows of all calls."""
    first = values[0]
    if isinstance(first, Instrument):
        return replace(first, correction=np.repeat([each.correction for each in values], rows))
    return np.concatenate([each if np.ndim(each) else np.full(rows, each) for each in values])


def _half(up: Array, down: Array, result: Array) -> Array:
    """Half the difference; the whole of one side where the other is out of the functions' range."""
    half = np.where(np.isnan(down), up - result, np.where(np.isnan(up), result - down, (up - down) / 2))
    return np.where(np.isnan(half), 0.0, half)


def _causes(values: "Values") -> tuple[Cause, ...]:
    if values.causes is None:
        measured = list(_measured(values))
        shifts = (*_calibrations(values, measured), *_readings(values, measured), *_models(values))
        values.causes = tuple(
            Cause(frozenset(up), values.moved(up), values.moved(down)) for up, down in shifts
        )
    return values.causes


def _calibrations(values: "Values", measured: Measured) -> Iterator[Shift]:
    """What is off in every reading of an instrument, and in every typed value that was read with it."""
    for name in INSTRUMENTS:
        standard = values.get("instruments", name).calibration
        yield _read_off(values, measured, name, standard), _read_off(values, measured, name, -standard)


def _read_off(values: "Values", measured: Measured, name: str, by: float) -> dict[Node, Any]:
    """An instrument that has to be corrected by more, and the typed values that were read with it."""
    instrument = values.get("instruments", name)
    typed = {
        node: np.asarray(values.get(*node)) + by
        for node, field in measured
        if field.corrected and field.measured_with == name
    }
    return {("instruments", name): replace(instrument, correction=instrument.correction + by)} | typed


def _readings(values: "Values", measured: Measured) -> Iterator[Shift]:
    """What is off in one reading alone."""
    for node, field in measured:
        held = np.asarray(values.get(*node), dtype=np.float64)
        standard = _standard(values, field.measured_with, held)
        yield {node: held + standard}, {node: held - standard}


def _standard(values: "Values", name: str, held: Array) -> Any:
    if name in VOLUMES:
        return VOLUMES[name] * held
    return WEIGHED * held if name == "scale" else values.get("instruments", name).reading


def _models(values: "Values") -> Iterator[Shift]:
    """What a computed column is off by itself, were its readings without fault."""
    for sheet, columns in registry.COLUMNS.items():
        for key, column in columns.items():
            if column.model:
                held = np.asarray(values.get(sheet, key), dtype=np.float64)
                yield {(sheet, key): held + column.model}, {(sheet, key): held - column.model}


def _measured(values: "Values") -> Iterator[tuple[Node, Field]]:
    for sheet in layouts.every_sheet().values():
        if sheet.key in values.entries:
            for field in (*sheet.fields, *sheet.columns):
                if field.measured_with:
                    yield (sheet.key, field.key), field
