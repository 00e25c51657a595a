"""What a register takes from one workbook: a line of values, and what was found."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from sheetcalc import filling, layouts
from sheetcalc.findings import LEVELS, Finding
from sheetcalc.layouts import Sheet

Value = float | str
# Columns of the register that no single workbook can tell.
FROM_OUTSIDE = ("file", "state")


class Batch(NamedTuple):
    """A batch: its line's values in base units by key, NaN or '' for a blank, and what was found."""

    values: Mapping[str, Value]
    findings: tuple[Finding, ...]


def sheet() -> Sheet:
    """The register's own sheet: a line a batch."""
    return next(s for s in layouts.load(layouts.REGISTER).sheets if s.key == layouts.REGISTER)


def read(path: Path) -> Batch | None:
    """Compute a batch from the readings in its workbook; None where there is no batch card in it.

    Raises files.BadWorkbook as `filling.examine` does.
    """
    seen = filling.examine(path)
    if "batch" not in seen.found:
        return None
    counts = {f"{level}s": float(sum(f.level == level for f in seen.findings)) for level in LEVELS}
    known: dict[str, Value] = {}
    for column in sheet().columns:
        if column.key in counts:
            known[column.key] = counts[column.key]
        elif column.key not in FROM_OUTSIDE:
            known[column.key] = _one(seen.values.get(layouts.REGISTER, column.key))
    return Batch(known, seen.findings)


def blank() -> dict[str, Value]:
    """The values of a line of which nothing is known."""
    return {c.key: "" if c.quantity == "text" else np.nan for c in sheet().columns}


def plain(text: Value) -> str:
    """A name as it is compared: capitals and blanks make no difference."""
    return " ".join(str(text).split()).casefold()


def _one(value: Any) -> Value:
    """The single value of a card's line or of a function's result."""
    single = np.asarray(value).reshape(-1)[0]
    return str(single) if isinstance(single, str) else float(single)
