"""What a workbook is to the rest of the program, whatever its format."""

import contextlib
import math
import re
from abc import ABC, abstractmethod
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from sheetcalc.files.chart_titles import retitled
from sheetcalc.files.package import BadWorkbook, Package, brief, serialize

if TYPE_CHECKING:
    from lxml import etree

    from sheetcalc.files.references import Area

Kind = Literal["blank", "number", "percent", "moment", "text", "bool", "error"]
Position = tuple[int, int]
Place = tuple[str, int, int]


class File(NamedTuple):
    """A file that a link leads to: its path from the workbook's folder, with strokes forward."""

    path: str


class Look(NamedTuple):
    """What of another cell's look one of ours takes over.

    number: the number format of ours, "General", "0.00" or "yyyy-mm-dd hh:mm", '' for that of the other cell;
    kept: whether that of the other cell goes before it, where it has one; bare: which of "fill", "border" and
    "font" stay those of a cell without a style.
    """

    number: str = ""
    kept: bool = False
    bare: frozenset[str] = frozenset()


ALIKE = Look()
EPOCH = datetime(1899, 12, 30)
MAX_ROW = 1_048_576
MAX_COLUMN = 16_384
MAX_TEXT = 32_767
LONGEST_TITLE = 255  # Excel takes 31
# Beyond these a number in a cell formatted as a date is no date in any program.
FIRST_MOMENT = -693_593  # 0001-01-01
END_OF_MOMENTS = 2_958_465  # 9999-12-31
_NUMERIC = ("number", "percent", "moment")
_SAME_MOMENT = timedelta(milliseconds=1) / timedelta(days=1)
_NUMBER = re.compile(r"\s*[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*", re.ASCII)
# What XML can't hold, tab and line feed aside.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


class Cell(NamedTuple):
    """One cell: its value, what kind of value that is, and whether a formula gives it.

    Moments are days since 1899-12-30, of the years 1 to 9999, and times of day fractions of a day; a
    percentage is the raw fraction. Numbers are finite, and a text is cut off behind the most that a cell may
    hold. A formula without a remembered result is of kind "blank".
    """

    value: float | str | bool | None
    kind: Kind
    formula: bool = False


Cells = Mapping[Position, Cell]


