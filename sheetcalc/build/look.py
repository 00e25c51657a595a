"""The looks of cells: palette, type scale, and how much room a text takes."""

import math
from dataclasses import dataclass, replace
from typing import Literal

from sheetcalc import letters
from sheetcalc.layouts import ChartKind, Field

FONT = "Arial"
HIGH_LINE, LOW_LINE = 1.275, 1.13  # of the size of the letters, in the programs that differ most

# Every colour of the workbooks. Entries are warm, results cool, flags stand on white.
INK = "25292D"
QUIET = "666C72"
PALE = "8C8C86"
LINK = "1F5673"
WHITE = "FFFFFF"
HAIRLINE = "D9D9D4"
CREAM, CREAM_DEEP, CREAM_FRAME = "FFFAEA", "F3E7C9", "C4B48C"
SLATE, SLATE_DEEP = "EAEFF4", "D3DDE6"
PLAIN_DEEP = "EFEFEC"
RED, RED_SOFT, RED_STRONG = "9A1B1B", "FBE3DF", "F3A79D"
AMBER, AMBER_SOFT, AMBER_STRONG = "7F4F00", "FFE6BF", "FFC463"
BLUE_STRONG = "B4D4F1"
BLUE, OCHRE, GREY = "2F5577", "A8741A", "4D5358"

Marker = Literal["circle", "diamond", "triangle", ""]
Align = Literal["left", "right"]
Stand = Literal["top", "center", "bottom"]


@dataclass(frozen=True)
class Look:
    """How a cell is set. Colours are RRGGBB, '' for none; `frame` is a thin line on all four sides,
    `room` the points kept free above and below the text."""

    size: float = 10
    bold: bool = False
    italic: bool = False
    underline: bool = False
    ink: str = INK
    fill: str = ""
    frame: str = ""
    below: str = ""
    bar: str = ""
    align: Align = "left"
    stand: Stand = "top"
    wrap: bool = True
    indent: bool = False
    room: float = 1.5


@dataclass(frozen=True)
class Mark:
    """What a conditional format lays over a cell's look; '' leaves that part as it is."""

    name: str
    ink: str = ""
    bold: bool = False
    italic: bool = False
    fill: str = ""


@dataclass(frozen=True)
class Stroke:
    """How a column is drawn in a chart: a line in `ink` where `line` is set, a marker where there is one;
    a bar is filled and has an outline in `ink`."""

    ink: str
    fill: str
    marker: Marker
    line: bool
    dashed: bool = False


PLAIN = Look(wrap=False)
TITLE = Look(size=16, bold=True, stand="center", wrap=False)
STATE = Look(ink=QUIET, stand="center", wrap=False, indent=True)
STATE_NUMBER = replace(STATE, bold=True, align="right", indent=False)
INTRO = Look(ink=QUIET, room=3)
HELP = Look(size=8, ink=QUIET, stand="bottom", indent=True)
CARD_HELP = Look(size=8, ink=QUIET, stand="center", indent=True)
CARD_UNIT = Look(size=9, ink=QUIET, stand="center", wrap=False, indent=True)
CARD_HEADING = Look(size=8, ink=QUIET, below=HAIRLINE, stand="bottom")
CARD_SIDE_HEADING = replace(CARD_HEADING, indent=True)
PAGE_HEADING = Look(bold=True, stand="bottom", wrap=False, room=4)
PAGE_TEXT = Look(indent=True, room=3)
STEP = Look(bold=True, align="right", wrap=False, room=3)
STANDING = Look(size=9, fill=SLATE, below=WHITE, indent=True, room=3)
ALL_STANDING = Look(bold=True, fill=SLATE, indent=True, room=4)
STANDING_HEADING = replace(HELP, room=4)
STEP_LINK = Look(ink=LINK, underline=True, wrap=False, room=3)
CAUTION_SIGN = Look(bold=True, ink=RED, fill=RED_SOFT, bar=RED, align="right", wrap=False, room=3)
CAUTION = replace(PAGE_TEXT, fill=RED_SOFT)
CHART_TEXT = Look(stand="bottom", room=4)
CHART_TITLE = Look(size=11, bold=True)
AXIS_TITLE = Look(size=9, ink=QUIET)
AXIS_LABEL = Look(size=8)
CHART_LINK = replace(STEP_LINK, align="right", stand="bottom", room=4)

# Lightness, marker and dashes tell them apart, so that grey print is enough.
STROKES = (
    Stroke(BLUE, BLUE, "circle", line=True),
    Stroke(OCHRE, CREAM_DEEP, "diamond", line=True, dashed=True),
    Stroke(GREY, SLATE_DEEP, "triangle", line=True),
)

