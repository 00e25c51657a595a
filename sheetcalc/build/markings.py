"""When a row, a flag and the very cell at fault are marked, live in the sheet.

A flags cell holds a line for each finding: `ERROR [Heading] …`. The heading is looked for as it stands
in the sheet, so the marks go on working after headings were translated.
"""

from sheetcalc.build import look

DANGER = "] Danger."  # follows the heading in a flag that only reminds of a danger, and looks like a warning


def in_flags(flags: str) -> tuple[tuple[str, look.Mark], ...]:
    """The conditions of a cell that holds the flags, or the level, itself."""
    return (
        (_holds('"ERROR"', flags), look.ERROR_FLAG),
        (_holds('"WARNING"', flags), look.WARNING_FLAG),
        (_holds(f'"{DANGER}"', flags), look.WARNING_FLAG),
        (_holds('"NOTE"', flags), look.NOTE_FLAG),
    )


def in_tally(cell: str) -> tuple[tuple[str, look.Mark], ...]:
    """The conditions of a cell that tells in words how much was found."""
    return (_holds('" error"', cell), look.ERROR_FLAG), (_holds('" warning"', cell), look.WARNING_FLAG)


def in_count(cell: str) -> tuple[tuple[str, look.Mark], ...]:
    """The conditions of a cell that holds how many errors there are."""
    return ((f"AND(ISNUMBER({cell});{cell}>0)", look.ERROR_FLAG),)


def in_row(flags: str) -> tuple[tuple[str, look.Mark], ...]:
    """The conditions of any cell in the row of these flags."""
    return (
        (_holds('"ERROR"', flags), look.ERROR_ROW),
        (_holds('"WARNING"', flags), look.WARNING_ROW),
    )


def at_fault(flags: str, heading: str) -> tuple[tuple[str, look.Mark], ...]:
    """The conditions of the cell under (or beside) a heading."""
    return (
        (_holds(f'"ERROR ["&{heading}&"]"', flags), look.ERROR_CELL),
        (_holds(f'"WARNING ["&{heading}&"]"', flags), look.WARNING_CELL),
        (_holds(f'"NOTE ["&{heading}&"{DANGER}"', flags), look.WARNING_CELL),
        (_holds(f'"NOTE ["&{heading}&"]"', flags), look.NOTE_CELL),
    )


def _holds(text: str, cell: str) -> str:
    return f"ISNUMBER(FIND({text};{cell}))"