class Workbook(ABC):
    """An existing workbook, edited in place: what isn't written stays as it is in the file."""

    path: Path
    sheets: list[str]
    # The defined names of the whole workbook that denote one cell.
    names: dict[str, Place]
    # And those that hold on one sheet alone, by sheet: copying a sheet makes them.
    local_names: dict[str, dict[str, Place]]

    def __init__(self, package: Package) -> None:
        self.path = package.path
        self._package = package
        self._cells: dict[str, dict[Position, Cell]] = {}
        self._written: dict[str, set[Position]] = {}
        self._names_edited = False
        self._charts: dict[str, etree._Element] = {}  # those that were edited, by their part

    @cached_property
    def named(self) -> dict[str, Place]:
        """The defined names of the whole workbook in small letters: programs change them as they like."""
        return {name.casefold(): place for name, place in self.names.items()}

    def cells(self, sheet: str) -> dict[Position, Cell]:
        """The cells of `sheet` that hold a value or a formula, by (row, column), both counted from 1.

        The dictionary is kept up to date by `write`. In an ods file a repeated cell is expanded where it is
        not blank, up to 100,000 copies a sheet. Raises KeyError for an unknown sheet and BadWorkbook for a
        damaged one.
        """
        if sheet not in self._cells:
            self._cells[sheet] = self._read_cells(sheet)
        return self._cells[sheet]

    def has_formula(self, sheet: str, row: int, column: int) -> bool:
        """Whether a formula gives the cell its value, one of its own or one that fills a block of cells."""
        cell = self.cells(sheet).get((row, column))
        return self._in_block(sheet, row, column) if cell is None else cell.formula

    @property
    def signed(self) -> bool:
        """Whether the file holds a digital signature; a change makes it invalid."""
        return self._package.signed

    def write(
        self,
        sheet: str,
        row: int,
        column: int,
        value: float | str | datetime | None,
        *,
        like: Position | None = None,
        look: Look = ALIKE,
        link: Place | File | None = None,
    ) -> None:
        """Set the value of one cell; its style, comment and pictures stay; an equal value changes nothing.

        Text stays text, also when it begins with "="; an empty one clears the cell as None does. A float in a
        cell formatted as a date is days since 1899-12-30. `like` is a cell of the same sheet whose style is
        taken over when this one has none of its own, so far as `look` says. `link` is the
        (sheet, row, column) a click on the text leads to, or a file, runs of blanks in it becoming single
        spaces; without it a link within the workbook is removed.
        Raises ValueError on a cell that holds a formula, a number that isn't finite, a text over 32,767
        characters or a cell outside the sheet; KeyError for an unknown sheet.
        """
        value = _checked(value, row, column)
        if value is None:
            link = None
        if link is not None and isinstance(value, str):
            # Inside a link, LibreOffice loses tabs and all but single spaces.
            value = "\n".join(" ".join(line.split()) for line in value.split("\n"))
        cells, place = self.cells(sheet), (row, column)
        old = cells.get(place)
        if old.formula if old else self._in_block(sheet, row, column):
            raise ValueError(f"Cell {row}, {column} of {sheet} holds a formula.")
        find = self._file_at if isinstance(link, File) else self._link_at
        target: str | None = None
        if link is not None:
            target = self._file_target(link.path) if isinstance(link, File) else self._link_target(*link)
        if _same(old, value) and find(sheet, row, column) == target:
            return
        cell = self._put(sheet, row, column, value, like, look, target)
        if cell is None:
            cells.pop(place, None)
        else:
            cells[place] = cell
        self._written.setdefault(sheet, set()).add(place)

    def dress(self, sheet: str, row: int, column: int, like: Place) -> None:
        """Give a blank cell that has no style of its own that of another, `like`, on any sheet.

        What that cell shows on a condition is left out.
        """
        self._dress(sheet, row, column, like)
        self._written.setdefault(sheet, set()).add((row, column))

    def name(self, name: str, place: Place) -> None:
        """Have a defined name of the whole workbook denote one cell."""
        if self.named.get(name.casefold()) != place:
            self._name(name, place)
            self.names[name] = self.named[name.casefold()] = place
            self._names_edited = True

    @abstractmethod
    def _name(self, name: str, place: Place) -> None: ...

    def retitle(self, titles: Mapping[str, str]) -> None:
        """Give titles of charts and of their axes that read like one of these their new wording."""
        for part in self._chart_parts():
            # A damaged chart is no reason to leave the cells alone.
            with contextlib.suppress(BadWorkbook):
                root = self._charts.get(part)
                root = self._package.xml(part) if root is None else root
                if retitled(root, titles):
                    self._charts[part] = root

    @abstractmethod
    def _chart_parts(self) -> list[str]:
        """The parts of the file that hold a chart."""

    @abstractmethod
    def offer(
        self, sheet: str, cells: Sequence[Position], choices: Sequence[str], title: str, prompt: str
    ) -> None:
        """Give cells below each other in a column a drop-down, or without choices a prompt.

        Where the person has a rule for one of them, it stays.
        """

    @abstractmethod
    def widen(self, sheet: str, column: int, letters: float) -> None:
        """Make a column that was written to at least so many letters wide."""

    @property
    def changed(self) -> bool:
        """Whether any write changed anything since the file was read or last saved in place."""
        return bool(self._written) or self._names_edited or bool(self._charts)

    def save(self, path: Path | None = None, backup_ending: str | None = None) -> None:
        """Save in place, or to the new file `path`; in place nothing happens when nothing changed.

        The results of the person's own formulas that depend on written cells are forgotten, so that they are
        computed afresh when the file is opened. The old file is replaced at one stroke and keeps its
        permissions; a link keeps pointing to it. `backup_ending` keeps it under its name and that ending.
        Raises BadWorkbook when the file can't be written, or ChangedMeanwhile, one of its kind, when somebody
        else changed it since it was opened.
        """
        if not self.changed:
            if path is not None:
                self._package.save({}, path)
            return
        charts = {part: serialize(root) for part, root in self._charts.items()}
        self._package.save(charts | self._edited_parts(), path, backup_ending)
        if path is None or path.resolve() == self.path.resolve():
            self._written.clear()
            self._names_edited = False
            self._charts.clear()
            self._forget_edits()

    @abstractmethod
    def differing(self, sheet: str, cells: Sequence[Position]) -> frozenset[str]:
        """Which of "fill", "border" and "font" do not belong to all these cells alike: a fill or letters of
        another look in some, no border in some."""

    @abstractmethod
    def merged(self, sheet: str) -> dict[Position, int]:
        """The last column of each merged cell that runs over several columns, by where it begins."""

    @abstractmethod
    def under_merged(self, sheet: str, row: int, column: int) -> bool:
        """Whether a merged cell that begins elsewhere hides this one."""

    @abstractmethod
    def protected(self, sheet: str) -> bool:
        """Whether the person has the sheet protected against changes."""

    def free_columns(self, sheet: str, first: int, rows: range) -> Iterator[int]:
        """The columns from `first` on that no drawing covers.

        A drawing below the rows counts only where it begins at `first` or right of it, one that reaches to
        the sheet's end not at all.
        """
        drawn = [
            area
            for area in self.drawings(sheet)
            if area.bottom >= rows.start and (area.top < rows.stop or area.left >= first)
        ]
        column = first
        while True:
            over = [a.right for a in drawn if a.left <= column <= a.right < MAX_COLUMN]
            if over:
                column = max(over)
            else:
                yield column
            column += 1

    @abstractmethod
    def drawings(self, sheet: str) -> "list[Area]":
        """The cells under each chart or picture of a sheet, as well as the file tells."""

    @abstractmethod
    def _read_cells(self, sheet: str) -> dict[Position, Cell]: ...

    @abstractmethod
    def _in_block(self, sheet: str, row: int, column: int) -> bool:
        """Whether the cell lies in a block of cells that one formula fills."""

    @abstractmethod
    def _put(
        self,
        sheet: str,
        row: int,
        column: int,
        value: float | str | datetime | None,
        like: Position | None,
        look: Look,
        target: str | None,
    ) -> Cell | None:
        """Set the cell in the XML and tell how it reads now."""

    @abstractmethod
    def _dress(self, sheet: str, row: int, column: int, like: Place) -> None: ...

    @abstractmethod
    def _link_target(self, sheet: str, row: int, column: int) -> str: ...

    @abstractmethod
    def _link_at(self, sheet: str, row: int, column: int) -> str | None: ...

    @abstractmethod
    def _file_target(self, path: str) -> str:
        """How a link to a file is written; never like one within the workbook."""

    @abstractmethod
    def _file_at(self, sheet: str, row: int, column: int) -> str | None: ...

    @abstractmethod
    def _edited_parts(self) -> dict[str, bytes]: ...

    @abstractmethod
    def _forget_edits(self) -> None: ...


