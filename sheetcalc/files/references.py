"""Which cells a formula looks at, and which formulas depend on cells that changed."""

import re
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from functools import cache, lru_cache
from itertools import islice
from typing import NamedTuple

from sheetcalc.files.package import BadWorkbook
from sheetcalc.files.workbook import MAX_COLUMN, MAX_ROW, Place, Position

Names = Callable[[str, str], "list[Area] | None"]

# How much of one workbook's formulas is looked into. What goes beyond is taken to depend on every cell: then
# more results than necessary are computed afresh, and none too few.
MOST_LETTERS = 2**16  # of one formula; programs allow fewer
MOST_READ = 5_000_000  # letters of all formulas, an area they look at counting as AREA
AREA = 20
MOST_AREAS = 10_000  # of one formula
# How much of it is kept for the next workbook.
MOST_KEPT = 2000  # formulas
LONGEST_KEPT = 1000  # letters
MOST_NESTED = 20  # names that stand for names
MOST_BLOCKS = 1_000_000


class Area(NamedTuple):
    """A block of cells on one sheet; all four edges belong to it."""

    sheet: str
    top: int
    left: int
    bottom: int
    right: int

    @property
    def size(self) -> int:
        """How many cells it has."""
        return (self.bottom - self.top + 1) * (self.right - self.left + 1)

    def holds(self, row: int, column: int) -> bool:
        """Whether the cell lies in the area."""
        return self.top <= row <= self.bottom and self.left <= column <= self.right


class Formula(NamedTuple):
    """A formula, the cells that show its results, and the areas it looks at."""

    place: Place
    covers: Area
    looks_at: list[Area]


@cache
def column_letters(column: int) -> str:
    """The letters of a column counted from 1."""
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


@cache
def column_number(letters: str) -> int:
    """The number of a column, counted from 1, by its letters."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - 64
    return number


def cell_name(row: int, column: int) -> str:
    """The A1 name of a cell."""
    return f"{column_letters(column)}{row}"


_CORNER = re.compile(r"(\$?)([A-Za-z]{1,3})?(\$?)([0-9]{1,7})?$")
_CELL = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")


@lru_cache(maxsize=8192)
def area_of(sheet: str, text: str, shift: tuple[int, int] = (0, 0)) -> Area | None:
    """The area that `text` (A1, $A$1:B7, A:C, 2:3) denotes on `sheet`, or None when it denotes none.

    `shift` moves the parts that are not fixed by $ by so many rows and columns.
    """
    if shift == (0, 0) and (cell := _CELL.fullmatch(text)):
        line, number = int(cell[2]), column_number(cell[1])
        inside = 1 <= line <= MAX_ROW and number <= MAX_COLUMN
        return Area(sheet, line, number, line, number) if inside else None
    corners = []
    for part in text.split(":"):
        match = _CORNER.match(part)
        if match is None or not (match[2] or match[4]):
            return None
        fixed_column, letters, fixed_row, digits = match.groups()
        # In "$2" the sign stands where a column's would.
        fixed_row = fixed_row or (fixed_column if not letters else "")
        row = int(digits) + (0 if fixed_row else shift[0]) if digits else None
        column = column_number(letters) + (0 if fixed_column else shift[1]) if letters else None
        corners.append((row, column))
    if len(corners) > 2 or (len(corners) == 1 and None in corners[0]):
        return None
    rows = [row for row, _ in corners if row is not None]
    columns = [column for _, column in corners if column is not None]
    area = Area(
        sheet,
        min(rows, default=1),
        min(columns, default=1),
        max(rows, default=MAX_ROW),
        max(columns, default=MAX_COLUMN),
    )
    if area.top < 1 or area.left < 1 or area.bottom > MAX_ROW or area.right > MAX_COLUMN:
        return None
    return area


def whole(sheet: str) -> Area:
    """All cells of a sheet."""
    return Area(sheet, 1, 1, MAX_ROW, MAX_COLUMN)


# What a formula looks at when that can't be told.
ANYWHERE = Area("", 1, 1, MAX_ROW, MAX_COLUMN)


def unquoted(sheet: str) -> str:
    """A sheet's name as it is, from the form it has in a reference."""
    if sheet.startswith("'") and sheet.endswith("'") and len(sheet) > 1:
        return sheet[1:-1].replace("''", "'")
    return sheet


