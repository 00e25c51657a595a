"""A batch as it stands in the cells: numbers in the column's unit, and what was written as text."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import in_memory

from sheetcalc import layouts
from simulator.bench import Batch, Place

_GRAVITIES = ("reading", "before", "after", "original_gravity")


def cells(batch: Batch, changes: Mapping[Place, Any]) -> dict[Place, Any]:
    """What stands in each cell, with some cells changed; what was changed is a plain number or date."""
    typed = {
        place: _written(batch, place, value)
        for place, value in in_memory.places(batch.log)
        if place not in changes
    }
    for place, value in changes.items():
        if value is not None:
            typed[place] = _scaled(batch, place, value)
    return typed


def _scaled(batch: Batch, place: Place, value: Any) -> Any:
    """A gravity as this person's column is written: thousandths, or points."""
    scale = batch.labels.get((place[0], place[2]))
    if scale == "thousandths" and 0.9 < value < 1.3:
        return round(value * 1000, 1)
    return round((value - 1) * 1000, 1) if scale == "points" else value


def _written(batch: Batch, place: Place, value: Any) -> Any:
    way, scaled = batch.written.get(place), _scaled(batch, place, value)
    if isinstance(value, datetime):
        if way != "date":
            return value
        us = batch.bench.system == "us"
        return (
            f"{value:%B} {value.day}, {value:%Y %H:%M}"
            if us
            else f"{value.day}.{value.month}.{value:%Y %H:%M}"
        )
    if way == "comma":
        text = f"{scaled:.10g}".replace(".", ",")
        # Three digits behind a comma could as well be thousands; who knows that leaves the cell alone.
        return text if place[2] in _GRAVITIES or len(text.partition(",")[2]) != 3 else scaled
    if way == "unit":
        field = layouts.every_sheet()[place[0]].field(place[2])
        unit = field.unit.get("us" if batch.bench.system == "us" else "metric", "") if field else ""
        plain = (place[0], place[2]) not in batch.labels
        return f"{scaled:.10g} {unit}" if unit and plain else scaled
    return scaled
