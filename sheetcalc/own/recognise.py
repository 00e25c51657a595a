"""Which tables and cards of a person's own workbook look like ours, and what each heading seems to be."""

import re
from collections import Counter
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal, NamedTuple

from sheetcalc import entries, files, layouts, units
from sheetcalc.files import BadWorkbook, Cell, Cells, Place, Position
from sheetcalc.findings import address
from sheetcalc.layouts import Field, Sheet
from sheetcalc.own import adopted, ours
from sheetcalc.own import cells as own_cells
from sheetcalc.own.headings import (
    LONGEST_HEADING,
    Words,
    is_short_for,
    label_for,
    resemblance,
    split,
    squeezed,
    unit_text,
    unsaid,
    unsaid_of,
    vocabulary,
)

System = Literal["metric", "us", ""]
SURE, LIKELY, DOUBTFUL = 0.85, 0.7, 0.5
MARGIN = 0.15  # of a table's score over the next kind, below which nobody can tell
CLOSE = 0.04  # of one another, within which two matches are as good
PARTLY = 0.95  # of a match by the last line of several alone
NAMED = 0.95  # of a match by words that mean another key, too, whose cells don't fit
SHORTENED = 0.97  # of a match by what is left of the words where the unit says the rest
# The reading that a temperature belongs to stands beside it.
READ_AT = {
    "sample_temperature": "reading",
    "temperature": "reading",
    "collected_temperature": "collected_reading",
    "temperature_after": "reading_after",
}
READ_AT_SAMPLES = (
    "fermentation.sample_temperature",
    "fermentation.wash_temperature",
    "runs.collected_temperature",
    "cuts.temperature",
    "strength.temperature",
    "strength.temperature_after",
)
# What a heading with a reference temperature holds, in the place of the reading.
TRUE_OF = {"strength_20": "reading", "collected_strength": "collected_reading", "gravity_20": "reading"}
# What is usual, in base units, and the units that tell by it which one is meant where no heading says so.
USUAL = {
    "bottling.bottle_size": (0.2, 1.5, ("mL", "cL", "L")),
    "cuts.volume": (0.1, 5.0, ("mL", "L")),
    **dict.fromkeys(READ_AT_SAMPLES, (5.0, 38.0, ("°C", "°F"))),
}
# The strength that stands right of a volume, where its heading says no more.
BESIDE = {
    "charge_volume": "charge_strength",
    "collected_volume": "collected_reading",
    "volume_in": "strength_in",
    "volume_out": "strength_out",
}
SAMPLED = 40  # records that are looked at
MOST_HEADING_ROWS = 200  # of one sheet that are looked into
SHORTEST_UNIT = 3  # letters of a unit among the words of a heading, such as in "proof off"
FEWEST_COUNTED = 3  # records that a column has to count
FEWEST_BESIDE = 3  # headings left of a card's label in their row
MOST_CELLS = 5000  # of one sheet that are looked at for units and for a card
TELLING = ("gravity", "strength", "mark")  # quantities that nobody but the trade measures
METRIC_UNITS = frozenset({"°C", "L", "mL", "cL", "dL", "hL", "kg", "g", "% vol", "°P", "kg/m3"})
WEAK = ("text", "choice")
WORDED = ("fraction", "agent", "step")  # choices that nobody but the trade has
# What only our kinds of tables have, besides gravities and strengths.
OURS_ALONE = frozenset(
    re.findall(
        r"\w+",
        "jar run smell fraction vapour_temperature charge_volume collected_volume first_drip_at part "
        "carbon_mass bottles agent step dose taster",
    )
)
# Of what a table must have one, where it need have neither gravity nor strength.
OWN = {"bottling": {"bottles"}, "carbon": {"carbon_mass"}, "clearing": {"dose", "dose_mass"}}
# What no list of stock has.
MORE_THAN_STOCK = {
    "runs": {"charge_strength", "first_drip_at", "stopped_at", "collected_temperature"},
    "cuts": {"run", "temperature", "vapour_temperature", "smell", "fraction"},
    "strength": {"temperature", "target_strength", "target_volume", "water_volume", "water_mass"},
    "bottling": {"bottles"},
    "carbon": {"carbon_mass"},
    "clearing": {"dose"},
    "fermentation": {"reading"},
}
_COMMON = ("reading", "lecture", "lettura", "degrees", "meting", "prozent", "procent")  # such as others read
OURS = 5  # names of ours that make a workbook one of ours
_PRICED = re.compile(r"[€$£]|\b(?:eur|euro|euros|usd|gbp|chf|pln|zł|czk|kč|sek|kr|huf|ft)\b", re.IGNORECASE)
_NUMBERED = re.compile(r"^\W*\d[\d.,'/: -]*\W*\w{0,6}\W*$")
_ORDINAL = re.compile(r"^\W*[12](?:\.|st|nd|re|er|ère|e|ª|º|a|o)\s+[^\W\d]", re.IGNORECASE)


@dataclass(frozen=True)
class Guess:
    """What a heading is taken for: our field, the unit, how sure from 0 to 1, why, and the first values.

    `date` is the heading of the dates where this one is that of the times of day alone; `added` tells that
    a fill added the column. `fits` is how sure the key is, whatever the unit.
    """

    place: Position
    text: str
    field: Field
    unit: str
    sure: float
    why: tuple[str, ...]
    seen: tuple[str, ...]
    fits: float
    nth: int = 0
    of: int = 0
    date: str = ""
    added: bool = False

    @property
    def grade(self) -> str:
        """How sure, in a word."""
        return "sure" if self.sure >= SURE else "likely" if self.sure >= LIKELY else "doubtful"