_InPlace = tuple[str, str, Hashable]  # a formula, its sheet, and what else it has to be read by


@lru_cache(maxsize=4)
def _kept(sheets: tuple[str, ...], meanings: Hashable) -> dict[_InPlace, list[Area]]:
    """What is known of the formulas of workbooks with these sheets, in which names have these meanings."""
    return {}


class Reader:
    """Finds the areas that formulas of one workbook look at.

    `sheets` are all its sheets in order; `names` gives the areas of a defined name or table as seen from a
    sheet, and None for a word that is neither. What only computing can tell counts as looked at: ANYWHERE for
    INDIRECT; for OFFSET, and for a range that ends in a function or a name, all of its own sheet and of those
    it mentions. Within a defined name (`fixed` False) a reference without $ denotes another cell for each
    formula that uses the name, so it stands for its whole sheet. What is too long or too involved to be
    looked into is taken to look at ANYWHERE. `meanings` is all that `names` depends on: where it and the
    sheets are those of a workbook before, as in all made from a template, no formula is read again.
    """

    def __init__(
        self, sheets: list[str], names: Names, *, fixed: bool = True, meanings: Hashable = None
    ) -> None:
        self._sheets = sheets
        self._by_fold = {sheet.casefold(): sheet for sheet in sheets}
        self._numbers = {sheet: number for number, sheet in enumerate(sheets)}
        self._names = names
        self._fixed = fixed
        self._room = MOST_READ
        self._kept = {} if meanings is None else _kept(tuple(sheets), meanings)

    def excel(self, formula: str, sheet: str, shift: tuple[int, int] = (0, 0)) -> list[Area]:
        """The areas an xlsx formula on `sheet` looks at.

        `shift` is its distance from the formula it shares its text with.
        """
        return self._bounded((formula, sheet, shift), self._in_excel(formula, sheet, shift))

    def open_document(self, formula: str, sheet: str) -> list[Area]:
        """The areas an ods formula on `sheet` looks at, in its own grammar (of:=) or in Excel's (msoxl:=)."""
        grammar = _GRAMMAR.match(formula)
        text = formula[grammar.end() :] if grammar else formula
        if grammar and grammar[1] == "msoxl":
            return self.excel(text, sheet)
        return self._bounded((text, sheet, "of"), self._in_open_document(text, sheet))

    def _bounded(self, formula: _InPlace, found: Iterator[Area]) -> list[Area]:
        """What was found in a formula, as long as it and all before it were not too much."""
        text, sheet, _ = formula
        self._room -= len(text)
        if self._room < 0 or len(text) > MOST_LETTERS:
            return [ANYWHERE]
        if formula in self._kept:
            return self._kept[formula]
        areas = list(islice(found, MOST_AREAS + 1))
        self._room -= AREA * len(areas)
        if len(areas) > MOST_AREAS:
            return [ANYWHERE]
        looks_at = list(dict.fromkeys(areas + self._unknowable(text, sheet, areas)))
        if len(self._kept) < MOST_KEPT and len(text) <= LONGEST_KEPT:
            self._kept[formula] = looks_at
        return looks_at

    def _in_excel(self, formula: str, sheet: str, shift: tuple[int, int]) -> Iterator[Area]:
        if self._fixed and shift == (0, 0) and (added := _EXCEL_SUM.fullmatch(formula)):
            yield from (area for cell in added[1].split(",") if (area := area_of(sheet, cell)))
            return
        for match in _EXCEL.finditer(formula):
            owner, reference, table, bracket, owner_of_name, name = match.groups()
            if reference:
                yield from self._qualified(owner, reference, sheet, shift)
            elif table:
                yield from self._names(table, sheet) or []
            elif bracket:
                yield whole(sheet)
            elif name:
                yield from self._names(name, self._owner(owner_of_name, sheet)) or []

    def _in_open_document(self, formula: str, sheet: str) -> Iterator[Area]:
        if self._fixed and (added := _OPEN_SUM.fullmatch(formula)):
            yield from (area for cell in added[1].split("];[.") if (area := area_of(sheet, cell)))
            return
        for match in _OPEN.finditer(formula):
            if match["inner"]:
                yield from self._bracketed(match["inner"], sheet)
            elif match["name"]:
                yield from self._names(match["name"], sheet) or []

    def _qualified(self, prefix: str | None, text: str, home: str, shift: tuple[int, int]) -> list[Area]:
        if not prefix and self._fixed and (area := area_of(home, text, shift)):
            return [area]
        if not self._fixed and not _FIXED.fullmatch(text):
            return [whole(name) for name in self._span(prefix, home)]
        areas = [area_of(name, text, shift) for name in self._span(prefix, home)]
        if None in areas and shift != (0, 0):
            # A shifted reference that wraps around the edge of the sheet.
            return [whole(area) for area in self._span(prefix, home)]
        return [area for area in areas if area is not None]

    def _span(self, prefix: str | None, home: str) -> list[str]:
        """The sheets that "First:Last" or one name denotes; other workbooks denote none of ours."""
        if not prefix:
            return [home]
        name = unquoted(prefix)
        if "[" in name:
            return []
        if name.casefold() in self._by_fold:
            return [self._by_fold[name.casefold()]]
        first, _, last = name.partition(":")
        if first.casefold() in self._by_fold and last.casefold() in self._by_fold:
            ends = [self._numbers[self._by_fold[end.casefold()]] for end in (first, last)]
            return self._sheets[min(ends) : max(ends) + 1]
        # In "first:Other!Z9" a defined name comes before the colon.
        return [self._by_fold[last.casefold()]] if last.casefold() in self._by_fold else []

    def _owner(self, prefix: str | None, home: str) -> str:
        return next(iter(self._span(prefix, home)), home)

    def _bracketed(self, inner: str, home: str) -> list[Area]:
        match = _OPEN_REFERENCE.fullmatch(inner)
        if match is None:
            return []
        if self._fixed and not match["first"] and not match["last"]:
            area = area_of(home, inner.replace(".", ""))
            return [area] if area else []
        first = self._span((match["first"] or "").lstrip("$"), home)
        last = self._span((match["last"] or "").lstrip("$"), home) if match["last"] else first
        if not first or not last:
            return []
        ends = sorted(self._numbers[end] for end in (first[0], last[0]))
        text = match["start"] + (f":{match['end']}" if match["end"] else "")
        spanned = self._sheets[ends[0] : ends[1] + 1]
        if not self._fixed and not _FIXED.fullmatch(text):
            return [whole(sheet) for sheet in spanned]
        return [area for sheet in spanned if (area := area_of(sheet, text)) is not None]

    def _unknowable(self, formula: str, home: str, areas: list[Area]) -> list[Area]:
        """What a formula may look at by an address that is made while it is computed."""
        if not _may_make_one(formula):
            return []
        text = _TEXT.sub('""', formula)
        if _ANY_ADDRESS.search(text):
            return [ANYWHERE]
        if not _MOVED_ADDRESS.search(text) and not self._ends_in_a_name(text, home):
            return []
        return [whole(sheet) for sheet in {home, *(area.sheet for area in areas)}]

    def _ends_in_a_name(self, text: str, home: str) -> bool:
        """Whether a defined name is one end of a range, as in A1:last."""
        words = (match[1] or match[2] for match in _RANGE_END.finditer(text))
        return any(self._names(word, home) is not None for word in words)


