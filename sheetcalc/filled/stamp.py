"""What a workbook tells of its last fill: by which version, when and by which standards."""

import os
from datetime import UTC, date, datetime

from sheetcalc import __version__, files

NAME = "filled_by"  # of the cell, on the first sheet
STANDARDS = (
    "Strength and mixing: OIML R 22. Wash: Balling, Tabarié. Sugar: ICUMSA SPS-4. Proof and labels: "
    "27 CFR 30, 27 CFR 19. Uncertainty: JCGM 100."
)


def leave(book: files.Workbook) -> None:
    """Write the stamp, where the workbook has a place for it and no formula of the person's stands there."""
    place = book.named.get(NAME)
    if place and not book.has_formula(*place):
        book.write(*place, f"Filled by sheetcalc {__version__} on {_today():%Y-%m-%d}. {STANDARDS}")


def _today() -> date:
    """The day; that of SOURCE_DATE_EPOCH where it is set, for files that come out the same every day."""
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    return datetime.fromtimestamp(int(fixed), UTC).date() if fixed.isdecimal() else date.today()
