"""Stills and yeasts compared over the batches of a register, and what is known of one still."""

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np

from sheetcalc.layouts import Sheet
from sheetcalc.registers import batches
from sheetcalc.registers.batches import Value

QUARTILES = {"": 0.5, "_low": 0.25, "_high": 0.75}
UNNAMED = "(no name)"
SETTINGS = (
    *("place", "altitude", "still_capacity", "still_minimum", "still_power", "still_efficiency"),
    *("drip_limit", "bottle_size", "currency", "energy_price", "bottle_price"),
)


class Setting(NamedTuple):
    """A value for a new batch card, in base units, the number of batches it is from, and how it was found."""

    value: Value
    batches: int
    how: str


def frame(lines: Iterable[Mapping[str, Value]]) -> Any:
    """The lines of a register as a pandas DataFrame: base units, blanks as NaN or ''."""
    import pandas as pd

    return pd.DataFrame(list(lines), columns=[c.key for c in batches.sheet().columns])


def compared(sheet: Sheet, lines: Any) -> list[dict[str, Value]]:
    """A line for each still, or yeast, whichever the first column of the sheet holds.

    `lines` is a frame as above. A column is the batches' median or quartile of the register's column of that
    name, the number of batches, the sum of their runs, or the setting that was typed last.
    """
    by, *columns = (column.key for column in sheet.columns)
    found = []
    for _, group in lines.groupby(_names(lines[by]), sort=True):
        name = str(group[by].iloc[0]).strip() or UNNAMED
        line: dict[str, Value] = {by: name}
        found.append(line | {key: _summary(group, key) for key in columns})
    return found


def settings(lines: Any, still: str) -> dict[str, Setting]:
    """What the batches of one still tell about it, for the card of the next, by the card's keys.

    still: a name out of `stills`.
    """
    group = lines[_names(lines["still"]) == _plain(still)]
    found = {"still": Setting(still, len(group), "its name")} if still != UNNAMED else {}
    seen = group["stages_seen"].dropna()
    if len(seen):
        stages = round(float(seen.median()), 2)
        found["effective_stages"] = Setting(stages, len(seen), "the median of what was seen")
    elif group["effective_stages"].notna().any():
        found["effective_stages"] = _last(group, "effective_stages")
    for key in SETTINGS:
        if _known(group[key]).any():
            found[key] = _last(group, key)
    return found


def stills(lines: Any) -> dict[str, int]:
    """The names of the stills, and how many batches each has."""
    groups = lines.groupby(_names(lines["still"]), sort=True)
    return {str(g["still"].iloc[0]).strip() or UNNAMED: len(g) for _, g in groups}


def _summary(group: Any, key: str) -> Value:
    if key == "batches":
        return float(len(group))
    if key == "run_count":
        return float(group[key].sum())
    if key in SETTINGS:
        return _last(group, key).value if _known(group[key]).any() else np.nan
    ending = next(e for e in ("_low", "_high", "") if key.endswith(e))
    values = group[key.removesuffix(ending)].dropna()
    return float(values.quantile(QUARTILES[ending])) if len(values) else np.nan


def _last(group: Any, key: str) -> Setting:
    """The value of the batch that was started last, among those that have one."""
    known = group[_known(group[key])].sort_values("started_at", na_position="first", kind="stable")
    value = known[key].iloc[-1]
    return Setting(value if isinstance(value, str) else float(value), len(known), "as last typed")


def _known(column: Any) -> Any:
    return column.notna() & (column != "")


def _names(column: Any) -> Any:
    return column.map(_plain)


def _plain(name: Value) -> str:
    text = batches.plain(name)
    return "" if text == UNNAMED else text