_WORD = r"[^\W\d][\w.\\?]*"
_PLAIN_SHEET = r"[^\s'!(),;:+\-*/^&=<>\"{}\[\]%@#]+"
_POINT = r"\$?[A-Za-z]{1,3}\$?[0-9]{1,7}"
# Quoted parts are matched without second thoughts (*+), and unclosed ones as a whole: otherwise a text made
# for it would take years.
_EXCEL = re.compile(
    rf"""
    "(?:[^"]|"")*+"?
  | (?:(?P<sheet>'(?:[^']|'')++'|(?:\[[^\[\]]*+\])?{_PLAIN_SHEET}+(?::{_PLAIN_SHEET}+)?)!)?
    (?P<reference>{_POINT}(?::{_POINT})?(?![\w(.!\[]) | \$?[A-Za-z]{{1,3}}:\$?[A-Za-z]{{1,3}}(?![\w(.!])
                | \$?[0-9]{{1,7}}:\$?[0-9]{{1,7}}(?![\w(.!]))
  | (?P<table>{_WORD}+)\[(?:[^\[\]]|\[[^\[\]]*\])*\]
  | (?P<bracket>\[(?:[^\[\]]|\[[^\[\]]*\])*\])(?!{_PLAIN_SHEET}!)
  | (?:(?P<sheet2>'(?:[^']|'')++'|{_PLAIN_SHEET}+)!)?(?P<name>{_WORD})(?![\w(.!])
  | '(?:[^']|'')*+'?
  | {_PLAIN_SHEET}
    """,
    re.VERBOSE,
)
_OPEN = re.compile(
    rf"""
    "(?:[^"]|"")*+"?
  | \[(?P<inner>(?:'(?:[^']|'')*+'|[^\]'])*+)\]?
  | (?P<name>{_WORD})(?![\w(.])
    """,
    re.VERBOSE,
)
# A sum of single cells, as most of our own formulas are, is read at a glance.
_EXCEL_SUM = re.compile(r"SUM\(([A-Z]{1,3}[0-9]{1,7}(?:,[A-Z]{1,3}[0-9]{1,7})*)\)")
_OPEN_SUM = re.compile(r"SUM\(\[\.([A-Z]{1,3}[0-9]{1,7}(?:\];\[\.[A-Z]{1,3}[0-9]{1,7})*)\]\)")
_OPEN_SHEET = r"\$?(?:'(?:[^']|'')++'|[^'.\s\[\]#:]+)"
_OPEN_CORNER = r"\$?[A-Za-z]{0,3}\$?[0-9]{0,7}"
_OPEN_REFERENCE = re.compile(
    rf"(?P<first>{_OPEN_SHEET})?\.(?P<start>{_OPEN_CORNER})(?::(?P<last>{_OPEN_SHEET})?\.(?P<end>{_OPEN_CORNER}))?"
)
_GRAMMAR = re.compile(r"([a-z]+):=")
_FIXED = re.compile(r"(?:\$[A-Za-z]{1,3})?(?:\$[0-9]{1,7})?(?::(?:\$[A-Za-z]{1,3})?(?:\$[0-9]{1,7})?)?")
_TEXT = re.compile('"(?:[^"]|"")*+"?')
# A range whose ends can be nothing but cells, in whatever program.
_PLAIN_RANGE = re.compile(
    r"(?:(?<![\w.\\])|(?<=[\['][.]))"
    r"\$?[A-Za-z]{1,2}\$?[0-9]{1,4}:\.?\$?[A-Za-z]{1,2}\$?[0-9]{1,4}(?![\w.(!\[\\?])"
)
_ANY_ADDRESS = re.compile(r"\bINDIRECT\s*\(", re.IGNORECASE)
_MOVED_ADDRESS = re.compile(
    r"\b(?:OFFSET|MULTIPLE\.OPERATIONS)\s*\(|\)\s*:|:\s*(?:_xlfn\.)?[A-Z.]+\(", re.IGNORECASE
)
_RANGE_END = re.compile(rf"(?<![\w.])({_WORD})\s*:|:\s*({_WORD})(?![\w(.!])")


