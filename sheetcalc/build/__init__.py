"""From a layout to a new workbook, .xlsx or .ods."""

from collections.abc import Mapping
from pathlib import Path

from sheetcalc.layouts import Layout, Needs, System

ENDINGS = (".xlsx", ".ods")


def new_workbook(layout: Layout, needs: Mapping[tuple[str, str], Needs], system: System, path: Path) -> None:
    """Make a new, empty workbook; the ending of `path` picks the format.

    `needs` tells, by sheet and key, the entries each result comes from.
    Raises ValueError for another ending, FileExistsError where there is a file already,
    FileNotFoundError where there is no such folder, LayoutError where the layout can't be put
    into a spreadsheet. Nothing is left behind on failure.
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise ValueError(f"{path.name}: a new workbook ends in {' or '.join(ENDINGS)}.")
    if path.exists():
        raise FileExistsError(f"{path.name} exists already; choose another name or move it away first.")
    if not path.parent.is_dir():
        raise FileNotFoundError(f"There is no folder {path.parent} to put {path.name} into.")
    import tempfile

    from sheetcalc.build.place import grids

    if ending == ".xlsx":
        from sheetcalc.build.xlsx import build
    else:
        from sheetcalc.build.ods import build
    with tempfile.TemporaryDirectory(prefix=".sheetcalc-", dir=path.parent) as scratch:
        made = Path(scratch) / f"new{ending}"
        build(grids(layout, needs, system), layout.title, made)
        made.rename(path)
