"""sheetcalc: a small-batch distiller's own workbook, read back, computed and flagged.

What the commands do, for other programs; each is loaded when it is first asked for:

    new(kind, path, units)     a new workbook
    fill(path)                 results and flags written into it; gives the findings
    check(path)                the findings alone
    as_frame(findings)         findings as a pandas data frame

The liquids' science is in `sheetcalc.liquids`: plain functions over numpy arrays.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"
_DOOR = {
    "BadWorkbook": "files",
    "Finding": "findings",
    "as_frame": "findings",
    "check": "filling",
    "fill": "filling",
    "new": "making",
}

if TYPE_CHECKING:
    from sheetcalc.files import BadWorkbook as BadWorkbook
    from sheetcalc.filling import check as check
    from sheetcalc.filling import fill as fill
    from sheetcalc.findings import Finding as Finding
    from sheetcalc.findings import as_frame as as_frame
    from sheetcalc.making import new as new
else:
    # Unseen by a type checker, which so tells of names that are not there.
    def __getattr__(name: str) -> Any:
        if name not in _DOOR:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(import_module(f"{__name__}.{_DOOR[name]}"), name)

    def __dir__() -> list[str]:
        return sorted([*globals(), *_DOOR])