@dataclass(frozen=True)
class Table:
    """A table or card that looks like one of our sheets."""

    sheet: Sheet
    kind: Literal["table", "card"]
    tab: str
    top: int
    lines: int
    guesses: tuple[Guess, ...]
    unknown: tuple[tuple[Position, str], ...]
    score: float
    batch: str = ""
    nth: int = 0
    of: int = 0

    @property
    def rows(self) -> range:
        """The rows of its headings."""
        return range(self.top, self.top + self.lines)

    @property
    def columns(self) -> range:
        """The columns from the first heading of theirs that is recognised to the last."""
        theirs = [guess.place[1] for guess in self.guesses if not guess.added]
        return range(theirs[0], theirs[-1] + 1)


class Unread(NamedTuple):
    """What looks like a table and is none that we know: its row of headings, by column."""

    tab: str
    top: int
    headings: dict[int, str]


def recognise(book: files.Workbook) -> list[Table]:
    """The tables and cards of a workbook that look like ours, in the order of its sheets.

    Raises files.BadWorkbook where a sheet is damaged or the workbook is one that we made.
    """
    known = {f"{s.key}_{f.key}" for s in layouts.every_sheet().values() for f in (*s.fields, *s.columns)}
    if len(known & book.names.keys()) >= OURS:
        raise BadWorkbook("This workbook is one of ours; fill it without a layout.")
    system = _system(book)
    found: list[Table] = []
    for tab in book.sheets:
        cells = ours.left_out(book, tab)
        tables = _tables(book, tab, cells, system)
        card = _card(cells, tab, tables, system)
        found += [*tables, *([card] if card else [])]
    return _with_added(book, _told_apart(book, found))


def _with_added(book: files.Workbook, found: Sequence[Table]) -> list[Table]:
    """The tables with the columns of theirs that a fill added.

    Where the name of one is of none of these batches, and several tables of its kind stand in its row, the
    columns go to the tables in their order.
    """
    columns: dict[tuple[str, str, str, int], list[ours.Ours]] = {}
    for one in ours.columns(book):
        columns.setdefault((one.field.key, one.sheet, *one.place[:2]), []).append(one)
    added: dict[int, dict[Position, Guess]] = {}
    for (key, sheet, tab, row), named in columns.items():
        could = [
            i
            for i, t in enumerate(found)
            if t.kind == "table" and (t.sheet.key, t.tab, t.rows[-1]) == (sheet, tab, row)
        ]
        names = {adopted.defined_name(sheet, key, found[i].batch).casefold(): i for i in could}
        known = {one.place: names[one.name] for one in named if one.name in names}
        rest = [i for i in could if i not in known.values()]
        others = list(dict.fromkeys(one.place for one in named if one.place not in known))
        for place, i in [*known.items(), *zip(others, rest, strict=False)]:
            guess = _added(book, found[i], named[0].field, place)
            if place not in known:
                (guess,) = _numbered([guess], _line(book, place, but=known))
            if all(other.grade == "doubtful" for other in found[i].guesses):
                guess = _doubted(guess, "its table is in doubt")
            added.setdefault(i, {})[guess.place] = guess
    return [
        _besides(table, [guess for _, guess in sorted(added.get(i, {}).items())])
        for i, table in enumerate(found)
    ]


def _besides(table: Table, added: Sequence[Guess]) -> Table:
    """A table with columns that a fill added; another column is not taken for the same then."""
    keys = {guess.field.key for guess in added}
    theirs = [guess for guess in table.guesses if guess.field.key not in keys]
    others = tuple((guess.place, guess.text) for guess in table.guesses if guess.field.key in keys)
    return replace(table, guesses=(*theirs, *added), unknown=(*table.unknown, *others))


def _added(book: files.Workbook, table: Table, field: Field, place: Place) -> Guess:
    """A column that a fill added, as it is called now."""
    cell = book.cells(place[0]).get(place[1:])
    text = " ".join(str(cell.value).split()) if cell else field.heading
    named = [label for raw in split(text).units if (label := label_for(raw, field.quantity))]
    us = any(guess.unit in adopted.US_UNITS for guess in table.guesses)
    unit = named[0] if named else field.unit.get("us" if us else "metric", "")
    return Guess(place[1:], text, field, unit, 1.0, ("fill added it",), (), 1.0, added=True)


def _line(book: files.Workbook, place: Place, but: Container[Place]) -> dict[int, str]:
    """The texts in the row of a cell, but for those of some cells."""
    tab, row, _ = place
    texts = own_cells.rows_of_texts(book.cells(tab)).get(row, {})
    return {column: text for column, text in sorted(texts.items()) if (tab, row, column) not in but}


def _told_apart(book: files.Workbook, found: list[Table]) -> list[Table]:
    """Give tables of one kind a batch each, and those of the same headings on one tab a number."""
    kinds = Counter(table.sheet.key for table in found)
    on_tab = Counter((table.sheet.key, table.tab) for table in found)
    seen: Counter[tuple[str, str]] = Counter()
    result = []
    for table in found:
        where = (table.sheet.key, table.tab)
        seen[where] += 1
        batch = table.tab if kinds[table.sheet.key] > 1 else ""
        batch = f"{batch} {seen[where]}" if on_tab[where] > 1 else batch
        nth, of = _nth(book, table)
        result.append(replace(table, batch=batch, nth=nth, of=of))
    return result


def _nth(book: files.Workbook, table: Table) -> Position:
    """Which of how many tables with these headings it is, 0 of 0 where it is the only one."""
    wanted = {guess.text for guess in table.guesses}
    if table.kind == "card":
        return 0, 0
    rows, merged = own_cells.rows_of_texts(book.cells(table.tab)), book.merged(table.tab)
    tops = [r for r in sorted(rows) if wanted <= set(own_cells.joined(rows, merged, r, table.lines).values())]
    return (tops.index(table.top) + 1, len(tops)) if len(tops) > 1 and table.top in tops else (0, 0)