def _may_make_one(formula: str) -> bool:
    """Whether a formula may make an address; no, where nothing in it looks like that."""
    if ":" in formula and ":" in _PLAIN_RANGE.sub("", formula):
        return True
    text = formula.upper()
    return "INDIRECT" in text or "OFFSET" in text or "MULTIPLE" in text


def open_document_cell(address: str) -> Place | None:
    """The one cell an ods address ($'Sheet one'.$A$1) denotes, or None when it denotes none or several."""
    match = _OPEN_REFERENCE.fullmatch(address)
    if match is None or not match["first"]:
        return None
    if match["end"] and match["end"] != match["start"]:
        return None
    sheet = unquoted(match["first"].removeprefix("$"))
    if match["last"] and unquoted(match["last"].removeprefix("$")) != sheet:
        return None
    area = area_of(sheet, match["start"])
    return None if area is None else (sheet, area.top, area.left)


_EXCEL_CELL = re.compile(rf"(?P<sheet>'(?:[^']|'')++'|{_PLAIN_SHEET})!(?P<reference>{_POINT}(?::{_POINT})?)")


def excel_cell(reference: str) -> Place | None:
    """The one cell an xlsx reference ('Sheet one'!$A$1) denotes, or None when it denotes none or several."""
    match = _EXCEL_CELL.fullmatch(reference.strip())
    if match is None or "[" in match["sheet"]:
        return None
    sheet = unquoted(match["sheet"])
    area = area_of(sheet, match["reference"])
    if area is None or (area.top, area.left) != (area.bottom, area.right):
        return None
    return sheet, area.top, area.left


