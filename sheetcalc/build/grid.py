"""A sheet as cells in rows and columns, before any file format.

Formulas are written as OpenFormula writes them (`[.$A6]`, `;`), relative to the first cell of their area.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

from sheetcalc.build.look import Look, Mark, Stroke
from sheetcalc.build.paper import Paper
from sheetcalc.findings import address
from sheetcalc.layouts import ChartKind


class Position(NamedTuple):
    """A cell: row and column, from 1."""

    row: int
    column: int


class Area(NamedTuple):
    """A block of cells, both corners included."""

    row: int
    column: int
    last_row: int
    last_column: int

    @property
    def name(self) -> str:
        """The area's address, such as A6:C9 or, of a single cell, A6."""
        first, last = address(self.row, self.column), address(self.last_row, self.last_column)
        return first if first == last else f"{first}:{last}"


@dataclass(frozen=True)
class Cell:
    """One cell; `link` is the title of the sheet a click leads to; a `formula` gives its value."""

    value: float | str | None
    look: Look
    format: str = "General"
    link: str = ""
    formula: str = ""


@dataclass(frozen=True)
class Rule:
    """What the cells of an area take and what the person is told there.

    With `choices` nothing else is taken; with a `condition` anything else is taken after a question.
    """

    area: Area
    title: str
    prompt: str
    choices: tuple[str, ...] = ()
    condition: str = ""
    doubt: str = ""


@dataclass(frozen=True)
class Marking:
    """The conditional formats of an area: formula and mark, the first that holds wins."""

    area: Area
    conditions: tuple[tuple[str, Mark], ...]


@dataclass(frozen=True)
class Axis:
    """What stands beside an axis of a chart, and how its numbers are shown."""

    title: str
    format: str


@dataclass(frozen=True)
class Trace:
    """One column in a chart: its values, its heading and how it is drawn."""

    values: Area
    heading: Area
    stroke: Stroke


@dataclass(frozen=True)
class Plot:
    """A chart: `area` are the cells it covers, `width` and `height` their size in points.

    `source` is the title of the sheet that `along` (what its traces are drawn against) and they stand in.
    """

    kind: ChartKind
    title: str
    area: Area
    width: float
    height: float
    source: str
    along: Area
    traces: tuple[Trace, ...]
    x: Axis
    y: Axis


@dataclass
class Grid:
    """One sheet: everything both file formats have to write.

    `heights` are about what the texts take; rows in `fixed` keep theirs, the others grow with their text.
    `frozen` holds how many rows and columns stay in sight; `repeated` the rows printed on every page.
    `pages` are how many it is printed on, side by side and one below the other, 0 for as many as it takes; on
    several side by side its first column stands on each.
    `ready` are the first and last row that stand ready for records.
    `hidden` are columns out of sight, and a sheet that is not `visible` is wholly so.
    `spare` are the cells of the rows from `spare_from` to `spare_to`, ready for entries but bare to the eye;
    `row_height` is that of rows nothing is said about, 0 for what is usual.
    """

    key: str
    title: str
    paper: Paper
    landscape: bool
    gridlines: bool
    tab: str
    cells: dict[Position, Cell] = field(default_factory=dict)
    merged: list[Area] = field(default_factory=list)
    widths: dict[int, float] = field(default_factory=dict)
    heights: dict[int, float] = field(default_factory=dict)
    fixed: set[int] = field(default_factory=set)
    names: dict[str, Position] = field(default_factory=dict)
    rules: list[Rule] = field(default_factory=list)
    markings: list[Marking] = field(default_factory=list)
    hidden: set[int] = field(default_factory=set)
    visible: bool = True
    frozen: tuple[int, int] = (0, 0)
    repeated: tuple[int, int] | None = None
    ready: tuple[int, int] = (0, 0)
    spare: dict[int, Cell] = field(default_factory=dict)
    spare_from: int = 0
    spare_to: int = 0
    row_height: float = 0.0
    pages: tuple[int, int] = (1, 0)
    plots: list[Plot] = field(default_factory=list)


def reference(row: int, column: int, *, fixed_row: bool = False, fixed_column: bool = False) -> str:
    """A reference as it stands in our formulas, such as [.B$4]."""
    letters = address(1, column)[:-1]
    return f"[.{'$' * fixed_column}{letters}{'$' * fixed_row}{row}]"