def _system(book: files.Workbook) -> System:
    """The unit system that the headings of a workbook speak of, '' where they speak of both or none."""
    named = set()
    for tab in book.sheets:
        for cell in islice(book.cells(tab).values(), MOST_CELLS):
            if (
                isinstance(cell.value, str)
                and len(cell.value) <= LONGEST_HEADING
                and not _NUMBERED.match(cell.value)
            ):
                if squeezed(cell.value) in vocabulary().abroad:
                    named.add("L")
                named |= {vocabulary().units.get(unit_text(raw), "") for raw in split(cell.value).units}
    us, metric = bool(named & adopted.US_UNITS), bool(named & METRIC_UNITS)
    return "us" if us and not metric else "metric" if metric and not us else ""


def _measured(cell: Cell) -> bool:
    """Whether a cell holds a number or a date, perhaps as text; "1. drop" is a heading."""
    if isinstance(cell.value, str):
        return bool(_NUMBERED.match(cell.value[:60])) and not _ORDINAL.match(cell.value)
    return isinstance(cell.value, float)


def _heading_rows(cells: Cells) -> tuple[set[int], list[int], dict[int, set[int]]]:
    """The rows of nothing but words, the last of each run of them, and the columns with values by row."""
    texts: set[int] = set()
    measured: dict[int, set[int]] = {}
    for (row, column), cell in cells.items():
        if _measured(cell):
            measured.setdefault(row, set()).add(column)
        elif isinstance(cell.value, str) and cell.value.strip() and len(cell.value) <= LONGEST_HEADING:
            texts.add(row)
    wordy = (texts - measured.keys()) | {
        row for row in texts & measured.keys() if _has_card(cells, row, measured[row])
    }
    bottoms = [row for row in sorted(wordy) if row + 1 not in wordy][:MOST_HEADING_ROWS]
    return wordy, bottoms, measured


def _has_card(cells: Cells, row: int, values: set[int]) -> bool:
    """Whether a row of headings has nothing but labels of a card beside it, each with its value."""
    labels = {column - 1 for column in values}
    beside = all((row, c) in cells and (row, c - 1) not in cells and c not in values for c in labels)
    return beside and sum((row, c) in cells for c in range(1, min(labels))) >= FEWEST_BESIDE


def _tables(book: files.Workbook, tab: str, cells: Cells, system: System) -> list[Table]:
    wordy, bottoms, measured = _heading_rows(cells)
    rows, merged = own_cells.rows_of_texts(cells), book.merged(tab)
    candidates: list[Table] = []
    for bottom in bottoms:
        for lines in range(1, own_cells.MOST_LINES + 1):
            top = bottom - lines + 1
            if top not in wordy:
                break
            headings = own_cells.joined(rows, merged, top, lines)
            last = own_cells.joined(rows, merged, bottom, 1)
            lone = [rows[r] for r in range(top - 4, top) if len(rows.get(r, ())) in (1, 2)]
            titles = [tab, *(text for row in lone for text in row.values())]
            for block in _blocks(headings, measured, bottom):
                sampled = _sampled(cells, bottom + 1, block)
                columns = list(_columns(cells, sampled, block, last, rows.get(bottom - 1, {})))
                fits = _fits(titles, lines, columns, headings, system)
                candidates += [table] if (table := _chosen(fits, columns)) else []
    chosen: list[Table] = []
    for table in sorted(candidates, key=lambda t: (-t.score, t.lines)):
        if not any(_overlap(table.rows, t.rows) and _overlap(table.columns, t.columns) for t in chosen):
            chosen.append(table)
    return sorted(chosen, key=lambda t: (t.top, t.guesses[0].place[1]))


def left_alone(book: files.Workbook, found: Sequence[Table]) -> list[Unread]:
    """What looks like a table in a workbook beside those that were found, in the order of its sheets."""
    left: list[Unread] = []
    for tab in book.sheets:
        cells = ours.left_out(book, tab)
        rows, (wordy, bottoms, measured) = own_cells.rows_of_texts(cells), _heading_rows(cells)
        known = [(table.top, table.columns) for table in found if table.tab == tab and table.kind == "table"]
        for bottom in bottoms:
            top = next(row for row in range(bottom, 0, -1) if row - 1 not in wordy)
            texts = {c: text for c, text in rows[bottom].items() if len(text) <= LONGEST_HEADING}
            for block in _blocks(texts, measured, bottom):
                columns = range(min(block), max(block) + 1)
                above = max(
                    (t for t, others in known if t <= bottom and _overlap(others, columns)), default=0
                )
                # The headings of another table have a blank row above them.
                apart = above < top and not (above and any((top - 1, column) in cells for column in columns))
                if apart and _has_values(cells, bottom + 1, block):
                    known.append((bottom, columns))
                    left.append(Unread(tab, bottom, block))
    return left


def is_of_the_trade(table: Unread) -> bool:
    """Whether a heading of a table that was not recognised names a gravity or a strength, or a unit."""
    called = vocabulary().words
    words = [
        *called["fermentation"]["reading"],
        *(word for sheet in ("strength", "cuts") for word in called[sheet]["reading"]),
    ]
    for text in table.headings.values():
        heading = split(text)
        labels = [label_for(raw, quantity) for raw in heading.units for quantity in (*TELLING, "temperature")]
        if any(labels) or (heading.bare in words and heading.bare not in _COMMON):
            return True
    return False