_ENTRY = Look(fill=CREAM, frame=CREAM_FRAME)
# A white line parts the rows of results without framing them.
_COMPUTED = Look(fill=SLATE, below=WHITE)
_FLAG = Look(fill=WHITE, below=HAIRLINE)
_HEADING = Look(bold=True, stand="bottom")
_SIGN = Look(size=9, bold=True, below=HAIRLINE, wrap=False, room=3)

SWATCHES = {
    "entry": _ENTRY,
    "computed": _COMPUTED,
    "flag": replace(_SIGN, ink=AMBER, fill=AMBER_SOFT),
    "error": replace(_SIGN, ink=RED, fill=RED_SOFT),
    "note": replace(_SIGN, ink=BLUE, fill=BLUE_STRONG),
    "stale": replace(_SIGN, bold=False, italic=True, ink=PALE, fill=PLAIN_DEEP, align="right"),
}

# No frames: those of the cells beside it would win over two of the four sides.
ERROR_CELL = Mark("error_cell", ink=RED, bold=True, fill=RED_STRONG)
WARNING_CELL = Mark("warning_cell", ink=AMBER, bold=True, fill=AMBER_STRONG)
NOTE_CELL = Mark("note_cell", ink=BLUE, bold=True, fill=BLUE_STRONG)
ERROR_ROW = Mark("error_row", fill=RED_SOFT)
WARNING_ROW = Mark("warning_row", fill=AMBER_SOFT)
# Not bold: the row is as high as the text in its usual weight.
ERROR_FLAG = Mark("error_flag", ink=RED, fill=RED_SOFT)
WARNING_FLAG = Mark("warning_flag", ink=AMBER, fill=AMBER_SOFT)
NOTE_FLAG = Mark("note_flag", ink=BLUE)
# Out of date: paler than any other text, and in italics, so that it shows in grey print too.
STALE = Mark("stale", ink=PALE, italic=True, fill=PLAIN_DEEP)
EDITED = Mark("edited", ink=INK)
MARKS = (
    STALE,
    EDITED,
    ERROR_CELL,
    WARNING_CELL,
    NOTE_CELL,
    ERROR_ROW,
    WARNING_ROW,
    ERROR_FLAG,
    WARNING_FLAG,
    NOTE_FLAG,
)


def stroke(kind: ChartKind, place: int) -> Stroke:
    """How the column at this place (from 0) of a chart is drawn.

    On a scatter chart the first is points and the others lines without any.
    """
    usual = STROKES[place]
    if kind != "scatter":
        return usual
    return replace(usual, marker="") if place else replace(usual, line=False)


def record(field: Field) -> Look:
    """The look of a field's value."""
    look = {"entry": _ENTRY, "computed": _COMPUTED, "flag": _FLAG}[field.role]
    return _aligned(replace(look, wrap=field.quantity in ("text", "choice")), field)


def _aligned(look: Look, field: Field) -> Look:
    """Numbers stand right, so that their digits meet; everything else left; all a little off the edge."""
    left = field.quantity in ("text", "choice", "moment")
    return replace(look, align="left" if left else "right", indent=True)


def in_row(look: Look, height: float) -> Look:
    """The look in the middle of a row that is at least so high, in points, and grows with longer texts."""
    if not height:
        return look
    return replace(look, stand="center", room=max(look.room, (height - look.size * LOW_LINE) / 2))


def linked(field: Field) -> Look:
    """The look of a result that is a link."""
    return replace(record(field), ink=LINK, underline=True)


def spare(field: Field) -> Look:
    """The look of the cells below the ready rows: as bare as the sheet, but set like the column."""
    return replace(record(field), fill="", frame="", below="")


def heading(field: Field) -> Look:
    """The look of a column's heading; what is computed is told in italics, not by colour alone."""
    fill = {"entry": CREAM_DEEP, "computed": SLATE_DEEP, "flag": PLAIN_DEEP}[field.role]
    return _aligned(replace(_HEADING, fill=fill, italic=field.role == "computed"), field)


def unit(field: Field) -> Look:
    """The look of the unit cell under a heading."""
    return replace(heading(field), bold=False, italic=False, size=9, ink=QUIET, stand="top", wrap=False)


def label(field: Field) -> Look:
    """The look of a card line's label."""
    return Look(bold=field.role == "entry", italic=field.role == "computed", stand="center", room=2.5)


def on_card(look: Look) -> Look:
    """The look of a value or a flag on a card, where lines hold texts of different size."""
    return replace(look, stand="center")


def points(width: float) -> float:
    """The width of a column, in characters as spreadsheets count them, in points."""
    return (width * 7 + 5) * 0.75


def height(text: str, width: float, look: Look) -> float:
    """About the height in points that a text takes in a cell of this width (in characters)."""
    # A screen sets small letters broader than paper does.
    room = 0.96 * points(width) - (12 if look.indent else 5)
    lines = letters.lines(text, room, look.size, look.bold) if look.wrap else 1
    return math.ceil(lines * look.size * HIGH_LINE + 2 * look.room)
