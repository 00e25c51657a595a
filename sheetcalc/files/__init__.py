"""Existing workbooks, edited in place: `open_workbook` tells the formats apart by their content."""

from pathlib import Path

from sheetcalc.files.office_locks import open_lock, refuse_open
from sheetcalc.files.package import Package, brief
from sheetcalc.files.replacing import remove_abandoned
from sheetcalc.files.trouble import BadWorkbook, ChangedMeanwhile
from sheetcalc.files.workbook import (
    ALIKE,
    MAX_COLUMN,
    MAX_ROW,
    MAX_TEXT,
    Cell,
    Cells,
    File,
    Look,
    Place,
    Position,
    Workbook,
    is_moment,
)

__all__ = [
    "ALIKE",
    "MAX_COLUMN",
    "MAX_ROW",
    "MAX_TEXT",
    "BadWorkbook",
    "Cell",
    "Cells",
    "ChangedMeanwhile",
    "File",
    "Look",
    "Place",
    "Position",
    "Workbook",
    "brief",
    "is_moment",
    "open_lock",
    "open_workbook",
    "refuse_open",
    "remove_abandoned",
]

_SPREADSHEETS = (
    "application/vnd.oasis.opendocument.spreadsheet",
    "application/vnd.oasis.opendocument.spreadsheet-template",
)
_MANIFEST = "META-INF/manifest.xml"
_NO_WORKBOOK = (
    "This is no Excel or OpenDocument workbook but another kind of file; name an .xlsx, .xlsm or .ods file."
)


def open_workbook(path: Path | str) -> Workbook:
    """The workbook in the file `path`, of whichever format its content shows.

    Raises BadWorkbook when there is no such file or it is no workbook, damaged, protected by a password or
    too large.
    """
    package = Package(Path(path))
    if "mimetype" in package and _MANIFEST in package:
        return _open_document(package)
    # A fill needs one of the formats alone.
    from sheetcalc.files.xlsx import XlsxWorkbook, relationships

    target = next(
        (part for kind, part in relationships(package, "").values() if kind == "officeDocument"), None
    )
    if target is None:
        raise BadWorkbook(_NO_WORKBOOK)
    if target.casefold().endswith(".bin"):
        raise BadWorkbook("This is a binary Excel workbook (.xlsb); save it as .xlsx.")
    return XlsxWorkbook(package, target)


def _open_document(package: Package) -> Workbook:
    if package.read("mimetype").decode("ascii", "replace").strip() not in _SPREADSHEETS:
        raise BadWorkbook(_NO_WORKBOOK)
    # OpenOffice 2 and 3 name a document type there.
    manifest = package.xml(_MANIFEST, may_name_type=True)
    if next(manifest.iter("{*}encryption-data"), None) is not None:
        raise BadWorkbook("The workbook is protected by a password; save it without one.")
    from sheetcalc.files.ods import OdsWorkbook

    return OdsWorkbook(package)