def _has_values(cells: Cells, row: int, block: Mapping[int, str]) -> bool:
    """Whether measured values stand below headings: two side by side, or one in a table of three columns.

    A line of two with one value may be a label, too.
    """
    values = sum(_has_value(cells, (row, column)) for column in block)
    return values > 1 or (values == 1 and len(block) > 2)


def _overlap(one: range, other: range) -> bool:
    return one.start < other.stop and other.start < one.stop


def _blocks(
    headings: Mapping[int, str], measured: Mapping[int, set[int]], bottom: int
) -> Iterator[dict[int, str]]:
    """The headings, parted where a column has neither heading nor values."""
    used = set(headings).union(*(measured.get(row, set()) for row in range(bottom + 1, bottom + 6)))
    block: dict[int, str] = {}
    for column in range(min(used), max(used) + 2):
        if column in used:
            block |= {column: headings[column]} if column in headings else {}
        elif block:
            if len(block) > 1:
                yield block
            block = {}


class _Column(NamedTuple):
    """A column of theirs: its heading, the last line of that, its first values, the heading of its dates.

    `of` is the heading with the words of the one left of it or of a group, where it is a unit alone.
    """

    place: Position
    text: str
    line: str
    of: str
    sample: list[Cell]
    date: str


def _fits(
    titles: Sequence[str],
    lines: int,
    columns: Sequence[_Column],
    headings: Mapping[int, str],
    system: System,
) -> list[Table]:
    """The sheets of ours that some headings may be, the best first.

    titles: the tab's name, which comes first, and what stands above the headings; headings: all of their row.
    """
    fits: list[Table] = []
    for key in vocabulary().words:
        sheet = layouts.every_sheet().get(key)
        if sheet is None or not sheet.columns:
            continue
        guesses = _with_numbers(sheet, columns, _assigned(sheet, _guesses(sheet, columns, system)))
        guesses = [_doubted_if_repeated(sheet, guess, columns) for guess in guesses]
        called = vocabulary().words["titles"].get(key, ())
        titled = max(resemblance(squeezed(text), called)[0] for text in titles)
        if not _is_log(sheet, guesses, titled >= SURE):
            continue
        score = _score(sheet, guesses) + (0.75 if titled >= SURE else 0.5 * (titled > 0)) - 0.05 * lines
        known, dates = {guess.place for guess in guesses}, {guess.date for guess in guesses}
        unknown = tuple((c.place, c.text) for c in columns if c.place not in known and c.text not in dates)
        top = columns[0].place[0] + 1 - lines
        numbered = tuple(_numbered(guesses, headings))
        table = Table(sheet, "table", titles[0], top, lines, numbered, unknown, score)
        if titled < DOUBTFUL and not _is_of_the_trade(guesses):
            table = _in_doubt(table, "nothing but a % speaks for it")
        fits.append(table)
    return sorted(fits, key=lambda table: -table.score)


