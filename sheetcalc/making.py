"""A new workbook."""

from pathlib import Path

from sheetcalc import build, compute, layouts


def new(kind: str, path: Path | str, units: layouts.System = "metric") -> None:
    """Make a new workbook, ready to type into; the ending of `path`, .xlsx or .ods, picks the format.

    kind: a name out of layouts.kinds(). Raises what build.new_workbook raises, and LayoutError for a
    template that can't be used.
    """
    layout = layouts.load(kind)
    build.new_workbook(layout, compute.needs(layout), units, Path(path))


def new_like(register: Path, still: str, path: Path, units: layouts.System | None = None) -> list[str]:
    """Make a batch workbook with what a register knows of a still on its card; tells in words what that is.

    still: its name in the register; '' where there is only one; units: None for those of the register. Raises
    what `new` and `proposals.learned` do; nothing is left behind then.
    """
    from sheetcalc.registers import proposals

    settings, system = proposals.learned(register, still)
    new("batch", path, units or system)
    try:
        return proposals.enter(path, settings)
    except BaseException:
        path.unlink()
        raise