def check_title(title: str, others: Container[str]) -> None:
    """Raises BadWorkbook where a sheet has the name of another or one that no program would give it."""
    if title in others:
        raise BadWorkbook(
            f'It has the sheet "{brief(title)}" twice; let the spreadsheet program repair the file.'
        )
    if len(title) > LONGEST_TITLE:
        raise BadWorkbook(f'The name of the sheet "{brief(title)}" is too long; give it a shorter one.')


def serial(moment: datetime) -> float:
    """Days since 1899-12-30 of a moment, its time zone left aside."""
    return (moment.replace(tzinfo=None) - EPOCH) / timedelta(days=1)


def number_text(value: float) -> str:
    """A number as the file formats write it, exact when it is read back."""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def read_number(text: str) -> float:
    """A finite number as the file formats write it; raises ValueError for anything else."""
    number = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(number):
        raise ValueError(text)
    return number


def natural(text: str | None) -> int | None:
    """A whole number from 0 to 999,999,999 as the file formats write it, None for anything else."""
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 10 else None


def is_moment(days: float) -> bool:
    """Whether days since 1899-12-30 are a date of the years 1 to 9999."""
    return FIRST_MOMENT <= days < END_OF_MOMENTS


def cut(text: str) -> str:
    """A text as far as a cell may hold it, and one character more where it is longer."""
    return text[: MAX_TEXT + 1]


def forget(cells: dict[Position, Cell], positions: Iterable[Position]) -> None:
    """Mark formula cells whose remembered result was dropped."""
    for position in positions:
        if position in cells:
            cells[position] = Cell(None, "blank", True)


def _checked(value: float | str | datetime | None, row: int, column: int) -> float | str | datetime | None:
    if not (1 <= row <= MAX_ROW and 1 <= column <= MAX_COLUMN):
        raise ValueError(f"Row {row}, column {column} is outside the sheet.")
    if isinstance(value, str):
        text = _UNWRITABLE.sub("", value.replace("\r\n", "\n").replace("\r", "\n"))
        if len(text) > MAX_TEXT:
            raise ValueError(f"A cell holds at most {MAX_TEXT} characters.")
        return text or None
    if value is None or isinstance(value, datetime):
        return value
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{number} can't stand in a cell.")
    return number


def _same(old: Cell | None, value: float | str | datetime | None) -> bool:
    if old is None or value is None:
        return old is None and value is None
    if isinstance(value, str):
        return old.kind == "text" and old.value == value
    if old.kind not in _NUMERIC or not isinstance(old.value, float):
        return False
    number = serial(value) if isinstance(value, datetime) else value
    # A file may hold a moment less exactly than a number.
    if isinstance(value, datetime) or old.kind == "moment":
        return abs(old.value - number) < _SAME_MOMENT
    return old.value == number