def _with_numbers(sheet: Sheet, columns: Sequence[_Column], guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses, and the first column for the jars or runs where it counts them under a strange heading."""
    field = sheet.field({"cuts": "jar", "runs": "run"}.get(sheet.key, ""))
    first = columns[0]
    values = [str(cell.value).strip().removesuffix(".0") for cell in first.sample]
    counts = len(values) >= FEWEST_COUNTED and values == [str(n + 1) for n in range(len(values))]
    taken = any(g.place == first.place or g.field is field or g.date == first.text for g in guesses)
    if field is None or taken or not counts or _is_a_word_of_ours(split(first.text).bare):
        return list(guesses)
    why = ("its cells count from 1",)
    return [Guess(first.place, first.text, field, "", LIKELY, why, tuple(values[:3]), LIKELY), *guesses]


def _doubted_if_repeated(sheet: Sheet, guess: Guess, columns: Sequence[_Column]) -> Guess:
    """A guess, switched off where it would tell one run from the other and holds one value several times."""
    values = [str(cell.value) for column in columns if column.place == guess.place for cell in column.sample]
    if (sheet.key, guess.field.key) == ("runs", "run") and len(set(values)) < len(values):
        return _doubted(guess, "its values repeat, as those of a run do not")
    return guess


def _chosen(fits: Sequence[Table], columns: Sequence[_Column]) -> Table | None:
    """The sheet of ours that a table is, switched off where that is in doubt; None where it is none."""
    if not fits:
        return None
    table, rivals = fits[0], [fit.sheet for fit in fits[1:] if fits[0].score - fit.score < MARGIN]
    more = bool({g.field.key for g in table.guesses} & MORE_THAN_STOCK.get(table.sheet.key, set()))
    if _named(columns, "vessel") and _named(columns, "kept") > 1 and not more:
        return None
    if rivals:
        return _in_doubt(table, f'the table could be "{rivals[0].title}" ({rivals[0].key}), too')
    if len(table.unknown) > len(table.guesses):
        return _in_doubt(table, "most headings of the table are not recognised")
    if _named(columns, "vessel") and not more and not _is_mixed(table, columns):
        return _in_doubt(table, "the table could be a list of what lies in which vessel, too")
    return table


def _named(columns: Sequence[_Column], kind: str) -> int:
    """How many headings are such as lists of stock have: a "vessel", or what is "kept" in it."""
    return sum(squeezed(split(column.text).bare) in vocabulary().words["stock"][kind] for column in columns)


def _is_mixed(table: Table, columns: Sequence[_Column]) -> bool:
    """Whether a table names a lot for each of its parts, as a blend does and no list of vessels."""
    lots = {g.place for g in table.guesses if g.field.key == "lot" and table.sheet.key == "blend"}
    named = [cell.value for column in columns if column.place in lots for cell in column.sample]
    return len(set(named)) < len(named)


def _in_doubt(table: Table, why: str) -> Table:
    """A table that may be no such sheet of ours: all of it is left to the person."""
    return replace(table, guesses=tuple(_doubted(guess, why) for guess in table.guesses))


def _sampled(cells: Cells, first: int, block: Mapping[int, str]) -> list[int]:
    """The first rows of a table, up to the next headings or the blank rows that end it; at least one."""
    rows, blank = [first], 0
    for row in range(first, first + SAMPLED):
        line = [cells[row, column] for column in block if (row, column) in cells]
        worded = [cell for cell in line if not _measured(cell)]
        blank = 0 if line else blank + 1
        if blank == own_cells.BLANK_ROWS or (len(line) > 1 and len(worded) == len(line)):
            break
        if not (line and isinstance(line[0].value, str) and entries.is_total(line[0].value)):
            rows.append(row)
    return list(dict.fromkeys(rows))


def _numbered(guesses: Sequence[Guess], headings: Mapping[int, str]) -> Iterator[Guess]:
    """The guesses, with their number from the left where a heading stands there more than once."""
    for guess in guesses:
        alike = [column for column, text in headings.items() if text.casefold() == guess.text.casefold()]
        nth = alike.index(guess.place[1]) + 1
        yield replace(guess, nth=nth, of=len(alike)) if len(alike) > 1 else guess


def _is_of_the_trade(guesses: Sequence[Guess]) -> bool:
    """Whether headings say more than "%", a number and what any list has."""
    for guess in guesses:
        words = split(guess.text)
        percent = words.only_units and set(words.units) == {"%"}
        sure = guess.fits >= LIKELY and not percent
        if (
            sure
            and (guess.field.quantity in TELLING or guess.field.key in OURS_ALONE)
            and not _is_number(words)
        ):
            return True
    return False


def _is_number(words: Words) -> bool:
    """Whether a heading may number anything: runs, jars or bottles."""
    called = vocabulary().words
    return all(
        words.bare in called[sheet][key]
        for sheet, key in (("runs", "run"), ("cuts", "jar"), ("bottling", "bottles"))
    )


def _is_log(sheet: Sheet, guesses: Sequence[Guess], titled: bool) -> bool:
    """Whether enough is recognised, and something of the trade among it; less will do under a title."""
    good = [g for g in guesses if g.fits >= LIKELY]
    typed = [g for g in good if g.field.role == "entry" and g.field.quantity not in WEAK]
    # Words that we know in the cells, such as hearts and bentonite, tell as well as a title does.
    worded = any(g.field.key in WORDED and g.seen for g in good)
    trade = any(
        g.field.quantity in TELLING and (g.fits >= LIKELY or titled or split(g.text).units) for g in guesses
    )
    telling = titled or worded or trade
    keys = {g.field.key for g in guesses}
    if sheet.key in OWN:
        own = any(g.field.key in OWN[sheet.key] and (titled or not _is_number(split(g.text))) for g in typed)
        return own and len(typed) >= (2 if telling else 3)
    if sheet.key == "tasting":
        return len(typed) >= 2 and "sample" in keys and (titled or "taster" in keys)
    if sheet.key == "blend" and not ("part" in keys and (titled or "lot" in keys)):
        return False
    if sheet.key == "runs" and titled and {"charge_volume", "collected_volume"} <= keys:
        return True
    if sheet.key == "cuts" and worded and "volume" in keys:
        return True
    return len(typed) >= 2 and trade


def _score(sheet: Sheet, guesses: Sequence[Guess]) -> float:
    weights = {"entry": 1.0, "computed": 0.6, "flag": 0.0}
    total = sum(g.sure * (0.4 if g.field.quantity in WEAK else weights[g.field.role]) for g in guesses)
    known = {g.field.key for g in guesses}
    lacking = [c for c in sheet.columns if c.needed and c.quantity not in WEAK and c.key not in known]
    return total - 0.4 * len(lacking)


def _columns(
    cells: Cells,
    rows: Sequence[int],
    block: Mapping[int, str],
    last: Mapping[int, str],
    groups: Mapping[int, str],
) -> Iterator[_Column]:
    """The columns of a table; times of day with their dates, where another column holds those.

    groups: the row above the last line of headings, where a text may stand for the columns right of it, too.
    """
    samples = {c: {row: cells[row, c] for row in rows if (row, c) in cells} for c in block}
    days = [
        c for c, text in block.items() if _all(_is_day, samples[c]) and list(block.values()).count(text) == 1
    ]
    left = ""
    for column, text in block.items():
        sample, date = samples[column], ""
        line = last.get(column, text)
        alone = split(line).only_units
        left = _owner(groups[column]) if column in groups else left if alone else _owner(line)
        if days and _all(_is_clock, sample):
            # The date stands left of the time, as a rule.
            day = min(days, key=lambda c: (c > column, abs(c - column)))
            moments = {row: own_cells.at_time(samples[day].get(row), clock) for row, clock in sample.items()}
            sample, date = {row: cell for row, cell in moments.items() if cell}, block[day]
        unit = line if split(line).corrected else split(line).units[0] if alone else ""
        of = f"{left} ({unit})" if alone and left else ""
        yield _Column((rows[0] - 1, column), text, line, of, list(sample.values()), date)


def _owner(heading: str) -> str:
    """What a heading says besides a quantity and its unit."""
    words = split(heading).bare
    for quantity in vocabulary().quantities:
        words = unsaid(words, quantity)
    return words


def _all(holds: Callable[[Cell], bool], sample: Mapping[int, Cell]) -> bool:
    filled = [cell for cell in sample.values() if cell.value not in (None, "")]
    return bool(filled) and all(map(holds, filled))


def _is_clock(cell: Cell) -> bool:
    return cell.kind in ("moment", "text") and own_cells.time_of_day(cell) is not None


def _is_day(cell: Cell) -> bool:
    """Whether a cell holds a date without a time."""
    try:
        days = units.read_moment(cell.value)[0] if isinstance(cell.value, str) else cell.value
    except ValueError:
        return False
    return isinstance(days, float) and cell.kind in ("moment", "text") and days >= 1 and days.is_integer()


def _guesses(sheet: Sheet, columns: Sequence[_Column], system: System) -> list[Guess]:
    """All that each heading could be; a unit alone is of what stands left of it, if that says something."""
    guesses: list[Guess] = []
    left: list[Guess] = []
    for column in columns:
        own = _of_text(sheet, column, column.of, system)
        if not any(guess.fits >= SURE for guess in own):
            beside = _beside(sheet, column, left, system)
            own = [beside] if beside else _of_text(sheet, column, column.text, system)
        guesses += own
        left = own
    return guesses


def _of_text(sheet: Sheet, column: _Column, text: str, system: System) -> list[Guess]:
    """All that a column could be by a text that may be its heading."""
    return [g for field in sheet.columns if (g := _of_column(sheet, field, column, text, system))]


def _beside(sheet: Sheet, column: _Column, left: Sequence[Guess], system: System) -> Guess | None:
    """The strength of the volume left of it, for a column whose heading says no more than a strength."""
    best = max((guess.fits for guess in left), default=0)
    pairs = {BESIDE.get(g.field.key, "") for g in left if g.fits >= max(SURE, best - CLOSE)}
    field = sheet.field(pairs.pop()) if len(pairs) == 1 else None
    words = split(column.line)
    if field is None or words.corrected or not (words.only_units or not unsaid(words.bare, field.quantity)):
        return None
    text = f"{field.heading} ({words.units[0]})" if words.units else field.heading
    guess = _of_column(sheet, field, column, text, system)
    return guess if guess and guess.fits >= SURE else None


def _of_column(sheet: Sheet, field: Field, column: _Column, text: str, system: System) -> Guess | None:
    """What speaks for a column being this field, by a text that may be its heading."""
    whole = _guess(sheet, field, column.place, text, column.sample, system) if text else None
    # The last line of several may say all there is to say, unless the others say something else.
    if text == column.text != column.line:
        part = _guess(sheet, field, column.place, column.line, column.sample, system)
        if part and not _is_elsewhere(split(text), field, part.sure):
            part = replace(part, sure=part.sure * PARTLY, fits=part.fits * PARTLY)
            whole = part if whole is None or part.fits > whole.fits else whole
    if whole and column.date:
        whole = replace(whole, date=column.date, why=(*whole.why, f'with the date in "{column.date}"'))
    return replace(whole, text=column.text) if whole else None


def _assigned(sheet: Sheet, guesses: list[Guess]) -> list[Guess]:
    """The best fitting key for each heading, each key once; the most certain first."""
    order = {field.key: place for place, field in enumerate(sheet.columns)}
    # A time of day with its date before the date alone.
    guesses.sort(
        key=lambda g: (not g.date, -round(g.fits, 3), g.field.role != "entry", g.place[1], order[g.field.key])
    )
    keys: set[str] = set()
    dates: set[str] = set()
    columns: dict[int, Guess] = {}
    for guess in guesses:
        column = guess.place[1]
        if guess.text in dates:
            continue
        if column in columns:
            rival = columns[column]
            # The very word is not in doubt for another that it resembles.
            if (
                (guess.fits == 1 or rival.fits < 1)
                and rival.fits - guess.fits < CLOSE
                and guess.field.role == "entry"
                and guess.field.key not in keys
            ):
                columns[column] = _doubted(
                    rival, f'could be "{guess.field.heading}" ({guess.field.key}), too'
                )
        elif guess.field.key not in keys:
            keys.add(guess.field.key)
            dates |= {guess.date} - {""}
            columns[column] = guess
    return sorted(_settled(guesses, columns), key=lambda g: g.place)


def _settled(guesses: Sequence[Guess], columns: Mapping[int, Guess]) -> Iterator[Guess]:
    """The guess for each key; switched off where a column that is left over may be the one meant."""
    keys = {guess.field.key: column for column, guess in columns.items()}
    for column, won in columns.items():
        rivals = [
            g
            for g in guesses
            if g.field.key == won.field.key and g.place[1] not in columns and won.sure - g.sure < CLOSE
        ]
        beside = keys.get(READ_AT.get(won.field.key, ""), 0) + 1
        nearest = next((g for g in rivals if g.place[1] == beside), won)
        if not won.field.units or all(g.unit != won.unit for g in rivals) or column == beside:
            yield won
        elif nearest is not won:
            yield nearest
        else:
            others = " and ".join(address(*g.place) for g in rivals[:3])
            yield _doubted(won, f"{others} could be it, too")


def _doubted(guess: Guess, why: str) -> Guess:
    """A guess that is switched off for a reason."""
    return replace(guess, sure=min(guess.sure, LIKELY - 0.01), why=(*guess.why, why))


def _called(words: Words, names: tuple[str, ...], quantity: str, unit: bool) -> tuple[float, str]:
    """How well a heading fits names, and the name; what kind of value it is, its unit may say instead."""
    score, name = max(resemblance(words.bare, names), resemblance(words.whole, names))
    rest = unsaid(words.bare, quantity)
    if rest and (unit or rest != words.bare) and is_short_for(rest, unsaid_of(names, quantity)):
        return max((score, name), (SHORTENED, rest))
    return score, name


def _is_elsewhere(words: Words, field: Field, score: float) -> bool:
    """Whether a heading names something that the field does not hold, such as the temperature of the air."""
    known = vocabulary().words
    others = known["elsewhere"].get(field.quantity, ())
    if field.quantity == "temperature":
        kinds = {"wash_temperature": "fermentation", "vapour_temperature": "cuts"}
        others += sum((known[sheet][key] for key, sheet in kinds.items() if key != field.key), ())
    elsewhere = _called(words._replace(whole=words.bare), others, field.quantity, bool(words.units))[0]
    return score < 1 and 0 < elsewhere >= score


def _guess(
    sheet: Sheet, field: Field, place: Position, text: str, sample: Sequence[Cell], system: System
) -> Guess | None:
    """What speaks for a heading being this field, None where little does."""
    words = split(text)
    called = vocabulary().words.get(sheet.key, {})
    names = (*called.get(field.key, ()), squeezed(field.heading))
    named = words.units or [word for word in words.bare.split() if len(word) >= SHORTEST_UNIT]
    labels = [label for raw in named if (label := label_for(raw, field.quantity))]
    score, synonym = _called(words, names, field.quantity, bool(labels))
    if _is_elsewhere(words, field, score):
        return None
    if words.corrected:
        if field.key in TRUE_OF:
            same = resemblance(words.bare, called.get(TRUE_OF[field.key], ()))
            score, synonym = max((score, synonym), same)
        elif field.key in TRUE_OF.values():
            score *= 0.4
    said = words.whole in names and words.bare not in names  # "fire lit" has no litres in it
    if field.quantity == "text" and any(words.bare in called[key] for key in called if key != field.key):
        score *= NAMED
    if words.units and not labels and not said:
        # A unit of something else speaks against it.
        score *= 0.3
    elif labels and words.only_units and _is_plain(field, names, words.corrected):
        score, synonym = max((score, synonym), (SURE, words.whole))
    if score < SURE and _tells(field, sample):
        score, synonym = SURE, "words of the trade"
    if score < DOUBTFUL:
        return None
    why = [f'"{synonym}" means that' if score == 1 else f'resembles "{synonym}"']
    unit, certain, reason = _unit(sheet, field, tuple(dict.fromkeys(labels)), sample, system)
    why += [reason] if reason else []
    fit, seen = _fit(field, unit, sample)
    filled = [cell for cell in sample if cell.value not in (None, "")]
    if filled:
        score *= 0.4 + 0.6 * fit
        why.append(f"{round(fit * len(filled))} of {len(filled)} values fit")
    else:
        score *= 0.9
        why.append("no values yet")
    sure = score if certain else min(score, LIKELY - 0.01)
    return Guess(place, text, field, unit, sure, tuple(why), seen, score) if sure >= DOUBTFUL else None


def _tells(field: Field, sample: Sequence[Cell]) -> bool:
    """Whether cells tell the column whatever its heading: different words, all of them of its choices."""
    words = [cell for cell in sample if cell.value not in (None, "")]
    read = [entries.read_cell(cell, field, "") for cell in words if isinstance(cell.value, str)]
    good = {value for value, problem in read if problem is None}
    return (
        field.quantity == "choice"
        and len(good) > 1
        and len(words) == len(read)
        and all(p is None for _, p in read)
    )


def _is_plain(field: Field, names: Sequence[str], corrected: bool) -> bool:
    """Whether a column is called by its quantity alone, so that a unit alone may be its heading."""
    if corrected:
        return field.key in TRUE_OF
    called = vocabulary().quantities.get(field.quantity, frozenset())
    return field.role == "entry" and not called.isdisjoint(names)


def _unit(
    sheet: Sheet, field: Field, named: tuple[str, ...], sample: Sequence[Cell], system: System
) -> tuple[str, bool, str]:
    """The unit of a column, whether that is certain, and why."""
    if not field.units:
        return "", True, ""
    if len(named) == 1:
        return named[0], True, f"the heading says {named[0]}"
    own = {_own_unit(cell, field) for cell in sample if cell.value not in (None, "")}
    if len(own) == 1 and (label := own.pop()):
        return label, True, f"each value says {label}"
    usual = field.unit["us" if system == "us" else "metric"]
    candidates = named or field.offered
    fits = {label: _fit(field, label, sample)[0] for label in candidates}
    best = max(fits.values())
    fitting = [label for label in candidates if fits[label] == best]
    if field.quantity == "gravity" and "SG" in fitting and best > 0.9 and _has(sample):
        return "SG", True, "the values are such as SG has"
    if len(fitting) == 1 and best > 0.9 and _has(sample):
        return fitting[0], True, f"the values fit {fitting[0]} alone"
    if not named and (label := _usual(f"{sheet.key}.{field.key}", field, sample)):
        return label, True, f"the values are such as {label} has"
    unit = usual if usual in fitting else fitting[0]
    if named:
        return unit, False, f"the heading names {' and '.join(named)}"
    if field.quantity in ("strength", "mark", "temperature") and system and unit == field.unit[system]:
        return unit, True, f"no unit in the heading; the others are {'US' if system == 'us' else 'metric'}"
    return unit, False, f"no unit in the heading; {unit} is a guess"


def _usual(name: str, field: Field, sample: Sequence[Cell]) -> str:
    """The one unit in which all values are such as the column usually has, '' where none or several are."""
    low, high, labels = USUAL.get(name, (0.0, 0.0, ()))
    read = [(label, entries.read_cell(c, field, label)[0]) for label in labels for c in sample if c.value]
    held = {label for label, value in read if low <= float(value) <= high}
    usual = [label for label in held if all(low <= float(v) <= high for other, v in read if other == label)]
    return usual[0] if len(usual) == len(held) == 1 else ""


def _own_unit(cell: Cell, field: Field) -> str:
    """The unit that stands behind the number in a cell, '' where none does."""
    try:
        return units.label_of(units.read_number(str(cell.value)).unit, field.quantity)
    except ValueError:
        return ""


def _has(sample: Sequence[Cell]) -> bool:
    return any(cell.value not in (None, "") for cell in sample)


def _fit(field: Field, unit: str, sample: Sequence[Cell]) -> tuple[float, tuple[str, ...]]:
    """The share of values that can be read as this field and lie within its limits, and the first as read."""
    seen: list[str] = []
    good, count = 0, 0
    for cell in sample:
        if cell.value in (None, ""):
            continue
        count += 1
        value, problem = entries.read_cell(cell, field, unit)
        words = isinstance(cell.value, str) and not _measured(cell)
        if field.quantity == "text":
            good += words or len(str(cell.value)) < 12
        elif problem is None or problem.rule in ("date_in_doubt", "comma_in_doubt"):
            good += 1
        if len(seen) < 3 and value == value and value != "":
            shown = value if isinstance(value, str) else units.show(value, field.quantity, unit)
            seen.append(units.one_line(str(shown), 30))
    return (good / count if count else 0.0), tuple(seen)


def _card(cells: Cells, tab: str, tables: Sequence[Table], system: System) -> Table | None:
    """Lines of label and value that our batch card has, above, beside or without a table."""
    sheet = layouts.every_sheet()[adopted.CARD]
    fields = [f for f in sheet.fields if f.role == "entry" and f.key in vocabulary().words[adopted.CARD]]
    guesses: dict[str, Guess] = {}
    for place, text, value, unit in _labels(cells, tables):
        for field in fields:
            if _PRICED.search(unit) and field.quantity != "money":
                continue
            guess = _guess(sheet, field, place, f"{text} ({unit})" if unit else text, [value], system)
            if guess and guess.sure >= LIKELY and _on_a_card(guess, cells, tables):
                kept = guesses.get(field.key)
                if kept is None or guess.sure > kept.sure:
                    guesses[field.key] = replace(guess, text=text)
    by_place = {guess.place: guess for guess in sorted(guesses.values(), key=lambda g: g.sure)}
    if not by_place:
        return None
    found = tuple(by_place[place] for place in sorted(by_place))
    labels = {place: text for place, text, _, _ in _labels(cells, tables)}
    unknown = tuple((place, labels[place]) for place in sorted(labels) if _is_beside(place, by_place, labels))
    return Table(sheet, "card", tab, found[0].place[0], 1, found, unknown, 0.0)


def _is_beside(place: Position, known: Container[Position], labels: Container[Position]) -> bool:
    """Whether a label that is not recognised stands among such as are, in a column without a gap."""
    row, column = place
    if place in known:
        return False
    for step in (-1, 1):
        next_ = row + step
        while (next_, column) in labels:
            if (next_, column) in known:
                return True
            next_ += step
    return False


def _labels(cells: Cells, tables: Sequence[Table]) -> Iterator[tuple[Position, str, Cell, str]]:
    """What may be the labels of a card, each with its text, value and unit, if one stands beside."""
    headings = {(t.top + line, g.place[1]) for t in tables for line in range(t.lines) for g in t.guesses}
    times = Counter(c.value.casefold() for c in cells.values() if isinstance(c.value, str))
    for place, cell in sorted(islice(cells.items(), MOST_CELLS)):
        if not isinstance(cell.value, str) or len(cell.value) > LONGEST_HEADING or place in headings:
            continue
        text, at = " ".join(cell.value.split()), own_cells.value_of(cells, place)
        if at not in cells or times[cell.value.casefold()] > 1 or (place[0] + 1, place[1]) in headings:
            continue
        unit = _unit_beside(cells, at)
        # A unit is no label, and a line of several values is one of a list, such as of stock and its prices.
        if not split(text).only_units and not _has_value(cells, (at[0], at[1] + 1 + bool(unit))):
            yield place, text, cells[at], unit


def _unit_beside(cells: Cells, value: Position) -> str:
    """The unit or the price's unit that stands in the cell right of a card's value, '' where none does."""
    cell = cells.get((value[0], value[1] + 1))
    text = cell.value.strip() if cell and isinstance(cell.value, str) else ""
    is_unit = len(text) <= LONGEST_HEADING and (split(text).only_units or _PRICED.search(text))
    return text if is_unit else ""


def _has_value(cells: Cells, place: Position) -> bool:
    return place in cells and _measured(cells[place])


def _on_a_card(guess: Guess, cells: Cells, tables: Sequence[Table]) -> bool:
    """Whether words beside words are a label and its value, and not two headings or part of a record."""
    if guess.field.quantity != "text":
        return True
    row, column = own_cells.value_of(cells, guess.place)
    value, after = cells[row, column].value, cells.get((row, column + 1))
    if not isinstance(value, str):
        # A batch may be called 26, a yeast is not: that is what it cost.
        return guess.field.key == "batch_code" and guess.sure >= SURE
    heading = after is not None or _is_a_word_of_ours(squeezed(value)) or bool(split(value).units)
    in_record = any(table.top <= row and guess.place[1] in table.columns for table in tables)
    return guess.sure >= SURE and not heading and not in_record


def _is_a_word_of_ours(text: str) -> bool:
    return any(text in called for keys in vocabulary().words.values() for called in keys.values())
