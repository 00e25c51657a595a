"""A new workbook."""

from pathlib import Path

from sheetcalc import build, compute, layouts


def new(kind: str, path: Path, units: layouts.System = "metric") -> None:
    """Make a new workbook, ready to type into; the ending of `path`, .xlsx or .ods, picks the format.

    kind: a name out of layouts.kinds(). Raises what build.new_workbook raises, and LayoutError for a
    template that can't be used.
    """
    layout = layouts.load(kind)
    build.new_workbook(layout, compute.needs(layout), units, path)