def named_areas(texts: Callable[[str, str], str | None], read: Callable[[str, str], list[Area]]) -> Names:
    """A function that gives the areas a name denotes as seen from a sheet, None for a word that is no name.

    `texts` gives the formula a name stands for and `read` what a formula on a sheet looks at, other names
    included. Each name is looked into once.
    """
    known: dict[tuple[str, str], list[Area] | None] = {}
    within: list[tuple[str, str]] = []

    def areas(name: str, sheet: str) -> list[Area] | None:
        key = (name.casefold(), sheet)
        if key in known:
            return known[key]
        text = texts(*key)
        if text is not None and (key in within or len(within) > MOST_NESTED):
            return [ANYWHERE]
        within.append(key)
        known[key] = None if text is None else list(dict.fromkeys(read(text, sheet)))
        within.pop()
        return known[key]

    return areas


def array_area(area: Area) -> Area:
    """The area that one array formula fills.

    Raises BadWorkbook for more cells than a column has: all on the sheet would pass for its results.
    """
    if area.size > MAX_ROW:
        raise BadWorkbook(
            "A sheet has an array formula over more cells than it can fill; the file is damaged, "
            "use a backup copy."
        )
    return area


def holder(areas: Iterable[Area]) -> Callable[[int, int], bool]:
    """A function that tells whether one of the areas, all on one sheet, holds the cell of a row and column.

    Raises BadWorkbook where the areas are more than formulas could fill without overlapping.
    """
    found = list(islice((block for area in set(areas) for block in _blocks(area)), MOST_BLOCKS))
    if len(found) == MOST_BLOCKS:
        raise BadWorkbook(
            "A sheet has array formulas over and over each other; the file is damaged, use a backup copy."
        )
    if not found:
        return lambda row, column: False
    blocks = set(found)
    sizes = {(high, wide) for high, _, wide, _ in blocks}
    return lambda row, column: any(
        (high, row - 1 >> high, wide, column - 1 >> wide) in blocks for high, wide in sizes
    )


