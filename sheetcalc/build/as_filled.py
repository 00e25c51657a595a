"""The names and places by which a fill finds again what it keeps in a workbook."""

from sheetcalc.layouts import Field

KEY, TITLE = "filled", "As filled"  # the hidden sheet
AS_FILLED = ", as filled"  # ends the heading of a copy
# Its columns: name; how many cells differ; the value, or how many there were; the unit; whether that differs.
NAME, DIFFER, WAS, UNIT_WAS, UNIT_DIFFERS = range(1, 6)
ALL = "edited_cells"  # the name of the cell in its second line that counts all that differ
TEMPLATES = UNIT_DIFFERS  # in the same line: the version of the templates it has all lines and columns of
STANDS = "stands_"  # begins the name of the cell that tells where a sheet stands; the sheet's key ends it


def copy_name(sheet: str, key: str) -> str:
    """The name on the heading of an entry column's hidden copy."""
    return f"filled_{sheet}_{key}"


def line_name(field: Field, sheet: str) -> str:
    """The name on the count of cells that differ: an entry's own, or those a result comes from."""
    return f"{'edited' if field.role == 'entry' else 'stale'}_{sheet}_{field.key}"
