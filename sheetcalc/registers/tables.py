"""A register as a table for other programs: CSV or Parquet, base units, the unit in each column's name."""

import importlib.util
import io
import tempfile
from pathlib import Path
from typing import Any

from sheetcalc import interrupts, units
from sheetcalc.files import BadWorkbook, replacing
from sheetcalc.layouts import Field
from sheetcalc.registers import batches

ENDINGS = (".csv", ".parquet")
RUN = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "\n",
)  # what a spreadsheet takes for the beginning of a formula, or skips
# As they stand in a column's name; of a price the key itself says it.
UNITS = {"%": "share", "% vol": "percent_vol", "per L": ""}


def refuse(path: Path) -> None:
    """Raise a sentence of what stands in the way of writing the table `path`.

    Raises files.BadWorkbook where a file of that name is not one of these tables, and ValueError where
    what writes Parquet is missing.
    """
    if path.suffix.lower() == ".parquet" and importlib.util.find_spec("pyarrow") is None:
        raise ValueError("Parquet needs pyarrow. Run: pip install 'sheetcalc[parquet]', or name a .csv file.")
    if path.exists() and not _is_ours(path):
        raise BadWorkbook("A file of that name is there already, which is no register; choose another name.")


def write(path: Path, frame: Any) -> bool:
    """Write the lines of a register, replacing an earlier table of that name; tells whether anything changed.

    frame: as `summaries.frame` makes it. Raises files.BadWorkbook where the file can't be written.
    """
    data = _as_csv(frame) if path.suffix.lower() == ".csv" else _as_parquet(frame)
    if not path.exists():
        with (
            interrupts.held_back(),
            tempfile.TemporaryDirectory(prefix=".sheetcalc-", dir=path.parent) as folder,
        ):
            made = Path(folder) / "new"
            made.write_bytes(data)
            replacing.create_file(path, data, made)
        return True
    held = path.read_bytes()
    if held == data:
        return False
    replacing.replace_file(path, data, held, lambda: None, None)
    return True


def column_name(column: Field) -> str:
    """A column's key with its base unit, such as wash_volume_L."""
    base = next(iter(column.units), "")
    unit = UNITS.get(base, base)
    return f"{column.key}_{unit}" if unit else column.key


def _named(frame: Any) -> Any:
    """The frame with its columns' names, moments as such."""
    import pandas as pd

    frame = frame.copy()
    for column in batches.sheet().columns:
        values = frame[column.key]
        if column.quantity == "moment":
            days = pd.to_timedelta(values.astype(float), unit="D").dt.round("s")
            frame[column.key] = (pd.Timestamp(units.EPOCH) + days).astype("datetime64[us]")
        elif column.quantity == "text":
            frame[column.key] = values.astype(str)
        else:
            frame[column.key] = values.astype(float)
    return frame.rename(columns={c.key: column_name(c) for c in batches.sheet().columns})


def _as_csv(frame: Any) -> bytes:
    named = _named(frame)
    for column in batches.sheet().columns:
        if column.quantity == "text":
            named[column.key] = named[column.key].map(_harmless)
    text = named.to_csv(
        index=False, date_format="%Y-%m-%dT%H:%M:%S", float_format="%.9g", lineterminator="\n"
    )
    return str(text).encode("utf-8", "backslashreplace")


def _harmless(text: str) -> str:
    """A text that no spreadsheet runs: an apostrophe stands before what it would."""
    return f"'{text}" if text.lstrip(" ").startswith(RUN) else text


def _as_parquet(frame: Any) -> bytes:
    out = io.BytesIO()
    _named(frame).to_parquet(out, index=False)
    return out.getvalue()


def _is_ours(path: Path) -> bool:
    wanted = [column_name(column) for column in batches.sheet().columns][:4]
    if path.suffix.lower() == ".csv":
        with path.open("rb") as file:
            return file.read(1000).startswith(",".join(wanted).encode())
    import pyarrow.lib
    import pyarrow.parquet

    try:
        return list(pyarrow.parquet.read_schema(path).names)[:4] == wanted
    except pyarrow.lib.ArrowException:
        return False