def covered(areas: Iterable[Area], positions: Iterable[Position]) -> set[Position]:
    """Those of the positions, all on one sheet, that lie in one of the areas; see `holder`."""
    blocks = list(areas)
    holds = holder(blocks)
    return {position for position in positions if holds(*position)} if blocks else set()


def dependants(
    formulas: Iterable[Formula], changed: Mapping[str, Iterable[tuple[int, int]]]
) -> list[Formula]:
    """The formulas that look at a changed cell, directly or by way of other formulas."""
    watched: dict[Area, list[Formula]] = defaultdict(list)
    for formula in formulas:
        for area in formula.looks_at:
            watched[area].append(formula)
    index, sizes = _index(a for a in watched if a.top != a.bottom or a.left != a.right)
    pending = [(sheet, row, column) for sheet, cells in changed.items() for row, column in cells]
    seen: set[Place] = set(pending)
    found: dict[Place, Formula] = {}
    hit = watched.pop(ANYWHERE, []) if pending else []
    room, given_up = MOST_BLOCKS, set[str]()
    while pending or hit:
        for formula in hit:
            if formula.place in found:
                continue
            found[formula.place] = formula
            if formula.covers.size > room:
                if formula.covers.sheet not in given_up:
                    given_up.add(formula.covers.sheet)
                    hit += _pop_sheet(watched, formula.covers.sheet)
                continue
            room -= formula.covers.size
            new = [place for place in _places(formula.covers) if place not in seen]
            seen.update(new)
            pending += new
        hit = []
        if pending:
            sheet, row, column = pending.pop()
            hit = watched.pop(Area(sheet, row, column, row, column), hit)
            for high, wide in sizes.get(sheet, ()):
                block = (sheet, high, row - 1 >> high, wide, column - 1 >> wide)
                for area in index.pop(block, ()):
                    hit += watched.pop(area, [])
    return list(found.values())


def _index(
    areas: Iterable[Area],
) -> tuple[dict[tuple[str, int, int, int, int], list[Area]], dict[str, set[tuple[int, int]]]]:
    """The areas by the blocks they are made of, and the sizes of blocks there are on each sheet.

    So the areas that hold a cell are found by asking for a few blocks, however many areas there are.
    """
    index: dict[tuple[str, int, int, int, int], list[Area]] = defaultdict(list)
    sizes: dict[str, set[tuple[int, int]]] = defaultdict(set)
    room = MOST_BLOCKS
    for area in areas:
        for high, row, wide, column in _blocks(area if room > 0 else whole(area.sheet)):
            index[area.sheet, high, row, wide, column].append(area)
            sizes[area.sheet].add((high, wide))
            room -= 1
    return index, sizes


def _blocks(area: Area) -> Iterator[tuple[int, int, int, int]]:
    """An area as blocks of 2**a rows by 2**b columns: a, number from above, b, number from the left."""
    across = list(_binary(area.left, area.right))
    for high, row in _binary(area.top, area.bottom):
        for wide, column in across:
            yield high, row, wide, column


def _binary(first: int, last: int) -> Iterator[tuple[int, int]]:
    """The numbers first to last, counted from 1, as ranges of 2**power, each its power and number from 0."""
    start, end, power = first - 1, last, 0
    while start < end:
        if start & 1:
            yield power, start
            start += 1
        if end & 1:
            end -= 1
            yield power, end
        start, end, power = start >> 1, end >> 1, power + 1


def _pop_sheet(watched: dict[Area, list[Formula]], sheet: str) -> list[Formula]:
    """The formulas that look at any cell of a sheet, which are then watched for no more."""
    return [formula for area in list(watched) if area.sheet == sheet for formula in watched.pop(area)]


def _places(area: Area) -> Iterable[Place]:
    for row in range(area.top, area.bottom + 1):
        for column in range(area.left, area.right + 1):
            yield area.sheet, row, column
